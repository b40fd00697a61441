//! Fibres that lie before a backing, finer than the lens can part from it.

use tatter_core::image::{Image, LinearRgb, Pixel as _, Unit};
use tatter_core::kernel::{label, weighted};

use super::palette::Scale;
use super::rim::{CLOTH_SHADES, GRAIN, mixed, squared};

/// Texels from a fibre's middle to what is seen beside it: across, and along a diagonal.
const ASIDE: [isize; 2] = [3, 2];
/// Deviations, noise and grain, by which a fibre parts from the backing on both sides, at least.
const PARTS: f32 = 4.0;
/// How much of a line's excess over its two sides a lens took away: one whose blur has a deviation of some 0.7 texels leaves 0.52
/// of a line one texel wide in its middle and 0.23 on either side (differences of the error function).
const TAKEN: f32 = 1.65;
/// Share of cloth a fibre's texel must have, and texels that must hang together.
const LEAST: f32 = 0.15;
const LONG: usize = 5;

/// Opacity with the fibres that cross openings: lines that part alike from the backing on both their sides, towards the colour of
/// the cloth around. Light was mixed by the lens; the fibre is given its edges back.
pub(super) fn with_fibres(color: &Image<LinearRgb>, opacity: &Image<Unit>, scale: Scale, pitch: f32) -> Image<Unit> {
    let solid = opacity.map(|o| if o.0 > 0.98 { 1.0 } else { 0.0f32 });
    let cloth = weighted(color, &solid, pitch, LinearRgb::ZERO);
    let found = Image::from_fn(color.width(), color.height(), |x, y| {
        if opacity.get(x, y).0 > 0.5 { 0.0 } else { fibre(color, opacity, cloth.get(x, y), scale, [x as isize, y as isize]) }
    });
    let (labels, parts) = label(&found.map(|f| f > LEAST));
    Image::from_fn(color.width(), color.height(), |x, y| {
        let (l, own) = (labels.get(x, y) as usize, opacity.get(x, y));
        if l > 0 && parts[l - 1].area >= LONG { Unit(own.0.max(found.get(x, y))) } else { own }
    })
}

/// The share of cloth in a texel that a line runs through; 0 where there is none.
fn fibre(color: &Image<LinearRgb>, opacity: &Image<Unit>, cloth: LinearRgb, scale: Scale, [x, y]: [isize; 2]) -> f32 {
    let seen = color.get_clamped(x, y);
    let mut best = (0.0f32, LinearRgb::ZERO, (0, 0));
    for (dx, dy) in [(1, 0), (0, 1), (1, 1), (-1, 1)] {
        let n = ASIDE[usize::from(dx != 0 && dy != 0)];
        let sides = [n, -n].map(|n| (x + n * dx, y + n * dy));
        if sides.iter().any(|&(x, y)| opacity.get_clamped(x, y).0 > 0.1) {
            continue;
        }
        let [a, b] = sides.map(|(x, y)| color.get_clamped(x, y));
        let (off_a, off_b) = (seen.plus(a, -1.0), seen.plus(b, -1.0));
        let along = (0..3).map(|k| off_a.0[k] * off_b.0[k]).sum::<f32>();
        let light = a.luminance().max(b.luminance());
        let noise = (scale.variance(light) + (GRAIN * light).powi(2)).max(1e-9);
        // The nearer side, so that the rim of a shadow is no line.
        let parts = squared(off_a).min(squared(off_b)) / noise;
        if along > 0.0 && parts > PARTS * PARTS && parts > best.0 {
            best = (parts, a.plus(b, 1.0).times(0.5), (dx, dy));
        }
    }
    let (parts, behind, (dx, dy)) = best;
    if parts == 0.0 {
        return 0.0;
    }
    let at = |n: isize| share(color.get_clamped(x + n * dx, y + n * dy), cloth, behind);
    let here = at(0);
    if here == 0.0 { 0.0 } else { (here + TAKEN * (here - 0.5 * (at(-1) + at(1)))).clamp(0.0, 1.0) }
}

/// The share of cloth, in the shade that suits best, that turns what is behind into what is seen; 0 where that explains less than
/// three quarters of the difference.
fn share(seen: LinearRgb, cloth: LinearRgb, behind: LinearRgb) -> f32 {
    let whole = squared(seen.plus(behind, -1.0)).max(1e-12);
    let mut best = (0.25 * whole, 0.0);
    for shade in CLOTH_SHADES {
        let (part, rest) = mixed(seen, cloth.times(shade), behind);
        if rest < best.0 {
            best = (rest, part);
        }
    }
    best.1
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Grey cloth to the left, a lit green backing to the right; what crosses it at row 20 and, softer, a shadow's rim at row 40.
    fn crossed(line: LinearRgb, share: f32) -> Image<Unit> {
        let (cloth, behind) = (LinearRgb([0.35, 0.34, 0.32]), LinearRgb([0.10, 0.30, 0.22]));
        let color = Image::from_fn(60, 60, |x, y| {
            let shade = if y > 40 { 0.6 } else { 1.0 };
            // A texel's line through a lens of deviation 0.7.
            let seen = share * [0.52, 0.23, 0.02].get(y.abs_diff(20)).copied().unwrap_or(0.0);
            if x < 20 { cloth } else { behind.times(shade * (1.0 - seen)).plus(line, seen) }
        });
        let opacity = Image::from_fn(60, 60, |x, _| Unit(if x < 20 { 1.0 } else { 0.0 }));
        with_fibres(&color, &opacity, Scale::guess(&color), 8.0)
    }

    #[test]
    fn a_fibre_over_an_opening_is_kept_and_a_shadow_is_not() {
        let grey = LinearRgb([0.35, 0.34, 0.32]);
        let alpha = crossed(grey, 0.9);
        assert!((alpha.get(40, 20).0 - 0.9).abs() < 0.15, "a fibre of 0.9: {}", alpha.get(40, 20).0);
        assert!(alpha.get(40, 30).0 == 0.0 && alpha.get(40, 41).0 == 0.0, "backing and its shadow stay open");
        let red = crossed(LinearRgb([0.8, 0.02, 0.02]), 0.9);
        assert!(red.get(40, 20).0 == 0.0, "what isn't of the cloth's colour is none of its fibres: {}", red.get(40, 20).0);
    }
}
