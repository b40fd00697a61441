//! The drawer of patches: thumbnails with what one must know to choose.

use std::path::Path;

use egui::{Align2, FontId, Rect, Response, Role, Sense, StrokeKind, TextEdit, Ui, WidgetInfo, vec2};
use tatter::library::Card;
use tatter_core::model::ScaleSource;

use super::{WHOLE, named};
use crate::command::Command;
use crate::elsewhere::{FolderState, Folders, OnFolder};
use crate::look::{self, Icon, Palette, THUMB, icon_button_ui, palette};
use crate::open::Open;
use crate::say;
use crate::shelf::Shelf;
use crate::start::{OnStart, Wanted};

/// Height of the folders, points: more are scrolled to.
const FOLDERS: f32 = 96.0;

/// Draw the drawer.
pub(crate) fn drawer_ui(ui: &mut Ui, open: &mut Open, folders: &Folders, asked: &mut Vec<Command>) {
    let colors = palette(ui);
    ui.label(look::heading(say::DRAWER));
    let hint = match (open.shelf.cards.is_empty() && open.form.is_some(), open.taken.is_some()) {
        (true, _) => say::DRAWER_EMPTY,
        (_, true) => say::TAKEN_HINT,
        _ => say::DRAWER_HINT,
    };
    ui.label(look::quiet(hint, &colors));
    ui.add_space(look::NEAR);
    folders_ui(ui, folders, &colors, asked);
    let found = sought_ui(ui, &mut open.shelf, &colors);
    egui::ScrollArea::vertical().id_salt("drawer").auto_shrink(false).show(ui, |ui| {
        open.shelf.show(found, |shelf, card| {
            let taken = open.taken.as_ref() == Some(&card.folder);
            if card_ui(ui, shelf, card, taken, &colors).clicked() {
                asked.push(Command::Take((!taken).then(|| card.folder.clone())));
            }
        });
    });
}

/// Folders of patches elsewhere, at the foot of the drawer: what lies in each, or that it is missing; and the way to one more.
pub(crate) fn folders_ui(ui: &mut Ui, folders: &Folders, colors: &Palette, asked: &mut Vec<Command>) {
    egui::Panel::bottom("folders").resizable(false).frame(egui::Frame::new()).show(ui, |ui| {
        ui.add_space(look::NEAR);
        egui::ScrollArea::vertical().id_salt("folders").max_height(FOLDERS).show(ui, |ui| {
            for (folder, state) in folders.all() {
                folder_ui(ui, folder, state, colors, asked);
            }
        });
        let button = ui.button(say::ADD_FOLDER).on_hover_text(say::ADD_FOLDER_TIP);
        if button.clicked() {
            asked.push(Command::Start(OnStart::Choose(Wanted::Patches)));
        }
    });
}

fn folder_ui(ui: &mut Ui, folder: &Path, state: FolderState, colors: &Palette, asked: &mut Vec<Command>) {
    let name = say::file_name(folder);
    ui.horizontal(|ui| {
        let off = say::off_the_list(&name);
        if icon_button_ui(ui, Icon::Remove, &off, &off, false, true).clicked() {
            asked.push(Command::Folder(OnFolder::Forget(folder.to_owned())));
        }
        let text = say::folder(&name, state);
        let text = if state == FolderState::Missing { look::warning(&text, colors) } else { look::quiet(&text, colors) };
        ui.add(egui::Label::new(text).wrap()).on_hover_text(folder.display().to_string());
    });
}

/// The field in which patches are sought, where there are many; and what to do where none is found. Places of the cards that are found.
pub(crate) fn sought_ui(ui: &mut Ui, shelf: &mut Shelf, colors: &Palette) -> Vec<usize> {
    if !shelf.is_large() {
        return shelf.found();
    }
    let width = ui.available_width() - look::NEAR;
    let field = ui.add(TextEdit::singleline(&mut shelf.sought).hint_text(say::SEEK_HINT).desired_width(width));
    named(&field, Role::TextInput, say::SEEK);
    field.on_hover_text(say::SEEK_TIP);
    let found = shelf.found();
    if found.is_empty() {
        ui.label(look::quiet(say::SEEK_NONE, colors));
    }
    ui.add_space(look::NEAR);
    found
}

/// What stands beneath a thumbnail.
fn facts(card: &Card) -> Result<String, &str> {
    let canvas = card.canvas.as_ref().map_err(String::as_str)?;
    Ok(say::card(canvas.size_mm.map(|mm| mm.get()), card.ends_per_cm.map(|count| count.get())))
}

/// A card; one that can't be read can't be pressed.
pub(crate) fn card_ui(ui: &mut Ui, shelf: &mut Shelf, card: &Card, taken: bool, colors: &Palette) -> Response {
    let facts = facts(card);
    let width = ui.available_width();
    let (rect, response) =
        ui.allocate_exact_size(vec2(width, THUMB + 52.0), if facts.is_ok() { Sense::click() } else { Sense::hover() });
    let label = format!("{}, {}", card.name, facts.as_deref().unwrap_or_else(|why| why));
    response.widget_info(|| WidgetInfo::selected(Role::Button, facts.is_ok(), taken, &label));
    let fill = if taken || response.hovered() || response.has_focus() { colors.hover } else { colors.sheet };
    let edge = if taken { egui::Stroke::new(2.0, colors.thread) } else { egui::Stroke::new(1.0, colors.line) };
    ui.painter().rect(rect, 6.0, fill, edge, StrokeKind::Inside);
    let square = Rect::from_min_size(rect.min + vec2(0.5 * (width - THUMB), 7.0), vec2(THUMB, THUMB));
    if let Some(texture) = shelf.thumb(ui.ctx(), card) {
        let id = texture.id();
        ui.painter().image(id, square, WHOLE, egui::Color32::WHITE);
    } else {
        ui.painter().rect_filled(square, 2.0, colors.table);
    }
    let inside = ui.painter_at(rect.shrink(4.0));
    let line = |y: f32| egui::pos2(rect.center().x, square.bottom() + y);
    inside.text(line(13.0), Align2::CENTER_CENTER, &card.name, FontId::new(13.0, look::strong()), colors.ink);
    let (text, color) = match facts {
        Ok(ref text) => (text.as_str(), colors.quiet),
        Err(_) => ("can't be read", colors.madder),
    };
    inside.text(line(31.0), Align2::CENTER_CENTER, text, FontId::proportional(12.0), color);
    let tip = match (facts, card.scale) {
        (Err(why), _) => why.to_owned(),
        (Ok(text), ScaleSource::Assumed) => format!("{text}\n{}", say::SIZE_ASSUMED),
        (Ok(text), _) => format!("{}\n{text}", card.subject.name()),
    };
    let response = response.on_hover_text(tip);
    ui.add_space(2.0);
    response
}
