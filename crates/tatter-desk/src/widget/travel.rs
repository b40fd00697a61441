//! The line of travel: the four stations on one thread, each with its state, and what is always at hand.

use egui::{Align2, FontId, Pos2, Rect, Role, Sense, Stroke, Theme, Ui, Vec2, WidgetInfo, vec2};
use tatter::keep::Over;

use crate::command::{Command, Station};
use crate::desk::Desk;
use crate::look::{self, Icon, Palette, icon_button_ui, palette};
use crate::photo::Photos;
use crate::say;
use crate::shelf::Shelf;
use crate::start::{OnStart, Wanted};
use crate::window::ask_ui;

/// How a station stands.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Standing {
    /// Nothing is there.
    Empty,
    /// Something is begun.
    InWork,
    /// A person must look.
    NeedsALook,
    /// Done.
    Ready,
}

impl Standing {
    const fn name(self) -> &'static str {
        match self {
            Self::Empty => "empty",
            Self::InWork => "in work",
            Self::NeedsALook => "needs a look",
            Self::Ready => "ready",
        }
    }
}

fn standing(desk: &Desk, station: Station) -> Standing {
    match station {
        Station::Photo => return of_photos(&desk.photos),
        Station::Patch => return of_patches(desk.open.as_ref().map_or(&desk.shelf, |open| &open.shelf)),
        Station::Garment | Station::Delivery => {}
    }
    let Some(open) = desk.open() else { return Standing::Empty };
    // Something is to be delivered.
    let placed = !open.job().placements.is_empty() || !open.job().wear.is_empty();
    let lost = open.lies.values().any(|(_, lie)| lie.is_err());
    match station {
        Station::Photo | Station::Patch => Standing::Empty,
        Station::Garment if lost => Standing::NeedsALook,
        Station::Garment if !placed => Standing::Empty,
        Station::Garment if open.history.is_saved() => Standing::Ready,
        Station::Garment => Standing::InWork,
        Station::Delivery if !placed => Standing::Empty,
        Station::Delivery if open.outlook.trouble.is_some() => Standing::NeedsALook,
        Station::Delivery => {
            let done = open.outlook.delivered.as_ref().is_some_and(|job| **job == **open.job());
            if done { Standing::Ready } else { Standing::InWork }
        }
    }
}

/// Photos are done when each is kept as a patch.
fn of_photos(photos: &Photos) -> Standing {
    match &photos.sheets[..] {
        [] => Standing::Empty,
        sheets if sheets.iter().any(|sheet| sheet.trouble().is_some()) => Standing::NeedsALook,
        _ if photos.are_done() => Standing::Ready,
        _ => Standing::InWork,
    }
}

fn of_patches(shelf: &Shelf) -> Standing {
    match &shelf.cards[..] {
        [] => Standing::Empty,
        cards if cards.iter().any(|card| card.canvas.is_err()) => Standing::NeedsALook,
        _ => Standing::Ready,
    }
}

/// What undo and redo would do where one stands.
fn steps(desk: &Desk) -> Option<[Option<&str>; 2]> {
    if desk.station() == Station::Photo {
        return desk.photos.sheet().map(|sheet| [sheet.steps.undo_label(), sheet.steps.redo_label()]);
    }
    if desk.is_at_loom() {
        return Some([desk.loom.steps.undo_label(), desk.loom.steps.redo_label()]);
    }
    desk.open().map(|open| [open.history.undo_label(), open.history.redo_label()])
}

/// Draw the line.
pub(crate) fn travel_ui(ui: &mut Ui, desk: &Desk, asked: &mut Vec<Command>) {
    let colors = palette(ui);
    ui.horizontal_centered(|ui| {
        let width = 150.0;
        let (rect, _) = ui.allocate_exact_size(vec2(width * 4.0, look::TRAVEL - 8.0), Sense::hover());
        thread(ui, rect, width, &colors);
        for (number, station) in Station::ALL.into_iter().enumerate() {
            let at = Rect::from_min_size(rect.min + vec2(width * number as f32, 0.0), vec2(width, rect.height()));
            stop_ui(ui, at, desk, station, &colors, asked);
        }
        ui.add_space(look::APART);
        ui.with_layout(egui::Layout::right_to_left(egui::Align::Center), |ui| always_ui(ui, desk, &colors, asked));
    });
}

/// A running stitch from one station's name to the next station.
fn thread(ui: &Ui, rect: Rect, width: f32, colors: &Palette) {
    let y = rect.top() + 17.0;
    for (number, station) in Station::ALL.into_iter().enumerate().take(3) {
        let left = rect.left() + width * number as f32;
        let name = ui.painter().layout_no_wrap(say::station(station).to_owned(), FontId::new(15.0, look::strong()), colors.ink);
        let points = [Pos2::new(left + 38.0 + name.size().x, y), Pos2::new(left + width + 4.0, y)];
        ui.painter().extend(egui::Shape::dashed_line(&points, Stroke::new(1.6, colors.edge), 7.0, 4.0));
    }
}

fn stop_ui(ui: &mut Ui, rect: Rect, desk: &Desk, station: Station, colors: &Palette, asked: &mut Vec<Command>) {
    let response = ui.interact(rect.shrink2(vec2(2.0, 3.0)), ui.scope_id().with(("station", station as u8)), Sense::click());
    let (here, standing) = (desk.station() == station, standing(desk, station));
    let label = format!("{}: {}", say::station(station), standing.name());
    response.widget_info(|| WidgetInfo::selected(Role::Tab, true, here, &label));
    if response.clicked() {
        asked.push(Command::Go(station));
    }
    let middle = Pos2::new(rect.left() + 16.0, rect.top() + 17.0);
    let painter = ui.painter();
    if response.hovered() || response.has_focus() {
        painter.rect_filled(rect.shrink2(vec2(2.0, 3.0)), 6.0, colors.hover.gamma_multiply(0.8));
    }
    knot(painter, middle, standing, here, colors);
    let text = Pos2::new(rect.left() + 30.0, middle.y);
    let color = if here { colors.thread } else { colors.ink };
    painter.text(text + vec2(0.0, -1.0), Align2::LEFT_CENTER, say::station(station), FontId::new(15.0, look::strong()), color);
    let below = Pos2::new(text.x, rect.top() + 37.0);
    painter.text(below, Align2::LEFT_CENTER, standing.name(), FontId::proportional(12.0), state_color(standing, colors));
    response.on_hover_text(say::station_tip(station));
}

fn state_color(standing: Standing, colors: &Palette) -> egui::Color32 {
    match standing {
        Standing::Ready => colors.moss,
        Standing::NeedsALook => colors.weld,
        _ => colors.quiet,
    }
}

/// The state also by shape: hollow, half, filled, or crossed out of the line.
fn knot(painter: &egui::Painter, middle: Pos2, standing: Standing, here: bool, colors: &Palette) {
    let color = if here { colors.thread } else { colors.ink };
    painter.circle_filled(middle, 8.5, colors.sheet);
    painter.circle_stroke(middle, 6.5, Stroke::new(if here { 2.4 } else { 1.6 }, color));
    match standing {
        Standing::Ready => drop(painter.circle_filled(middle, 3.6, color)),
        Standing::InWork => drop(painter.hline(middle.x - 3.2..=middle.x + 3.2, middle.y, Stroke::new(2.0, color))),
        Standing::NeedsALook => {
            painter.vline(middle.x, middle.y - 3.4..=middle.y + 0.8, Stroke::new(1.8, color));
            painter.circle_filled(middle + vec2(0.0, 3.2), 1.1, color);
        }
        Standing::Empty => {}
    }
}

/// Undo, redo, save, the theme: from the right.
fn always_ui(ui: &mut Ui, desk: &Desk, colors: &Palette, asked: &mut Vec<Command>) {
    let (icon, name, other) =
        if colors.is_dark { (Icon::Day, say::DAY, Theme::Light) } else { (Icon::Night, say::NIGHT, Theme::Dark) };
    if icon_button_ui(ui, icon, name, name, false, true).clicked() {
        ui.ctx().set_theme(other);
    }
    bring_ui(ui, desk.open().is_some(), asked);
    if let Some(open) = desk.open() {
        let saved = open.history.is_saved();
        let tip = if saved { say::SAVED_TIP } else { say::SAVE_TIP };
        if icon_button_ui(ui, Icon::Save, say::SAVE, tip, false, !saved).clicked() {
            asked.push(Command::Save(Over::Nothing));
        }
    }
    if let Some([undo, redo]) = steps(desk) {
        let tip = redo.map_or_else(|| say::NOTHING_TO_REDO.to_owned(), |label| say::undo_tip(say::REDO, label, "Ctrl+Shift+Z"));
        if icon_button_ui(ui, Icon::Redo, say::REDO, &tip, false, redo.is_some()).clicked() {
            asked.push(Command::Redo);
        }
        let start = match desk.station() {
            Station::Photo => say::NOTHING_TOLD,
            Station::Patch if desk.is_at_loom() => say::NOTHING_SAID,
            _ => say::NOTHING_TO_UNDO,
        };
        let tip = undo.map_or_else(|| start.to_owned(), |label| say::undo_tip(say::UNDO, label, "Ctrl+Z"));
        if icon_button_ui(ui, Icon::Undo, say::UNDO, &tip, false, undo.is_some()).clicked() {
            asked.push(Command::Undo);
        }
    }
    let Some(open) = desk.open() else { return };
    let saved = open.history.is_saved();
    ui.add_space(look::APART);
    let name = open.kept.path().file_name().map(|name| name.to_string_lossy().into_owned()).unwrap_or_default();
    ui.allocate_ui_with_layout(Vec2::new(ui.available_width(), 40.0), egui::Layout::right_to_left(egui::Align::Center), |ui| {
        if !saved {
            ui.label(egui::RichText::new(say::UNSAVED).color(colors.weld));
        }
        ui.add(egui::Label::new(look::name(&name)).truncate()).on_hover_text(open.kept.path().display().to_string());
    });
}

/// What can be laid on the table, whatever lies there now.
fn bring_ui(ui: &mut Ui, is_open: bool, asked: &mut Vec<Command>) {
    let button = icon_button_ui(ui, Icon::Bring, say::BRING, say::BRING, false, true);
    egui::Popup::menu(&button).show(|ui| {
        ui.set_min_width(230.0);
        for (label, wanted) in [(say::LAY_PHOTOS, Wanted::Photos), (say::OPEN_JOB, Wanted::Job), (say::FROM_MESH, Wanted::Mesh)] {
            ask_ui(ui, label, Command::Start(OnStart::Choose(wanted)), asked);
        }
        if is_open {
            ui.separator();
            ask_ui(ui, say::CLOSE_JOB, Command::Close, asked);
        }
    });
}
