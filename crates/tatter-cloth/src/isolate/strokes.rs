//! Strokes as masks.

use tatter_core::image::{Image, Size};
use tatter_core::model::{Stroke, StrokeKind};

/// Where strokes of one kind lie, in an image of `size`: within `radius` of the stroke's line.
#[must_use]
pub fn painted(strokes: &[Stroke], kind: StrokeKind, size: Size) -> Image<bool> {
    let mut mask = Image::filled(size.width, size.height, false);
    for stroke in strokes.iter().filter(|stroke| stroke.kind == kind) {
        let dab = [stroke.points.first().copied(), stroke.points.first().copied()];
        let segments = stroke.points.windows(2).map(|w| [w[0], w[1]]);
        let only = if stroke.points.len() == 1 { dab[0].zip(dab[1]).map(|(a, b)| [a, b]) } else { None };
        for [a, b] in segments.chain(only) {
            paint(&mut mask, a, b, stroke.radius.max(0.5));
        }
    }
    mask
}

fn paint(mask: &mut Image<bool>, a: [f32; 2], b: [f32; 2], radius: f32) {
    let span = |low: f32, high: f32, n: usize| {
        let from = (low - radius).floor().max(0.0) as usize;
        from.min(n)..((high + radius).ceil().max(0.0) as usize + 1).min(n)
    };
    let along = [b[0] - a[0], b[1] - a[1]];
    let length2 = along[0] * along[0] + along[1] * along[1];
    for y in span(a[1].min(b[1]), a[1].max(b[1]), mask.height()) {
        for x in span(a[0].min(b[0]), a[0].max(b[0]), mask.width()) {
            let p = [x as f32 + 0.5 - a[0], y as f32 + 0.5 - a[1]];
            let t = if length2 > 0.0 { ((p[0] * along[0] + p[1] * along[1]) / length2).clamp(0.0, 1.0) } else { 0.0 };
            if (p[0] - t * along[0]).hypot(p[1] - t * along[1]) <= radius {
                mask.set(x, y, true);
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_line_has_its_breadth_and_other_kinds_are_left_out() {
        let line = Stroke { kind: StrokeKind::Damage, points: vec![[2.5, 5.5], [12.5, 5.5]], radius: 1.1 };
        let dab = Stroke { kind: StrokeKind::Cloth, points: vec![[8.5, 1.5]], radius: 0.6 };
        let size = Size::new(16, 10);
        let strokes = [line, dab];
        let count = |kind| painted(&strokes, kind, size).texels().iter().filter(|t| **t).count();
        assert_eq!(count(StrokeKind::Damage), 35, "three rows of eleven and two round ends");
        assert_eq!(count(StrokeKind::Cloth), 1, "a dab of one texel");
        assert_eq!(count(StrokeKind::Gap), 0, "nothing said");
    }
}
