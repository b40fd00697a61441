//! What other programs changed, in a band above the page: what it is, and what can be done about it.

use egui::{Frame, Panel, Ui};

use crate::command::Command;
use crate::desk::Desk;
use crate::look::{self, Palette};
use crate::outside::OnOutside;
use crate::say;
use crate::window::ask_ui;

/// Draw it, when there is something.
pub(crate) fn changed_ui(ui: &mut Ui, desk: &Desk, colors: &Palette, asked: &mut Vec<Command>) {
    let changed = &desk.changed;
    if changed.is_nothing() {
        return;
    }
    let frame = Frame::new().fill(colors.hover).inner_margin(egui::Margin::symmetric(16, 8));
    Panel::top("changed").resizable(false).frame(frame).show(ui, |ui| {
        if let Some(open) = desk.open().filter(|_| changed.job) {
            row_ui(ui, &say::changed(std::slice::from_ref(&open.kept.path().to_owned())), colors, |ui| {
                ask_ui(ui, say::READ_ANEW, Command::ReadAnew, asked);
                ask_ui(ui, say::KEEP_MINE, Command::Outside(OnOutside::KeepJob), asked);
                ui.label(look::quiet(if open.history.is_saved() { say::STEPS_LOST } else { say::UNSAVED_LOST }, colors));
            });
        }
        if !changed.garment.is_empty() {
            row_ui(ui, &say::changed(&changed.garment), colors, |ui| {
                let busy = desk.open().is_some_and(|open| open.work.is_busy());
                if ui.add_enabled(!busy, egui::Button::new(say::LOOK_AGAIN)).on_hover_text(say::LOOK_AGAIN_TIP).clicked() {
                    asked.push(Command::Outside(OnOutside::Garment));
                }
                put_aside_ui(ui, asked);
            });
        }
        if !changed.photos.is_empty() {
            row_ui(ui, &say::changed(&changed.photos), colors, |ui| {
                ask_ui(ui, say::READ_PHOTO, Command::Outside(OnOutside::Photos), asked);
                put_aside_ui(ui, asked);
                ui.label(look::quiet(say::MARKS_STAY, colors));
            });
        }
        if !changed.patches.is_empty() {
            row_ui(ui, &say::changed(&changed.patches), colors, |ui| {
                ui.label(look::quiet(say::PATCHES_READ, colors));
                put_aside_ui(ui, asked);
            });
        }
    });
}

fn row_ui(ui: &mut Ui, what: &str, colors: &Palette, add: impl FnOnce(&mut Ui)) {
    ui.horizontal(|ui| {
        ui.set_min_height(ui.spacing().interact_size.y);
        ui.colored_label(colors.weld, what);
        add(ui);
    });
}

fn put_aside_ui(ui: &mut Ui, asked: &mut Vec<Command>) {
    ask_ui(ui, say::DISMISS, Command::Outside(OnOutside::PutAside), asked);
}
