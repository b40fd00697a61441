//! The ticket of a scatter: its rule.

use std::path::PathBuf;

use egui::{Sense, Ui, Vec2};
use tatter::library::Card;
use tatter::scatter::{Draft, standing};
use tatter_core::angle::Angle;
use tatter_core::model::{Scatter, Share};

use super::meet::meet_ui;
use super::piece::channels;
use super::place::{Place, place_ui};
use super::{row_ui, section_ui};
use crate::command::{Command, OnScatter};
use crate::look::{self, Icon, Palette, icon_button_ui};
use crate::open::Open;
use crate::say;
use crate::scattering::{chosen, patch_of};
use crate::widget::cutting_list::paint_thumb;
use crate::widget::fields::{Handled, Measure, number_ui, tick_ui};

/// Draw it; whether a scatter is taken up.
pub(super) fn scatter_ui(ui: &mut Ui, open: &mut Open, colors: &Palette, asked: &mut Vec<Command>) -> bool {
    let Some(mut draft) = chosen(open) else { return false };
    ui.add(egui::Label::new(look::heading(&draft.rule.id)).truncate());
    said_ui(ui, open, &draft.rule, colors);
    let mut handled = Handled::default();
    section_ui(ui, say::PATCHES, "", colors);
    patches_ui(ui, open, &mut draft, &mut handled);
    throw_ui(ui, &mut draft.rule, colors, &mut handled);
    let rule = &mut draft.rule;
    let place = Place {
        only: &mut rule.only,
        keep_off: &mut rule.keep_off,
        density: &mut rule.density,
        along: &rule.along,
        spread: &mut rule.spread,
    };
    place_ui(ui, open, place, colors, &mut handled, asked);
    meet_ui(ui, &mut rule.matching, &mut rule.rules, &channels(open), colors, &mut handled);
    let boxed = || Box::new(draft.clone());
    handled.ask(asked, || Command::Scatter(OnScatter::Drag(boxed())), || Command::Scatter(OnScatter::Throw(boxed())));
    true
}

/// How it stands, is under way, or why it yields nothing. As high whatever it says, so that nothing jumps while a number is dragged.
fn said_ui(ui: &mut Ui, open: &Open, rule: &Scatter, colors: &Palette) {
    let scattering = &open.scattering;
    let known = open.job().scatters.iter().find(|known| known.id == rule.id);
    let stands = known.map(|known| say::stands(standing(open.job(), known)));
    if let Some(trouble) = &scattering.trouble {
        ui.add(egui::Label::new(egui::RichText::new(&trouble.what).color(colors.madder)).wrap());
        ui.add(egui::Label::new(look::plain(&trouble.next, colors)).wrap());
    } else {
        ui.label(look::quiet(stands.as_deref().unwrap_or(say::THROWING), colors));
    }
    if let Some((_, text)) = scattering.shortfall.as_ref().filter(|(id, _)| *id == rule.id) {
        ui.add(egui::Label::new(look::warning(text, colors)).wrap());
    }
}

fn patches_ui(ui: &mut Ui, open: &mut Open, draft: &mut Draft, handled: &mut Handled) {
    let mut removed = None;
    let is_one = draft.rule.patches.len() == 1;
    for (number, share) in draft.rule.patches.iter_mut().enumerate() {
        let path = draft.patches.iter().find(|patch| patch.name == share.patch).map(|patch| patch.path.clone());
        let card = path.and_then(|path| open.card_at(&path).cloned());
        ui.horizontal(|ui| {
            thumb_ui(ui, open, card.as_ref());
            let measure = Measure { range: 0.01..=100.0, speed: 0.02, decimals: 2, unit: "" };
            number_ui(ui, &mut share.weight, &measure, &say::weight_of(&share.patch), handled);
            let name = format!("{} {}", say::REMOVE, share.patch);
            if !is_one && icon_button_ui(ui, Icon::Remove, &name, say::REMOVE, false, true).clicked() {
                removed = Some(number);
            }
            ui.add(egui::Label::new(&share.patch).truncate());
        });
    }
    if let Some(number) = removed {
        draft.rule.patches.remove(number);
        handled.set();
    }
    add_ui(ui, open, draft, handled);
}

fn thumb_ui(ui: &mut Ui, open: &mut Open, card: Option<&Card>) {
    let (rect, _) = ui.allocate_exact_size(Vec2::splat(ui.spacing().interact_size.y), Sense::hover());
    if let Some(card) = card {
        paint_thumb(ui, open, card, rect);
    }
}

/// The patches of the drawer that it does not lay yet.
fn add_ui(ui: &mut Ui, open: &mut Open, draft: &mut Draft, handled: &mut Handled) {
    let used = |name: &str| draft.rule.patches.iter().any(|share| share.patch == name);
    let laid = draft.patches.iter().filter(|patch| used(&patch.name)).filter_map(|patch| open.card_at(&patch.path));
    let laid: Vec<PathBuf> = laid.map(|card| card.folder.clone()).collect();
    let is_laid = |card: &Card| laid.contains(&card.folder);
    let others: Vec<Card> = open.shelf.cards.iter().filter(|card| card.canvas.is_ok() && !is_laid(card)).cloned().collect();
    if others.is_empty() {
        return;
    }
    ui.menu_button(say::ADD_PATCH, |ui| {
        for card in &others {
            if ui.button(&card.name).clicked() {
                match patch_of(open, &card.folder) {
                    Ok(patch) => {
                        draft.rule.patches.push(Share { patch: patch.name.clone(), weight: 1.0 });
                        if draft.patches.iter().all(|known| known.name != patch.name) {
                            draft.patches.push(patch);
                        }
                        handled.set();
                    }
                    Err(trouble) => open.trouble = Some(trouble),
                }
                ui.close();
            }
        }
    });
}

/// How many, of which sizes, turned how, how near.
fn throw_ui(ui: &mut Ui, rule: &mut Scatter, colors: &Palette, handled: &mut Handled) {
    section_ui(ui, say::THROW, "", colors);
    row_ui(ui, say::COUNT, "", colors, |ui| {
        let mut count = rule.count as f32;
        let measure = Measure { range: 1.0..=10_000.0, speed: 0.15, decimals: 0, unit: "" };
        if number_ui(ui, &mut count, &measure, say::COUNT, handled).changed() {
            rule.count = count.round() as usize;
        }
    });
    row_ui(ui, say::SEED, say::SEED_TIP, colors, |ui| seed_ui(ui, &mut rule.seed, handled));
    row_ui(ui, say::SIZES, say::SIZES_TIP, colors, |ui| {
        let measure = Measure { range: 0.02..=50.0, speed: 0.005, decimals: 2, unit: " ×" };
        range_ui(ui, &mut rule.scale, &measure, say::SIZES, handled);
    });
    row_ui(ui, say::TURNS, say::TURNS_TIP, colors, |ui| {
        let mut turn = rule.turn.map(Angle::to_degrees);
        range_ui(ui, &mut turn, &Measure::DEGREES, say::TURNS, handled);
        if turn != rule.turn.map(Angle::to_degrees) {
            rule.turn = turn.map(Angle::degrees);
        }
    });
    row_ui(ui, say::MARGIN, say::MARGIN_TIP, colors, |ui| {
        number_ui(ui, &mut rule.margin.0, &Measure::MM, say::MARGIN, handled);
    });
    tick_ui(ui, &mut rule.mirror, say::MIRRORED, handled);
    tick_ui(ui, &mut rule.overlap, say::OVERLAP, handled);
}

/// A seed, and the next one by a press.
pub(super) fn seed_ui(ui: &mut Ui, seed: &mut u64, handled: &mut Handled) {
    let field = egui::DragValue::new(seed).range(0..=u64::from(u32::MAX)).speed(0.1).update_while_editing(false);
    let response = ui.add(field);
    crate::widget::named(&response, egui::Role::SpinButton, say::SEED);
    handled.note(&response);
    if ui.button(say::THROW_AGAIN).clicked() {
        *seed = seed.wrapping_add(1) % u64::from(u32::MAX);
        handled.set();
    }
}

/// Two numbers, of which the first is never more than the second.
fn range_ui(ui: &mut Ui, range: &mut [f32; 2], measure: &Measure, about: &str, handled: &mut Handled) {
    if number_ui(ui, &mut range[0], measure, &format!("{about}, {}", say::LEAST), handled).changed() {
        range[1] = range[1].max(range[0]);
    }
    ui.label("–");
    if number_ui(ui, &mut range[1], measure, &format!("{about}, {}", say::MOST), handled).changed() {
        range[0] = range[0].min(range[1]);
    }
}
