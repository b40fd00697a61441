//! The ticket: all that is told of what is taken up, beside the garment, to be read and changed.

mod meet;
mod piece;
mod place;
mod scatter;
mod wear;

use egui::{Align2, ScrollArea, Sense, Ui, vec2};

use crate::command::{Command, List};
use crate::look::{self, APART, Palette, palette};
use crate::open::Open;
use crate::say;

/// Width of what stands before a field.
const LABEL: f32 = 84.0;

/// Draw the ticket of what is taken up in the list that is shown.
pub(crate) fn ticket_ui(ui: &mut Ui, open: &mut Open, asked: &mut Vec<Command>) {
    let colors = palette(ui);
    let list = open.list;
    let shown = match list {
        List::Pieces => open.selected.clone(),
        List::Scatters => open.scattering.chosen.clone(),
        List::Wear => open.wearing.chosen.clone(),
    };
    ScrollArea::vertical().id_salt(("ticket", list as u8)).auto_shrink(false).show(ui, |ui| {
        // Fields of each ticket are its own: what is half written in one is never taken for another's.
        let fields = |ui: &mut Ui| match list {
            List::Pieces => piece::piece_ui(ui, open, &colors, asked),
            List::Scatters => scatter::scatter_ui(ui, open, &colors, asked),
            List::Wear => wear::wear_ui(ui, open, &colors, asked),
        };
        let is_there = ui.push_id(shown, fields).inner;
        if !is_there {
            ui.add(egui::Label::new(look::quiet(say::TICKET[list as usize], &colors)).wrap());
        }
    });
}

/// The name of a section.
fn section_ui(ui: &mut Ui, title: &str, tip: &str, colors: &Palette) {
    ui.add_space(APART);
    let label = ui.label(look::name(title));
    if !tip.is_empty() {
        label.on_hover_text(look::plain(tip, colors));
    }
}

/// A field with what it is before it. The field says its own name to those who do not see it.
fn row_ui<R>(ui: &mut Ui, label: &str, tip: &str, colors: &Palette, field: impl FnOnce(&mut Ui) -> R) {
    ui.horizontal(|ui| {
        let (rect, response) = ui.allocate_exact_size(vec2(LABEL, ui.spacing().interact_size.y), Sense::hover());
        let galley = ui.painter().layout_job(look::quiet(label, colors));
        let at = Align2::LEFT_CENTER.align_size_within_rect(galley.size(), rect).min;
        ui.painter().galley(at, galley, colors.quiet);
        if !tip.is_empty() {
            response.on_hover_text(look::plain(tip, colors));
        }
        field(ui);
    });
}
