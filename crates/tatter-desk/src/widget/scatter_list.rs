//! The scatters of a job, each with how it stands.

use egui::{Grid, ScrollArea, Ui};
use tatter::history::Edit;
use tatter::scatter::standing;
use tatter_core::model::Scatter;

use super::lists::name_ui;
use crate::command::{Command, OnScatter};
use crate::look::{self, Icon, icon_button_ui, palette};
use crate::open::Open;
use crate::say;

/// Draw the list.
pub(crate) fn scatter_list_ui(ui: &mut Ui, open: &Open, asked: &mut Vec<Command>) {
    let colors = palette(ui);
    let job = open.job();
    if job.scatters.is_empty() {
        ui.label(look::quiet(say::SCATTERS_EMPTY, &colors));
        return;
    }
    ScrollArea::both().id_salt("scatters").auto_shrink(false).show(ui, |ui| {
        Grid::new("scatters").num_columns(say::SCATTERS_HEAD.len() + 1).striped(true).spacing([18.0, 6.0]).show(ui, |ui| {
            for title in say::SCATTERS_HEAD {
                ui.label(look::quiet(title, &colors));
            }
            ui.end_row();
            for rule in &job.scatters {
                row_ui(ui, open, rule, asked);
                ui.end_row();
            }
        });
    });
}

fn row_ui(ui: &mut Ui, open: &Open, rule: &Scatter, asked: &mut Vec<Command>) {
    let id = &rule.id;
    let is_chosen = open.scattering.chosen.as_ref() == Some(id);
    if name_ui(ui, id, is_chosen, &palette(ui)) {
        asked.push(Command::Scatter(OnScatter::Choose((!is_chosen).then(|| id.clone()))));
    }
    let patches: Vec<&str> = rule.patches.iter().map(|share| share.patch.as_str()).collect();
    ui.label(patches.join(", "));
    let standing = standing(open.job(), rule);
    for number in [rule.count, standing.lie, standing.by_hand] {
        ui.label(number.to_string());
    }
    if icon_button_ui(ui, Icon::Remove, &format!("{} {id}", say::REMOVE), say::REMOVE_SCATTER, false, true).clicked() {
        asked.push(Command::Make(Edit::RemoveScatter(id.clone())));
    }
}
