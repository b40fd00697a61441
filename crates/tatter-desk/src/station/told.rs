//! The stations whose work the command line does so far: their true state, and how.

use egui::{Ui, vec2};

use crate::look::{self, APART, NEAR, palette};
use crate::say;
use crate::shelf::Shelf;
use crate::widget::drawer::facts;

/// The patches at hand, with what is known of each.
pub(crate) fn patch_ui(ui: &mut Ui, shelf: &mut Shelf) {
    let colors = palette(ui);
    egui::Frame::new().inner_margin(24.0).show(ui, |ui| {
        ui.label(look::heading(say::PATCH_PAGE));
        let text = if shelf.cards.is_empty() { say::DRAWER_EMPTY } else { say::PATCH_HOW };
        ui.add(egui::Label::new(look::quiet(text, &colors)).wrap());
        ui.add_space(APART);
        let cards = std::mem::take(&mut shelf.cards);
        egui::ScrollArea::vertical().id_salt("patches").auto_shrink(false).show(ui, |ui| {
            let rows = egui::Layout::left_to_right(egui::Align::TOP).with_main_wrap(true);
            ui.with_layout(rows, |ui| {
                ui.spacing_mut().item_spacing = vec2(16.0, 16.0);
                for card in &cards {
                    card_ui(ui, shelf, card, &colors);
                }
            });
        });
        shelf.cards = cards;
    });
}

fn card_ui(ui: &mut Ui, shelf: &mut Shelf, card: &tatter::library::Card, colors: &look::Palette) {
    egui::Frame::new().fill(colors.sheet).corner_radius(6.0).inner_margin(12.0).show(ui, |ui| {
        ui.allocate_ui_with_layout(vec2(220.0, 300.0), egui::Layout::top_down(egui::Align::Min), |ui| {
            let (rect, _) = ui.allocate_exact_size(vec2(220.0, 220.0), egui::Sense::hover());
            if let Some(texture) = shelf.thumb(ui.ctx(), card) {
                let whole = egui::Rect::from_min_max(egui::pos2(0.0, 0.0), egui::pos2(1.0, 1.0));
                ui.painter().image(texture.id(), rect, whole, egui::Color32::WHITE);
            }
            ui.add_space(NEAR);
            ui.label(look::name(&card.name));
            match facts(card) {
                Ok(text) => {
                    ui.label(look::quiet(&format!("{}, {text}", card.subject.name()), colors));
                    ui.label(look::quiet(&format!("scale: {}", card.scale.name().replace('-', " ")), colors));
                }
                Err(why) => drop(ui.colored_label(colors.madder, why)),
            }
        });
    });
}
