//! What was told about a photo, drawn over it.

use egui::{Align2, Color32, FontId, Painter, Pos2, Shape, Stroke, vec2};
use tatter::color::Known;
use tatter_core::model::{Scale, StrokeKind};

use crate::look::{self, Palette, stroke_color};
use crate::photo::{Laid, Quad, Sheet, corners};
use crate::say;

/// How much of the photo a stroke lets through.
const VEIL: f32 = 0.34;
/// Radius of a grey place, as a share of the photo's longer side: as far as is looked at around it.
const GREY: f32 = 0.015;
/// Corners of a circle.
const CORNERS: usize = 64;

/// All of it.
pub(crate) fn marks(painter: &Painter, sheet: &Sheet, laid: &Laid, colors: &Palette) {
    let told = sheet.told();
    if let Some(preview) = &sheet.preview {
        let mut frame: Vec<Pos2> = preview.frame.iter().map(|corner| laid.pos(*corner)).collect();
        frame.extend(frame.first().copied());
        chalked(painter, &frame, true, colors);
    }
    for stroke in &told.recipe.strokes {
        let points: Vec<Pos2> = stroke.points.iter().map(|place| laid.pos(*place)).collect();
        band(painter, &points, stroke.radius * laid.points, stroke_color(colors, stroke.kind), stroke.kind);
    }
    if let Some([x, y, r]) = told.recipe.around {
        let ring = circle(laid.pos([x, y]), r * laid.points);
        chalked(painter, &ring, false, colors);
    }
    if let Some(ends) = sheet.ruler_line() {
        let length = if let Scale::Ruler { length, .. } = told.recipe.scale { Some(length.get()) } else { None };
        line_with_ends(painter, ends.map(|end| laid.pos(end)), &say::ruler_label(length), colors);
    }
    if let Some(grain) = told.recipe.grain {
        let drawn = sheet.grain.filter(|(known, _)| *known == grain).map(|(_, ends)| ends.map(|end| laid.pos(end)));
        let (sin, cos) = grain.to_radians().sin_cos();
        let half = 0.2 * laid.rect.width().min(laid.rect.height()) * vec2(cos, -sin);
        let middle = laid.rect.center();
        line_with_ends(painter, drawn.unwrap_or([middle - half, middle + half]), &say::grain_label(grain.to_degrees()), colors);
    }
    if let Some(light) = told.recipe.light_from {
        let drawn = sheet.light.filter(|(known, _)| *known == light).map(|(_, ends)| ends.map(|end| laid.pos(end)));
        let (sin, cos) = light.to_radians().sin_cos();
        let far = 0.3 * laid.rect.width().min(laid.rect.height()) * vec2(cos, -sin);
        let [from, to] = drawn.unwrap_or([laid.rect.center(), laid.rect.center() + far]);
        pointing(painter, [from, to], &say::light_label(light.to_degrees()), colors);
    }
    for quad in [Quad::Chart, Quad::Rectangle] {
        if let Some(marked) = corners(told, quad) {
            let marked = marked.map(|corner| laid.pos(corner));
            outline(painter, marked, colors);
            let name = match (quad, told.recipe.scale) {
                (Quad::Rectangle, Scale::Rectangle { size, .. }) => say::known_size(size),
                _ => say::quad(quad).to_owned(),
            };
            let middle = marked.iter().fold(egui::Vec2::ZERO, |sum, at| sum + 0.25 * at.to_vec2()).to_pos2();
            tag(painter, middle, Align2::CENTER_CENTER, &name, colors);
        }
    }
    if let Some(Known::Grey(pick)) = told.color.known {
        let radius = pick.radius.unwrap_or(GREY * sheet.longest()) * laid.points;
        let middle = laid.pos(pick.at);
        chalked(painter, &circle(middle, radius), false, colors);
        tag(painter, middle + vec2(radius + 10.0, 0.0), Align2::LEFT_CENTER, say::GREY_LABEL, colors);
    }
}

/// Four corners and the sides between them.
pub(super) fn outline(painter: &Painter, [a, b, c, d]: [Pos2; 4], colors: &Palette) {
    chalked(painter, &[a, b, c, d, a], false, colors);
}

fn circle(middle: Pos2, radius: f32) -> Vec<Pos2> {
    let corner = |n: usize| egui::Vec2::angled(n as f32 * std::f32::consts::TAU / CORNERS as f32);
    (0..=CORNERS).map(|n| middle + radius * corner(n)).collect()
}

/// A stroke as broad as it is, with a line in its middle that tells its kind without colour: whole, broken, dotted, or none.
pub(crate) fn band(painter: &Painter, points: &[Pos2], radius: f32, color: Color32, kind: StrokeKind) {
    let veil = color.gamma_multiply(VEIL);
    match points {
        [] => return,
        [one] => drop(painter.circle_filled(*one, radius.max(1.5), veil)),
        _ => drop(painter.line(smoothed(points, 0.8 * radius), Stroke::new(2.0 * radius.max(1.0), veil))),
    }
    let stroke = Stroke::new(2.0, color);
    match (kind, points) {
        (_, [one]) => drop(painter.circle_stroke(*one, radius, stroke)),
        (StrokeKind::Damage, _) => drop(painter.line(points.to_vec(), stroke)),
        (StrokeKind::Gap, _) => painter.extend(Shape::dotted_line(points, color, 7.0, 1.7)),
        (StrokeKind::Cloth, _) => painter.extend(Shape::dashed_line(points, stroke, 10.0, 5.0)),
        (StrokeKind::Backing, _) => painter.extend(Shape::dashed_line(points, stroke, 3.0, 6.0)),
    }
}

/// Without corners so near to each other that a broad line would fold over itself, and as far beyond its ends as it is broad.
fn smoothed(points: &[Pos2], apart: f32) -> Vec<Pos2> {
    let mut kept = vec![points[0]];
    for at in &points[1..points.len() - 1] {
        if kept[kept.len() - 1].distance(*at) >= apart {
            kept.push(*at);
        }
    }
    kept.push(points[points.len() - 1]);
    let end = kept.len() - 1;
    let beyond = |at: Pos2, before: Pos2| at + (at - before).normalized() * apart;
    let (head, tail) = (beyond(kept[0], kept[1]), beyond(kept[end], kept[end - 1]));
    kept[0] = head;
    kept[end] = tail;
    kept
}

/// A line that is seen on any cloth.
pub(crate) fn chalked(painter: &Painter, points: &[Pos2], is_broken: bool, colors: &Palette) {
    let [light, dark] = colors.chalk;
    painter.line(points.to_vec(), Stroke::new(3.4, dark.gamma_multiply(0.55)));
    let stroke = Stroke::new(1.5, light);
    if is_broken {
        painter.extend(Shape::dashed_line(points, stroke, 7.0, 5.0));
    } else {
        painter.line(points.to_vec(), stroke);
    }
}

fn line_with_ends(painter: &Painter, [from, to]: [Pos2; 2], label: &str, colors: &Palette) {
    chalked(painter, &[from, to], false, colors);
    let across = (to - from).normalized().rot90() * 7.0;
    for end in [from, to] {
        chalked(painter, &[end - across, end + across], false, colors);
    }
    tag(painter, from.lerp(to, 0.5) + vec2(0.0, -16.0), Align2::CENTER_CENTER, label, colors);
}

/// A line with a lamp at its far end.
fn pointing(painter: &Painter, [from, to]: [Pos2; 2], label: &str, colors: &Palette) {
    let along = (to - from).normalized();
    chalked(painter, &[from, to - along * 8.0], false, colors);
    chalked(painter, &circle(to, 7.0), false, colors);
    for ray in 0..8 {
        let out = egui::Vec2::angled(ray as f32 * std::f32::consts::TAU / 8.0);
        chalked(painter, &[to + out * 10.0, to + out * 14.0], false, colors);
    }
    tag(painter, from - along * 18.0, Align2::CENTER_CENTER, label, colors);
}

/// Where keys draw.
pub(crate) fn cross(painter: &Painter, at: Pos2, colors: &Palette) {
    for arm in [vec2(9.0, 0.0), vec2(0.0, 9.0)] {
        chalked(painter, &[at - arm, at + arm], false, colors);
    }
}

/// A word on a ground of its own.
pub(crate) fn tag(painter: &Painter, at: Pos2, align: Align2, text: &str, colors: &Palette) {
    let galley = painter.layout_no_wrap(text.to_owned(), FontId::new(12.5, look::strong()), colors.ink);
    let rect = align.anchor_size(at, galley.size());
    painter.rect_filled(rect.expand2(vec2(7.0, 3.0)), 4.0, colors.sheet);
    painter.galley(rect.min, galley, colors.ink);
}
