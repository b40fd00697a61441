//! The corners of a chart or of a known rectangle: handles on the photo.

use egui::{Key, Rect, Role, Sense, Stroke, Ui, Vec2, WidgetInfo, vec2};

use super::keep_arrows;
use crate::command::Command;
use crate::look::{KNOB, Palette};
use crate::photo::{Laid, OnPhoto, Quad, Sheet, corners};
use crate::say;

/// Side of what can be taken hold of, points.
const HOLD: f32 = 24.0;

/// Draw the four handles of what the tool in the hand marks; dragged, or moved by a pixel of the photo with an arrow key.
pub(super) fn corners_ui(ui: &Ui, sheet: &Sheet, quad: Quad, laid: &Laid, colors: &Palette, asked: &mut Vec<Command>) {
    let Some(marked) = corners(sheet.told(), quad) else { return };
    for (number, place) in marked.into_iter().enumerate() {
        let at = laid.pos(place);
        let area = Rect::from_center_size(at, Vec2::splat(HOLD));
        let response = ui.interact(area, ui.scope_id().with((quad, number)), Sense::click_and_drag());
        let name = say::quad_corner(quad, number);
        response.widget_info(|| WidgetInfo::labeled(Role::Button, true, &name));
        let move_to = |place: [f32; 2]| Command::Photo(OnPhoto::Corner(quad, number, place));
        if response.dragged() && response.drag_delta() != Vec2::ZERO {
            // The corner follows the pointer from where it was taken.
            asked.push(move_to(laid.place(at + response.drag_delta())));
        }
        if response.has_focus() {
            keep_arrows(ui, &response);
            let step = |key: Key, x: f32, y: f32| (ui.input(|input| input.key_pressed(key)), [place[0] + x, place[1] + y]);
            let steps = [
                step(Key::ArrowLeft, -1.0, 0.0),
                step(Key::ArrowRight, 1.0, 0.0),
                step(Key::ArrowUp, 0.0, -1.0),
                step(Key::ArrowDown, 0.0, 1.0),
            ];
            for (_, to) in steps.into_iter().filter(|(pressed, _)| *pressed) {
                asked.extend([move_to(to), Command::LetGo]);
            }
        }
        if response.drag_stopped() {
            asked.push(Command::LetGo);
        }
        let painter = ui.painter();
        let is_held = response.hovered() || response.dragged() || response.has_focus();
        let [light, dark] = colors.chalk;
        painter.circle(at, KNOB, dark.gamma_multiply(0.45), Stroke::new(3.0, dark.gamma_multiply(0.55)));
        painter.circle_stroke(at, KNOB, Stroke::new(if is_held { 3.0 } else { 1.6 }, if is_held { colors.held } else { light }));
        // The middle stays free, so that the corner itself is seen.
        painter.line_segment([at - vec2(2.0, 0.0), at + vec2(2.0, 0.0)], Stroke::new(1.0, light));
        painter.line_segment([at - vec2(0.0, 2.0), at + vec2(0.0, 2.0)], Stroke::new(1.0, light));
    }
}
