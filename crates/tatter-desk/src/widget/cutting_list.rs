//! The cutting list: every placement with its numbers, to be read and changed.

use egui::{Grid, ScrollArea, Ui};
use tatter::history::Edit;
use tatter::library::Card;
use tatter_core::angle::Angle;
use tatter_core::channel::Channel;
use tatter_core::model::{MatchMode, Placement};

use super::WHOLE;
use super::fields::{Handled, Measure, number_ui, percent_ui};
use super::handles::{with_side, wrapped};
use crate::command::Command;
use crate::look::{self, Icon, Palette, icon_button_ui, palette};
use crate::open::Open;
use crate::say;

/// Draw the list.
pub(crate) fn cutting_list_ui(ui: &mut Ui, open: &mut Open, asked: &mut Vec<Command>) {
    let colors = palette(ui);
    if open.job().placements.is_empty() {
        ui.label(look::quiet(say::LIST_EMPTY, &colors));
        return;
    }
    let job = std::sync::Arc::clone(open.job());
    ScrollArea::both().id_salt("cutting list").auto_shrink(false).show(ui, |ui| {
        Grid::new("cutting list").num_columns(say::LIST_HEAD.len() + 1).striped(true).spacing([18.0, 6.0]).show(ui, |ui| {
            for (title, tip) in say::LIST_HEAD {
                let label = ui.label(look::quiet(title, &colors));
                if !tip.is_empty() {
                    label.on_hover_text(look::plain(tip, &colors));
                }
            }
            ui.end_row();
            for placement in &job.placements {
                row_ui(ui, open, placement, &colors, asked);
                ui.end_row();
            }
        });
    });
}

fn row_ui(ui: &mut Ui, open: &mut Open, placement: &Placement, colors: &Palette, asked: &mut Vec<Command>) {
    let id = &placement.id;
    thumb_ui(ui, open, placement);
    let is_selected = open.selected() == Some(id.as_str());
    let text = if is_selected { look::name(id).color(colors.on_thread) } else { look::name(id) };
    let label = ui.selectable_label(is_selected, text);
    // What was just selected on the garment is brought into sight.
    if is_selected && !std::mem::replace(&mut open.in_sight, true) {
        label.scroll_to_me(None);
    }
    if label.clicked() {
        asked.push(Command::Select((!is_selected).then(|| id.clone())));
    }
    ui.label(&placement.patch);
    place_ui(ui, open, placement, colors);
    side_ui(ui, open, placement, asked);
    turn_ui(ui, placement, asked);
    let mirrored = icon_button_ui(ui, Icon::Mirror, &format!("Mirror {id}"), say::LIST_HEAD[6].1, placement.mirror, true);
    if mirrored.clicked() {
        asked.push(change(Placement { mirror: !placement.mirror, ..placement.clone() }));
    }
    match_ui(ui, placement, asked);
    let rules = rules(placement);
    ui.label(look::quiet(&rules, colors)).on_hover_text(look::plain(say::LIST_HEAD[8].1, colors));
    if icon_button_ui(ui, Icon::Remove, &format!("{} {id}", say::REMOVE), say::REMOVE, false, true).clicked() {
        asked.push(Command::Make(Edit::Remove(id.clone())));
    }
}

fn change(placement: Placement) -> Command {
    Command::Make(Edit::Change(Box::new(placement)))
}

fn thumb_ui(ui: &mut Ui, open: &mut Open, placement: &Placement) {
    let side = ui.spacing().interact_size.y;
    let (rect, _) = ui.allocate_exact_size(egui::Vec2::splat(side), egui::Sense::hover());
    let Some(card) = open.card_of(&placement.patch).cloned() else { return };
    paint_thumb(ui, open, &card, rect);
}

/// The thumbnail of a patch.
pub(crate) fn paint_thumb(ui: &Ui, open: &mut Open, card: &Card, rect: egui::Rect) {
    if let Some(texture) = open.shelf.thumb(ui.ctx(), card) {
        ui.painter().image(texture.id(), rect, WHOLE, egui::Color32::WHITE);
    }
}

fn place_ui(ui: &mut Ui, open: &Open, placement: &Placement, colors: &Palette) {
    match open.lies.get(&placement.id) {
        Some((_, Ok(lie))) => {
            let sheet =
                open.form.as_ref().and_then(|form| form.sheets().get(lie.flat_middle.0)).map_or("", |sheet| sheet.name.as_str());
            let place = lie.flat_middle.1;
            ui.label(say::lies_at(sheet, place.x, place.y));
        }
        Some((_, Err(trouble))) => {
            ui.colored_label(colors.madder, say::NOWHERE).on_hover_text(format!("{} {}", trouble.what, trouble.next));
        }
        None => drop(ui.label("")),
    }
}

fn side_ui(ui: &mut Ui, open: &Open, placement: &Placement, asked: &mut Vec<Command>) {
    let Some((form, lie)) = open.form.as_ref().zip(open.lie(&placement.id)) else { return drop(ui.label("")) };
    let [least, most] = form.sizes().map(|mm| mm.get());
    let mut side = lie.side.get();
    let speed = 0.01 * side.max(1.0);
    ui.horizontal(|ui| {
        let measure = Measure { range: least..=most, speed, decimals: 1, unit: "" };
        let mut handled = Handled::default();
        number_ui(ui, &mut side, &measure, &format!("Side of {} in millimetres", placement.id), &mut handled);
        changed(handled, asked, || with_side(placement, form, side));
        if placement.size.is_some() && ui.small_button(say::OWN_SIZE).on_hover_text(say::OWN_SIZE_TIP).clicked() {
            asked.push(change(Placement { size: None, ..placement.clone() }));
        }
    });
}

fn turn_ui(ui: &mut Ui, placement: &Placement, asked: &mut Vec<Command>) {
    let mut turn = placement.turn.to_degrees();
    let measure = Measure { range: f32::MIN..=f32::MAX, decimals: 1, unit: "", ..Measure::DEGREES };
    let mut handled = Handled::default();
    number_ui(ui, &mut turn, &measure, &format!("Turn of {} in degrees", placement.id), &mut handled);
    changed(handled, asked, || Placement { turn: wrapped(Angle::degrees(turn)), ..placement.clone() });
}

fn match_ui(ui: &mut Ui, placement: &Placement, asked: &mut Vec<Command>) {
    if placement.matching.mode == Some(MatchMode::None) {
        ui.label(MatchMode::None.name());
        return;
    }
    let mut strength = placement.matching.strength;
    let mut handled = Handled::default();
    percent_ui(ui, &mut strength, &format!("Match of {} in percent", placement.id), &mut handled);
    changed(handled, asked, || {
        let mut changed = placement.clone();
        changed.matching.strength = strength;
        changed
    });
}

/// Ask for a placement as its numbers are now.
pub(crate) fn changed(handled: Handled, asked: &mut Vec<Command>, placement: impl Fn() -> Placement) {
    let edit = || Edit::Change(Box::new(placement()));
    handled.ask(asked, || Command::Drag(edit()), || Command::Make(edit()));
}

/// The rules that differ from the defaults, in words.
fn rules(placement: &Placement) -> String {
    let told = Channel::ALL.into_iter().filter_map(|channel| Some((channel, placement.rules[channel]?)));
    let words: Vec<String> = told
        .map(|(channel, rule)| {
            let strength = if rule.strength == 1.0 { String::new() } else { format!(" {:.0} %", 100.0 * rule.strength) };
            format!("{channel} {}{strength}", rule.rule.name())
        })
        .collect();
    if words.is_empty() { say::RULES_USUAL.to_owned() } else { words.join(", ") }
}
