//! How the desk looks: colours, type, spacing. Nothing outside this folder names a colour or a size of type.

mod icon;
mod theme;

pub(crate) use icon::paint_icon;
pub use icon::{Icon, icon_button_ui};
pub use theme::{Palette, contrast};

use std::sync::Arc;

use egui::text::{LayoutJob, TextFormat};
use egui::{
    Color32, Context, CornerRadius, FontData, FontDefinitions, FontFamily, FontId, Margin, Shadow, Stroke, Style, TextStyle,
    Theme, Vec2, Visuals,
};
use tatter_core::model::StrokeKind;

/// Space between things that belong together, points.
pub(crate) const NEAR: f32 = 6.0;
/// Space between things that do not.
pub(crate) const APART: f32 = 14.0;
/// Height of the line of stations.
pub(crate) const TRAVEL: f32 = 62.0;
/// Side of a thumbnail in the drawer.
pub(crate) const THUMB: f32 = 92.0;
/// Radius of a handle on the garment.
pub(crate) const KNOB: f32 = 7.0;

/// Give a window the desk's typeface and both its themes.
pub fn dress(ctx: &Context) {
    ctx.set_fonts(fonts());
    for theme in [Theme::Light, Theme::Dark] {
        ctx.set_style_of(theme, style(&Palette::of(theme)));
    }
}

/// The palette of the theme a ui has now.
pub(crate) fn palette(ui: &egui::Ui) -> Palette {
    of(ui.visuals())
}

/// The palette that goes with these visuals.
pub(crate) const fn of(visuals: &Visuals) -> Palette {
    Palette::of(if visuals.dark_mode { Theme::Dark } else { Theme::Light })
}

/// The family of headings.
pub(crate) fn strong() -> FontFamily {
    FontFamily::Name("strong".into())
}

fn fonts() -> FontDefinitions {
    let mut fonts = FontDefinitions::empty();
    let inter = [
        ("inter", include_bytes!("../../fonts/Inter-Regular.otf").as_slice()),
        ("inter strong", include_bytes!("../../fonts/Inter-SemiBold.otf")),
    ];
    for (name, bytes) in inter {
        fonts.font_data.insert(name.to_owned(), Arc::new(FontData::from_static(bytes)));
    }
    for family in [FontFamily::Proportional, FontFamily::Monospace] {
        fonts.families.insert(family, vec!["inter".to_owned()]);
    }
    fonts.families.insert(strong(), vec!["inter strong".to_owned()]);
    fonts
}

fn style(palette: &Palette) -> Style {
    let mut style = Style { visuals: visuals(palette), ..Style::default() };
    let body = FontFamily::Proportional;
    style.text_styles = [
        (TextStyle::Heading, FontId::new(17.0, strong())),
        (TextStyle::Body, FontId::new(13.5, body.clone())),
        (TextStyle::Button, FontId::new(13.5, body.clone())),
        (TextStyle::Small, FontId::new(12.0, body.clone())),
        (TextStyle::Monospace, FontId::new(13.0, body)),
    ]
    .into();
    style.spacing.item_spacing = Vec2::splat(NEAR);
    style.spacing.button_padding = Vec2::new(10.0, 5.0);
    style.spacing.interact_size = Vec2::new(40.0, 26.0);
    style
}

fn visuals(palette: &Palette) -> Visuals {
    let mut visuals = if palette.is_dark { Visuals::dark() } else { Visuals::light() };
    visuals.override_text_color = Some(palette.ink);
    visuals.weak_text_color = Some(palette.quiet);
    visuals.panel_fill = palette.sheet;
    visuals.window_fill = palette.sheet;
    visuals.window_stroke = Stroke::new(1.0, palette.line);
    visuals.window_shadow = Shadow { offset: [0, 4], blur: 18, spread: 0, color: palette.shade };
    visuals.popup_shadow = visuals.window_shadow;
    visuals.extreme_bg_color = palette.field;
    visuals.faint_bg_color = palette.stripe;
    visuals.hyperlink_color = palette.thread;
    visuals.error_fg_color = palette.madder;
    visuals.warn_fg_color = palette.weld;
    visuals.selection.bg_fill = palette.thread;
    visuals.selection.stroke = Stroke::new(1.0, palette.on_thread);
    let round = CornerRadius::same(5);
    let states = [
        (&mut visuals.widgets.noninteractive, palette.sheet, palette.line),
        (&mut visuals.widgets.inactive, palette.field, palette.edge),
        (&mut visuals.widgets.hovered, palette.hover, palette.thread),
        (&mut visuals.widgets.active, palette.hover, palette.thread),
        (&mut visuals.widgets.open, palette.hover, palette.edge),
    ];
    for (state, fill, edge) in states {
        state.bg_fill = fill;
        state.weak_bg_fill = fill;
        state.bg_stroke = Stroke::new(1.0, edge);
        state.fg_stroke = Stroke::new(1.0, palette.ink);
        state.corner_radius = round;
        state.expansion = 0.0;
    }
    visuals
}

/// The frame of a panel that lies on the table.
pub(crate) fn sheet_frame(palette: &Palette) -> egui::Frame {
    egui::Frame::new().fill(palette.sheet).inner_margin(Margin::same(10))
}

/// The frame of a view that the keyboard reached: seen on any picture.
pub(crate) fn reached(painter: &egui::Painter, view: egui::Rect, palette: &Palette) {
    for (width, color) in [(5.0, palette.chalk[1]), (2.0, palette.held)] {
        let inside = view.shrink(0.5 * (5.0 - width));
        painter.rect_stroke(inside, 0.0, Stroke::new(width, color), egui::StrokeKind::Inside);
    }
}

/// The colour of a stroke over a photo.
pub(crate) const fn stroke_color(palette: &Palette, kind: StrokeKind) -> Color32 {
    match kind {
        StrokeKind::Damage => palette.strokes[0],
        StrokeKind::Gap => palette.strokes[1],
        StrokeKind::Cloth => palette.strokes[2],
        StrokeKind::Backing => palette.strokes[3],
    }
}

/// Text that a station shows large.
pub(crate) fn heading(text: &str) -> egui::RichText {
    egui::RichText::new(text).font(FontId::new(17.0, strong()))
}

/// The type of what can be begun.
pub(crate) fn title_font() -> FontId {
    FontId::new(15.0, strong())
}

/// A word set in the strong face.
pub(crate) fn name(text: &str) -> egui::RichText {
    egui::RichText::new(text).font(FontId::new(13.5, strong()))
}

/// Text that explains.
pub(crate) fn quiet(text: &str, palette: &Palette) -> LayoutJob {
    worded(text, palette.quiet, palette)
}

/// Text that is read as it stands.
pub(crate) fn plain(text: &str, palette: &Palette) -> LayoutJob {
    worded(text, palette.ink, palette)
}

/// Text about what needs a look.
pub(crate) fn warning(text: &str, palette: &Palette) -> LayoutJob {
    worded(text, palette.weld, palette)
}

/// A text in which what stands between backticks, to be typed as it is, has a ground of its own.
fn worded(text: &str, color: Color32, palette: &Palette) -> LayoutJob {
    let mut job = LayoutJob::default();
    for (number, part) in text.split('`').enumerate().filter(|(_, part)| !part.is_empty()) {
        let mut format = TextFormat::simple(FontId::new(13.5, FontFamily::Proportional), color);
        // Beside buttons it stands as other text does.
        format.valign = egui::Align::Center;
        if number % 2 == 1 {
            format.font_id = FontId::new(13.0, strong());
            format.background = palette.typed;
            format.expand_bg = 0.0;
        }
        job.append(part, 0.0, format);
    }
    job
}

/// A colour as the codes of a screen.
pub(crate) fn codes(color: tatter_core::image::LinearRgb) -> [u8; 3] {
    color.0.map(|light| (tatter_core::color::encode_srgb(light.clamp(0.0, 1.0)) * 255.0).round() as u8)
}

/// Colours and backdrops as light, for the picture of the garment.
pub(crate) fn backdrop(palette: &Palette) -> [tatter_core::image::LinearRgb; 2] {
    let light = |color: Color32| {
        let [r, g, b, _] = color.to_array();
        tatter_core::image::LinearRgb([r, g, b].map(|code| tatter_core::color::decode_srgb(f32::from(code) / 255.0)))
    };
    [light(palette.backdrop[0]), light(palette.backdrop[1])]
}
