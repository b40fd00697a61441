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
        let width = out.width() - 2 * GAP;
        write(&mut out, [GAP, GAP / 2 + 4 + i * LINE], width, line);
    }
    for (i, panel) in panels.iter().enumerate() {
        let (x, y) = (GAP + i % COLUMNS * cell_w, GAP + caption.len() * LINE + i / COLUMNS * cell_h);
        write(&mut out, [x, y], cell_w - GAP, &panel.title);
        out.paste(&panel.view, x, y + LINE);
    }
    out
}

/// Side of a letter.
const LETTER: usize = 8;

/// Lettering in an 8 × 8 raster, as large as its line has room for: doubled, single, or single without its middle.
fn write(out: &mut Image<LinearRgb>, [x, y]: [usize; 2], width: usize, text: &str) {
    let letters: Vec<char> = text.chars().collect();
    let times = if letters.len() * 2 * LETTER <= width { 2 } else { 1 };
    // Single letters stand on the same line as doubled ones.
    let y = y + (2 - times) * LETTER;
    for (i, letter) in shortened(letters, width / (times * LETTER)).into_iter().enumerate() {
        let glyph = BASIC_LEGACY.get(letter as usize).copied().unwrap_or(BASIC_LEGACY[b'?' as usize]);
        for (row, bits) in glyph.into_iter().enumerate() {
            for column in (0..LETTER).filter(|c| bits >> c & 1 == 1) {
                for (dx, dy) in (0..times * times).map(|n| (n % times, n / times)) {
                    let (px, py) = (x + (i * LETTER + column) * times + dx, y + row * times + dy);
                    if px < out.width() && py < out.height() {
                        out.set(px, py, INK);
                    }
                }
            }
        }
    }
}

/// Both ends of a text: a name and the number behind it tell more than its middle.
fn shortened(letters: Vec<char>, most: usize) -> Vec<char> {
    if letters.len() <= most {
        return letters;
    }
    let dots = ['.', '.'].into_iter().take(most);
    let kept = most.saturating_sub(2);
    let (head, tail) = (kept / 2, kept - kept / 2);
    letters[..head].iter().copied().chain(dots).chain(letters[letters.len() - tail..].iter().copied()).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn inked_columns(out: &Image<LinearRgb>) -> Vec<usize> {
        (0..out.width()).filter(|&x| (0..out.height()).any(|y| out.get(x, y) == INK)).collect()
    }

    #[test]
    fn lettering_stays_within_its_line_and_keeps_both_ends() {
        for (text, wide) in [("rip-1", true), ("a-long-name-of-a-patch-1 - 40 mm", false), (&"x".repeat(90), false)] {
            let mut out = Image::filled(300, 40, PAPER);
            write(&mut out, [10, 5], 260, text);
            let inked = inked_columns(&out);
            assert!(inked.iter().all(|x| (10..270).contains(x)), "{text}: {:?}", inked.last());
            assert!(inked.len() > 20, "{text} is there");
            let doubled = inked.windows(2).all(|pair| pair[1] == pair[0] + 1 || (pair[1] - pair[0]) % 2 == 1);
            assert!(doubled || !wide, "{text} is large where there is room");
        }
        let text = |most: usize| shortened("moth-hole-in-grey-twill-12".chars().collect(), most).into_iter().collect::<String>();
        assert_eq!(text(26), "moth-hole-in-grey-twill-12", "it fits");
        assert_eq!(text(12), "moth-..ll-12", "the number stays");
        assert_eq!((text(2), text(0)), ("..".to_owned(), String::new()), "no room is no fault");
    }
}
