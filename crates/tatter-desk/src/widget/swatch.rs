//! The patch as it is lit: the lamp is dragged about over it.

use egui::{Key, Pos2, Role, Sense, Stroke, Ui, WidgetInfo, vec2};

use super::{WHOLE, keep_arrows};
use crate::bench::{Bench, OnPatch};
use crate::command::Command;
use crate::look::{self, KNOB, Palette};
use crate::say;

/// How far an arrow key moves the lamp.
const STEP: f32 = 0.08;
/// Share of the swatch's half side that the horizon is from its middle.
const HORIZON: f32 = 0.94;
/// Rays of the lamp.
const RAYS: usize = 8;

/// Draw it.
pub(crate) fn swatch_ui(ui: &mut Ui, bench: &mut Bench, colors: &Palette, asked: &mut Vec<Command>) {
    let side = ui.available_width();
    let (rect, response) = ui.allocate_exact_size(vec2(side, side), Sense::click_and_drag());
    response.widget_info(|| WidgetInfo::labeled(Role::Canvas, true, say::SWATCH));
    ui.painter().rect_filled(rect, 4.0, colors.table);
    let aspect = bench.swatch.aspect;
    if let Some(texture) = bench.swatch.texture(ui.ctx(), "swatch") {
        ui.painter().image(texture.id(), super::flat::fitted(rect, aspect), WHOLE, egui::Color32::WHITE);
    }
    let reach = 0.5 * side * HORIZON;
    let place = |[x, y]: [f32; 2]| rect.center() + reach * vec2(x, -y);
    if (response.dragged() || response.clicked())
        && let Some(pos) = response.interact_pointer_pos()
    {
        let off = (pos - rect.center()) / reach;
        asked.push(Command::Patch(OnPatch::Lamp([off.x, -off.y])));
    }
    keys(ui, &response, bench.lamp, asked);
    lamp(ui.painter(), place(bench.lamp), response.has_focus() || response.hovered(), colors);
    response.on_hover_text(say::SWATCH_TIP);
    ui.label(look::quiet(&say::lamp(bench.lamp), colors));
}

fn keys(ui: &Ui, response: &egui::Response, [x, y]: [f32; 2], asked: &mut Vec<Command>) {
    if !response.has_focus() {
        return;
    }
    keep_arrows(ui, response);
    for (key, right, up) in
        [(Key::ArrowLeft, -STEP, 0.0), (Key::ArrowRight, STEP, 0.0), (Key::ArrowUp, 0.0, STEP), (Key::ArrowDown, 0.0, -STEP)]
    {
        if ui.input(|input| input.key_pressed(key)) {
            asked.push(Command::Patch(OnPatch::Lamp([x + right, y + up])));
        }
    }
}

/// A lamp seen from above, and its light all around.
fn lamp(painter: &egui::Painter, at: Pos2, is_hot: bool, colors: &Palette) {
    let [light, dark] = colors.chalk;
    let radius = if is_hot { KNOB + 1.0 } else { KNOB };
    let color = if is_hot { colors.strokes[3] } else { light };
    for ray in 0..RAYS {
        let way = egui::Vec2::angled((ray as f32 + 0.5) * std::f32::consts::TAU / RAYS as f32);
        let ends = [at + way * (radius + 3.5), at + way * (radius + 8.0)];
        painter.line_segment(ends, Stroke::new(4.0, dark.gamma_multiply(0.7)));
        painter.line_segment(ends, Stroke::new(1.8, color));
    }
    painter.circle_filled(at, radius + 1.5, dark);
    painter.circle_filled(at, radius, color);
}
