//! The two palettes, named after what they are for; the dyes after the plants that gave them.

use egui::{Color32, Theme};

/// Colours of one theme.
#[derive(Clone, Copy, Debug)]
pub struct Palette {
    /// Whether light lies on dark.
    pub is_dark: bool,
    /// The table beneath everything.
    pub table: Color32,
    /// Panels that lie on it.
    pub sheet: Color32,
    /// Where one writes.
    pub field: Color32,
    /// Under the pointer.
    pub hover: Color32,
    /// Every other row.
    pub stripe: Color32,
    /// Behind words that are typed as they stand.
    pub typed: Color32,
    /// Lines that only part.
    pub line: Color32,
    /// Edges of what can be pressed.
    pub edge: Color32,
    /// Text.
    pub ink: Color32,
    /// Text that explains.
    pub quiet: Color32,
    /// What is chosen: indigo.
    pub thread: Color32,
    /// Text on what is chosen.
    pub on_thread: Color32,
    /// What is wrong.
    pub madder: Color32,
    /// What needs a look.
    pub weld: Color32,
    /// What is ready: woad over weld.
    pub moss: Color32,
    /// Shadows.
    pub shade: Color32,
    /// Behind the garment, top and bottom.
    pub backdrop: [Color32; 2],
    /// Outlines on the garment: the line, and the line beneath it that keeps it apart from any cloth.
    pub chalk: [Color32; 2],
    /// What is held on cloth, over the dark of its outline: the same in both themes since cloth is.
    pub held: Color32,
    /// Strokes over a photo, the same in both themes since a photo is: damage (madder), gap (woad), cloth (weld over woad), backing (weld).
    pub strokes: [Color32; 4],
}

const STROKES: [Color32; 4] = [rgb(0x00F0_6A58), rgb(0x0086_B4FF), rgb(0x0062_D08A), rgb(0x00F2_CC58)];

const HELD: Color32 = rgb(0x00A3_BEF0);

const fn rgb(code: u32) -> Color32 {
    Color32::from_rgb((code >> 16) as u8, (code >> 8) as u8, code as u8)
}

const LIGHT: Palette = Palette {
    is_dark: false,
    table: rgb(0x00E6_DFD1),
    sheet: rgb(0x00F8_F4EC),
    field: rgb(0x00FF_FFFF),
    hover: rgb(0x00EF_E8DA),
    stripe: rgb(0x00F1_EBDF),
    typed: rgb(0x00E9_E1D2),
    line: rgb(0x00D5_CCBA),
    edge: rgb(0x0085_7B68),
    ink: rgb(0x0024_2520),
    quiet: rgb(0x005E_5849),
    thread: rgb(0x0029_4A80),
    on_thread: rgb(0x00FF_FFFF),
    madder: rgb(0x0098_2A20),
    weld: rgb(0x0072_5200),
    moss: rgb(0x002A_6338),
    shade: Color32::from_black_alpha(40),
    backdrop: [rgb(0x00DD_D6C8), rgb(0x00BF_B7A7)],
    chalk: [rgb(0x00FF_FFFF), rgb(0x0016_1712)],
    held: HELD,
    strokes: STROKES,
};

const DARK: Palette = Palette {
    is_dark: true,
    table: rgb(0x0014_161A),
    sheet: rgb(0x001E_2126),
    field: rgb(0x0013_1519),
    hover: rgb(0x002C_3139),
    stripe: rgb(0x0024_282E),
    typed: rgb(0x002F_343C),
    line: rgb(0x0038_3D46),
    edge: rgb(0x0078_7F8B),
    ink: rgb(0x00EC_E8DD),
    quiet: rgb(0x00AE_A99C),
    thread: rgb(0x00A3_BEF0),
    on_thread: rgb(0x0012_1D36),
    madder: rgb(0x00F2_9A8C),
    weld: rgb(0x00E2_BF6C),
    moss: rgb(0x0091_CE9F),
    shade: Color32::from_black_alpha(120),
    backdrop: [rgb(0x0032_363D), rgb(0x001A_1D21)],
    chalk: [rgb(0x00FF_FFFF), rgb(0x0010_1114)],
    held: HELD,
    strokes: STROKES,
};

impl Palette {
    /// The palette of a theme.
    pub const fn of(theme: Theme) -> Self {
        match theme {
            Theme::Light => LIGHT,
            Theme::Dark => DARK,
        }
    }
}

/// Contrast of two colours, 1 to 21 (WCAG 2.2, "contrast ratio" and "relative luminance").
pub fn contrast(one: Color32, other: Color32) -> f32 {
    let luminance = |color: Color32| {
        let [r, g, b, _] = color.to_array();
        let [r, g, b] = [r, g, b].map(|code| {
            let share = f32::from(code) / 255.0;
            if share <= 0.04045 { share / 12.92 } else { ((share + 0.055) / 1.055).powf(2.4) }
        });
        0.2126 * r + 0.7152 * g + 0.0722 * b
    };
    let (one, other) = (luminance(one), luminance(other));
    (one.max(other) + 0.05) / (one.min(other) + 0.05)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// WCAG 2.2, 1.4.3 (text, 4.5) and 1.4.11 (what one must see to use it, 3). Black on white is 21 by definition.
    #[test]
    fn everything_can_be_read() {
        assert!((contrast(Color32::BLACK, Color32::WHITE) - 21.0).abs() < 1e-3, "the scale's end");
        assert!((contrast(rgb(0x0077_7777), Color32::WHITE) - 4.48).abs() < 0.01, "a known near miss: #777 on white is 4.48");
        for theme in [Theme::Light, Theme::Dark] {
            let p = Palette::of(theme);
            for (ground, name) in [
                (p.sheet, "sheet"),
                (p.table, "table"),
                (p.field, "field"),
                (p.hover, "hover"),
                (p.stripe, "stripe"),
                (p.typed, "typed"),
            ] {
                for (text, what) in [
                    (p.ink, "ink"),
                    (p.quiet, "quiet"),
                    (p.thread, "thread"),
                    (p.madder, "madder"),
                    (p.weld, "weld"),
                    (p.moss, "moss"),
                ] {
                    let found = contrast(text, ground);
                    assert!(found >= 4.5, "{theme:?}: {what} on {name} has {found:.2}");
                }
            }
            let chosen = contrast(p.on_thread, p.thread);
            assert!(chosen >= 4.5, "{theme:?}: what is chosen has {chosen:.2}");
            // Things to press stand on panels, on the table at the start, on the bands above a page (hover: what went wrong, what others
            // changed, a draft; stripe: hints), and on rows.
            for (ground, name) in [
                (p.sheet, "sheet"),
                (p.field, "field"),
                (p.table, "table"),
                (p.hover, "hover"),
                (p.stripe, "stripe"),
                (p.typed, "typed"),
            ] {
                for (edge, what) in [(p.edge, "an edge"), (p.thread, "the frame of what is chosen or reached")] {
                    let found = contrast(edge, ground);
                    assert!(found >= 3.0, "{theme:?}: {what} on {name} has {found:.2}");
                }
            }
            let held = contrast(p.held, p.chalk[1]);
            assert!(held >= 3.0, "{theme:?}: a handle that is held has {held:.2} over the dark of its outline");
            for stroke in p.strokes {
                let found = contrast(stroke, p.chalk[1]);
                assert!(found >= 4.5, "{theme:?}: a stroke on its swatch has {found:.2}");
            }
            let chalk = contrast(p.chalk[0], p.chalk[1]);
            assert!(chalk >= 4.5, "{theme:?}: an outline on any cloth has {chalk:.2} within itself");
        }
    }
}
