//! The garment: the drawer on the left, the garment in the round and flat, the lists below, the ticket of what is taken up on
//! the right.

use egui::{CentralPanel, Frame, Panel, Ui};

use crate::command::Command;
use crate::elsewhere::Folders;
use crate::look::{THUMB, palette, sheet_frame};
use crate::open::Open;
use crate::widget::drawer::drawer_ui;
use crate::widget::flat::flat_ui;
use crate::widget::lists::lists_ui;
use crate::widget::solid::solid_ui;
use crate::widget::ticket::ticket_ui;

/// Width of the ticket: a grade's three numbers beside each other.
const TICKET: f32 = 312.0;

/// Draw the station.
pub(crate) fn garment_ui(ui: &mut Ui, open: &mut Open, folders: &Folders, asked: &mut Vec<Command>) {
    let colors = palette(ui);
    let sheet = sheet_frame(&colors);
    Panel::right("ticket").exact_size(TICKET).resizable(false).frame(sheet).show(ui, |ui| ticket_ui(ui, open, asked));
    Panel::bottom("cutting list").default_size(210.0).min_size(110.0).frame(sheet).show(ui, |ui| lists_ui(ui, open, asked));
    Panel::left("drawer")
        .exact_size(THUMB + 92.0)
        .resizable(false)
        .frame(sheet)
        .show(ui, |ui| drawer_ui(ui, open, folders, asked));
    let half = 0.42 * ui.available_width();
    let table = Frame::new();
    // The solid view says first whether something moves; the flat view adds to it.
    Panel::left("solid")
        .default_size(ui.available_width() - half)
        .min_size(240.0)
        .frame(table)
        .show(ui, |ui| solid_ui(ui, open, asked));
    CentralPanel::default().frame(table).show(ui, |ui| flat_ui(ui, open, asked));
}
