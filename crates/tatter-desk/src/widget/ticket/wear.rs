//! The ticket of a mark of wear.

use egui::{ComboBox, PopupCloseBehavior, Role, Ui};
use tatter_core::channel::Channel;
use tatter_core::model::{Wear, WearKind};
use tatter_core::units::Mm;

use super::place::{Place, place_ui};
use super::scatter::seed_ui;
use super::{row_ui, section_ui};
use crate::command::{Command, OnWear};
use crate::look::{self, Palette};
use crate::open::Open;
use crate::say;
use crate::wearing::chosen;
use crate::widget::fields::{Handled, Measure, choice_ui, number_ui, percent_ui, tick_ui};
use crate::widget::named;

/// Ecru and road dust, as colours begin that are told by hand: what is usual.
const ECRU: [u8; 3] = [0xDA, 0xD0, 0xBC];
const DUST: [u8; 3] = [0x8A, 0x7A, 0x64];

/// Draw it; whether a mark is taken up.
pub(super) fn wear_ui(ui: &mut Ui, open: &Open, colors: &Palette, asked: &mut Vec<Command>) -> bool {
    let Some(mut mark) = chosen(open).cloned() else { return false };
    ui.add(egui::Label::new(look::heading(&mark.id)).truncate());
    ui.add(egui::Label::new(look::quiet(say::wear_tip(mark.kind), colors)).wrap());
    if !mark.has_place() {
        ui.add(egui::Label::new(look::warning(say::CHALK_FIRST, colors)).wrap());
    }
    let mut handled = Handled::default();
    section_ui(ui, say::WHAT, "", colors);
    what_ui(ui, &mut mark, colors, &mut handled);
    let place = Place {
        only: &mut mark.only,
        keep_off: &mut mark.keep_off,
        density: &mut mark.density,
        along: &mark.along,
        spread: &mut mark.spread,
    };
    place_ui(ui, open, place, colors, &mut handled, asked);
    let boxed = || Box::new(mark.clone());
    handled.ask(asked, || Command::Wear(OnWear::Drag(boxed())), || Command::Wear(OnWear::Change(boxed())));
    true
}

fn what_ui(ui: &mut Ui, mark: &mut Wear, colors: &Palette, handled: &mut Handled) {
    row_ui(ui, say::KIND, "", colors, |ui| choice_ui(ui, &mut mark.kind, &say::KINDS, say::KIND, 110.0, handled));
    row_ui(ui, say::STRENGTH, say::STRENGTH_TIP, colors, |ui| percent_ui(ui, &mut mark.strength, say::STRENGTH, handled));
    row_ui(ui, say::UNEVEN, say::UNEVEN_TIP, colors, |ui| percent_ui(ui, &mut mark.uneven, say::UNEVEN, handled));
    let blotch = Measure { range: 0.5..=2000.0, ..Measure::MM };
    row_ui(ui, say::BLOTCH, say::BLOTCH_TIP, colors, |ui| number_ui(ui, &mut mark.blotch.0, &blotch, say::BLOTCH, handled));
    row_ui(ui, say::SEED, say::SEED_TIP, colors, |ui| seed_ui(ui, &mut mark.seed, handled));
    let pucker = &mut mark.pucker.0;
    row_ui(ui, say::PUCKER, say::PUCKER_TIP, colors, |ui| number_ui(ui, pucker, &Measure::MM, say::PUCKER, handled));
    row_ui(ui, say::RAISE, say::RAISE_TIP, colors, |ui| raise_ui(ui, mark, handled));
    let (color, label, tip, usual) = if mark.kind == WearKind::Grime {
        (&mut mark.color, say::DIRT, say::DIRT_TIP, DUST)
    } else {
        (&mut mark.fibre, say::FIBRE, say::FIBRE_TIP, ECRU)
    };
    row_ui(ui, label, tip, colors, |ui| color_ui(ui, color, label, usual, handled));
    row_ui(ui, say::LEAVES, say::LEAVES_TIP, colors, |ui| leaves_ui(ui, &mut mark.keep, handled));
}

/// What it adds to the height of the cloth, or what is usual.
fn raise_ui(ui: &mut Ui, mark: &mut Wear, handled: &mut Handled) {
    let mut height = mark.height.unwrap_or(mark.kind.usual_height()).get();
    let measure = Measure { range: -5.0..=5.0, speed: 0.005, decimals: 2, unit: " mm" };
    if number_ui(ui, &mut height, &measure, say::RAISE, handled).changed() {
        mark.height = Some(Mm(height));
    }
    if mark.height.is_some() && ui.small_button(say::USUAL).clicked() {
        mark.height = None;
        handled.set();
    }
}

/// A colour of its own, or the usual one.
fn color_ui(ui: &mut Ui, color: &mut Option<[u8; 3]>, label: &str, usual: [u8; 3], handled: &mut Handled) {
    let mut codes = color.unwrap_or(usual);
    let response = ui.color_edit_button_srgb(&mut codes);
    named(&response, Role::ColorWell, label);
    handled.note(&response);
    if response.changed() {
        *color = Some(codes);
    }
    match color {
        None => drop(ui.label(say::USUAL)),
        Some(_) => {
            if ui.small_button(say::USUAL).clicked() {
                *color = None;
                handled.set();
            }
        }
    }
}

/// The channels it leaves alone, in a list that opens.
fn leaves_ui(ui: &mut Ui, keep: &mut Vec<Channel>, handled: &mut Handled) {
    let names: Vec<String> = keep.iter().map(|channel| say::channel(*channel)).collect();
    let shown = if names.is_empty() { say::LEAVES_NONE.to_owned() } else { names.join(", ") };
    let width = ui.available_width();
    let list = ComboBox::from_id_salt("leaves alone")
        .selected_text(shown)
        .truncate()
        .width(width)
        .close_behavior(PopupCloseBehavior::CloseOnClickOutside)
        .show_ui(ui, |ui| {
            for channel in Channel::ALL.into_iter().filter(|channel| channel.info().on_garment) {
                let mut is_kept = keep.contains(&channel);
                if tick_ui(ui, &mut is_kept, &say::channel(channel), handled).changed() {
                    keep.retain(|known| *known != channel);
                    keep.extend(is_kept.then_some(channel));
                }
            }
        });
    named(&list.response, Role::ComboBox, say::LEAVES);
}
