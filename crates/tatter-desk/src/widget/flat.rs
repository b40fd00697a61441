//! The garment's texture laid flat, with the edges of its islands and what lies on it.

use egui::{Id, Pos2, Rect, Role, Sense, Stroke, Ui, WidgetInfo, vec2};
use glam::Vec2;
use tatter::history::Edit;
use tatter_core::model::Placement;

use super::WHOLE;
use super::handles::{Chalk, chalk, drawn_by};
use super::line::flat_line_ui;
use super::solid::said;
use crate::command::Command;
use crate::look::{self, KNOB, palette};
use crate::open::Open;
use crate::say;

/// Draw the flat view into what is left of the ui.
pub(crate) fn flat_ui(ui: &mut Ui, open: &mut Open, asked: &mut Vec<Command>) {
    let colors = palette(ui);
    let Some(form) = open.form.clone() else {
        let rect = ui.available_rect_before_wrap();
        return said(ui.painter(), rect, if open.trouble.is_some() { "" } else { say::READING }, &colors);
    };
    if form.sheets().len() > 1 {
        sheets_ui(ui, open, &form, asked);
    }
    let whole = ui.available_rect_before_wrap();
    let response = ui.allocate_rect(whole, Sense::click());
    response.widget_info(|| WidgetInfo::labeled(Role::Canvas, true, say::FLAT));
    let texture = open.flat.texture(ui.ctx(), "flat").map(egui::TextureHandle::id);
    let aspect = if texture.is_some() { open.flat.aspect } else { 1.0 };
    let rect = fitted(whole.shrink(10.0), aspect);
    let painter = ui.painter_at(whole);
    match texture {
        Some(id) => drop(painter.image(id, rect, WHOLE, egui::Color32::WHITE)),
        None => drop(painter.rect_filled(rect, 0.0, colors.sheet)),
    }
    let at = |place: Vec2| rect.lerp_inside(vec2(place.x, place.y));
    let Some(sheet) = form.sheets().get(open.sheet) else { return };
    let edge = Stroke::new(1.0, colors.chalk[1].gamma_multiply(0.55));
    painter.extend(sheet.edges.iter().map(|ends| egui::Shape::line_segment(ends.map(at), edge)));
    for placement in open.outlined() {
        let Some(lie) = open.lie(&placement.id) else { continue };
        let here = || lie.flat_border.iter().filter(|(set, _)| *set == open.sheet);
        let middle = at(lie.flat_middle.1);
        let half = here().map(|(_, ends)| middle.distance(at(ends[0]))).fold(0.0, f32::max);
        let how = Chalk::around(open.is_marked(placement), half);
        let pieces: Vec<[Pos2; 2]> = here().map(|(_, ends)| ends.map(at)).collect();
        chalk(&painter, &pieces, how, &colors);
    }
    let place = |pos: Pos2| Vec2::new((pos.x - rect.left()) / rect.width(), (pos.y - rect.top()) / rect.height());
    let dragged = middle_ui(ui, open, &at, &place, asked) | flat_line_ui(ui, &painter, open, &at, &place, asked);
    open.moving |= dragged;
    if response.clicked()
        && let Some(pos) = response.interact_pointer_pos()
    {
        asked.push(form.touch_flat(open.sheet, place(pos)).map_or(Command::Select(None), Command::Touch));
    }
    if (open.taken.is_some() || open.chalk) && response.hovered() {
        ui.ctx().set_cursor_icon(egui::CursorIcon::Crosshair);
    }
}

/// The largest rectangle of an aspect in the middle of another.
pub(crate) fn fitted(whole: Rect, aspect: f32) -> Rect {
    let width = whole.width().min(whole.height() * aspect);
    Rect::from_center_size(whole.center(), vec2(width, width / aspect))
}

fn sheets_ui(ui: &mut Ui, open: &Open, form: &tatter::stand::Form, asked: &mut Vec<Command>) {
    ui.horizontal_wrapped(|ui| {
        for (number, sheet) in form.sheets().iter().enumerate() {
            if ui.selectable_label(number == open.sheet, &sheet.name).clicked() {
                asked.push(Command::Sheet(number));
            }
        }
    });
    ui.add_space(look::NEAR);
}

/// The handle that moves the selected placement on the texture. Whether it is being dragged.
fn middle_ui(
    ui: &mut Ui,
    open: &Open,
    at: &dyn Fn(Vec2) -> Pos2,
    place: &dyn Fn(Pos2) -> Vec2,
    asked: &mut Vec<Command>,
) -> bool {
    let colors = palette(ui);
    let Some((placement, form)) = open.selected_placement().zip(open.form.as_ref()) else { return false };
    let Some(lie) = open.lie(&placement.id).filter(|lie| lie.flat_middle.0 == open.sheet) else { return false };
    let middle = at(lie.flat_middle.1);
    let handle =
        ui.interact(Rect::from_center_size(middle, vec2(2.6 * KNOB, 2.6 * KNOB)), Id::unique("flat handle"), Sense::drag());
    handle
        .widget_info(|| WidgetInfo::labeled(Role::Button, true, say::on_flat(&format!("{} {}", say::HANDLE_MOVE, placement.id))));
    let [light, dark] = colors.chalk;
    let is_hot = handle.hovered() || handle.dragged();
    ui.painter().circle_stroke(middle, KNOB, Stroke::new(4.6, dark.gamma_multiply(0.8)));
    ui.painter().circle_stroke(middle, KNOB, Stroke::new(2.2, if is_hot { colors.held } else { light }));
    if drawn_by(&handle) != egui::Vec2::ZERO
        && let Some(pos) = handle.interact_pointer_pos()
        && let Some(touch) = form.touch_flat(open.sheet, place(pos))
    {
        asked.push(Command::Drag(Edit::Change(Box::new(Placement { spot: touch.spot, ..placement.clone() }))));
    }
    if handle.drag_stopped() {
        asked.push(Command::LetGo);
    }
    handle.dragged()
}
