//! Outlines of placements on the garment, and the handles of the selected one.

use egui::{Id, Key, Painter, Pos2, Rect, Response, Role, Sense, Shape, Stroke, Ui, WidgetInfo, vec2};
use glam::{Vec2, Vec3};
use tatter::history::Edit;
use tatter::stand::{Form, Lie};
use tatter_core::angle::Angle;
use tatter_core::model::Placement;
use tatter_core::units::Mm;
use tatter_proof::Camera;

use super::keep_arrows;
use crate::command::Command;
use crate::look::{KNOB, Palette};
use crate::open::Open;
use crate::say;

/// The solid view as it is drawn: where, and from where.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Sight {
    pub(crate) rect: Rect,
    pub(crate) camera: Camera,
    pub(crate) aspect: f32,
}

impl Sight {
    /// Where a point of the world is seen.
    pub(crate) fn pos(&self, point: Vec3) -> Option<Pos2> {
        let place = self.camera.place_of(point, self.aspect)?;
        Some(self.rect.lerp_inside(vec2(place.x, place.y)))
    }

    /// The line of sight through a place of the window.
    pub(crate) fn line(&self, pos: Pos2) -> (Vec3, Vec3) {
        let place = (pos - self.rect.min) / self.rect.size();
        self.camera.sight(Vec2::new(place.x, place.y), self.aspect)
    }
}

/// How a border is drawn.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Chalk {
    /// Of what is taken up.
    pub(crate) is_marked: bool,
    /// 1, and less where what it goes around is seen so small that the line would hide it.
    pub(crate) breadth: f32,
}

impl Chalk {
    /// Of what is taken up.
    pub(crate) const MARKED: Self = Self { is_marked: true, breadth: 1.0 };

    /// Around something that is seen with this half diagonal, points.
    pub(crate) fn around(is_marked: bool, half: f32) -> Self {
        Self { is_marked, breadth: (half / 16.0).clamp(0.35, 1.0) }
    }
}

/// Lines that are seen on any cloth: light over dark. All of the dark lies beneath, so that short pieces make one line.
pub(crate) fn chalk(painter: &Painter, pieces: &[[Pos2; 2]], how: Chalk, colors: &Palette) {
    let [light, dark] = colors.chalk;
    let (width, beneath) = if how.is_marked { (2.2, 2.0) } else { (0.9, 1.4) };
    let [width, beneath] = [width, beneath].map(|points| points * how.breadth);
    let light = if how.is_marked { light } else { light.gamma_multiply(0.75) };
    for stroke in [Stroke::new(width + beneath, dark.gamma_multiply(0.7)), Stroke::new(width, light)] {
        painter.extend(pieces.iter().map(|ends| Shape::line_segment(*ends, stroke)));
    }
}

/// Pieces of lines on the cloth as they are seen, as far as they face the eye.
pub(crate) fn facing(pieces: &[([Vec3; 2], Vec3)], sight: &Sight) -> Vec<[Pos2; 2]> {
    let facing = pieces.iter().filter(|(ends, normal)| normal.dot(sight.camera.eye - ends[0]) > 0.0);
    facing.filter_map(|(ends, _)| Some([sight.pos(ends[0])?, sight.pos(ends[1])?])).collect()
}

/// The borders of all placements as far as they face the eye.
pub(crate) fn borders(painter: &Painter, open: &Open, sight: &Sight, colors: &Palette) {
    for placement in open.outlined() {
        let Some(lie) = open.lie(&placement.id) else { continue };
        let half = sight.pos(lie.middle).zip(sight.pos(lie.knobs[1])).map_or(0.0, |(middle, corner)| middle.distance(corner));
        let how = Chalk::around(open.is_marked(placement), half);
        chalk(painter, &facing(&lie.border, sight), how, colors);
    }
}

/// A round handle: where it is and what it is called. A ring lets the cloth beneath be seen.
pub(crate) fn knob_ui(ui: &mut Ui, id: Id, at: Pos2, name: &str, is_ring: bool, colors: &Palette) -> Response {
    let response = ui.interact(Rect::from_center_size(at, vec2(4.0 * KNOB, 4.0 * KNOB) * 0.7), id, Sense::click_and_drag());
    response.widget_info(|| WidgetInfo::labeled(Role::Button, true, name));
    let [light, dark] = colors.chalk;
    let is_hot = response.hovered() || response.dragged() || response.has_focus();
    let radius = if is_hot { KNOB + 1.5 } else { KNOB };
    let painter = ui.painter();
    let color = if is_hot { colors.held } else { light };
    if is_ring {
        painter.circle_stroke(at, radius, Stroke::new(4.6, dark.gamma_multiply(0.8)));
        painter.circle_stroke(at, radius, Stroke::new(2.2, color));
    } else {
        painter.circle_filled(at, radius - 0.5, dark);
        painter.circle_filled(at, radius - 2.0, color);
    }
    response
}

/// Millimetres and degrees an arrow key moves by.
pub(crate) const STEP_MM: f32 = 1.0;
const STEP_DEGREES: f32 = 1.0;

/// The arrow keys pressed while a handle has the focus: right and up.
pub(crate) fn arrows(ui: &Ui, response: &Response) -> Option<[f32; 2]> {
    if !response.has_focus() {
        return None;
    }
    keep_arrows(ui, response);
    let pressed = |key| f32::from(u8::from(ui.input(|input| input.key_pressed(key))));
    let step = [pressed(Key::ArrowRight) - pressed(Key::ArrowLeft), pressed(Key::ArrowUp) - pressed(Key::ArrowDown)];
    (step != [0.0; 2]).then_some(step)
}

/// The handles of the selected placement. Whether one is being dragged.
pub(crate) fn handles_ui(
    ui: &mut Ui,
    open: &Open,
    form: &Form,
    sight: &Sight,
    colors: &Palette,
    asked: &mut Vec<Command>,
) -> bool {
    let Some(placement) = open.selected_placement() else { return false };
    let Some(lie) = open.lie(&placement.id) else { return false };
    if lie.normal.dot(sight.camera.eye - lie.middle) <= 0.0 {
        return false;
    }
    let (Some(middle), Some(top), Some(corner)) = (sight.pos(lie.middle), sight.pos(lie.knobs[0]), sight.pos(lie.knobs[1]))
    else {
        return false;
    };
    let (top, corner) = (apart(middle, top), apart(middle, corner));
    let [light, dark] = colors.chalk;
    let stalk = [middle + KNOB * (top - middle).normalized(), top];
    ui.painter().line_segment(stalk, Stroke::new(3.0, dark.gamma_multiply(0.6)));
    ui.painter().line_segment(stalk, Stroke::new(1.0, light));
    let name = |verb: &str| format!("{verb} {}", placement.id);
    let turn = knob_ui(ui, Id::unique("turn handle"), top, &name(say::HANDLE_TURN), false, colors);
    let size = knob_ui(ui, Id::unique("size handle"), corner, &name(say::HANDLE_SIZE), false, colors);
    let shift = knob_ui(ui, Id::unique("move handle"), middle, &name(say::HANDLE_MOVE), true, colors);
    drag(ui, &shift, asked, |pos, _| {
        let touch = form.touch(sight.line(pos))?;
        Some(Placement { spot: touch.spot, ..placement.clone() })
    });
    drag(ui, &turn, asked, |pos, start| turned(placement, lie, sight, pos, start));
    drag(ui, &size, asked, |pos, start| sized(placement, lie, sight, form, pos, start));
    by_keys(ui, [&shift, &turn, &size], placement, lie, form, asked);
    [shift, turn, size].iter().any(Response::dragged)
}

/// A handle of a small placement stands off from its middle, so that either can be taken hold of.
fn apart(middle: Pos2, knob: Pos2) -> Pos2 {
    let way = knob - middle;
    let least = 4.0 * KNOB;
    if way.length() >= least {
        knob
    } else {
        middle + least * if way.length() > 0.1 { way.normalized() } else { vec2(0.0, -1.0) }
    }
}

/// How far the pointer drew a handle since the last frame. A hand that is faster than frames moves on and lets go within one.
pub(crate) fn drawn_by(handle: &Response) -> egui::Vec2 {
    let is_drawn = handle.dragged() || handle.drag_stopped();
    if is_drawn { handle.ctx.input(|input| input.pointer.delta()) } else { egui::Vec2::ZERO }
}

/// While a handle is dragged, the placement follows the pointer; `start` is the placement as it was when the drag began.
fn drag(ui: &Ui, handle: &Response, asked: &mut Vec<Command>, follow: impl Fn(Pos2, Pos2) -> Option<Placement>) {
    let moved = drawn_by(handle);
    if let Some(pos) = handle.interact_pointer_pos()
        && moved != egui::Vec2::ZERO
        && let Some(placement) = follow(pos, pos - moved)
    {
        asked.push(Command::Drag(Edit::Change(Box::new(placement))));
    }
    if handle.drag_stopped() {
        asked.push(Command::LetGo);
    }
    if handle.hovered() || handle.dragged() {
        ui.ctx().set_cursor_icon(if handle.dragged() { egui::CursorIcon::Grabbing } else { egui::CursorIcon::Grab });
    }
}

/// Turned by the angle between two places of the pointer, about the middle on the cloth.
fn turned(placement: &Placement, lie: &Lie, sight: &Sight, to: Pos2, from: Pos2) -> Option<Placement> {
    let (from, to) = (lie.on_plane(sight.line(from))?, lie.on_plane(sight.line(to))?);
    let by = Angle::radians(from.angle_to(to));
    Some(Placement { turn: wrapped(placement.turn + by), ..placement.clone() })
}

/// Within half a turn either way.
pub(crate) fn wrapped(angle: Angle) -> Angle {
    Angle::degrees((angle.to_degrees() + 180.0).rem_euclid(360.0) - 180.0)
}

/// As large as the pointer is farther from the middle.
fn sized(placement: &Placement, lie: &Lie, sight: &Sight, form: &Form, to: Pos2, from: Pos2) -> Option<Placement> {
    let (from, to) = (lie.on_plane(sight.line(from))?.length(), lie.on_plane(sight.line(to))?.length());
    (from > 0.01).then(|| with_side(placement, form, lie.side.get() * to / from))
}

/// With a side that can be laid on the garment.
pub(crate) fn with_side(placement: &Placement, form: &Form, side: f32) -> Placement {
    let [least, most] = form.sizes();
    Placement { size: Some(Mm(side.clamp(least.get(), most.get()))), ..placement.clone() }
}

fn by_keys(
    ui: &Ui,
    [shift, turn, size]: [&Response; 3],
    placement: &Placement,
    lie: &Lie,
    form: &Form,
    asked: &mut Vec<Command>,
) {
    let mut make = |placement: Placement| asked.push(Command::Make(Edit::Change(Box::new(placement))));
    if let Some(step) = arrows(ui, shift)
        && let Some(touch) = form.beside(lie, step.map(|way| way * STEP_MM))
    {
        make(Placement { spot: touch.spot, ..placement.clone() });
    }
    if let Some([right, up]) = arrows(ui, turn) {
        make(Placement { turn: wrapped(placement.turn + Angle::degrees((up - right) * STEP_DEGREES)), ..placement.clone() });
    }
    if let Some([right, up]) = arrows(ui, size) {
        make(with_side(placement, form, lie.side.get() + (right + up) * STEP_MM));
    }
}
