//! What is told about a photo: the tools, what they ask, and what was told so far.

use egui::{Rect, Response, Role, Sense, Slider, Stroke, StrokeKind as Edge, TextEdit, Ui, WidgetInfo, pos2, vec2};
use tatter::color::Known;
use tatter_core::model::StrokeKind;

use super::fields::word_ui;
use super::named;
use super::photo_beside::{beside_ui, chart_ui, find_ruler_ui, number_of, rectangle_ui, scale_ui};
use crate::command::Command;
use crate::look::{self, APART, Icon, NEAR, Palette, icon_button_ui, paint_icon, palette, stroke_color};
use crate::photo::{BRUSHES, GREY_CARD, OnPhoto, Part, Photos, Quad, SUBJECTS, Sheet, Shot, Tool, WHITE_PAPER, counted};
use crate::say;

/// Draw the panel.
pub(crate) fn photo_tools_ui(ui: &mut Ui, photos: &mut Photos, asked: &mut Vec<Command>) {
    let colors = palette(ui);
    let (tool, brush) = (photos.tool, photos.brush);
    egui::ScrollArea::vertical().id_salt("tools").auto_shrink(false).show(ui, |ui| {
        ui.label(look::heading(say::TELL));
        ui.add_space(2.0);
        ui.spacing_mut().item_spacing.y = 3.0;
        for other in Tool::ALL {
            if tool_ui(ui, other, other == tool, &colors).clicked() {
                asked.push(Command::Photo(OnPhoto::Take(other)));
            }
        }
        ui.spacing_mut().item_spacing.y = NEAR;
        ui.add_space(NEAR);
        let others = others(photos);
        let Some(sheet) = photos.sheet_mut() else { return };
        ui.label(look::quiet(say::tool_hint(tool), &colors));
        settings_ui(ui, sheet, tool, brush, &colors, asked);
        ui.add_space(APART);
        subject_ui(ui, sheet, &colors, asked);
        ui.add_space(APART);
        // In sight of the tools that told it.
        told_ui(ui, sheet, &colors, asked);
        ui.add_space(APART);
        beside_ui(ui, sheet, &others, &colors, asked);
    });
}

/// The other photos that lie on the table.
fn others(photos: &Photos) -> Vec<std::path::PathBuf> {
    photos.sheets.iter().enumerate().filter(|(at, _)| *at != photos.at).map(|(_, sheet)| sheet.path.clone()).collect()
}

fn tool_ui(ui: &mut Ui, tool: Tool, is_taken: bool, colors: &Palette) -> Response {
    let (rect, response) = ui.allocate_exact_size(vec2(ui.available_width(), 27.0), Sense::click());
    let name = say::tool(tool);
    response.widget_info(|| WidgetInfo::selected(Role::Button, true, is_taken, name));
    let painter = ui.painter();
    if is_taken || response.hovered() || response.has_focus() {
        let edge = if is_taken { Stroke::new(2.0, colors.thread) } else { Stroke::new(1.0, colors.line) };
        painter.rect(rect, 5.0, colors.hover, edge, Edge::Inside);
    }
    let square = Rect::from_min_size(rect.min + vec2(6.0, 3.5), vec2(20.0, 20.0));
    match (tool, icon(tool)) {
        (Tool::Stroke(kind), _) => swatch(ui, square, kind, colors),
        (_, Some(icon)) => paint_icon(painter, icon, square.expand(1.0), colors.ink),
        _ => {}
    }
    let font = egui::FontId::proportional(13.5);
    painter.text(pos2(square.right() + 9.0, rect.center().y), egui::Align2::LEFT_CENTER, name, font, colors.ink);
    response.on_hover_text(say::tool_hint(tool))
}

const fn icon(tool: Tool) -> Option<Icon> {
    match tool {
        Tool::Hand => Some(Icon::Hand),
        Tool::Loop => Some(Icon::Loop),
        Tool::Rubber => Some(Icon::Rubber),
        Tool::Ruler => Some(Icon::Ruler),
        Tool::Grain => Some(Icon::Grain),
        Tool::Light => Some(Icon::Light),
        Tool::Grey => Some(Icon::Grey),
        Tool::Mark(Quad::Chart) => Some(Icon::Chart),
        Tool::Mark(Quad::Rectangle) => Some(Icon::Card),
        Tool::Stroke(_) => None,
    }
}

/// A stroke in its colour and its kind of line.
fn swatch(ui: &Ui, square: Rect, kind: StrokeKind, colors: &Palette) {
    let ends = [square.left_center() + vec2(3.0, 4.0), square.right_center() + vec2(-3.0, -4.0)];
    let painter = ui.painter();
    painter.rect_filled(square, 4.0, colors.chalk[1]);
    super::marks::band(painter, &ends, 3.5, stroke_color(colors, kind), kind);
}

fn settings_ui(ui: &mut Ui, sheet: &mut Sheet, tool: Tool, brush: f32, colors: &Palette, asked: &mut Vec<Command>) {
    let longest = sheet.longest().max(1.0);
    match tool {
        _ if tool.is_broad() => {
            let mut breadth = 2.0 * brush * longest;
            let range = 2.0 * BRUSHES.start() * longest..=2.0 * BRUSHES.end() * longest;
            ui.label(look::quiet(say::BREADTH, colors));
            ui.spacing_mut().slider_width = 92.0;
            let response = ui.add(Slider::new(&mut breadth, range).logarithmic(true).fixed_decimals(0).suffix(" px"));
            named(&response, Role::Slider, say::BREADTH);
            if response.changed() {
                asked.push(Command::Photo(OnPhoto::Brush(0.5 * breadth / longest)));
            }
        }
        Tool::Ruler => {
            find_ruler_ui(ui, sheet, asked);
            length_ui(ui, sheet, colors, asked);
            scale_ui(ui, sheet, colors, asked);
        }
        Tool::Mark(Quad::Rectangle) => rectangle_ui(ui, sheet, colors, asked),
        Tool::Mark(Quad::Chart) => chart_ui(ui, sheet, colors, asked),
        Tool::Grain => {
            let mut upright = sheet.told().recipe.upright;
            if ui.checkbox(&mut upright, say::UPRIGHT).on_hover_text(say::UPRIGHT_TIP).changed() {
                asked.push(Command::Photo(OnPhoto::Upright(upright)));
            }
        }
        Tool::Grey => {
            ui.horizontal_wrapped(|ui| {
                for (label, share) in [(say::GREY_CARD, GREY_CARD), (say::WHITE_PAPER, WHITE_PAPER)] {
                    if word_ui(ui, sheet.reflectance == share, label, colors).clicked() {
                        asked.push(Command::Photo(OnPhoto::Reflectance(share)));
                    }
                }
            });
        }
        _ => {}
    }
}

/// The length of the ruler line, once there is one.
fn length_ui(ui: &mut Ui, sheet: &mut Sheet, colors: &Palette, asked: &mut Vec<Command>) {
    if sheet.ruler_line().is_none() {
        return;
    }
    ui.horizontal(|ui| {
        let field = ui.add(TextEdit::singleline(&mut sheet.length).desired_width(64.0).hint_text("50"));
        named(&field, Role::TextInput, say::RULER_LENGTH);
        ui.label("mm");
        // Whoever has drawn a line wants to write next.
        if sheet.ruler.is_some() && sheet.length.is_empty() && ui.memory(|memory| memory.focused().is_none()) {
            field.request_focus();
        }
        let entered = field.lost_focus() && !sheet.length.trim().is_empty();
        if entered && let Some(mm) = number_of(&sheet.length) {
            asked.push(Command::Photo(OnPhoto::Length(mm)));
        }
    });
    if !sheet.length.trim().is_empty() && number_of(&sheet.length).is_none() {
        ui.colored_label(colors.madder, say::NO_LENGTH);
    }
}

fn subject_ui(ui: &mut Ui, sheet: &Sheet, colors: &Palette, asked: &mut Vec<Command>) {
    ui.label(look::name(say::SUBJECT));
    ui.horizontal_wrapped(|ui| {
        ui.spacing_mut().item_spacing.x = 2.0;
        for choice in SUBJECTS {
            let (label, tip) = say::subject(choice);
            let is_chosen = sheet.told().recipe.subject == choice;
            if word_ui(ui, is_chosen, label, colors).on_hover_text(tip).clicked() && !is_chosen {
                asked.push(Command::Photo(OnPhoto::Subject(choice)));
            }
        }
    });
}

/// What was told, each with a way to take it back.
fn told_ui(ui: &mut Ui, sheet: &Sheet, colors: &Palette, asked: &mut Vec<Command>) {
    let told = sheet.told();
    let mut parts: Vec<(String, Part)> = Vec::new();
    let strokes = counted(told);
    if !strokes.is_empty() {
        parts.push((say::strokes(&strokes), Part::Strokes));
    }
    if told.recipe.around.is_some() {
        parts.push((say::TOLD_LOOP.to_owned(), Part::Loop));
    }
    let half = || sheet.ruler.is_some().then(|| say::TOLD_HALF_A_RULER.to_owned());
    parts.extend(say::told_scale(told.recipe.scale).or_else(half).map(|text| (text, Part::Ruler)));
    if let Some(grain) = told.recipe.grain {
        parts.push((say::told_grain(grain.to_degrees()), Part::Grain));
    }
    if let Some(light) = told.recipe.light_from {
        parts.push((say::told_light(light.to_degrees()), Part::Light));
    }
    match told.color.known {
        Some(Known::Grey(pick)) => parts.push((say::told_grey(pick.reflectance), Part::Grey)),
        Some(Known::Chart(_) | Known::ChartSomewhere) => parts.push((say::TOLD_CHART.to_owned(), Part::Chart)),
        None => {}
    }
    for shot in Shot::ALL {
        parts.extend(shot.of(told).map(|file| (say::told_shot(shot, file), Part::Shot(shot))));
    }
    ui.label(look::name(say::TOLD));
    if parts.is_empty() {
        ui.label(look::quiet(say::TOLD_NOTHING, colors));
    }
    for (text, part) in parts {
        ui.horizontal(|ui| {
            if icon_button_ui(ui, Icon::Remove, &say::take_back(&text), &say::take_back(&text), false, true).clicked() {
                asked.push(Command::Photo(OnPhoto::Unsay(part)));
            }
            ui.add(egui::Label::new(text).wrap());
        });
    }
}
