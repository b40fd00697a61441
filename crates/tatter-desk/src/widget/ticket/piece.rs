//! The ticket of a piece that lies on the garment.

use egui::Ui;
use tatter_core::channel::Channel;

use super::meet::meet_ui;
use crate::command::Command;
use crate::look::{self, Palette};
use crate::open::Open;
use crate::widget::cutting_list::changed;
use crate::widget::fields::Handled;

/// Draw it; whether a piece is selected.
pub(super) fn piece_ui(ui: &mut Ui, open: &Open, colors: &Palette, asked: &mut Vec<Command>) -> bool {
    let Some(mut placement) = open.selected_placement().cloned() else { return false };
    ui.add(egui::Label::new(look::heading(&placement.id)).truncate());
    ui.label(look::quiet(&placement.patch, colors));
    let channels = channels(open);
    let mut handled = Handled::default();
    meet_ui(ui, &mut placement.matching, &mut placement.rules, &channels, colors, &mut handled);
    changed(handled, asked, || placement.clone());
    true
}

/// The channels that the garment has.
pub(super) fn channels(open: &Open) -> Vec<Channel> {
    open.form().map(|form| form.channels()).unwrap_or_default()
}
