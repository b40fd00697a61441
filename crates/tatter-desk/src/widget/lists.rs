//! What lies beneath the garment: the cutting list, the scatters, the wear.

use egui::{Role, Ui};
use tatter_core::model::WearKind;

use super::cutting_list::cutting_list_ui;
use super::fields::word_ui;
use super::named;
use super::scatter_list::scatter_list_ui;
use super::wear_list::wear_list_ui;
use crate::command::{Command, List, OnScatter, OnWear};
use crate::look::{self, APART, NEAR, Palette, palette};
use crate::open::Open;
use crate::say;

/// Draw the list that is shown, and the way to the others.
pub(crate) fn lists_ui(ui: &mut Ui, open: &mut Open, asked: &mut Vec<Command>) {
    let colors = palette(ui);
    // As high as the person made it, whatever it holds so far.
    ui.set_min_height(ui.available_height());
    ui.horizontal(|ui| {
        for list in List::ALL {
            let label = say::list_with_count(list, count(open, list));
            let response = word_ui(ui, open.list == list, &label, &colors).on_hover_text(say::LIST_TIP[list as usize]);
            named(&response, Role::Tab, say::list(list));
            if response.clicked() {
                asked.push(Command::List(list));
            }
        }
        ui.add_space(APART);
        match open.list {
            List::Pieces => {}
            List::Scatters => new_scatter_ui(ui, open, asked),
            List::Wear => new_mark_ui(ui, &colors, asked),
        }
    });
    ui.add_space(NEAR);
    match open.list {
        List::Pieces => cutting_list_ui(ui, open, asked),
        List::Scatters => scatter_list_ui(ui, open, asked),
        List::Wear => wear_list_ui(ui, open, asked),
    }
}

fn count(open: &Open, list: List) -> usize {
    let job = open.job();
    match list {
        List::Pieces => job.placements.len(),
        List::Scatters => job.scatters.len(),
        List::Wear => job.wear.len(),
    }
}

fn new_scatter_ui(ui: &mut Ui, open: &Open, asked: &mut Vec<Command>) {
    let can = open.form.is_some() && open.shelf.cards.iter().any(|card| card.canvas.is_ok());
    let button = ui.add_enabled(can, egui::Button::new(say::NEW_SCATTER));
    if button.on_hover_text(say::NEW_SCATTER_TIP).on_disabled_hover_text(say::NO_PATCH_TIP).clicked() {
        asked.push(Command::Scatter(OnScatter::New));
    }
}

fn new_mark_ui(ui: &mut Ui, colors: &Palette, asked: &mut Vec<Command>) {
    ui.label(look::quiet(say::ADD, colors));
    for kind in WearKind::ALL {
        let button = ui.button(kind.name()).on_hover_text(say::wear_tip(kind));
        named(&button, Role::Button, &format!("{} {}", say::ADD, kind.name()));
        if button.clicked() {
            asked.push(Command::Wear(OnWear::New(kind)));
        }
    }
}

/// The name of what a row is about: pressed, it is taken up. Whether it was pressed.
pub(super) fn name_ui(ui: &mut Ui, id: &str, is_chosen: bool, colors: &Palette) -> bool {
    let text = if is_chosen { look::name(id).color(colors.on_thread) } else { look::name(id) };
    let label = ui.add(egui::Button::selectable(is_chosen, text).truncate());
    // The list follows the keyboard.
    if label.gained_focus() {
        label.scroll_to_me(None);
    }
    label.clicked()
}
