//! Lustrous cloth shines where it slopes: the lifted edge of a tear is lighter than the cloth around, and whole.
//!
//! Light returns from threads in two ways (Shafer, "Using Color to Separate Reflection Components", 1985): from within, in the cloth's
//! own colour, and from their surface, in the lamp's. A slope towards the lamp has as much of the first as flat cloth or more, and more
//! of the second; its weave goes on. Threads that are worn, faded or soiled have another colour within, and less of the old one.

use tatter_core::image::{Image, LinearRgb};
use tatter_core::kernel::{dilate, distance_to, gaussian, label, open};
use tatter_core::stats::quantile;

use super::edge::masked;

/// Share of the score of what is most unlike the cloth from which a place is hurt by itself, and the least such score: what shines
/// reaches 77 beside tears of 300 to 1800.
const HURT: f32 = 0.15;
const LEAST: f32 = 20.0;
/// Breadth of the rim around such places that stays hurt, smoothing widths: nearly two threads.
const RIM: f32 = 2.5;
/// Least part of the cloth's own light that a slope returns, and most that this differs where only sheen is lost.
const OWN: f32 = 1.02;
const AWAY: f32 = 0.1;
/// Most of a change of colour that light alone leaves unexplained: lamps are not quite white.
const UNTOLD: f32 = 0.3;
/// Least contrast of threads, as a share of the cloth's, where the weave goes on.
const WOVEN: f32 = 0.7;
/// Least spread of the cloth's three channels, as a share of their mean: of grey cloth, own light and the lamp's look alike.
const COLORED: f32 = 0.2;

/// Cloth as one sees it without its threads.
struct Plain {
    color: LinearRgb,
    /// Log contrast of its threads.
    contrast: f32,
}

/// The region but for what only shines, or only shines less; all at working size. What hangs together with what is torn stays when
/// it has less light: that may be soil or scorch.
pub(super) fn without_sheen(
    color: &Image<LinearRgb>,
    lab: &Image<LinearRgb>,
    score: &Image<f32>,
    region: &Image<bool>,
    sigma: f32,
) -> Image<bool> {
    let scores = |share: f32| quantile(&mut masked(score, region), share);
    let least = (HURT * scores(0.95)).max(LEAST);
    let hurt = open(&region.zip(score, |r, s| r && s > least), 0.4 * sigma);
    if !hurt.texels().contains(&true) {
        return region.clone();
    }
    let soft = gaussian(color, 1.5 * sigma);
    let contrast = contrast(lab, sigma);
    let around = dilate(region, 3.0 * sigma).map(|r| !r);
    let middle = |of: Vec<f32>| quantile(&mut { of }, 0.5);
    let plain = Plain {
        color: LinearRgb([0, 1, 2].map(|k: usize| middle(masked(&soft.map(|c| c.0[k]), &around)).max(1e-4))),
        contrast: middle(masked(&contrast, &around)),
    };
    if !plain.is_colored() {
        return region.clone();
    }
    let lights = soft.zip(&contrast, |c, t| plain.lights(c, t));
    let beyond = region.zip(&distance_to(&hurt), |r, d| r && d > RIM * sigma);
    let shines = mostly(&beyond, &hurt.map(|_| false), &lights.map(|l| l.is_some_and(|[own, lamp]| own > OWN && lamp > 0.0)));
    let whole = region.zip(&shines, |r, s| r && !s);
    let slopes = lights.map(|l| l.is_some_and(|[own, lamp]| (own - 1.0).abs() < AWAY && lamp < 0.0));
    let islands = mostly(&whole, &hurt, &slopes);
    whole.zip(&islands, |w, i| w && !i)
}

impl Plain {
    fn is_colored(&self) -> bool {
        let mean = self.color.0.iter().sum::<f32>() / 3.0;
        let variance = self.color.0.iter().map(|v| (v - mean).powi(2)).sum::<f32>() / 3.0;
        variance.sqrt() > COLORED * mean
    }

    /// How much of the cloth's own light a place returns, as a share, and what it has more of the lamp's; `None` where these two don't
    /// explain its colour, or its threads are gone.
    fn lights(&self, seen: LinearRgb, contrast: f32) -> Option<[f32; 2]> {
        let usual = self.color.0;
        // Share of each channel = own + lamp / channel: a line over the channels' inverses.
        let (at, share) = (usual.map(|v| 1.0 / v), [0, 1, 2].map(|k: usize| seen.0[k] / usual[k]));
        let [at_mean, share_mean] = [at, share].map(|v| v.iter().sum::<f32>() / 3.0);
        let slope = |k: usize| (at[k] - at_mean) * (share[k] - share_mean);
        let lamp = (0..3).map(slope).sum::<f32>() / at.iter().map(|a| (a - at_mean).powi(2)).sum::<f32>().max(1e-9);
        let own = share_mean - lamp * at_mean;
        let most = |of: &dyn Fn(usize) -> f32| (0..3).map(|k| of(k).abs()).fold(0.0, f32::max);
        let (left, changed) = (most(&|k| share[k] - own - lamp * at[k]), most(&|k| share[k] - 1.0));
        (left < UNTOLD * changed && contrast > self.contrast + WOVEN.ln()).then_some([own, lamp])
    }
}

/// Log contrast of threads around each place.
fn contrast(lab: &Image<LinearRgb>, sigma: f32) -> Image<f32> {
    let light = lab.map(|c| c.0[0]);
    let fine = light.zip(&gaussian(&light, 0.7 * sigma), |l, s| (l - s).powi(2));
    gaussian(&fine, 1.5 * sigma).map(|v| 0.5 * (v.max(0.0) + 0.02).ln())
}

/// The parts of a mask that hold nothing of `without` and lie for the most in `of`.
fn mostly(mask: &Image<bool>, without: &Image<bool>, of: &Image<bool>) -> Image<bool> {
    let (labels, parts) = label(mask);
    let mut counts = vec![(0usize, false); parts.len()];
    for ((l, w), o) in labels.texels().iter().zip(without.texels()).zip(of.texels()).filter(|((l, _), _)| **l > 0) {
        let count = &mut counts[*l as usize - 1];
        count.0 += usize::from(*o);
        count.1 |= *w;
    }
    let taken: Vec<bool> = parts.iter().zip(&counts).map(|(part, (count, holds))| !holds && 2 * count > part.area).collect();
    labels.map(|l| l > 0 && taken[l as usize - 1])
}

#[cfg(test)]
mod tests {
    use tatter_core::color::Lab;

    use super::*;

    /// What stays of a tear with cloth changed by `slope` above it, in cloth of that colour, four texels a thread: tear, and slope.
    fn kept(cloth: [f32; 3], slope: impl Fn([f32; 3]) -> [f32; 3] + Sync) -> [f32; 2] {
        let tear = |x: usize, y: usize| (40..120).contains(&x) && (80..100).contains(&y);
        let above = |x: usize, y: usize| (40..120).contains(&x) && (40..80).contains(&y);
        let color = Image::from_fn(160, 160, |x, y| {
            let thread = if (x / 2 + y / 2) % 2 == 0 { 1.15 } else { 0.85 };
            let seen = if above(x, y) { slope(cloth) } else { cloth };
            LinearRgb(if tear(x, y) { [0.03, 0.03, 0.035] } else { seen.map(|v| v * thread) })
        });
        let lab = color.map(|c| {
            let lab = Lab::from(c);
            LinearRgb([lab.l, lab.a, lab.b])
        });
        let score = Image::from_fn(160, 160, |x, y| match (tear(x, y), above(x, y)) {
            (true, _) => 400.0,
            (_, true) => 30.0,
            _ => 1.0,
        });
        let left = without_sheen(&color, &lab, &score, &score.map(|s| s > 3.5), 3.0);
        let share = |of: &dyn Fn(usize, usize) -> bool| {
            let own: Vec<bool> = (0..160 * 160).filter(|i| of(i % 160, i / 160)).map(|i| left.texels()[i]).collect();
            own.iter().filter(|l| **l).count() as f32 / own.len() as f32
        };
        [share(&tear), share(&above)]
    }

    // Colours are the dichromatic model's own (Shafer 1985); the drawing is the truth.
    #[test]
    fn a_slope_that_shines_is_whole_and_one_that_is_worn_is_not() {
        for cloth in [[0.32, 0.03, 0.04], [0.03, 0.10, 0.30], [0.36, 0.24, 0.05]] {
            let [tear, shines] = kept(cloth, |c| c.map(|v| 1.1 * v + 0.03));
            assert!(
                tear > 0.99 && shines < 0.25,
                "more light on {cloth:?} and a lamp's shine leave a rim alone: {tear} {shines}"
            );
            let [_, worn] = kept(cloth, |c| c.map(|v| 0.85 * v + 0.15 * 0.6));
            assert!(worn > 0.99, "a sixth of the threads of {cloth:?} worn to their pale hearts is hurt: {worn}");
            let [_, soiled] = kept(cloth, |c| [0.7 * c[0], 0.68 * c[1], 0.6 * c[2]]);
            assert!(soiled > 0.99, "soil on {cloth:?} is hurt: {soiled}");
        }
        let [_, gray] = kept([0.3, 0.3, 0.3], |c| c.map(|v| 1.1 * v + 0.03));
        assert!(gray > 0.99, "on grey cloth shine can't be told from wear: {gray}");
    }
}
