//! The garment in the round: drawn by a thread, touched here.

use egui::{Key, Rect, Role, Sense, Ui, WidgetInfo};
use tatter_core::angle::Angle;

use super::handles::{Sight, borders, handles_ui};
use super::line::line_ui;
use super::{WHOLE, keep_arrows, scrolled};
use crate::command::Command;
use crate::look::{self, Palette, palette};
use crate::open::Open;
use crate::say;

/// Degrees a garment turns for a point the pointer moves.
const DEGREES_PER_POINT: f32 = 0.4;
/// Degrees for an arrow key.
const DEGREES_PER_KEY: f32 = 10.0;
/// How much nearer a key brings.
const NEARER_PER_KEY: f32 = 1.25;

/// Draw the solid view into what is left of the ui.
pub(crate) fn solid_ui(ui: &mut Ui, open: &mut Open, asked: &mut Vec<Command>) {
    let colors = palette(ui);
    let rect = ui.available_rect_before_wrap();
    let response = ui.allocate_rect(rect, Sense::click_and_drag());
    response.widget_info(|| WidgetInfo::labeled(Role::Canvas, true, say::SOLID));
    open.solid_size = pixels(ui, rect);
    let painter = ui.painter_at(rect);
    let texture = open.solid.texture(ui.ctx(), "solid").map(egui::TextureHandle::id);
    let seen = if texture.is_some() { covering(rect, open.solid.aspect) } else { rect };
    match texture {
        Some(id) => drop(painter.image(id, seen, WHOLE, egui::Color32::WHITE)),
        None => backdrop(&painter, rect, &colors),
    }
    let Some((form, stands)) = open.form.clone().zip(open.camera(open.solid_size)) else {
        return said(&painter, rect, if open.trouble.is_some() { "" } else { say::READING }, &colors);
    };
    let aspect = rect.width() / rect.height().max(1.0);
    // What lies over the picture is seen from where the picture was drawn.
    let drawn = open.solid.camera.map(|camera| (camera, open.solid.aspect)).filter(|_| texture.is_some());
    let (camera, aspect) = drawn.unwrap_or((stands, aspect));
    let sight = Sight { rect: seen, camera, aspect };
    if let Some(why) = &open.without_adapter {
        said(&painter, rect, &format!("{}\n{why}", say::NO_PICTURE), &colors);
    } else if texture.is_none() {
        said(&painter, rect, say::DRAWING, &colors);
    }
    borders(&painter, open, &sight, &colors);
    let dragged = handles_ui(ui, open, &form, &sight, &colors, asked) | line_ui(ui, open, &form, &sight, &colors, asked);
    let walked = walk(ui, &response, rect, asked);
    // A number that is dragged beside the garment moves it, too.
    open.moving = dragged || walked || ui.ctx().dragged_id().is_some();
    if response.clicked()
        && let Some(pos) = response.interact_pointer_pos()
    {
        match form.touch(sight.line(pos)) {
            Some(touch) => asked.push(Command::Touch(touch)),
            None => asked.push(Command::Select(None)),
        }
    }
    if response.has_focus()
        && ui.input(|input| input.key_pressed(Key::Enter))
        && let Some(touch) = form.touch(sight.line(rect.center()))
    {
        asked.push(Command::Touch(touch));
    }
    if (open.taken.is_some() || open.chalk) && response.hovered() {
        ui.ctx().set_cursor_icon(egui::CursorIcon::Crosshair);
    }
    if open.taken.is_none() && !open.chalk && !response.is_pointer_button_down_on() {
        response.on_hover_text_at_pointer(say::SOLID_TIP);
    }
}

/// The smallest rectangle of an aspect around another's middle that covers it: until a picture of the view's own shape is there.
pub(crate) fn covering(rect: Rect, aspect: f32) -> Rect {
    let width = rect.width().max(rect.height() * aspect);
    Rect::from_center_size(rect.center(), egui::vec2(width, width / aspect.max(1e-3)))
}

/// Columns and rows of a rectangle of the window.
pub(crate) fn pixels(ui: &Ui, rect: Rect) -> [u32; 2] {
    let scale = ui.ctx().pixels_per_point();
    [rect.width(), rect.height()].map(|side| (side * scale).round().max(1.0) as u32)
}

/// Walking, coming nearer, shifting; whether something moves.
fn walk(ui: &Ui, response: &egui::Response, rect: Rect, asked: &mut Vec<Command>) -> bool {
    let delta = response.drag_delta();
    let aside = response.dragged_by(egui::PointerButton::Secondary) || response.dragged_by(egui::PointerButton::Middle);
    if aside && delta != egui::Vec2::ZERO {
        asked.push(Command::Shift([delta.x / rect.height(), -delta.y / rect.height()]));
    } else if response.dragged() && delta != egui::Vec2::ZERO {
        let by = |points: f32| Angle::degrees(points * DEGREES_PER_POINT);
        asked.push(Command::Walk { turn: by(-delta.x), lift: by(delta.y) });
    }
    // Also where a handle lies over it.
    let nearer = scrolled(ui).filter(|_| response.contains_pointer());
    asked.extend(nearer.map(Command::Nearer));
    keys(ui, response, asked);
    response.dragged() || nearer.is_some()
}

fn keys(ui: &Ui, response: &egui::Response, asked: &mut Vec<Command>) {
    if !response.has_focus() {
        return;
    }
    keep_arrows(ui, response);
    let pressed = |key| ui.input(|input| input.key_pressed(key));
    let walk = |turn: f32, lift: f32| Command::Walk { turn: Angle::degrees(turn), lift: Angle::degrees(lift) };
    let keys = [
        (Key::ArrowLeft, walk(-DEGREES_PER_KEY, 0.0)),
        (Key::ArrowRight, walk(DEGREES_PER_KEY, 0.0)),
        (Key::ArrowUp, walk(0.0, DEGREES_PER_KEY)),
        (Key::ArrowDown, walk(0.0, -DEGREES_PER_KEY)),
        (Key::Plus, Command::Nearer(NEARER_PER_KEY)),
        (Key::Equals, Command::Nearer(NEARER_PER_KEY)),
        (Key::Minus, Command::Nearer(1.0 / NEARER_PER_KEY)),
    ];
    asked.extend(keys.into_iter().filter(|(key, _)| pressed(*key)).map(|(_, command)| command));
    if response.has_focus() && !response.hovered() {
        look::reached(ui.painter(), response.rect, &palette(ui));
    }
}

/// What is behind the garment until the first picture.
fn backdrop(painter: &egui::Painter, rect: Rect, colors: &Palette) {
    let mut mesh = egui::Mesh::default();
    let corners = [(rect.left_top(), 0), (rect.right_top(), 0), (rect.right_bottom(), 1), (rect.left_bottom(), 1)];
    for (pos, end) in corners {
        mesh.colored_vertex(pos, colors.backdrop[end]);
    }
    mesh.add_triangle(0, 1, 2);
    mesh.add_triangle(0, 2, 3);
    painter.add(mesh);
}

/// A sentence in the middle of a view.
pub(crate) fn said(painter: &egui::Painter, rect: Rect, text: &str, colors: &Palette) {
    if text.is_empty() {
        return;
    }
    let galley =
        painter.layout(text.to_owned(), egui::FontId::proportional(13.5), colors.ink, (rect.width() - 40.0).clamp(60.0, 420.0));
    let at = rect.center() - 0.5 * galley.size();
    let around = Rect::from_min_size(at, galley.size()).expand(10.0);
    painter.rect_filled(around, 6.0, colors.sheet);
    painter.galley(at, galley, colors.ink);
}
