//! Alpha within its noise: whole cloth is 1, nothing is 0, and neighbours that noise cannot tell apart agree.

use tatter_core::image::{Image, Unit};
use tatter_core::stats::quantile;

use super::shade::Shade;

/// Deviations of noise that are taken for noise: of a million pixels of bare card six hundred are left.
const DEVIATIONS: f32 = 2.5;
/// What cloth may seem to let through by a tie of exposures that is not quite right.
const ASTRAY: f32 = 0.01;
/// Share of the cloth's brightness from which a pixel is cloth whatever the shade, where no more than the second comes through.
const BRIGHT: [f32; 2] = [0.35, 0.75];
const LITTLE: [f32; 2] = [0.03, 0.12];
/// Shade beyond which nothing is divided.
const DARKEST: f32 = 0.04;

/// Deviations of the light that comes through, at opaque cloth and at bare backing in full light.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Noise {
    pub(super) cloth: f32,
    pub(super) bare: f32,
}

impl Noise {
    /// From the side of 0 and of 1 where only noise can be: no cloth lets less than nothing through.
    pub(super) fn of(through: &Image<f32>) -> Self {
        let half = |values: Vec<f32>| quantile(&mut { values }, 0.5) / 0.6745;
        let below = through.texels().iter().filter(|t| **t < 0.0).map(|t| -t).collect();
        let above = through.texels().iter().filter(|t| **t > 1.0).map(|t| t - 1.0).collect();
        Self { cloth: half(below).clamp(1e-4, 0.2), bare: half(above).clamp(1e-4, 0.2) }
    }
}

/// Alpha from the share of the backing's light that comes through and the shade the backing lies in. Each pixel is the mean of
/// those around that differ by less than two deviations (the sigma filter: Lee, "Digital Image Smoothing and the Sigma Filter",
/// 1983), then 0 and 1 within the noise. Above `whole` (1 for none) inside cloth it is 1 as well: that is light which the cloth
/// itself lets through.
pub(super) fn settle(through: &Image<f32>, shade: &Shade, noise: Noise, whole: f32) -> Image<Unit> {
    let (own, shade) = (&shade.own, &shade.level);
    let relative = |x: usize, y: usize| through.get(x, y) / shade.get(x, y).max(DARKEST);
    Image::from_fn(through.width(), through.height(), |x, y| {
        let (here, lit) = (relative(x, y), shade.get(x, y).clamp(DARKEST, 1.0));
        let noise = Noise { cloth: noise.cloth / lit, bare: noise.bare / lit };
        let near = 2.0 * (noise.cloth + (noise.bare - noise.cloth) * here.clamp(0.0, 1.0));
        let (mut sum, mut count, mut most) = (0.0, 0.0, 0.0f32);
        for dy in -1isize..=1 {
            for dx in -1isize..=1 {
                let at = |v: usize, d: isize, n: usize| v.saturating_add_signed(d).min(n - 1);
                let other = relative(at(x, dx, through.width()), at(y, dy, through.height()));
                most = most.max(other);
                if (other - here).abs() <= near {
                    sum += other;
                    count += 1.0;
                }
            }
        }
        let high = DEVIATIONS * noise.cloth + ASTRAY / lit;
        let high = if most < 2.0 * (1.0 - whole) { high.max(1.0 - whole) } else { high };
        let alpha = beyond(1.0 - beyond(sum / count, high), DEVIATIONS * noise.bare).min(1.0);
        // As bright as cloth while next to nothing comes through: a backing in whatever shade has no part in it.
        let whole = rise(BRIGHT, own.get(x, y)) * (1.0 - rise(LITTLE, through.get(x, y)));
        Unit(alpha + (1.0 - alpha) * whole)
    })
}

/// 0 before a range, 1 beyond it, smooth.
fn rise([from, to]: [f32; 2], value: f32) -> f32 {
    let t = ((value - from) / (to - from)).clamp(0.0, 1.0);
    t * t * (3.0 - 2.0 * t)
}

/// 0 up to `limit`, itself from twice that on, a line between.
pub(crate) fn beyond(value: f32, limit: f32) -> f32 {
    if value <= limit {
        0.0
    } else if value < 2.0 * limit {
        2.0 * (value - limit)
    } else {
        value
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn within_the_noise_alpha_is_whole_or_nothing() {
        let noise = Noise { cloth: 0.01, bare: 0.02 };
        let flat = |v: f32| Image::filled(5, 5, v);
        let lit = Shade { level: flat(1.0), own: flat(0.0), told: true };
        for (through, alpha) in [(-0.03, 1.0), (0.03, 1.0), (0.5, 0.5), (0.9, 0.1), (0.96, 0.0), (1.04, 0.0)] {
            let got = settle(&flat(through), &lit, noise, 1.0).get(2, 2).0;
            assert!((got - alpha).abs() < 1e-6, "{through} comes through: alpha {got}, not {alpha}");
        }
        let thin = settle(&flat(0.045), &lit, noise, 0.95).get(2, 2).0;
        assert_eq!(thin, 1.0, "thin cloth all around is cloth");
    }

    #[test]
    fn noise_is_read_where_nothing_else_can_be() {
        // Half opaque with deviation 0.02, a third pores, the rest bare with deviation 0.01.
        let image = Image::from_fn(200, 200, |x, y| {
            let normal = (0..12).map(|j| tatter_core::rng::hash_unit(j, x as u32, y as u32)).sum::<f32>() - 6.0;
            match (x * 7 + y) % 6 {
                0..3 => 0.02 * normal,
                3 | 4 => 0.2 + 0.6 * tatter_core::rng::hash_unit(99, x as u32, y as u32),
                _ => 1.0 + 0.01 * normal,
            }
        });
        let noise = Noise::of(&image);
        assert!((noise.cloth / 0.02 - 1.0).abs() < 0.05 && (noise.bare / 0.01 - 1.0).abs() < 0.05, "{noise:?}");
    }
}
