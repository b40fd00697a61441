//! What would be woven: its swatch under the lamp, its numbers, and the button that keeps it.

use std::path::Path;

use egui::{Button, Grid, RichText, Role, TextEdit, Ui};
use tatter::cutting::Existing;

use super::named;
use super::photo_cut::is_name;
use crate::command::Command;
use crate::look::{self, APART, NEAR, Palette};
use crate::loom::{Loom, OnLoom};
use crate::say;
use crate::station::loom::lamp_ui;
use crate::window::ask_ui;

/// Draw the panel.
pub(crate) fn loom_woven_ui(ui: &mut Ui, loom: &mut Loom, job: Option<&Path>, colors: &Palette, asked: &mut Vec<Command>) {
    ui.label(look::heading(say::LOOM));
    state_ui(ui, loom, colors, asked);
    accept_ui(ui, loom, job, colors, asked);
    egui::ScrollArea::vertical().id_salt("woven").auto_shrink(false).show(ui, |ui| {
        if let Some(trouble) = &loom.trouble {
            ui.add(egui::Label::new(RichText::new(say::sentence(&trouble.what)).color(colors.madder)).wrap());
            ui.add(egui::Label::new(look::plain(&trouble.next, colors)).wrap());
        }
        if !loom.is_lit {
            lamp_ui(ui, loom, colors, asked);
            ui.add_space(NEAR);
        }
        let Some((_, woven)) = loom.woven.clone() else { return };
        Grid::new("woven facts").num_columns(2).spacing([12.0, 4.0]).show(ui, |ui| {
            for (what, value) in say::woven_facts(&woven) {
                ui.label(look::quiet(what, colors));
                ui.add(egui::Label::new(value).wrap());
                ui.end_row();
            }
        });
        for note in &woven.notes {
            ui.add(egui::Label::new(look::warning(&say::sentence(&note.text), colors)).wrap());
        }
    });
}

/// What goes on: at work, stopped, or as it will be.
fn state_ui(ui: &mut Ui, loom: &Loom, colors: &Palette, asked: &mut Vec<Command>) {
    ui.horizontal(|ui| {
        ui.set_min_height(ui.spacing().interact_size.y);
        if !loom.is_resting() {
            ask_ui(ui, say::STOP, Command::Loom(OnLoom::Stop), asked);
            let text = loom.progress.as_ref().map(|(stage, share)| say::progress(stage, *share));
            ui.label(look::quiet(text.as_deref().unwrap_or(say::WEAVING), colors));
        } else if loom.is_stopped {
            ask_ui(ui, say::WEAVE_AGAIN, Command::Loom(OnLoom::Again), asked);
            ui.label(look::quiet(say::STOPPED, colors));
        } else if loom.woven().is_some_and(|woven| woven.is_whole) {
            ui.label(look::quiet(say::WOVEN_WHOLE, colors));
        } else if loom.woven.is_some() {
            ui.label(look::quiet(say::WOVEN_BEFORE, colors));
        }
    });
}

/// The name and the button, at the foot of the panel whatever stands above.
fn accept_ui(ui: &mut Ui, loom: &mut Loom, job: Option<&Path>, colors: &Palette, asked: &mut Vec<Command>) {
    egui::Panel::bottom("accept woven").resizable(false).show_separator_line(true).frame(egui::Frame::new()).show(ui, |ui| {
        ui.add_space(APART);
        said_ui(ui, loom, job, colors, asked);
        ui.horizontal(|ui| {
            let field = ui.add(TextEdit::singleline(&mut loom.name).desired_width(ui.available_width() - 104.0));
            named(&field, Role::TextInput, say::PATCH_NAME);
            if field.changed() {
                loom.is_usual_name = false;
                loom.taken = false;
                loom.accept_trouble = None;
            }
            let can = is_name(&loom.name) && loom.limit().is_ok() && loom.trouble.is_none() && !loom.is_accepting();
            let button = Button::new(RichText::new(say::ACCEPT).color(if can { colors.on_thread } else { colors.quiet }));
            let button = if can { button.fill(colors.thread) } else { button };
            if ui.add_enabled(can, button).on_hover_text(look::plain(say::WEAVE_ACCEPT_TIP, colors)).clicked() {
                asked.push(Command::Loom(OnLoom::Accept(Existing::Stays)));
            }
        });
    });
}

/// What came of accepting, or what it would do.
fn said_ui(ui: &mut Ui, loom: &Loom, job: Option<&Path>, colors: &Palette, asked: &mut Vec<Command>) {
    if loom.is_accepting() {
        ui.label(look::quiet(say::ACCEPTING, colors));
    } else if let Some(trouble) = &loom.accept_trouble {
        ui.add(egui::Label::new(RichText::new(say::sentence(&trouble.what)).color(colors.madder)).wrap());
        if loom.taken {
            ask_ui(ui, say::REPLACE, Command::Loom(OnLoom::Accept(Existing::Replaced)), asked);
        } else {
            ui.add(egui::Label::new(look::plain(&trouble.next, colors)).wrap());
        }
    } else if let Some(said) = loom.said.as_ref().filter(|_| loom.is_accepted()) {
        ui.add(egui::Label::new(RichText::new(said).color(colors.moss)).wrap());
    } else if !is_name(&loom.name) {
        ui.add(egui::Label::new(RichText::new(say::NO_NAME).color(colors.madder)).wrap());
    } else {
        let folder = loom.folder(job);
        let whole = folder.display().to_string();
        ui.add(egui::Label::new(look::quiet(&say::becomes(&folder), colors)).wrap()).on_hover_text(whole);
    }
}
