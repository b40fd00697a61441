//! Where there is more of something: what scatters and wear share.

use egui::{ComboBox, PopupCloseBehavior, Role, Ui};
use tatter_core::model::{Density, Facing};
use tatter_core::units::Mm;

use super::{row_ui, section_ui};
use crate::command::{Command, OnLine};
use crate::look::{self, Icon, Palette, icon_button_ui};
use crate::open::Open;
use crate::say;
use crate::start::{OnStart, Wanted};
use crate::widget::fields::{Handled, Measure, choice_ui, number_ui, percent_ui, tick_ui};
use crate::widget::named;

/// What a rule or a mark says of where.
pub(super) struct Place<'a> {
    pub(super) only: &'a mut Vec<String>,
    pub(super) keep_off: &'a mut Vec<String>,
    pub(super) density: &'a mut Vec<Density>,
    pub(super) along: &'a [[f32; 2]],
    pub(super) spread: &'a mut Mm,
}

/// What is ticked, as it begins: of the size of hems, elbows and folds of a worn garment.
const USUAL: [Density; 7] = [
    Density::Edges(Mm(12.0)),
    Density::Seams(Mm(15.0)),
    Density::Bends(Mm(60.0)),
    Density::Bulges(Mm(60.0)),
    Density::Hollows(Mm(40.0)),
    Density::Height([0.0, 0.4]),
    Density::Facing(Facing::Up),
];

/// Draw all of it.
pub(super) fn place_ui(
    ui: &mut Ui,
    open: &Open,
    mut place: Place<'_>,
    colors: &Palette,
    handled: &mut Handled,
    asked: &mut Vec<Command>,
) {
    section_ui(ui, say::WHERE, say::WHERE_TIP, colors);
    for usual in USUAL {
        density_ui(ui, place.density, usual, handled);
    }
    picture_ui(ui, place.density, colors, handled, asked);
    line_ui(ui, open, &mut place, colors, handled, asked);
    let cloths = open.form().map(|form| form.cloths()).unwrap_or_default();
    if cloths.len() > 1 {
        row_ui(ui, say::ONLY, "", colors, |ui| cloths_ui(ui, place.only, &cloths, say::ONLY, say::ONLY_ALL, handled));
        row_ui(ui, say::KEEP_OFF, "", colors, |ui| {
            cloths_ui(ui, place.keep_off, &cloths, say::KEEP_OFF, say::KEEP_OFF_NONE, handled);
        });
    }
}

/// One thing to tick, and its numbers where it is ticked.
fn density_ui(ui: &mut Ui, all: &mut Vec<Density>, usual: Density, handled: &mut Handled) {
    let name = usual.name();
    let (label, tip) = say::density(name);
    ui.horizontal(|ui| {
        let at = all.iter().position(|density| density.name() == name);
        let mut is_on = at.is_some();
        tick_ui(ui, &mut is_on, label, handled).on_hover_text(tip);
        match at {
            None if is_on => all.push(usual),
            Some(at) if !is_on => drop(all.remove(at)),
            Some(at) => numbers_ui(ui, &mut all[at], label, handled),
            None => {}
        }
    });
}

fn numbers_ui(ui: &mut Ui, density: &mut Density, label: &str, handled: &mut Handled) {
    match density {
        Density::Edges(mm) | Density::Seams(mm) | Density::Bends(mm) | Density::Bulges(mm) | Density::Hollows(mm) => {
            let measure = Measure { range: 0.5..=2000.0, ..Measure::MM };
            number_ui(ui, &mut mm.0, &measure, &say::in_mm(label), handled);
        }
        Density::Height([most, none]) => {
            percent_ui(ui, most, &format!("{label}, {}", say::HEIGHT_MOST), handled).on_hover_text(say::HEIGHT_MOST);
            percent_ui(ui, none, &format!("{label}, {}", say::HEIGHT_NONE), handled).on_hover_text(say::HEIGHT_NONE);
        }
        Density::Facing(way) => drop(choice_ui(ui, way, &say::FACINGS, label, 70.0, handled)),
        Density::Picture(_) => {}
    }
}

/// The picture that says where there is more, or the way to one.
fn picture_ui(ui: &mut Ui, all: &mut Vec<Density>, colors: &Palette, handled: &mut Handled, asked: &mut Vec<Command>) {
    let found = all.iter().enumerate().find_map(|(at, density)| match density {
        Density::Picture(path) => Some((at, path.clone())),
        _ => None,
    });
    row_ui(ui, say::PICTURE, say::density("picture").1, colors, |ui| {
        if let Some((at, path)) = found {
            if icon_button_ui(ui, Icon::Remove, &format!("{} {path}", say::REMOVE), say::REMOVE, false, true).clicked() {
                all.remove(at);
                handled.set();
            }
            ui.add(egui::Label::new(&path).truncate());
        } else if ui.button(say::CHOOSE_PICTURE).on_hover_text(say::CHOOSE_PICTURE_TIP).clicked() {
            asked.push(Command::Start(OnStart::Choose(Wanted::Density)));
        }
    });
}

fn line_ui(ui: &mut Ui, open: &Open, place: &mut Place<'_>, colors: &Palette, handled: &mut Handled, asked: &mut Vec<Command>) {
    row_ui(ui, say::LINE, "", colors, |ui| {
        let label = if open.chalk { say::CHALK_DOWN } else { say::CHALK };
        let text = egui::RichText::new(label).color(if open.chalk { colors.on_thread } else { colors.ink });
        if ui.add(egui::Button::new(text).selected(open.chalk)).clicked() {
            asked.push(Command::Line(OnLine::Chalk(!open.chalk)));
        }
        if !place.along.is_empty() {
            ui.label(say::corners(place.along.len()));
        }
    });
    if open.chalk {
        ui.add(egui::Label::new(look::quiet(say::CHALK_HINT, colors)).wrap());
    }
    if place.along.is_empty() {
        return;
    }
    row_ui(ui, say::SPREAD, say::SPREAD_TIP, colors, |ui| {
        let measure = Measure { range: 0.5..=2000.0, ..Measure::MM };
        number_ui(ui, &mut place.spread.0, &measure, say::SPREAD, handled);
    });
    ui.horizontal(|ui| {
        for (label, what) in [(say::SHORTEN, OnLine::Shorten), (say::CLEAR_LINE, OnLine::Clear)] {
            if ui.button(label).clicked() {
                asked.push(Command::Line(what));
            }
        }
    });
}

/// Parts and materials in a list that opens, each to be ticked.
fn cloths_ui(ui: &mut Ui, names: &mut Vec<String>, all: &[&str], about: &str, none: &str, handled: &mut Handled) {
    let shown = if names.is_empty() { none.to_owned() } else { names.join(", ") };
    let width = ui.available_width();
    let list = ComboBox::from_id_salt(about)
        .selected_text(shown)
        .truncate()
        .width(width)
        .close_behavior(PopupCloseBehavior::CloseOnClickOutside)
        .show_ui(ui, |ui| {
            for name in all {
                let mut is_on = names.iter().any(|known| known == name);
                if tick_ui(ui, &mut is_on, name, handled).changed() {
                    names.retain(|known| known != name);
                    names.extend(is_on.then(|| (*name).to_owned()));
                }
            }
        });
    named(&list.response, Role::ComboBox, about);
}
