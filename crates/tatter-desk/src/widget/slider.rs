//! The proof before and after, with a thread between that is moved from side to side.

use egui::{Align2, Id, Key, Rect, Role, Sense, Stroke, Ui, WidgetInfo, pos2, vec2};

use super::WHOLE;
use super::marks::tag;
use super::solid::{covering, pixels, said};
use crate::command::Command;
use crate::look::{KNOB, Palette, palette};
use crate::open::Open;
use crate::say;

/// Draw both into what is left of the ui.
pub(crate) fn slider_ui(ui: &mut Ui, open: &mut Open, asked: &mut Vec<Command>) {
    let colors = palette(ui);
    let rect = ui.available_rect_before_wrap();
    let response = ui.allocate_rect(rect, Sense::click_and_drag());
    response.widget_info(|| WidgetInfo::labeled(Role::Canvas, true, say::PROOF));
    open.solid_size = pixels(ui, rect);
    open.moving = false;
    let painter = ui.painter_at(rect);
    if let Some(why) = &open.without_adapter {
        return said(&painter, rect, &format!("{}\n{why}", say::NO_PICTURE), &colors);
    }
    let split = rect.left() + open.slide * rect.width();
    let Some(after) = open.solid.texture(ui.ctx(), "solid").map(egui::TextureHandle::id) else {
        return said(&painter, rect, say::DRAWING, &colors);
    };
    let seen = covering(rect, open.solid.aspect);
    // Both must have been drawn from one place to be compared.
    let same = open.before.camera.is_some() && open.before.camera == open.solid.camera;
    let before = open.before.texture(ui.ctx(), "before").map(egui::TextureHandle::id).filter(|_| same);
    let Some(before) = before else {
        painter.image(after, seen, WHOLE, egui::Color32::WHITE);
        return said(
            &painter,
            Rect::from_center_size(rect.center_bottom() - vec2(0.0, 30.0), vec2(300.0, 30.0)),
            say::DRAWING,
            &colors,
        );
    };
    for (id, part) in [(before, rect.with_max_x(split)), (after, rect.with_min_x(split))] {
        painter.with_clip_rect(part).image(id, seen, WHOLE, egui::Color32::WHITE);
    }
    thread_ui(ui, rect, split, open.slide, &colors, asked);
    if (response.clicked() || response.dragged())
        && let Some(pos) = response.interact_pointer_pos()
    {
        asked.push(Command::Slide((pos.x - rect.left()) / rect.width()));
    }
}

fn thread_ui(ui: &mut Ui, rect: Rect, split: f32, slide: f32, colors: &Palette, asked: &mut Vec<Command>) {
    let middle = pos2(split, rect.center().y);
    let handle = ui.interact(
        Rect::from_center_size(middle, vec2(24.0, rect.height())),
        Id::unique("before and after"),
        Sense::click_and_drag(),
    );
    handle.widget_info(|| WidgetInfo::slider(true, f64::from(slide), say::SLIDER));
    if handle.dragged()
        && let Some(pos) = handle.interact_pointer_pos()
    {
        asked.push(Command::Slide((pos.x - rect.left()) / rect.width()));
    }
    if handle.has_focus() {
        ui.memory_mut(|memory| {
            let filter = egui::EventFilter { horizontal_arrows: true, ..egui::EventFilter::default() };
            memory.set_focus_lock_filter(handle.id, filter);
        });
        for (key, by) in [(Key::ArrowLeft, -0.05), (Key::ArrowRight, 0.05)] {
            if ui.input(|input| input.key_pressed(key)) {
                asked.push(Command::Slide(slide + by));
            }
        }
    }
    let [light, dark] = colors.chalk;
    let painter = ui.painter_at(rect);
    painter.vline(split, rect.y_range(), Stroke::new(4.0, dark.gamma_multiply(0.6)));
    painter.vline(split, rect.y_range(), Stroke::new(1.6, light));
    painter.circle_filled(middle, KNOB + 3.5, dark);
    let is_hot = handle.hovered() || handle.dragged() || handle.has_focus();
    painter.circle_filled(middle, KNOB + 2.0, if is_hot { colors.held } else { light });
    tag(&painter, pos2(split - 12.0, rect.top() + 18.0), Align2::RIGHT_CENTER, say::BEFORE, colors);
    tag(&painter, pos2(split + 12.0, rect.top() + 18.0), Align2::LEFT_CENTER, say::AFTER, colors);
}
