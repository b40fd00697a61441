//! The delivery: what changes in which file, what is wrong, the proof before and after, and the one button.

use egui::{CentralPanel, Frame, Grid, Panel, ScrollArea, Ui};
use tatter::deliver::{Foreign, Foreseen, Standing};

use crate::command::Command;
use crate::look::{self, APART, NEAR, Palette, palette, sheet_frame};
use crate::open::Open;
use crate::say;
use crate::widget::slider::slider_ui;
use crate::window::ask_ui;

/// Draw the station.
pub(crate) fn delivery_ui(ui: &mut Ui, open: &mut Open, asked: &mut Vec<Command>) {
    let colors = palette(ui);
    Panel::bottom("files").default_size(300.0).min_size(130.0).frame(sheet_frame(&colors)).show(ui, |ui| {
        // As high as the person made it, whatever it holds so far.
        ui.set_min_height(ui.available_height());
        ui.horizontal(|ui| {
            ui.label(look::heading(say::DELIVERY));
            ui.add_space(APART);
            buttons_ui(ui, open, &colors, asked);
        });
        ui.horizontal_wrapped(|ui| said_ui(ui, open, &colors));
        ui.add_space(NEAR);
        table_ui(ui, open, &colors);
    });
    CentralPanel::default().frame(Frame::new()).show(ui, |ui| slider_ui(ui, open, asked));
}

fn buttons_ui(ui: &mut Ui, open: &Open, colors: &Palette, asked: &mut Vec<Command>) {
    let busy = open.work.is_busy();
    let foreign = foreseen(open).is_some_and(|found| found.files.iter().any(|file| file.standing == Standing::Changed));
    let deliver = egui::Button::new(egui::RichText::new(say::DELIVER).color(colors.on_thread)).fill(colors.thread);
    if foreign {
        for (label, what) in [(say::ADOPT, Foreign::Adopt), (say::LEAVE, Foreign::Leave)] {
            if ui.add_enabled(!busy, egui::Button::new(label)).clicked() {
                asked.push(Command::Deliver(what));
            }
        }
    } else if ui.add_enabled(!busy, deliver).on_hover_text(say::DELIVER_TIP).clicked() {
        asked.push(Command::Deliver(Foreign::Refuse));
    }
    if ui.add_enabled(!busy, egui::Button::new(say::PUT_BACK)).on_hover_text(say::PUT_BACK_TIP).clicked() {
        asked.push(Command::PutBack);
    }
    let count = open.job().variations.len();
    if count > 0 {
        let mut with = open.outlook.with_variations;
        if ui
            .add_enabled(!busy, egui::Checkbox::new(&mut with, say::with_variations(count)))
            .on_hover_text(say::VARIATIONS_TIP)
            .changed()
        {
            asked.push(Command::WithVariations(with));
        }
    }
    if busy {
        ask_ui(ui, say::STOP, Command::Stop, asked);
    } else {
        ask_ui(ui, say::LOOK_OVER, Command::LookOver, asked);
    }
}

/// What is under way, went wrong, or was done.
fn said_ui(ui: &mut Ui, open: &Open, colors: &Palette) {
    let busy = open.work.is_busy();
    let outlook = &open.outlook;
    if busy {
        let text =
            outlook.progress.as_ref().map_or_else(|| say::LOOKING_OVER.to_owned(), |(stage, share)| say::progress(stage, *share));
        ui.label(look::quiet(&text, colors));
    } else if let Some(trouble) = &outlook.trouble {
        ui.colored_label(colors.madder, &trouble.what);
        ui.label(look::plain(&trouble.next, colors));
    } else if let Some(said) = &outlook.said {
        ui.colored_label(colors.moss, said);
    } else {
        ui.label(look::quiet(say::DELIVER_TIP, colors));
    }
}

/// What a delivery would do, as far as it is known of some state of the job.
fn foreseen(open: &Open) -> Option<&Foreseen> {
    open.outlook.foreseen.as_ref().and_then(|(_, found)| found.as_ref().ok())
}

fn table_ui(ui: &mut Ui, open: &Open, colors: &Palette) {
    if open.job().placements.is_empty() && open.job().wear.is_empty() {
        ui.label(look::quiet(say::DELIVERY_EMPTY, colors));
        return;
    }
    match &open.outlook.foreseen {
        None => drop(ui.label(look::quiet(say::LOOKING_OVER, colors))),
        Some((_, Err(trouble))) => {
            ui.colored_label(colors.madder, &trouble.what);
            ui.label(look::plain(&trouble.next, colors));
        }
        Some((_, Ok(found))) => {
            ScrollArea::both().id_salt("files").auto_shrink(false).show(ui, |ui| files_ui(ui, found, colors));
        }
    }
}

fn files_ui(ui: &mut Ui, found: &Foreseen, colors: &Palette) {
    let belongs =
        |place: &str, target: &str| target.ends_with(place) || place.ends_with(target.rsplit('/').next().unwrap_or(target));
    Grid::new("files").num_columns(say::DELIVERY_HEAD.len()).striped(true).spacing([18.0, 7.0]).show(ui, |ui| {
        for (at, (title, tip)) in say::DELIVERY_HEAD.into_iter().enumerate() {
            let tip = look::plain(tip, colors);
            cell_ui(ui, at == 0, |ui| drop(ui.label(look::quiet(title, colors)).on_hover_text(tip)));
        }
        ui.end_row();
        for file in &found.files {
            let name = file.target.rsplit('/').next().unwrap_or(&file.target);
            cell_ui(ui, true, |ui| drop(ui.label(look::name(name)).on_hover_text(&file.target)));
            let channels: Vec<String> = file.channels.iter().map(ToString::to_string).collect();
            ui.label(channels.join(", ").replace('_', " "));
            let (word, color) = standing(file.standing, colors);
            ui.label(egui::RichText::new(format!("{word}, {} × {}", file.size.width, file.size.height)).color(color));
            ui.label(say::texels(file.texels_changed, file.size.area()));
            let faults: Vec<_> = found.faults.iter().filter(|fault| belongs(&fault.place, &file.target)).collect();
            match faults[..] {
                [] => drop(ui.label(look::quiet(say::NO_FAULTS, colors))),
                _ => {
                    ui.vertical(|ui| faults.iter().for_each(|fault| fault_ui(ui, fault, colors)));
                }
            }
            ui.end_row();
        }
    });
    let elsewhere: Vec<_> =
        found.faults.iter().filter(|fault| !found.files.iter().any(|file| belongs(&fault.place, &file.target))).collect();
    if !elsewhere.is_empty() {
        ui.add_space(APART);
        ui.label(look::name(say::FAULTS));
        for fault in elsewhere {
            fault_ui(ui, fault, colors);
        }
    }
}

/// A cell; the first of a row stands in from the edge of its stripe.
fn cell_ui(ui: &mut Ui, is_first: bool, add: impl FnOnce(&mut Ui)) {
    if is_first {
        ui.horizontal(|ui| {
            ui.add_space(NEAR);
            add(ui);
        });
    } else {
        add(ui);
    }
}

fn fault_ui(ui: &mut Ui, fault: &tatter::check::Fault, colors: &Palette) {
    ui.add(egui::Label::new(look::warning(&say::at_the_desk(&say::fault(&fault.place, &fault.what)), colors)).wrap());
    ui.add(egui::Label::new(look::quiet(&say::at_the_desk(&say::sentence(&fault.remedy)), colors)).wrap());
    ui.add_space(NEAR);
}

const fn standing(standing: Standing, colors: &Palette) -> (&'static str, egui::Color32) {
    match standing {
        Standing::Pristine => ("pristine", colors.ink),
        Standing::Delivered => ("delivered", colors.moss),
        Standing::Changed => ("changed by somebody", colors.weld),
        Standing::Missing => ("missing", colors.madder),
        Standing::Free => ("new", colors.ink),
    }
}
