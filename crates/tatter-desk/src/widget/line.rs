//! The line that what is taken up lies along, on both views, with its corners to be taken hold of.

use egui::{Id, Painter, Pos2, Response, Ui};
use glam::Vec2;
use tatter::stand::{Form, Line};

use super::handles::{Chalk, STEP_MM, Sight, arrows, chalk, drawn_by, facing, knob_ui};
use crate::command::{Command, OnLine};
use crate::look::Palette;
use crate::open::Open;
use crate::say;

/// Draw it on the solid view, as far as it faces the eye. Whether a corner is being dragged.
pub(crate) fn line_ui(
    ui: &mut Ui,
    open: &mut Open,
    form: &Form,
    sight: &Sight,
    colors: &Palette,
    asked: &mut Vec<Command>,
) -> bool {
    let Some(line) = open.line() else { return false };
    chalk(ui.painter(), &facing(&line.pieces, sight), Chalk::MARKED, colors);
    let mut dragged = false;
    for (number, corner) in line.corners.iter().enumerate() {
        let seen = corner.filter(|corner| corner.normal.dot(sight.camera.eye - corner.at) > 0.0);
        let Some((corner, at)) = seen.and_then(|corner| Some((corner, sight.pos(corner.at)?))) else { continue };
        let knob = knob_ui(ui, Id::unique(("corner", number)), at, &say::corner(number), true, colors);
        dragged |= follow(&knob, number, asked, |pos| form.touch(sight.line(pos)));
        if let Some(step) = arrows(ui, &knob)
            && let Some(touch) = form.beside_corner(&corner, step.map(|way| way * STEP_MM))
        {
            asked.push(Command::Line(OnLine::Corner(number, touch)));
            asked.push(Command::LetGo);
        }
    }
    dragged
}

/// Draw it on the flat view. Whether a corner is being dragged.
pub(crate) fn flat_line_ui(
    ui: &mut Ui,
    painter: &Painter,
    open: &mut Open,
    at: &dyn Fn(Vec2) -> Pos2,
    place: &dyn Fn(Pos2) -> Vec2,
    asked: &mut Vec<Command>,
) -> bool {
    let Some((line, form)) = open.line().zip(open.form.clone()) else { return false };
    let colors = crate::look::palette(ui);
    let here = flat_corners(&line, open.sheet, at);
    let pieces: Vec<[Pos2; 2]> = here.windows(2).filter_map(|ends| Some([ends[0]?, ends[1]?])).collect();
    chalk(painter, &pieces, Chalk::MARKED, &colors);
    let mut dragged = false;
    for (number, pos) in here.into_iter().enumerate() {
        let Some(pos) = pos else { continue };
        let name = say::on_flat(&say::corner(number));
        let knob = knob_ui(ui, Id::unique(("flat corner", number)), pos, &name, true, &colors);
        dragged |= follow(&knob, number, asked, |pos| form.touch_flat(open.sheet, place(pos)));
    }
    dragged
}

/// The corners that lie in a map set.
fn flat_corners(line: &Line, sheet: usize, at: &dyn Fn(Vec2) -> Pos2) -> Vec<Option<Pos2>> {
    line.flat.iter().map(|corner| corner.filter(|(set, _)| *set == sheet).map(|(_, place)| at(place))).collect()
}

/// A corner follows the pointer over the cloth.
fn follow(
    knob: &Response,
    number: usize,
    asked: &mut Vec<Command>,
    touch: impl Fn(Pos2) -> Option<tatter::stand::Touch>,
) -> bool {
    if drawn_by(knob) != egui::Vec2::ZERO
        && let Some(touch) = knob.interact_pointer_pos().and_then(touch)
    {
        asked.push(Command::Line(OnLine::Corner(number, touch)));
    }
    if knob.drag_stopped() {
        asked.push(Command::LetGo);
    }
    knob.dragged()
}
