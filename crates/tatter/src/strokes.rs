//! A picture of strokes, painted over a copy of the photo or on an empty sheet of its size.

use tatter_core::image::{Size, Stored};
use tatter_core::model::{Stroke, StrokeKind};

/// What a painted colour says. Full colours only, so that a photo beneath the strokes says nothing.
const PAINTS: [([f32; 3], StrokeKind); 4] = [
    ([0.0, 1.0, 0.0], StrokeKind::Cloth),
    ([0.0, 0.0, 1.0], StrokeKind::Backing),
    ([1.0, 0.0, 0.0], StrokeKind::Damage),
    ([1.0, 1.0, 1.0], StrokeKind::Gap),
];
/// How far a sample may be from a full colour: soft brushes and lossy files blur them a little.
const TOLERANCE: f32 = 0.12;

/// Why a strokes picture cannot be used.
#[derive(Clone, Copy, Debug, PartialEq, Eq, thiserror::Error)]
pub enum StrokesError {
    /// It must lie over the photo.
    #[error("the strokes picture has {strokes} pixels, the photo {photo}")]
    Size {
        /// Of the strokes picture.
        strokes: Size,
        /// Of the photo.
        photo: Size,
    },
    /// Nothing was painted.
    #[error("the strokes picture holds no stroke")]
    Empty,
}

/// Strokes of a picture as wide and tall as the photo: green cloth, blue backing, red damage, white gap. Transparent
/// pixels say nothing. Each run of a row is one stroke of half a pixel's radius.
pub(crate) fn read_strokes(picture: &Stored, photo: Size) -> Result<Vec<Stroke>, StrokesError> {
    if picture.size != photo {
        return Err(StrokesError::Size { strokes: picture.size, photo });
    }
    let mut strokes = Vec::new();
    for y in 0..photo.height {
        let mut x = 0;
        while x < photo.width {
            let Some(kind) = paint(picture, x, y) else {
                x += 1;
                continue;
            };
            let start = x;
            while x < photo.width && paint(picture, x, y) == Some(kind) {
                x += 1;
            }
            let row = y as f32 + 0.5;
            strokes.push(Stroke { kind, points: vec![[start as f32 + 0.5, row], [x as f32 - 0.5, row]], radius: 0.5 });
        }
    }
    if strokes.is_empty() { Err(StrokesError::Empty) } else { Ok(strokes) }
}

fn paint(picture: &Stored, x: usize, y: usize) -> Option<StrokeKind> {
    let components = picture.layout.components();
    let gray = components < 3;
    if picture.layout.has_alpha() && picture.value(x, y, components - 1) < 0.5 {
        return None;
    }
    let at = |i: usize| picture.value(x, y, if gray { 0 } else { i });
    PAINTS.into_iter().find(|(color, _)| (0..3).all(|i| (at(i) - color[i]).abs() <= TOLERANCE)).map(|(_, kind)| kind)
}

#[cfg(test)]
mod tests {
    use super::*;
    use tatter_core::image::{ColorTags, Layout, Samples};

    #[test]
    fn paints_become_runs() {
        let row = [[0, 255, 0], [2, 250, 4], [90, 80, 70], [255, 0, 0], [0, 0, 255], [255, 255, 255]];
        let picture =
            Stored { size: Size::new(6, 1), layout: Layout::Rgb, samples: Samples::U8(row.concat()), tags: ColorTags::default() };
        let strokes = read_strokes(&picture, Size::new(6, 1)).unwrap();
        let kinds: Vec<_> = strokes.iter().map(|s| (s.kind, s.points[0][0], s.points[1][0])).collect();
        use StrokeKind::{Backing, Cloth, Damage, Gap};
        assert_eq!(
            kinds,
            [(Cloth, 0.5, 1.5), (Damage, 3.5, 3.5), (Backing, 4.5, 4.5), (Gap, 5.5, 5.5)],
            "cloth is one run of two"
        );
        assert!(read_strokes(&picture, Size::new(5, 1)).is_err(), "a picture of another size is refused");
    }
}
