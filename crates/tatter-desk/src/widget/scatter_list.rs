//! The scatters of a job, each with how it stands.

use egui::Ui;
use tatter::history::Edit;
use tatter::scatter::standing;
use tatter_core::model::Scatter;

use super::lists::name_ui;
use super::rows::{Rows, cell_ui, wide_enough, wide_for_names};
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
    let joined: Vec<String> = job.scatters.iter().map(patches).collect();
    let names = job.scatters.iter().map(|rule| rule.id.as_str());
    let number = |column: usize| wide_enough(ui, say::SCATTERS_HEAD[column].0, ["0000"].into_iter());
    let columns = [
        wide_for_names(ui, say::SCATTERS_HEAD[0].0, names).min(WIDEST),
        wide_enough(ui, say::SCATTERS_HEAD[1].0, joined.iter().map(String::as_str)).min(WIDEST),
        number(2),
        number(3),
        number(4),
        ui.spacing().interact_size.y,
    ];
    let rows = Rows { name: "scatters", head: &say::SCATTERS_HEAD, columns: &columns, count: job.scatters.len(), brought: None };
    let id = |number: usize| job.scatters[number].id.as_str();
    rows.show(ui, &colors, id, |ui, number| row_ui(ui, open, (&job.scatters[number], &joined[number]), &columns, asked));
}

/// Widest that names are read in.
const WIDEST: f32 = 240.0;

fn patches(rule: &Scatter) -> String {
    let patches: Vec<&str> = rule.patches.iter().map(|share| share.patch.as_str()).collect();
    patches.join(", ")
}

fn row_ui(ui: &mut Ui, open: &Open, (rule, patches): (&Scatter, &str), columns: &[f32; 6], asked: &mut Vec<Command>) {
    let id = &rule.id;
    let is_chosen = open.scattering.chosen.as_ref() == Some(id);
    cell_ui(ui, columns[0], |ui| {
        if name_ui(ui, id, is_chosen, &palette(ui)) {
            asked.push(Command::Scatter(OnScatter::Choose((!is_chosen).then(|| id.clone()))));
        }
    });
    cell_ui(ui, columns[1], |ui| drop(ui.add(egui::Label::new(patches).truncate())));
    let standing = standing(open.job(), rule);
    for (number, width) in [rule.count, standing.lie, standing.by_hand].into_iter().zip(&columns[2..5]) {
        cell_ui(ui, *width, |ui| drop(ui.label(number.to_string())));
    }
    cell_ui(ui, columns[5], |ui| {
        if icon_button_ui(ui, Icon::Remove, &format!("{} {id}", say::REMOVE), say::REMOVE_SCATTER, false, true).clicked() {
            asked.push(Command::Make(Edit::RemoveScatter(id.clone())));
        }
    });
}
