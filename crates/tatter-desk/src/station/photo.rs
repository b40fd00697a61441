//! The photo: what is told about it on the left, the photo in the middle, what would be cut on the right.

use std::path::{Path, PathBuf};

use egui::{CentralPanel, Frame, Panel, Rect, Role, Sense, Stroke, StrokeKind, TextEdit, Ui, WidgetInfo, pos2, vec2};

use crate::command::Command;
use crate::look::{self, APART, Icon, NEAR, icon_button_ui, palette, sheet_frame};
use crate::photo::{OnPhoto, Photos};
use crate::say;
use crate::start::{OnStart, Wanted};
use crate::widget::photo_cut::photo_cut_ui;
use crate::widget::photo_tools::photo_tools_ui;
use crate::widget::photo_view::photo_view_ui;
use crate::widget::{WHOLE, named};
use crate::window::ask_ui;

/// Side of a photo in the strip.
const THUMB: f32 = 56.0;

/// Draw the station; patches go beside the job, when one is open.
pub(crate) fn photo_ui(ui: &mut Ui, photos: &mut Photos, job: Option<&Path>, path: &mut String, asked: &mut Vec<Command>) {
    if photos.sheets.is_empty() {
        return empty_ui(ui, path, asked);
    }
    let colors = palette(ui);
    let frame = sheet_frame(&colors);
    Panel::left("tools").exact_size(226.0).resizable(false).frame(frame).show(ui, |ui| photo_tools_ui(ui, photos, asked));
    // The photo has most of the window, however small it is.
    let cut = (0.32 * ui.available_width()).clamp(250.0, 372.0);
    Panel::right("cut")
        .default_size(cut)
        .min_size(230.0)
        .max_size(620.0)
        .frame(frame)
        .show(ui, |ui| photo_cut_ui(ui, photos, job, asked));
    Panel::bottom("strip").resizable(false).frame(frame).show(ui, |ui| strip_ui(ui, photos, asked));
    CentralPanel::default().frame(Frame::new()).show(ui, |ui| photo_view_ui(ui, photos, asked));
}

/// The photos on the table, one beside the other.
fn strip_ui(ui: &mut Ui, photos: &mut Photos, asked: &mut Vec<Command>) {
    let colors = palette(ui);
    let at = photos.at;
    egui::ScrollArea::horizontal().id_salt("strip").auto_shrink([false, true]).show(ui, |ui| {
        ui.horizontal(|ui| {
            let serves: Vec<_> = (0..photos.sheets.len()).map(|number| photos.serves(number)).collect();
            for ((number, sheet), serves) in photos.sheets.iter_mut().enumerate().zip(serves) {
                let name = sheet.file_name();
                let label = serves.as_ref().map_or_else(|| name.clone(), |(shot, of)| say::is_shot(&name, *shot, of));
                let state = say::photo_state(sheet.is_accepted(), sheet.trouble().is_some(), serves);
                let laid =
                    |text: &str, color| ui.painter().layout_no_wrap(text.to_owned(), egui::FontId::proportional(12.5), color);
                let (text, state) = (laid(&name, colors.ink), laid(&state, colors.quiet));
                let width = THUMB + 22.0 + text.size().x.max(state.size().x);
                let (rect, response) = ui.allocate_exact_size(vec2(width, THUMB + 8.0), Sense::click());
                response.widget_info(|| WidgetInfo::selected(Role::Tab, true, number == at, &label));
                if response.clicked() {
                    asked.push(Command::Photo(OnPhoto::Choose(number)));
                }
                let fill = if number == at || response.hovered() || response.has_focus() { colors.hover } else { colors.sheet };
                let edge = if number == at { Stroke::new(2.0, colors.thread) } else { Stroke::new(1.0, colors.line) };
                ui.painter().rect(rect, 6.0, fill, edge, StrokeKind::Inside);
                let square = Rect::from_min_size(rect.min + vec2(4.0, 4.0), vec2(THUMB, THUMB));
                let aspect = sheet.thumb.aspect;
                if let Some(texture) = sheet.thumb.texture(ui.ctx(), "thumb") {
                    let fitted = crate::widget::flat::fitted(square, aspect);
                    ui.painter().image(texture.id(), fitted, WHOLE, egui::Color32::WHITE);
                } else {
                    ui.painter().rect_filled(square, 3.0, colors.table);
                }
                let at_line = |y: f32| pos2(square.right() + 8.0, rect.center().y + y);
                ui.painter().galley(at_line(-18.0), text, colors.ink);
                ui.painter().galley(at_line(2.0), state, colors.quiet);
                let away = say::put_away(&name);
                if icon_button_ui(ui, Icon::Remove, &away, &away, false, true).clicked() {
                    asked.push(Command::Photo(OnPhoto::PutAway(number)));
                }
                ui.add_space(NEAR);
            }
        });
    });
}

/// No photo: what to do first.
fn empty_ui(ui: &mut Ui, path: &mut String, asked: &mut Vec<Command>) {
    let colors = palette(ui);
    ui.add_space(0.22 * ui.available_height());
    ui.vertical_centered(|ui| {
        ui.set_max_width(600.0);
        ui.label(look::heading(say::NO_PHOTO));
        ui.add_space(NEAR);
        ui.label(look::quiet(say::PHOTO_FIRST, &colors));
        ui.add_space(APART);
        ask_ui(ui, say::CHOOSE_PHOTOS, Command::Start(OnStart::Choose(Wanted::Photos)), asked);
        ui.add_space(NEAR);
        let field = ui.add(TextEdit::singleline(path).hint_text(say::PHOTO_HINT).desired_width(420.0));
        named(&field, Role::TextInput, say::PHOTO_FILE);
        let entered = field.lost_focus() && ui.input(|input| input.key_pressed(egui::Key::Enter));
        ui.add_space(NEAR);
        let can = !path.trim().is_empty();
        if ui.add_enabled(can, egui::Button::new(say::LAY_ON_TABLE)).clicked() || (entered && can) {
            asked.push(Command::Lay(vec![PathBuf::from(path.trim())]));
            path.clear();
        }
        ui.add_space(APART);
        ui.label(look::quiet(say::PHOTO_WHY, &colors));
    });
}
