//! The cutting list: every placement with its numbers, to be read and changed.

use egui::{Color32, Rect, Ui};
use tatter::history::Edit;
use tatter::library::Card;
use tatter_core::angle::Angle;
use tatter_core::channel::Channel;
use tatter_core::model::{MatchMode, Placement};

use super::WHOLE;
use super::fields::{Handled, Measure, number_ui, percent_ui};
use super::handles::{with_side, wrapped};
use super::rows::{Rows, cell_ui};
use crate::command::Command;
use crate::look::{self, Icon, Palette, icon_button_ui, palette};
use crate::open::Open;
use crate::say;

/// Widest that names and rules are read in.
const NAME: f32 = 180.0;

/// Draw the list.
pub(crate) fn cutting_list_ui(ui: &mut Ui, open: &mut Open, asked: &mut Vec<Command>) {
    let colors = palette(ui);
    if open.job().placements.is_empty() {
        ui.label(look::quiet(say::LIST_EMPTY, &colors));
        return;
    }
    let job = std::sync::Arc::clone(open.job());
    let columns = columns(ui, open);
    let selected = job.placements.iter().position(|placement| open.selected() == Some(placement.id.as_str()));
    // What was just selected on the garment is brought into sight.
    let brought = selected.filter(|_| !std::mem::replace(&mut open.in_sight, true));
    let rows = Rows { name: "cutting list", head: &say::LIST_HEAD, columns: &columns, count: job.placements.len(), brought };
    let id = |number: usize| job.placements[number].id.as_str();
    rows.show(ui, &colors, id, |ui, number| row_ui(ui, open, &job.placements[number], &columns, &colors, asked));
}

/// Widths of the columns, by what is longest in each.
fn columns(ui: &Ui, open: &Open) -> [f32; 10] {
    let job = open.job();
    let font = egui::TextStyle::Body.resolve(ui.style());
    let wide = |text: &str| ui.painter().layout_no_wrap(text.to_owned(), font.clone(), Color32::PLACEHOLDER).size().x;
    // Of names, the one with most letters: laying out each of them would take as long as showing them.
    let longest = |names: &mut dyn Iterator<Item = &str>| names.max_by_key(|name| name.len()).map_or(0.0, wide);
    // Of as many letters some are broader, and names are set in the strong face with a button's space about them.
    let around = 2.0 * ui.spacing().button_padding.x;
    let name = |names: &mut dyn Iterator<Item = &str>| (1.18 * longest(names) + around).clamp(56.0, NAME);
    let sheets = open.form.as_ref().map(|form| form.sheets()).unwrap_or_default();
    let sheet = sheets.iter().map(|sheet| sheet.name.as_str()).max_by_key(|name| name.len()).unwrap_or_default();
    let has = |what: fn(&Placement) -> bool| job.placements.iter().any(what);
    let own = if has(|placement| placement.size.is_some()) { wide(say::OWN_SIZE) + 24.0 } else { 0.0 };
    let ruled = has(|placement| Channel::ALL.into_iter().any(|channel| placement.rules[channel].is_some()));
    let side = ui.spacing().interact_size.y;
    [
        side,
        name(&mut job.placements.iter().map(|placement| placement.id.as_str())),
        name(&mut job.placements.iter().map(|placement| placement.patch.as_str())),
        wide(&say::lies_at(sheet, 0.0, 0.0)).max(wide(say::NOWHERE)),
        wide(say::LIST_HEAD[4].0).max(NUMBER + own),
        wide(say::LIST_HEAD[5].0).max(NUMBER),
        wide(say::LIST_HEAD[6].0),
        wide(say::LIST_HEAD[7].0).max(NUMBER),
        if ruled { NAME } else { wide(say::LIST_HEAD[8].0).max(wide(say::RULES_USUAL)) },
        side,
    ]
}

/// Width of a number that can be dragged: four digits, a point and one more.
const NUMBER: f32 = 64.0;

fn row_ui(ui: &mut Ui, open: &mut Open, placement: &Placement, columns: &[f32; 10], colors: &Palette, asked: &mut Vec<Command>) {
    let [thumb, name, patch, place, side, turn, mirror, matched, ruled, away] = *columns;
    let id = &placement.id;
    cell_ui(ui, thumb, |ui| thumb_ui(ui, open, placement));
    cell_ui(ui, name, |ui| {
        let is_selected = open.selected() == Some(id.as_str());
        let text = if is_selected { look::name(id).color(colors.on_thread) } else { look::name(id) };
        let label = ui.add(egui::Button::selectable(is_selected, text).truncate());
        // The list follows the keyboard.
        if label.gained_focus() {
            label.scroll_to_me(None);
        }
        if label.clicked() {
            asked.push(Command::Select((!is_selected).then(|| id.clone())));
        }
    });
    cell_ui(ui, patch, |ui| drop(ui.add(egui::Label::new(&placement.patch).truncate())));
    cell_ui(ui, place, |ui| place_ui(ui, open, placement, colors));
    cell_ui(ui, side, |ui| side_ui(ui, open, placement, asked));
    cell_ui(ui, turn, |ui| turn_ui(ui, placement, asked));
    cell_ui(ui, mirror, |ui| {
        let tip = say::LIST_HEAD[6].1;
        if icon_button_ui(ui, Icon::Mirror, &format!("Mirror {id}"), tip, placement.mirror, true).clicked() {
            asked.push(change(Placement { mirror: !placement.mirror, ..placement.clone() }));
        }
    });
    cell_ui(ui, matched, |ui| match_ui(ui, placement, asked));
    cell_ui(ui, ruled, |ui| {
        let rules = rules(placement);
        let label = ui.add(egui::Label::new(look::quiet(&rules, colors)).truncate());
        label.on_hover_text(look::plain(&format!("{rules}\n{}", say::LIST_HEAD[8].1), colors));
    });
    cell_ui(ui, away, |ui| {
        if icon_button_ui(ui, Icon::Remove, &format!("{} {id}", say::REMOVE), say::REMOVE, false, true).clicked() {
            asked.push(Command::Make(Edit::Remove(id.clone())));
        }
    });
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
pub(crate) fn paint_thumb(ui: &Ui, open: &mut Open, card: &Card, rect: Rect) {
    if let Some(texture) = open.shelf.thumb(ui.ctx(), card) {
        ui.painter().image(texture.id(), rect, WHOLE, Color32::WHITE);
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
