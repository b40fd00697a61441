//! The patch: the patches at hand on the left, one map large with the others in a strip, the swatch under its lamp and the numbers on the right.

use egui::{CentralPanel, Frame, Panel, Ui};

use crate::bench::{Bench, OnPatch};
use crate::command::{Command, Station};
use crate::elsewhere::Folders;
use crate::look::{self, NEAR, THUMB, palette, sheet_frame};
use crate::loom::OnLoom;
use crate::say;
use crate::shelf::Shelf;
use crate::widget::drawer::{card_ui, folders_ui, sought_ui};
use crate::widget::map_view::{map_strip_ui, map_view_ui};
use crate::widget::swatch::swatch_ui;

/// What lies at the station.
pub(crate) struct Lying<'a> {
    pub(crate) bench: &'a mut Bench,
    pub(crate) shelf: &'a mut Shelf,
    pub(crate) folders: &'a Folders,
}

/// Draw the station; a patch can be taken to the garment when there is one.
pub(crate) fn patch_ui(ui: &mut Ui, lying: Lying<'_>, has_garment: bool, asked: &mut Vec<Command>) {
    let Lying { bench, shelf, folders } = lying;
    let colors = palette(ui);
    let frame = sheet_frame(&colors);
    bench.settle(shelf.cards.iter().map(|card| &card.folder));
    Panel::left("patches").exact_size(THUMB + 92.0).resizable(false).frame(frame).show(ui, |ui| {
        ui.label(look::heading(say::DRAWER));
        let loom = ui.button(say::TO_LOOM).on_hover_text(say::TO_LOOM_TIP);
        if loom.clicked() {
            asked.push(Command::Loom(OnLoom::Up(true)));
        }
        if shelf.cards.is_empty() {
            ui.label(look::quiet(say::DRAWER_EMPTY, &colors));
        }
        ui.add_space(NEAR);
        folders_ui(ui, folders, &colors, asked);
        let found = sought_ui(ui, shelf, &colors);
        egui::ScrollArea::vertical().id_salt("patches").auto_shrink(false).show(ui, |ui| {
            shelf.show(found, |shelf, card| {
                let is_chosen = bench.folder() == Some(&card.folder);
                if card_ui(ui, shelf, card, is_chosen, &colors).clicked() && !is_chosen {
                    asked.push(Command::Patch(OnPatch::Choose(card.folder.clone())));
                }
            });
        });
    });
    if bench.folder().is_none() {
        return;
    }
    Panel::right("swatch")
        .default_size((0.25 * ui.available_width()).clamp(240.0, 330.0))
        .min_size(220.0)
        .max_size(560.0)
        .frame(frame)
        .show(ui, |ui| {
            about_ui(ui, bench, has_garment, &colors, asked);
        });
    Panel::bottom("maps").resizable(false).frame(frame).show(ui, |ui| {
        let chosen = Some(bench.channel);
        map_strip_ui(ui, bench, chosen, &colors, asked);
    });
    CentralPanel::default().frame(Frame::new()).show(ui, |ui| map_view_ui(ui, bench, &colors));
}

/// The swatch, the numbers, how each map came, and the way on.
fn about_ui(ui: &mut Ui, bench: &mut Bench, has_garment: bool, colors: &look::Palette, asked: &mut Vec<Command>) {
    let name = bench.folder().map(say::patch_name).unwrap_or_default();
    ui.add(egui::Label::new(look::heading(&name)).truncate());
    if let Some(trouble) = &bench.trouble {
        ui.add(egui::Label::new(egui::RichText::new(&trouble.what).color(colors.madder)).wrap());
        ui.add(egui::Label::new(look::plain(&trouble.next, colors)).wrap());
        return;
    }
    let take =
        egui::Button::new(egui::RichText::new(say::TO_GARMENT).color(if has_garment { colors.on_thread } else { colors.quiet }));
    let take = if has_garment { take.fill(colors.thread) } else { take };
    let tip = if has_garment { say::TO_GARMENT_TIP } else { say::NO_GARMENT_TIP };
    let folder = bench.folder().map(std::path::Path::to_owned);
    if ui.add_enabled(has_garment, take).on_hover_text(tip).on_disabled_hover_text(tip).clicked() {
        asked.push(Command::Take(folder));
        asked.push(Command::Go(Station::Garment));
    }
    ui.add_space(NEAR);
    egui::ScrollArea::vertical().id_salt("about").auto_shrink(false).show(ui, |ui| {
        swatch_ui(ui, bench, colors, asked);
        ui.add_space(NEAR);
        let Some(view) = bench.view.clone() else { return };
        egui::Grid::new("numbers").num_columns(2).spacing([12.0, 4.0]).show(ui, |ui| {
            for (what, value) in say::patch_facts(&view) {
                ui.label(look::quiet(what, colors));
                ui.add(egui::Label::new(value).wrap());
                ui.end_row();
            }
        });
        if view.patch.scale_source == tatter_core::model::ScaleSource::Assumed {
            ui.add(egui::Label::new(egui::RichText::new(say::SIZE_ASSUMED).color(colors.weld)).wrap());
        }
        ui.add_space(NEAR);
        ui.label(look::name(say::HOW_MAPS_CAME));
        for map in &view.maps {
            ui.add(egui::Label::new(look::plain(&say::map_came(map.channel, map.origin), colors)).wrap());
            ui.add(egui::Label::new(look::quiet(&say::sentence(&map.how), colors)).wrap());
        }
    });
}
