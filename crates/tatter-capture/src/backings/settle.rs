//! Alpha within its noise: whole cloth is 1, nothing is 0, and neighbours that noise cannot tell apart agree.

use tatter_core::image::{Image, Unit};
use tatter_core::stats::quantile;

use super::cast::is_dark_cloth;
use super::shade::Shade;

/// Deviations of noise that are taken for noise: of a million pixels of bare card six hundred are left.
const DEVIATIONS: f32 = 2.5;
/// The same at whole cloth whose own light tells it besides.
const WHOLE_DEVIATIONS: f32 = 1.5;
/// What cloth may seem to let through by a tie of exposures that is not quite right.
const ASTRAY: f32 = 0.01;
/// Most that noise takes to whole cloth and to nothing, however much of it there is: beyond, fibres would go with it.
const MOST_WHOLE: f32 = 0.1;
const MOST_BARE: f32 = 0.08;
/// Deviation of the shade that was found, as a share of it.
const SHADE_ASTRAY: f32 = 0.06;
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
        let deviation = |beyond: &dyn Fn(f32) -> f32| half_of_normal(through.texels().iter().map(|t| beyond(*t)));
        Self { cloth: deviation(&|t| -t), bare: deviation(&|t| t - 1.0) }
    }

    /// The same with the shade of each place known: no opening shows more than its shade lets it.
    pub(super) fn above(self, through: &Image<f32>, shade: &Image<f32>) -> Self {
        Self { bare: half_of_normal(through.texels().iter().zip(shade.texels()).map(|(t, s)| t - s)), ..self }
    }
}

/// Deviation of noise that is seen above nought alone.
fn half_of_normal(values: impl Iterator<Item = f32>) -> f32 {
    let mut above: Vec<f32> = values.filter(|value| *value > 0.0).collect();
    (quantile(&mut above, 0.5) / 0.6745).clamp(1e-4, 0.2)
}

/// Alpha from the share of the backing's light that comes through and the shade the backing lies in. Each pixel is the mean of
/// those around that differ by less than two deviations (the sigma filter: Lee, "Digital Image Smoothing and the Sigma Filter",
/// 1983); where the cloth's own light tells, it is weighed with that, each by what it may be off; then 0 and 1 within the noise. Above `whole`
/// (1 for none) inside cloth it is 1 as well: that is light which the cloth itself lets through.
pub(super) fn settle(through: &Image<f32>, shade: &Shade, noise: Noise, whole: f32) -> Image<Unit> {
    let (own, level) = (&shade.own, &shade.level);
    let relative = |x: usize, y: usize| through.get(x, y) / level.get(x, y).max(DARKEST);
    Image::from_fn(through.width(), through.height(), |x, y| {
        let (here, lit) = (relative(x, y), level.get(x, y).clamp(DARKEST, 1.0));
        let noise = Noise { cloth: noise.cloth / lit, bare: noise.bare / lit };
        let deviation = noise.cloth + (noise.bare - noise.cloth) * here.clamp(0.0, 1.0);
        let (mut sum, mut count, mut most) = (0.0, 0.0, 0.0f32);
        for dy in -1isize..=1 {
            for dx in -1isize..=1 {
                let at = |v: usize, d: isize, n: usize| v.saturating_add_signed(d).min(n - 1);
                let other = relative(at(x, dx, through.width()), at(y, dy, through.height()));
                most = most.max(other);
                if (other - here).abs() <= 2.0 * deviation {
                    sum += other;
                    count += 1.0;
                }
            }
        }
        let open: f32 = sum / count;
        let [least, greatest] = shade.open.each_ref().map(|bound| bound.get(x, y));
        let (open, deviation) = if shade.told && !is_dark_cloth(open, least) {
            let (open, deviation) = both(open, deviation, own.get(x, y), shade.spread.get(x, y), shade.uneven);
            (open.clamp(least, greatest), deviation)
        } else {
            (open, deviation)
        };
        let high = if shade.told {
            (WHOLE_DEVIATIONS * noise.cloth + ASTRAY).min(MOST_WHOLE)
        } else {
            DEVIATIONS * noise.cloth + ASTRAY / lit
        };
        let high = if most < 2.0 * (1.0 - whole) { high.max(1.0 - whole) } else { high };
        let low = if shade.told { (DEVIATIONS * deviation).min(MOST_BARE) } else { DEVIATIONS * noise.bare };
        let alpha = beyond(1.0 - beyond(open, high), low).min(1.0);
        // As bright as cloth while next to nothing comes through: a backing in whatever shade has no part in it.
        let whole = rise(BRIGHT, own.get(x, y)) * (1.0 - rise(LITTLE, through.get(x, y)));
        Unit(alpha + (1.0 - alpha) * whole)
    })
}

/// What is open by what comes through and by the cloth's own light, and its deviation.
fn both(open: f32, deviation: f32, own: f32, spread: f32, uneven: f32) -> (f32, f32) {
    let by_light = deviation.hypot(SHADE_ASTRAY * open.clamp(0.0, 1.0));
    let by_own = spread.hypot(uneven * own.clamp(0.0, 1.2));
    let (a, b) = (by_light.max(1e-3).powi(-2), by_own.max(1e-3).powi(-2));
    ((a * open + b * (1.0 - own)) / (a + b), (a + b).sqrt().recip())
}

/// 0 before a range, 1 beyond it, smooth.
pub(super) fn rise([from, to]: [f32; 2], value: f32) -> f32 {
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
        let lit = Shade {
            level: flat(1.0),
            seen: flat(1.0),
            own: flat(0.0),
            open: [flat(0.0), flat(1.0)],
            spread: flat(1.0),
            uneven: 0.35,
            told: false,
        };
        for (through, alpha) in [(-0.03, 1.0), (0.03, 1.0), (0.5, 0.5), (0.9, 0.1), (0.96, 0.0), (1.04, 0.0)] {
            let got = settle(&flat(through), &lit, noise, 1.0).get(2, 2).0;
            assert!((got - alpha).abs() < 1e-6, "{through} comes through: alpha {got}, not {alpha}");
        }
        let thin = settle(&flat(0.045), &lit, noise, 0.95).get(2, 2).0;
        assert_eq!(thin, 1.0, "thin cloth all around is cloth");
    }

    /// By inverse variances, and within what the light of the cloth lets be.
    #[test]
    fn two_tellings_count_as_much_as_they_are_sure() {
        let (open, deviation) = both(0.6, 0.2, 0.2, 0.0, 0.5);
        // Of the cloth's own light, 0.2, the half is uneven: 0.8 to a tenth.
        let by_light = 0.2f32.hypot(0.06 * 0.6).powi(-2);
        assert!((open - (by_light * 0.6 + 100.0 * 0.8) / (by_light + 100.0)).abs() < 1e-5, "{open}");
        assert!((deviation - (by_light + 100.0).sqrt().recip()).abs() < 1e-5, "{deviation}");
        let flat = |v: f32| Image::filled(5, 5, v);
        let told = |own: f32, level: f32, [least, most]: [f32; 2]| Shade {
            level: flat(level),
            seen: flat(0.0),
            own: flat(own),
            spread: flat(0.02),
            uneven: 0.35,
            open: [flat(least), flat(most)],
            told: true,
        };
        let noise = Noise { cloth: 0.01, bare: 0.02 };
        let alpha = |through: f32, shade: &Shade| settle(&flat(through), shade, noise, 1.0).get(2, 2).0;
        let bare = alpha(0.2, &told(0.0, 0.3, [0.9, 1.0]));
        assert!(bare < 0.1, "what has no light of its own is open though its shade is deeper than was thought: {bare}");
        let charred = alpha(0.003, &told(0.02, 0.6, [0.9, 1.0]));
        assert!(charred > 0.9, "dark cloth through which next to nothing comes is whole: {charred}");
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
