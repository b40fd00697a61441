//! The marks of wear of a job, in the order they happened.

use egui::{Grid, ScrollArea, Ui};
use tatter::history::Edit;
use tatter_core::model::{Density, Wear};

use super::fields::{Handled, percent_ui};
use super::lists::name_ui;
use crate::command::{Command, OnWear};
use crate::look::{self, Icon, icon_button_ui, palette};
use crate::open::Open;
use crate::say;

/// Draw the list.
pub(crate) fn wear_list_ui(ui: &mut Ui, open: &Open, asked: &mut Vec<Command>) {
    let colors = palette(ui);
    let job = open.job();
    if job.wear.is_empty() {
        ui.label(look::quiet(say::WEAR_EMPTY, &colors));
        return;
    }
    ScrollArea::both().id_salt("wear").auto_shrink(false).show(ui, |ui| {
        Grid::new("wear").num_columns(say::WEAR_HEAD.len() + 1).striped(true).spacing([18.0, 6.0]).show(ui, |ui| {
            for title in say::WEAR_HEAD {
                ui.label(look::quiet(title, &colors));
            }
            ui.end_row();
            for mark in &job.wear {
                row_ui(ui, open, mark, asked);
                ui.end_row();
            }
        });
    });
}

fn row_ui(ui: &mut Ui, open: &Open, mark: &Wear, asked: &mut Vec<Command>) {
    let id = &mark.id;
    let is_chosen = open.wearing.chosen.as_ref() == Some(id);
    if name_ui(ui, id, is_chosen, &palette(ui)) {
        asked.push(Command::Wear(OnWear::Choose((!is_chosen).then(|| id.clone()))));
    }
    ui.label(mark.kind.name()).on_hover_text(say::wear_tip(mark.kind));
    let mut strength = mark.strength;
    let mut handled = Handled::default();
    percent_ui(ui, &mut strength, &say::strength_of(id), &mut handled);
    let changed = || Box::new(Wear { strength, ..mark.clone() });
    handled.ask(asked, || Command::Wear(OnWear::Drag(changed())), || Command::Wear(OnWear::Change(changed())));
    let densities: Vec<&str> = mark.density.iter().map(Density::name).collect();
    ui.label(say::worn_where(&densities, !mark.along.is_empty()));
    if icon_button_ui(ui, Icon::Remove, &format!("{} {id}", say::REMOVE), say::REMOVE, false, true).clicked() {
        asked.push(Command::Make(Edit::RemoveWear(id.clone())));
    }
}
