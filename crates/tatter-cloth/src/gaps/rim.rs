//! Fractions of opacity where cloth meets what lies behind.

use tatter_core::image::{Image, LinearRgb, Pixel as _, Unit};
use tatter_core::kernel::{distance_to, weighted};

use super::palette::Scale;

/// Texels on either side of a rim whose fraction is looked for: what a lens of ordinary sharpness mixes.
const BAND: f32 = 1.5;
/// Shades in which the cloth beside a rim may continue on it, and what is behind.
pub(super) const CLOTH_SHADES: [f32; 4] = [0.4, 0.65, 1.0, 1.4];
const BACKING_SHADES: [f32; 3] = [0.75, 1.0, 1.3];
/// Deviation of `ln` shade that costs as much as one deviation of noise.
const EASE: [f32; 2] = [0.6, 0.25];
/// Misfit of colours that noise does not explain, as a share of their light.
pub(super) const GRAIN: f32 = 0.06;
/// What a fraction on the wrong side of a decided texel costs, in squared deviations.
const AGAINST: f32 = 3.0;

/// Opacity from beliefs (-1 cloth to 1 backing): near a rim the share of cloth under which the texel's light is best explained
/// by the cloth and the backing beside it, each in some shade (sampling as in Wang, Cohen, "Optimized Color Sampling for
/// Robust Matting", 2007); elsewhere 0 or 1.
pub(super) fn opacity(color: &Image<LinearRgb>, belief: &Image<f32>, scale: Scale, pitch: f32) -> Image<Unit> {
    let open = belief.map(|b| b > 0.0);
    let (to_open, to_cloth) = (distance_to(&open), distance_to(&open.map(|o| !o)));
    let sure = |distance: f32| {
        if distance > BAND {
            1.0
        } else if distance > 0.5 {
            0.02
        } else {
            0.0
        }
    };
    let near = (0.15 * pitch).clamp(1.5, 4.0);
    let cloth = weighted(color, &to_open.map(sure), near, LinearRgb::ZERO);
    let behind = weighted(color, &to_cloth.map(sure), near, LinearRgb::ZERO);
    Image::from_fn(color.width(), color.height(), |x, y| {
        if to_open.get(x, y).max(to_cloth.get(x, y)) > BAND {
            return Unit(if open.get(x, y) { 0.0 } else { 1.0 });
        }
        share(color.get(x, y), cloth.get(x, y), behind.get(x, y), belief.get(x, y), scale)
    })
}

/// The share of `front` over `back` that comes nearest to what is seen, and the square of what it leaves unexplained.
pub(super) fn mixed(seen: LinearRgb, front: LinearRgb, back: LinearRgb) -> (f32, f32) {
    let (axis, off) = (front.plus(back, -1.0), seen.plus(back, -1.0));
    let along = (0..3).map(|i| off.0[i] * axis.0[i]).sum::<f32>() / squared(axis).max(1e-9);
    let share = along.clamp(0.0, 1.0);
    (share, squared(off.plus(axis, -share)))
}

/// The square of a difference of colours.
pub(super) fn squared(off: LinearRgb) -> f32 {
    off.0.iter().map(|v| v * v).sum()
}

/// The best share of cloth in a texel.
fn share(seen: LinearRgb, cloth: LinearRgb, behind: LinearRgb, belief: f32, scale: Scale) -> Unit {
    let variance = scale.variance(seen.luminance()) + (GRAIN * seen.luminance()).powi(2) + 1e-8;
    let mut best = (f32::INFINITY, 0.5);
    for f in CLOTH_SHADES {
        for b in BACKING_SHADES {
            let (front, back) = (cloth.times(f), behind.times(b));
            let (a, rest) = mixed(seen, front, back);
            let misfit = rest / variance;
            let shades = (f.ln() / EASE[0]).powi(2) + (b.ln() / EASE[1]).powi(2);
            let against = AGAINST * (belief * (a - 0.5)).max(0.0);
            let cost = misfit + shades + against;
            if cost < best.0 {
                best = (cost, a);
            }
        }
    }
    Unit(best.1)
}
