//! The hint of a station, in a band above its page: nothing waits for it to be read.

use egui::{Frame, Panel, Ui};

use crate::command::{Command, Station};
use crate::look::{self, Palette};
use crate::say;
use crate::start::{Hint, OnStart};
use crate::window::ask_ui;

/// Draw it.
pub(crate) fn hint_ui(ui: &mut Ui, hint: Hint, at: Station, colors: &Palette, asked: &mut Vec<Command>) {
    let frame = Frame::new().fill(colors.stripe).inner_margin(egui::Margin::symmetric(16, 8));
    Panel::top("hint").resizable(false).frame(frame).show(ui, |ui| {
        ui.horizontal(|ui| {
            let (number, text) = say::hint(hint);
            ui.label(look::name(&number).color(colors.thread));
            ui.add_space(look::NEAR);
            ui.with_layout(egui::Layout::right_to_left(egui::Align::Center), |ui| {
                ask_ui(ui, say::NO_HINTS, Command::Start(OnStart::NoHints), asked);
                if let Hint::Onward(station) = hint
                    && station != at
                {
                    ask_ui(ui, &say::go_on(station), Command::Go(station), asked);
                }
                ui.with_layout(egui::Layout::left_to_right(egui::Align::Center), |ui| {
                    ui.add(egui::Label::new(look::plain(text, colors)).wrap());
                });
            });
        });
    });
}
