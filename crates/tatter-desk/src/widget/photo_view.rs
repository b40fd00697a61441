//! The photo on the table: looked at, drawn on.

use egui::{Key, PointerButton, Pos2, Rect, Response, Role, Sense, Stroke, Ui, WidgetInfo, vec2};

use super::marks::{band, cross, marks};
use super::photo_corners::corners_ui;
use super::solid::said;
use super::{WHOLE, keep_arrows, scrolled};
use crate::command::Command;
use crate::look::{self, palette, stroke_color};
use crate::photo::{Laid, OnPhoto, Photos, Sheet, Tool};
use crate::say;

/// How far an arrow key shifts, in points.
const SHIFT_PER_KEY: f32 = 60.0;
/// How much nearer a key brings.
const NEARER_PER_KEY: f32 = 1.25;
/// An end of the ruler is taken hold of from so near, points.
const HOLD: f32 = 12.0;

/// Draw the photo that is looked at into what is left of the ui.
pub(crate) fn photo_view_ui(ui: &mut Ui, photos: &mut Photos, asked: &mut Vec<Command>) {
    let colors = palette(ui);
    let rect = ui.available_rect_before_wrap();
    let response = ui.allocate_rect(rect, Sense::click_and_drag());
    response.widget_info(|| WidgetInfo::labeled(Role::Canvas, true, say::PHOTO_VIEW));
    let (tool, brush) = (photos.tool, photos.brush);
    let Some(sheet) = photos.sheet_mut() else { return };
    let painter = ui.painter_at(rect);
    if sheet.levels.is_empty() {
        let text = sheet
            .trouble
            .as_ref()
            .map_or_else(|| say::PHOTO_READING.to_owned(), |trouble| format!("{}\n{}", trouble.what, trouble.next));
        return said(&painter, rect, &text, &colors);
    }
    let laid = sheet.lens.lay(rect, sheet.size);
    let wanted = laid.rect.width() * ui.ctx().pixels_per_point();
    let level = sheet.levels.iter().rposition(|level| level.width() >= wanted).unwrap_or(0);
    if let Some(texture) = sheet.levels[level].texture(ui.ctx(), "photo") {
        painter.image(texture.id(), laid.rect, WHOLE, egui::Color32::WHITE);
    }
    marks(&painter, sheet, &laid, &colors);
    let radius = brush * sheet.longest();
    if let Some(drawn) = &sheet.pen {
        pen(&painter, drawn, tool, radius, &laid, &colors);
    }
    draw(ui, &response, sheet, tool, &laid, asked);
    walk(ui, &response, tool, rect, &laid, asked);
    keys(ui, &response, sheet, tool, rect, &laid, asked);
    if let Tool::Mark(quad) = tool {
        corners_ui(ui, sheet, quad, &laid, &colors, asked);
    }
    if let Some(pos) = response.hover_pos() {
        if tool.is_broad() {
            painter.circle_stroke(pos, radius * laid.points, Stroke::new(2.6, colors.chalk[1].gamma_multiply(0.6)));
            painter.circle_stroke(pos, radius * laid.points, Stroke::new(1.2, colors.chalk[0]));
        }
        ui.ctx().set_cursor_icon(if tool == Tool::Hand { egui::CursorIcon::Grab } else { egui::CursorIcon::Crosshair });
    }
    if response.has_focus() && !response.hovered() {
        look::reached(&painter, rect, &colors);
        cross(&painter, rect.center(), &colors);
    }
}

/// What is being drawn.
fn pen(painter: &egui::Painter, drawn: &[[f32; 2]], tool: Tool, radius: f32, laid: &Laid, colors: &look::Palette) {
    let points: Vec<Pos2> = drawn.iter().map(|place| laid.pos(*place)).collect();
    match tool {
        Tool::Stroke(kind) => band(painter, &points, radius * laid.points, stroke_color(colors, kind), kind),
        Tool::Rubber => {
            painter.line(points, Stroke::new(2.0 * radius * laid.points, colors.chalk[0].gamma_multiply(0.35)));
        }
        Tool::Loop => super::marks::chalked(painter, &points, true, colors),
        Tool::Ruler | Tool::Grain | Tool::Light => {
            if let (Some(first), Some(last)) = (points.first(), points.last()) {
                super::marks::chalked(painter, &[*first, *last], false, colors);
            }
        }
        Tool::Mark(_) => {
            if let (Some(first), Some(last)) = (drawn.first(), drawn.last())
                && let Some(corners) = crate::photo::around(*first, *last)
            {
                super::marks::outline(painter, corners.map(|corner| laid.pos(corner)), colors);
            }
        }
        Tool::Hand | Tool::Grey => {}
    }
}

/// Drawing with the left button; a press without a drag is a dab.
fn draw(ui: &Ui, response: &Response, sheet: &mut Sheet, tool: Tool, laid: &Laid, asked: &mut Vec<Command>) {
    if tool == Tool::Hand {
        return;
    }
    if response.drag_started_by(PointerButton::Primary)
        && let Some(from) = ui.input(|input| input.pointer.press_origin())
    {
        sheet.pen = Some(vec![begin(sheet, tool, from, laid)]);
    }
    if response.dragged_by(PointerButton::Primary)
        && let Some(drawn) = &mut sheet.pen
    {
        // Between two frames the pointer may have been in many places.
        let moved = ui.input(|input| {
            let place =
                |event: &egui::Event| if let egui::Event::PointerMoved(pos) = event { Some(laid.place(*pos)) } else { None };
            input.events.iter().filter_map(place).collect::<Vec<_>>()
        });
        drawn.extend(moved);
    }
    if response.drag_stopped_by(PointerButton::Primary) {
        if let Some(drawn) = sheet.pen.take() {
            asked.push(Command::Photo(OnPhoto::Draw(drawn)));
        }
    } else if response.clicked_by(PointerButton::Primary)
        && let Some(pos) = response.interact_pointer_pos()
    {
        asked.push(Command::Photo(OnPhoto::Draw(vec![laid.place(pos)])));
    }
}

/// Where a drag begins: a ruler that is taken by one end begins at its other.
fn begin(sheet: &Sheet, tool: Tool, from: Pos2, laid: &Laid) -> [f32; 2] {
    let held = sheet.ruler_line().filter(|_| tool == Tool::Ruler).and_then(|ends| {
        let near = |end: [f32; 2]| laid.pos(end).distance(from) <= HOLD;
        [(ends[0], ends[1]), (ends[1], ends[0])].into_iter().find(|(end, _)| near(*end)).map(|(_, other)| other)
    });
    held.unwrap_or_else(|| laid.place(from))
}

/// Shifting and coming nearer.
fn walk(ui: &Ui, response: &Response, tool: Tool, rect: Rect, laid: &Laid, asked: &mut Vec<Command>) {
    let aside = response.dragged_by(PointerButton::Secondary) || response.dragged_by(PointerButton::Middle);
    let delta = response.drag_delta();
    if (aside || (tool == Tool::Hand && response.dragged())) && delta != egui::Vec2::ZERO {
        let by = delta / laid.rect.size();
        asked.push(Command::Photo(OnPhoto::Shift([by.x, by.y])));
    }
    if !response.hovered() {
        return;
    }
    if let Some(nearer) = scrolled(ui) {
        let at = laid.share(response.hover_pos().unwrap_or(rect.center()));
        asked.push(Command::Photo(OnPhoto::Nearer(nearer, at)));
    }
}

/// With keys alone one draws in the middle of the view, where a cross is.
fn keys(ui: &Ui, response: &Response, sheet: &mut Sheet, tool: Tool, rect: Rect, laid: &Laid, asked: &mut Vec<Command>) {
    if !response.has_focus() {
        return;
    }
    keep_arrows(ui, response);
    let pressed = |key| ui.input(|input| input.key_pressed(key));
    let shift = |x: f32, y: f32| {
        let by = SHIFT_PER_KEY * vec2(x, y) / laid.rect.size();
        OnPhoto::Shift([by.x, by.y])
    };
    let middle = laid.share(rect.center());
    let all = [
        (Key::ArrowLeft, shift(1.0, 0.0)),
        (Key::ArrowRight, shift(-1.0, 0.0)),
        (Key::ArrowUp, shift(0.0, 1.0)),
        (Key::ArrowDown, shift(0.0, -1.0)),
        (Key::Plus, OnPhoto::Nearer(NEARER_PER_KEY, middle)),
        (Key::Equals, OnPhoto::Nearer(NEARER_PER_KEY, middle)),
        (Key::Minus, OnPhoto::Nearer(1.0 / NEARER_PER_KEY, middle)),
        (Key::Home, OnPhoto::Whole),
    ];
    asked.extend(all.into_iter().filter(|(key, _)| pressed(*key)).map(|(_, act)| Command::Photo(act)));
    if tool == Tool::Hand || !pressed(Key::Enter) {
        return;
    }
    let place = laid.place(rect.center());
    match sheet.pen.take() {
        Some(mut drawn) => {
            drawn.push(place);
            asked.push(Command::Photo(OnPhoto::Draw(drawn)));
        }
        None if tool.is_line() => sheet.pen = Some(vec![place]),
        None => asked.push(Command::Photo(OnPhoto::Draw(vec![place]))),
    }
}
