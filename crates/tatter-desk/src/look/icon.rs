//! Icons: a few strokes each, drawn here, so that they are sharp at every scale and of one hand.

use egui::{Color32, Painter, Pos2, Rect, Response, Role, Sense, Stroke, Ui, Vec2, WidgetInfo};

use super::palette;

/// The icons there are.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Icon {
    /// Back along the thread.
    Undo,
    /// Forth along the thread.
    Redo,
    /// Into the file.
    Save,
    /// Take away.
    Remove,
    /// Left becomes right.
    Mirror,
    /// Light theme.
    Day,
    /// Dark theme.
    Night,
    /// An open hand: nothing is drawn.
    Hand,
    /// Around something.
    Loop,
    /// Rubs out.
    Rubber,
    /// A length.
    Ruler,
    /// Along the warp.
    Grain,
    /// Towards the lamp.
    Light,
    /// A neutral place.
    Grey,
    /// A chart of colours.
    Chart,
    /// A rectangle of known size.
    Card,
    /// Something is laid on the table.
    Bring,
    /// A photo of cloth.
    Photo,
    /// A garment.
    Garment,
    /// A job's sheet.
    Job,
    /// A job to try things on: a garment with a tear.
    Sample,
}

/// Strokes in a square of 0..1.
const fn strokes(icon: Icon) -> &'static [&'static [(f32, f32)]] {
    match icon {
        Icon::Undo => &[
            &[(0.36, 0.22), (0.16, 0.42), (0.36, 0.62)],
            &[(0.16, 0.42), (0.60, 0.42), (0.74, 0.47), (0.82, 0.58), (0.82, 0.68), (0.76, 0.78), (0.66, 0.82)],
        ],
        Icon::Redo => &[
            &[(0.64, 0.22), (0.84, 0.42), (0.64, 0.62)],
            &[(0.84, 0.42), (0.40, 0.42), (0.26, 0.47), (0.18, 0.58), (0.18, 0.68), (0.24, 0.78), (0.34, 0.82)],
        ],
        Icon::Save => &[
            &[(0.50, 0.14), (0.50, 0.60)],
            &[(0.32, 0.43), (0.50, 0.61), (0.68, 0.43)],
            &[(0.18, 0.62), (0.18, 0.84), (0.82, 0.84), (0.82, 0.62)],
        ],
        Icon::Remove => &[&[(0.24, 0.24), (0.76, 0.76)], &[(0.76, 0.24), (0.24, 0.76)]],
        Icon::Mirror => &[
            &[(0.50, 0.14), (0.50, 0.26)],
            &[(0.50, 0.38), (0.50, 0.50)],
            &[(0.50, 0.62), (0.50, 0.74)],
            &[(0.38, 0.26), (0.38, 0.76), (0.12, 0.76), (0.38, 0.26)],
            &[(0.62, 0.26), (0.62, 0.76), (0.88, 0.76), (0.62, 0.26)],
        ],
        Icon::Day => &[
            &[
                (0.50, 0.32),
                (0.63, 0.37),
                (0.68, 0.50),
                (0.63, 0.63),
                (0.50, 0.68),
                (0.37, 0.63),
                (0.32, 0.50),
                (0.37, 0.37),
                (0.50, 0.32),
            ],
            &[(0.50, 0.10), (0.50, 0.20)],
            &[(0.50, 0.80), (0.50, 0.90)],
            &[(0.10, 0.50), (0.20, 0.50)],
            &[(0.80, 0.50), (0.90, 0.50)],
            &[(0.22, 0.22), (0.29, 0.29)],
            &[(0.71, 0.71), (0.78, 0.78)],
            &[(0.22, 0.78), (0.29, 0.71)],
            &[(0.71, 0.29), (0.78, 0.22)],
        ],
        Icon::Night => &[&[
            (0.60, 0.14),
            (0.46, 0.22),
            (0.38, 0.36),
            (0.39, 0.52),
            (0.50, 0.64),
            (0.66, 0.67),
            (0.82, 0.60),
            (0.76, 0.74),
            (0.63, 0.84),
            (0.46, 0.86),
            (0.30, 0.79),
            (0.19, 0.66),
            (0.16, 0.48),
            (0.21, 0.31),
            (0.34, 0.18),
            (0.48, 0.13),
            (0.60, 0.14),
        ]],
        Icon::Hand
        | Icon::Loop
        | Icon::Rubber
        | Icon::Ruler
        | Icon::Grain
        | Icon::Light
        | Icon::Grey
        | Icon::Chart
        | Icon::Card => tool_strokes(icon),
        Icon::Bring | Icon::Photo | Icon::Garment | Icon::Job | Icon::Sample => table_strokes(icon),
    }
}

/// Of the tools for a photo.
const fn tool_strokes(icon: Icon) -> &'static [&'static [(f32, f32)]] {
    match icon {
        // Four ways to shift.
        Icon::Hand => &[
            &[(0.50, 0.12), (0.50, 0.88)],
            &[(0.12, 0.50), (0.88, 0.50)],
            &[(0.40, 0.22), (0.50, 0.12), (0.60, 0.22)],
            &[(0.40, 0.78), (0.50, 0.88), (0.60, 0.78)],
            &[(0.22, 0.40), (0.12, 0.50), (0.22, 0.60)],
            &[(0.78, 0.40), (0.88, 0.50), (0.78, 0.60)],
        ],
        Icon::Loop => &[
            &[(0.62, 0.20), (0.80, 0.30), (0.88, 0.46), (0.82, 0.62), (0.66, 0.74), (0.44, 0.76), (0.24, 0.68), (0.14, 0.52)],
            &[(0.14, 0.52), (0.16, 0.36), (0.28, 0.24), (0.46, 0.18), (0.62, 0.20), (0.72, 0.10)],
            &[(0.44, 0.42), (0.56, 0.54)],
        ],
        Icon::Rubber => &[
            &[(0.16, 0.60), (0.52, 0.20), (0.84, 0.46), (0.50, 0.84), (0.30, 0.84), (0.16, 0.72), (0.16, 0.60)],
            &[(0.34, 0.40), (0.66, 0.66)],
            &[(0.50, 0.84), (0.86, 0.84)],
        ],
        Icon::Ruler => &[
            &[(0.10, 0.36), (0.90, 0.36), (0.90, 0.66), (0.10, 0.66), (0.10, 0.36)],
            &[(0.26, 0.36), (0.26, 0.50)],
            &[(0.42, 0.36), (0.42, 0.46)],
            &[(0.58, 0.36), (0.58, 0.50)],
            &[(0.74, 0.36), (0.74, 0.46)],
        ],
        Icon::Light => &[
            &[(0.14, 0.86), (0.52, 0.48)],
            &[(0.58, 0.28), (0.68, 0.24), (0.76, 0.32), (0.72, 0.42), (0.62, 0.44), (0.55, 0.37), (0.58, 0.28)],
            &[(0.64, 0.14), (0.64, 0.06)],
            &[(0.84, 0.36), (0.94, 0.36)],
            &[(0.78, 0.22), (0.86, 0.14)],
        ],
        Icon::Grain => &[
            &[(0.30, 0.16), (0.30, 0.84)],
            &[(0.50, 0.10), (0.50, 0.90)],
            &[(0.42, 0.20), (0.50, 0.10), (0.58, 0.20)],
            &[(0.42, 0.80), (0.50, 0.90), (0.58, 0.80)],
            &[(0.70, 0.16), (0.70, 0.84)],
        ],
        Icon::Chart => &[
            &[(0.12, 0.24), (0.88, 0.24), (0.88, 0.76), (0.12, 0.76), (0.12, 0.24)],
            &[(0.12, 0.50), (0.88, 0.50)],
            &[(0.37, 0.24), (0.37, 0.76)],
            &[(0.63, 0.24), (0.63, 0.76)],
        ],
        Icon::Card => &[&[(0.12, 0.30), (0.80, 0.20), (0.90, 0.68), (0.20, 0.80), (0.12, 0.30)], &[(0.14, 0.42), (0.82, 0.32)]],
        Icon::Grey => &[
            &[(0.18, 0.22), (0.82, 0.22), (0.82, 0.78), (0.18, 0.78), (0.18, 0.22)],
            &[(0.82, 0.22), (0.18, 0.78)],
            &[(0.50, 0.78), (0.82, 0.50)],
            &[(0.66, 0.78), (0.82, 0.64)],
        ],
        _ => &[],
    }
}

/// Of what is laid on the table.
const fn table_strokes(icon: Icon) -> &'static [&'static [(f32, f32)]] {
    match icon {
        Icon::Bring => &[
            &[(0.12, 0.80), (0.12, 0.24), (0.40, 0.24), (0.48, 0.34), (0.80, 0.34), (0.80, 0.46)],
            &[(0.12, 0.80), (0.28, 0.46), (0.94, 0.46), (0.78, 0.80), (0.12, 0.80)],
        ],
        Icon::Photo => &[
            &[(0.10, 0.18), (0.90, 0.18), (0.90, 0.82), (0.10, 0.82), (0.10, 0.18)],
            &[(0.30, 0.62), (0.40, 0.46), (0.46, 0.54), (0.56, 0.34), (0.62, 0.48), (0.72, 0.42)],
            &[(0.30, 0.62), (0.44, 0.60), (0.52, 0.68), (0.60, 0.58), (0.72, 0.42)],
        ],
        Icon::Garment => &[SMOCK],
        Icon::Sample => &[SMOCK, &[(0.44, 0.50), (0.52, 0.58), (0.46, 0.64), (0.56, 0.74)]],
        Icon::Job => &[
            &[(0.20, 0.10), (0.64, 0.10), (0.80, 0.26), (0.80, 0.90), (0.20, 0.90), (0.20, 0.10)],
            &[(0.34, 0.40), (0.66, 0.40)],
            &[(0.34, 0.56), (0.66, 0.56)],
            &[(0.34, 0.72), (0.54, 0.72)],
        ],
        _ => &[],
    }
}

/// A smock laid flat.
const SMOCK: &[(f32, f32)] = &[
    (0.36, 0.14),
    (0.50, 0.24),
    (0.64, 0.14),
    (0.94, 0.32),
    (0.86, 0.50),
    (0.72, 0.44),
    (0.72, 0.88),
    (0.28, 0.88),
    (0.28, 0.44),
    (0.14, 0.50),
    (0.06, 0.32),
    (0.36, 0.14),
];

/// Draw an icon into a square.
pub(crate) fn paint_icon(painter: &Painter, icon: Icon, square: Rect, color: Color32) {
    let stroke = Stroke::new((square.width() / 11.0).max(1.3), color);
    for line in strokes(icon) {
        let points: Vec<Pos2> = line.iter().map(|(x, y)| square.lerp_inside(Vec2::new(*x, *y))).collect();
        painter.line(points, stroke);
    }
}

/// A button that shows an icon; its name is for those who do not see it, and its tip teaches.
pub fn icon_button_ui(ui: &mut Ui, icon: Icon, name: &str, tip: &str, is_on: bool, enabled: bool) -> Response {
    let side = ui.spacing().interact_size.y;
    let (rect, response) = ui.allocate_exact_size(Vec2::splat(side), if enabled { Sense::click() } else { Sense::hover() });
    response.widget_info(|| WidgetInfo::selected(Role::Button, enabled, is_on, name));
    let colors = palette(ui);
    let visuals = *ui.style().interact(&response);
    if is_on {
        ui.painter().rect_filled(rect, visuals.corner_radius, colors.thread);
    } else if enabled && (response.hovered() || response.has_focus()) {
        ui.painter().rect(rect, visuals.corner_radius, visuals.bg_fill, visuals.bg_stroke, egui::StrokeKind::Inside);
    }
    let color = match (enabled, is_on) {
        (_, true) => colors.on_thread,
        (true, false) => colors.ink,
        (false, false) => colors.line,
    };
    paint_icon(ui.painter(), icon, rect.shrink(5.0), color);
    response.on_hover_text(tip)
}
