//! Connected components.

use crate::image::{Image, Rect};

/// One connected set of texels.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Component {
    /// Texels in it.
    pub area: usize,
    /// The rectangle it fills.
    pub bounds: Rect,
}

/// Number connected sets of `true` (8 neighbours), in the order of their first texel: 0 is background, component `i` of the
/// list has label `i + 1`.
#[must_use]
pub fn label(mask: &Image<bool>) -> (Image<u32>, Vec<Component>) {
    let (width, height) = (mask.width(), mask.height());
    let mut labels = Image::filled(width, height, 0u32);
    let mut components = Vec::new();
    let mut stack = Vec::new();
    for start in 0..width * height {
        if !mask.texels()[start] || labels.texels()[start] != 0 {
            continue;
        }
        let number = components.len() as u32 + 1;
        let (mut x0, mut x1, mut y0, mut y1, mut area) = (width, 0, height, 0, 0);
        labels.texels_mut()[start] = number;
        stack.push(start);
        while let Some(at) = stack.pop() {
            let (x, y) = (at % width, at / width);
            (x0, x1, y0, y1, area) = (x0.min(x), x1.max(x), y0.min(y), y1.max(y), area + 1);
            for ny in y.saturating_sub(1)..(y + 2).min(height) {
                for nx in x.saturating_sub(1)..(x + 2).min(width) {
                    let next = ny * width + nx;
                    if mask.texels()[next] && labels.texels()[next] == 0 {
                        labels.texels_mut()[next] = number;
                        stack.push(next);
                    }
                }
            }
        }
        components.push(Component { area, bounds: Rect::new(x0, y0, x1 - x0 + 1, y1 - y0 + 1) });
    }
    (labels, components)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn corners_touch() {
        let art = ["#..#", ".#..", "...#"];
        let mask = Image::from_fn(4, 3, |x, y| art[y].as_bytes()[x] == b'#');
        let (labels, parts) = label(&mask);
        assert_eq!(parts.iter().map(|p| p.area).collect::<Vec<_>>(), [2, 1, 1], "three sets");
        assert_eq!(labels.get(1, 1), 1, "diagonal neighbours belong together");
    }
}
