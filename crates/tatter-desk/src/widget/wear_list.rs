//! The marks of wear of a job, in the order they happened.

use egui::Ui;
use tatter::history::Edit;
use tatter_core::model::{Density, Wear, WearKind};

use super::fields::{Handled, percent_ui};
use super::lists::name_ui;
use super::rows::{Rows, cell_ui, wide_enough, wide_for_names};
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
    let places: Vec<String> = job.wear.iter().map(place).collect();
    let names = job.wear.iter().map(|mark| mark.id.as_str());
    let columns = [
        wide_for_names(ui, say::WEAR_HEAD[0].0, names).min(WIDEST),
        wide_enough(ui, say::WEAR_HEAD[1].0, WearKind::ALL.into_iter().map(WearKind::name)),
        wide_enough(ui, say::WEAR_HEAD[2].0, ["100 %%%%"].into_iter()),
        wide_enough(ui, say::WEAR_HEAD[3].0, places.iter().map(String::as_str)).min(2.0 * WIDEST),
        ui.spacing().interact_size.y,
    ];
    let rows = Rows { name: "wear", head: &say::WEAR_HEAD, columns: &columns, count: job.wear.len(), brought: None };
    let id = |number: usize| job.wear[number].id.as_str();
    rows.show(ui, &colors, id, |ui, number| row_ui(ui, open, (&job.wear[number], &places[number]), &columns, asked));
}

/// Widest that names are read in.
const WIDEST: f32 = 240.0;

fn place(mark: &Wear) -> String {
    let densities: Vec<&str> = mark.density.iter().map(Density::name).collect();
    say::worn_where(&densities, !mark.along.is_empty())
}

fn row_ui(ui: &mut Ui, open: &Open, (mark, place): (&Wear, &str), columns: &[f32; 5], asked: &mut Vec<Command>) {
    let id = &mark.id;
    let is_chosen = open.wearing.chosen.as_ref() == Some(id);
    cell_ui(ui, columns[0], |ui| {
        if name_ui(ui, id, is_chosen, &palette(ui)) {
            asked.push(Command::Wear(OnWear::Choose((!is_chosen).then(|| id.clone()))));
        }
    });
    cell_ui(ui, columns[1], |ui| drop(ui.label(mark.kind.name()).on_hover_text(say::wear_tip(mark.kind))));
    cell_ui(ui, columns[2], |ui| strength_ui(ui, mark, asked));
    cell_ui(ui, columns[3], |ui| drop(ui.add(egui::Label::new(place).truncate())));
    cell_ui(ui, columns[4], |ui| {
        if icon_button_ui(ui, Icon::Remove, &format!("{} {id}", say::REMOVE), say::REMOVE, false, true).clicked() {
            asked.push(Command::Make(Edit::RemoveWear(id.clone())));
        }
    });
}

fn strength_ui(ui: &mut Ui, mark: &Wear, asked: &mut Vec<Command>) {
    let mut strength = mark.strength;
    let mut handled = Handled::default();
    percent_ui(ui, &mut strength, &say::strength_of(&mark.id), &mut handled);
    let changed = || Box::new(Wear { strength, ..mark.clone() });
    handled.ask(asked, || Command::Wear(OnWear::Drag(changed())), || Command::Wear(OnWear::Change(changed())));
}
