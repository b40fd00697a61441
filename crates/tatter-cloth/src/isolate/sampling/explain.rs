//! Three explanations of one pixel, weighed against each other.

use super::noise::Noise;

/// Shades a known cloth colour may take elsewhere on the cloth: crevices are dark, crowns a little brighter.
const SHADES: std::ops::RangeInclusive<f32> = 0.1..=1.4;
/// Shades of the cloth that are tried in a mix.
const MIXED_SHADES: [f32; 5] = [0.25, 0.45, 0.65, 0.85, 1.05];
/// What of a backing's light is left in a cast shadow, and the steps that are tried in a mix.
const SHADOWS: std::ops::RangeInclusive<f32> = 0.3..=0.9;
const MIXED_SHADOWS: [f32; 3] = [0.75, 0.5, 0.35];

// Costs are squared deviations of the noise: twice a negative log-likelihood. Tuned on the scenes of
// the scoreboard's alpha table; each may be doubled or halved for a tenth of the error.
/// Cost of a shadow on the backing that was not seen there.
const SHADOW: f32 = 1.0;
/// The most that an odd shade of the cloth costs. Less lets bare backing of the cloth's hue pass for cloth in shade.
const ODD_SHADE: f32 = 14.0;
/// How far cloth colours differ in hue, relative to their light.
const CLOTH_SPREAD: f32 = 0.08;
/// How far backing differs from what is known of it nearby, linear light.
const BACKING_SPREAD: f32 = 0.006;
/// A mix with less of either is taken for pure.
const LEAST_SHARE: f32 = 0.02;

/// What is expected of a pixel before it is looked at.
#[derive(Clone, Copy, Debug)]
pub(super) struct Expected {
    /// Cost of taking it for a mix. Less lets shaded threads turn half transparent.
    mix: f32,
    /// Deviation of the cloth's shade about the colours given, natural logarithm.
    shade: f32,
}

impl Expected {
    /// Nine pixels in ten are no mix; the colours given may be from another thread.
    pub(super) const ANYWHERE: Self = Self { mix: 8.0, shade: 0.5 };
    /// Between cloth and backing, with the colours right beside the pixel.
    pub(super) const AT_RIM: Self = Self { mix: 2.0, shade: 0.2 };
}

/// What is known of the backing behind a pixel.
pub(super) struct Behind<I> {
    /// Colours seen nearby.
    pub(super) near: I,
    /// The fitted model there, where it is needed.
    pub(super) model: Option<[f32; 3]>,
}

/// What a pixel is taken for.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Verdict {
    /// The mean of alpha over the explanations.
    pub(super) alpha: f32,
    /// Its variance: 0 when they agree.
    pub(super) variance: f32,
    /// Of the best explanation.
    pub(super) cost: f32,
}

/// Weighs explanations.
#[derive(Clone, Copy, Debug)]
pub(super) struct Judge {
    noise: Noise,
    /// Variance of the backing about its model.
    model_variance: f32,
}

/// A colour of the backing, its variance, and the cost of taking it.
#[derive(Clone, Copy)]
struct Candidate {
    color: [f32; 3],
    variance: f32,
    cost: f32,
}

impl Judge {
    pub(super) fn new(noise: Noise, spread: f32) -> Self {
        Self { noise, model_variance: spread.max(BACKING_SPREAD).powi(2) }
    }

    /// `cloth`: known colours of the cloth nearby.
    pub(super) fn explain(
        &self,
        pixel: [f32; 3],
        cloth: impl Iterator<Item = [f32; 3]> + Clone,
        behind: Behind<impl Iterator<Item = [f32; 3]>>,
        expected: Expected,
    ) -> Verdict {
        let noise = pixel.map(|v| self.noise.variance(v));
        let variance = BACKING_SPREAD * BACKING_SPREAD;
        let empty = Candidate { color: [0.0; 3], variance, cost: 0.0 };
        let mut known = [empty; 16];
        let mut count = 0;
        if let Some(color) = behind.model {
            known[0] = Candidate { color, variance: self.model_variance, cost: 0.0 };
            count = 1;
        }
        for color in behind.near {
            known[count] = Candidate { color, variance, cost: 0.0 };
            count += 1;
        }
        let pure_cloth = cloth.clone().map(|f| in_shade(pixel, noise, f, expected.shade)).fold(f32::INFINITY, f32::min);
        let pure_backing = known[..count].iter().map(|b| seen(pixel, noise, b)).fold(f32::INFINITY, f32::min);
        let best = pure_cloth.min(pure_backing);
        let mut weighed = Weighed::new();
        weighed.add(pure_cloth, 1.0, 0.0);
        weighed.add(pure_backing, 0.0, 0.0);
        // A pure colour as cheap as that leaves a mix too little weight to be worth the time.
        if best > expected.mix {
            for of in 0..2.min(count) {
                for shadow in MIXED_SHADOWS {
                    known[count] = Candidate { color: known[of].color.map(|v| v * shadow), cost: SHADOW, ..known[of] };
                    count += 1;
                }
            }
            let mix = mixed(pixel, noise, cloth, &known[..count], expected);
            weighed.add(mix.cost, mix.alpha, mix.variance);
        }
        weighed.verdict()
    }
}

/// Cost of cloth of colour `f` in whatever shade fits best.
fn in_shade(pixel: [f32; 3], noise: [f32; 3], f: [f32; 3], ordinary: f32) -> f32 {
    let (mut pf, mut ff) = (0.0, 1e-12);
    for c in 0..3 {
        pf += pixel[c] * f[c] / noise[c];
        ff += f[c] * f[c] / noise[c];
    }
    let shade = (pf / ff).clamp(*SHADES.start(), *SHADES.end());
    odd_shade(shade, ordinary)
        + missed([0, 1, 2].map(|c| pixel[c] - shade * f[c]), noise, f.map(|v| (CLOTH_SPREAD * shade * v).powi(2)))
}

fn odd_shade(shade: f32, ordinary: f32) -> f32 {
    (shade.ln() / ordinary).powi(2).min(ODD_SHADE)
}

/// Cost of backing, as it was seen or in a cast shadow.
fn seen(pixel: [f32; 3], noise: [f32; 3], b: &Candidate) -> f32 {
    let (mut pb, mut bb) = (0.0, 1e-12);
    for c in 0..3 {
        let weight = 1.0 / (noise[c] + b.variance);
        pb += pixel[c] * b.color[c] * weight;
        bb += b.color[c] * b.color[c] * weight;
    }
    let shade = (pb / bb).clamp(*SHADOWS.start(), *SHADOWS.end());
    let cost = |shade: f32| missed([0, 1, 2].map(|c| pixel[c] - shade * b.color[c]), noise, [b.variance; 3]);
    cost(1.0).min(cost(shade) + SHADOW)
}

/// All mixes, weighed.
fn mixed(
    pixel: [f32; 3],
    noise: [f32; 3],
    cloth: impl Iterator<Item = [f32; 3]>,
    backing: &[Candidate],
    expected: Expected,
) -> Verdict {
    let mut weighed = Weighed::new();
    let odd = MIXED_SHADES.map(|s| odd_shade(s, expected.shade));
    for (f, odd) in cloth.flat_map(|f| (0..odd.len()).map(move |k| (f.map(|v| v * MIXED_SHADES[k]), odd[k]))) {
        for b in backing {
            let alpha = share(pixel, noise, f, b.color);
            if !(LEAST_SHARE..=1.0 - LEAST_SHARE).contains(&alpha) {
                continue;
            }
            let through = (1.0 - alpha).powi(2) * b.variance;
            let (off, spread) = (
                [0, 1, 2].map(|c| pixel[c] - b.color[c] - alpha * (f[c] - b.color[c])),
                [0, 1, 2].map(|c| (CLOTH_SPREAD * alpha * f[c]).powi(2) + through),
            );
            weighed.add_missed(off, noise, spread, b.cost * (1.0 - alpha) + expected.mix + odd * alpha, alpha);
        }
    }
    weighed.verdict()
}

/// Twice the negative log-likelihood of being `off`, against a hit where nothing but noise is allowed: wide explanations
/// pay for their width.
fn missed(off: [f32; 3], noise: [f32; 3], spread: [f32; 3]) -> f32 {
    deviations(off, noise, spread) + width(noise, spread)
}

fn deviations(off: [f32; 3], noise: [f32; 3], spread: [f32; 3]) -> f32 {
    (0..3).map(|c| off[c] * off[c] / (noise[c] + spread[c])).sum()
}

fn width(noise: [f32; 3], spread: [f32; 3]) -> f32 {
    (0..3).map(|c| 1.0 + spread[c] / noise[c]).product::<f32>().ln()
}

/// The share of `f` over `b` that comes nearest to the pixel.
fn share(pixel: [f32; 3], noise: [f32; 3], f: [f32; 3], b: [f32; 3]) -> f32 {
    let (mut along, mut apart) = (0.0, 1e-12);
    for c in 0..3 {
        let step = (f[c] - b[c]) / noise[c];
        along += (pixel[c] - b[c]) * step;
        apart += (f[c] - b[c]) * step;
    }
    (along / apart).clamp(0.0, 1.0)
}

/// An explanation this much dearer than the best counts for nothing (0.1 %).
const LOST: f32 = 14.0;

/// A running mean of alpha, each explanation by exp(-cost / 2).
struct Weighed {
    best: f32,
    sums: [f32; 3],
}

impl Weighed {
    fn new() -> Self {
        Self { best: f32::INFINITY, sums: [0.0; 3] }
    }

    fn add(&mut self, cost: f32, alpha: f32, variance: f32) {
        if cost > self.best + LOST || cost.is_infinite() {
            return;
        }
        if cost < self.best {
            let fade = (0.5 * (cost - self.best)).exp();
            self.sums = self.sums.map(|s| s * fade);
            self.best = cost;
        }
        let weight = (0.5 * (self.best - cost)).exp();
        self.sums[0] += weight;
        self.sums[1] += weight * alpha;
        self.sums[2] += weight * (alpha * alpha + variance);
    }

    /// An explanation that misses by `off`; what cannot count is dropped before its width is taken.
    fn add_missed(&mut self, off: [f32; 3], noise: [f32; 3], spread: [f32; 3], beside: f32, alpha: f32) {
        let cost = beside + deviations(off, noise, spread);
        if cost < self.best + LOST {
            self.add(cost + width(noise, spread), alpha, 0.0);
        }
    }

    /// Undecided when nothing was weighed.
    fn verdict(&self) -> Verdict {
        let [weight, first, second] = self.sums;
        if weight <= 0.0 {
            return Verdict { alpha: 0.5, variance: 0.25, cost: f32::INFINITY };
        }
        let alpha = first / weight;
        Verdict { alpha, variance: (second / weight - alpha * alpha).max(0.0), cost: self.best }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const CLOTH: [f32; 3] = [0.42, 0.26, 0.10];

    fn judged(pixel: [f32; 3], cloth: [f32; 3], backing: [f32; 3]) -> Verdict {
        let noise = Noise::of(&tatter_core::image::Image::filled(8, 8, tatter_core::image::LinearRgb([0.5; 3])));
        let behind = Behind { near: std::iter::once(backing), model: None };
        Judge::new(noise, 0.0).explain(pixel, std::iter::once(cloth), behind, Expected::ANYWHERE)
    }

    #[test]
    fn a_worked_mix_of_the_triangulation_table() {
        // Smith, Blinn 1996: alpha 0.35 over (.85, .85, .83) with premultiplied colour (.035, .056, .1225).
        let verdict = judged([0.5875, 0.6085, 0.662], [0.1, 0.16, 0.35], [0.85, 0.85, 0.83]);
        assert!((verdict.alpha - 0.35).abs() < 0.03, "alpha {} of 0.35", verdict.alpha);
    }

    #[test]
    fn cloth_in_shade_is_cloth_and_backing_in_shadow_is_backing() {
        let shaded = judged(CLOTH.map(|v| 0.4 * v), CLOTH, [0.75, 0.76, 0.74]);
        assert!(shaded.alpha > 0.97, "cloth at 0.4 of its light is cloth, not {}", shaded.alpha);
        let shadow = judged([0.75, 0.76, 0.74].map(|v| 0.45 * v), CLOTH, [0.75, 0.76, 0.74]);
        assert!(shadow.alpha < 0.03, "a card at 0.45 of its light is card, not {}", shadow.alpha);
    }
}
