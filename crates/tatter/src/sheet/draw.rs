//! Views and lettering laid out on one picture.

use font8x8::legacy::BASIC_LEGACY;
use tatter_core::image::{Image, LinearRgb};

/// Empty texels around and between views.
const GAP: usize = 16;
/// Height of a line of lettering: 8 texels, doubled, with air.
const LINE: usize = 26;
/// Views in a row.
const COLUMNS: usize = 3;
const PAPER: LinearRgb = LinearRgb([0.02, 0.02, 0.022]);
const INK: LinearRgb = LinearRgb([0.75, 0.73, 0.68]);

/// One view with its title.
pub(super) struct Panel {
    title: String,
    view: Image<LinearRgb>,
}

impl Panel {
    pub(super) fn new(title: &str, view: Image<LinearRgb>) -> Self {
        Self { title: title.to_owned(), view }
    }
}

/// Views in rows of three, titles above them, a caption on top.
pub(super) fn compose(panels: &[Panel], caption: &[String]) -> Image<LinearRgb> {
    let width_of = |f: fn(&Image<LinearRgb>) -> usize| panels.iter().map(|p| f(&p.view)).max().unwrap_or(1);
    let (cell_w, cell_h) = (width_of(Image::width) + GAP, width_of(Image::height) + GAP + LINE);
    let rows = panels.len().div_ceil(COLUMNS);
    let columns = COLUMNS.min(panels.len().max(1));
    let mut out = Image::filled(GAP + columns * cell_w, GAP + caption.len() * LINE + rows * cell_h, PAPER);
    for (i, line) in caption.iter().enumerate() {
        write(&mut out, GAP, GAP / 2 + 4 + i * LINE, line);
    }
    for (i, panel) in panels.iter().enumerate() {
        let (x, y) = (GAP + i % COLUMNS * cell_w, GAP + caption.len() * LINE + i / COLUMNS * cell_h);
        write(&mut out, x, y, &panel.title);
        out.paste(&panel.view, x, y + LINE);
    }
    out
}

/// Lettering in an 8 × 8 raster, doubled; what does not fit is left out.
fn write(out: &mut Image<LinearRgb>, x: usize, y: usize, text: &str) {
    for (i, letter) in text.chars().enumerate() {
        let glyph = BASIC_LEGACY.get(letter as usize).copied().unwrap_or(BASIC_LEGACY[b'?' as usize]);
        for (row, bits) in glyph.into_iter().enumerate() {
            for column in (0..8).filter(|c| bits >> c & 1 == 1) {
                for (dx, dy) in [(0, 0), (1, 0), (0, 1), (1, 1)] {
                    let (px, py) = (x + i * 16 + column * 2 + dx, y + row * 2 + dy);
                    if px < out.width() && py < out.height() {
                        out.set(px, py, INK);
                    }
                }
            }
        }
    }
}
