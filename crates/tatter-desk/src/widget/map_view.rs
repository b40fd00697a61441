//! The maps of a patch: one large with a loupe, all in a strip.

use egui::{Align2, FontId, Rect, Response, Role, Sense, Stroke, StrokeKind, Ui, WidgetInfo, pos2, vec2};

use tatter_core::channel::Channel;

use super::WHOLE;
use super::flat::fitted;
use super::marks::tag;
use super::solid::said;
use crate::bench::{Bench, OnPatch, Sighted};
use crate::command::Command;
use crate::look::{Palette, THUMB};
use crate::say;

/// Side of the loupe, points.
const LOUPE: f32 = 220.0;
/// What is seen through it is at least so many times larger than around it.
const LARGER: f32 = 2.0;

/// The chosen map into what is left of the ui, with a loupe under the pointer.
pub(crate) fn map_view_ui(ui: &mut Ui, bench: &mut Bench, colors: &Palette) {
    let whole = ui.available_rect_before_wrap();
    let response = ui.allocate_rect(whole, Sense::hover());
    response.widget_info(|| WidgetInfo::labeled(Role::Canvas, true, say::LARGE_MAP));
    let painter = ui.painter_at(whole);
    let (channel, texels) = (bench.channel, bench.view.as_ref().map(|view| view.texels));
    let Some(map) = bench.maps.iter_mut().find(|map| map.channel == channel) else {
        let text = if bench.trouble.is_some() { "" } else { say::PATCH_READING };
        return said(&painter, whole, text, colors);
    };
    let rect = fitted(whole.shrink(14.0), map.levels[0].aspect);
    let pixels = ui.ctx().pixels_per_point();
    let level = level_for(map, rect.width() * pixels);
    if let Some(texture) = map.levels[level].texture(ui.ctx(), "map") {
        painter.image(texture.id(), rect, WHOLE, egui::Color32::WHITE);
    }
    tag(&painter, rect.left_top() + vec2(16.0, 20.0), Align2::LEFT_CENTER, &say::channel(channel), colors);
    let (Some(pos), Some(texels)) = (response.hover_pos().filter(|pos| rect.contains(*pos)), texels) else { return };
    ui.ctx().set_cursor_icon(egui::CursorIcon::None);
    // A texel a pixel of the screen; larger where the map is seen larger than half of that already.
    let shown = rect.width() * pixels / texels.width.max(1) as f32;
    let zoom = (shown * LARGER).max(1.0);
    let seen = 0.5 * LOUPE * pixels / zoom;
    let half = vec2(seen / texels.width.max(1) as f32, seen / texels.height.max(1) as f32);
    let at = ((pos - rect.min) / rect.size()).to_pos2();
    let around = Rect::from_center_size(pos, vec2(LOUPE, LOUPE));
    if let Some(texture) = map.levels[0].texture(ui.ctx(), "map") {
        painter.rect_filled(around.expand(2.0), 6.0, colors.table);
        // Beyond the map's edge there is nothing.
        let uv = Rect::from_min_max(at - half, at + half);
        let inside = uv.intersect(WHOLE);
        let part = |v: egui::Pos2| around.lerp_inside((v - uv.min) / uv.size());
        painter.image(texture.id(), Rect::from_min_max(part(inside.min), part(inside.max)), inside, egui::Color32::WHITE);
        painter.rect_stroke(around, 6.0, Stroke::new(4.0, colors.chalk[1].gamma_multiply(0.7)), StrokeKind::Outside);
        painter.rect_stroke(around, 6.0, Stroke::new(1.6, colors.chalk[0]), StrokeKind::Outside);
        tag(&painter, around.center_bottom() + vec2(0.0, -16.0), Align2::CENTER_CENTER, &say::percent(zoom), colors);
    }
}

/// The smallest level that has as many columns.
fn level_for(map: &Sighted, columns: f32) -> usize {
    map.levels.iter().rposition(|level| level.width() >= columns).unwrap_or(0)
}

/// All maps, small; the chosen one, if any is, stands out.
pub(crate) fn map_strip_ui(ui: &mut Ui, bench: &mut Bench, chosen: Option<Channel>, colors: &Palette, asked: &mut Vec<Command>) {
    let origins: Vec<_> = bench.view.as_ref().map(|view| view.maps.iter().map(|map| map.origin).collect()).unwrap_or_default();
    egui::ScrollArea::horizontal().id_salt("maps").auto_shrink([false, true]).show(ui, |ui| {
        ui.horizontal(|ui| {
            ui.set_min_height(THUMB + 44.0);
            let pixels = ui.ctx().pixels_per_point();
            for (map, origin) in bench.maps.iter_mut().zip(origins) {
                let is_chosen = chosen == Some(map.channel);
                let name = say::channel(map.channel);
                let (square, response) = tile_ui(ui, &name, origin.name(), is_chosen, colors);
                if response.clicked() {
                    asked.push(Command::Patch(OnPatch::Map(map.channel)));
                }
                let level = level_for(map, THUMB * pixels);
                let aspect = map.levels[level].aspect;
                if let Some(texture) = map.levels[level].texture(ui.ctx(), "map") {
                    ui.painter().image(texture.id(), fitted(square, aspect), WHOLE, egui::Color32::WHITE);
                }
                response.on_hover_text(map.channel.info().doc);
            }
        });
    });
}

/// A tile of a strip, with its name and a word about it; gives the square for its picture.
pub(crate) fn tile_ui(ui: &mut Ui, name: &str, about: &str, is_chosen: bool, colors: &Palette) -> (Rect, Response) {
    let (rect, response) = ui.allocate_exact_size(vec2(THUMB + 14.0, THUMB + 44.0), Sense::click());
    response.widget_info(|| WidgetInfo::selected(Role::Tab, true, is_chosen, name));
    let fill = if is_chosen || response.hovered() || response.has_focus() { colors.hover } else { colors.sheet };
    let edge = if is_chosen { Stroke::new(2.0, colors.thread) } else { Stroke::new(1.0, colors.line) };
    ui.painter().rect(rect, 6.0, fill, edge, StrokeKind::Inside);
    let square = Rect::from_min_size(rect.min + vec2(7.0, 7.0), vec2(THUMB, THUMB));
    let line = |y: f32| pos2(rect.center().x, square.bottom() + y);
    ui.painter().text(line(11.0), Align2::CENTER_CENTER, name, FontId::proportional(12.5), colors.ink);
    ui.painter().text(line(26.0), Align2::CENTER_CENTER, about, FontId::proportional(12.0), colors.quiet);
    (square, response)
}
