//! What shows behind the cloth: colours of even places that intact cloth never shows, each in every shade.

use tatter_core::image::{Image, LinearRgb, Pixel as _, Unit};
use tatter_core::kernel::{gaussian, label};

use super::even::REACH;
use super::palette::{Scale, Tint, pick};
use crate::relief::smooth::{quantile, weighted};

/// Something behind the cloth. A shadow dims it and leaves its tint, so it explains `shade × color`.
#[derive(Clone, Debug)]
pub(super) struct Backing {
    /// Fully lit, linear light.
    pub color: LinearRgb,
    /// Deviation of its tints in its own even places, noise left out.
    spread: [f32; 2],
    /// Density of `ln Y` over bins from `first`.
    shades: Vec<f32>,
    first: f32,
}

/// Least deviation of a backing's tints that is believed, and most that is allowed for: light bounced off the cloth tints it.
const LEAST_SPREAD: f32 = 0.025;
const MOST_SPREAD: f32 = 0.12;
/// Width of a bin of shades.
const SHADE: f32 = 0.08;
/// Darkest and brightest shade of a backing that is expected unseen: a shadow leaves some sky, a sheen adds a little.
const SHADES: [f32; 2] = [0.15, 1.15];
/// Share of shades that are expected without having been seen in an even place.
const UNSEEN: f32 = 0.25;

impl Backing {
    /// From tints of even places, all on one ray, and its colour fully lit; `brightest`: the most light that it may show.
    fn of(samples: &[Tint], color: LinearRgb, scale: Scale, brightest: f32) -> Self {
        let mut made = Self { color, spread: [LEAST_SPREAD; 2], shades: Vec::new(), first: 0.0 };
        for axis in 0..2 {
            let mut off: Vec<f32> = samples.iter().map(|t| made.misfit(*t, scale).0[axis].powi(2)).collect();
            let mut noise: Vec<f32> = samples.iter().map(|t| made.misfit(*t, scale).1[axis]).collect();
            // The median of squares of a Gaussian is 0.455 of its variance.
            let variance = quantile(&mut off, 0.5) / 0.455 - quantile(&mut noise, 0.5);
            made.spread[axis] = variance.max(0.0).sqrt().max(LEAST_SPREAD);
        }
        let ends =
            [SHADES[0] * color.luminance(), (SHADES[1] * color.luminance()).max(brightest)].map(|l| (l + scale.floor).ln());
        let (low, high) = samples.iter().fold((ends[0], ends[1]), |(a, b), t| (a.min(t.0[0]), b.max(t.0[0])));
        made.first = low - 4.0 * SHADE;
        let bins = ((high - low) / SHADE).ceil() as usize + 9;
        let mut seen = vec![0.0f32; bins];
        for t in samples {
            seen[((t.0[0] - made.first) / SHADE) as usize] += 1.0 / samples.len() as f32;
        }
        let line = gaussian(&Image::from_vec(bins, 1, seen), 1.5);
        let shade = |i: usize| {
            let at = made.first + (i as f32 + 0.5) * SHADE;
            let even = if at >= ends[0] && at <= ends[1] { 1.0 / (ends[1] - ends[0]) } else { 0.0 };
            (1.0 - UNSEEN) * line.get(i, 0) / SHADE + UNSEEN * even
        };
        made.shades = (0..bins).map(shade).collect();
        made
    }

    /// How far a tint lies from this backing in its own shade, and what variance noise gives to that: of both tints.
    fn misfit(&self, tint: Tint, scale: Scale) -> ([f32; 2], [f32; 2]) {
        let shade = (tint.0[0].exp() - scale.floor).max(0.0) / self.color.luminance().max(1e-6);
        let color = self.color.times(shade);
        let (expected, noise) = (scale.tint(color), scale.spread(color));
        ([tint.0[1] - expected.0[1], tint.0[2] - expected.0[2]], [noise[1], noise[2]])
    }

    /// Squared distance of a tint in deviations, and the density of the two tints at none.
    fn distance(&self, tint: Tint, scale: Scale) -> (f32, f32) {
        let ([a, b], noise) = self.misfit(tint, scale);
        let [va, vb] = [0, 1].map(|i| self.spread[i].min(MOST_SPREAD).powi(2) + noise[i]);
        (a * a / va + b * b / vb, 1.0 / (std::f32::consts::TAU * (va * vb).sqrt()))
    }

    /// Density of a tint under this backing.
    pub(super) fn density(&self, tint: Tint, scale: Scale) -> f32 {
        let (off, peak) = self.distance(tint, scale);
        let bin = ((tint.0[0] - self.first) / SHADE).max(0.0) as usize;
        // Heavier tails than a Gaussian's: light bounced off the cloth tints a backing at the rim.
        (0.95 * (-0.5 * off).exp() + 0.05 * (-0.125 * off).exp()) * peak * self.shades.get(bin).copied().unwrap_or(0.0)
    }

    /// Whether a tint could be this backing in some shade.
    pub(super) fn explains(&self, tint: Tint, scale: Scale) -> bool {
        self.distance(tint, scale).0 < 12.0
    }
}

/// A Gaussian over tints.
#[derive(Clone, Copy, Debug)]
pub(super) struct Blob {
    mean: [f32; 3],
    inverse: [[f32; 3]; 3],
}

impl Blob {
    /// From samples; `floor` is the least deviation believed.
    pub(super) fn fit(samples: &[Tint], floor: f32) -> Self {
        let n = samples.len().max(1) as f64;
        let mean: [f64; 3] = std::array::from_fn(|i| samples.iter().map(|s| f64::from(s.0[i])).sum::<f64>() / n);
        let off = |s: &Tint, i: usize| f64::from(s.0[i]) - mean[i];
        let cov: [[f64; 3]; 3] = std::array::from_fn(|i| {
            std::array::from_fn(|j| {
                samples.iter().map(|s| off(s, i) * off(s, j)).sum::<f64>() / n
                    + if i == j { f64::from(floor * floor) } else { 0.0 }
            })
        });
        let minor = |i: usize, j: usize| {
            let (a, b, c, d) = ((i + 1) % 3, (i + 2) % 3, (j + 1) % 3, (j + 2) % 3);
            cov[a][c] * cov[b][d] - cov[a][d] * cov[b][c]
        };
        let det = (0..3).map(|j| cov[0][j] * minor(0, j)).sum::<f64>().max(1e-18);
        Self {
            mean: mean.map(|m| m as f32),
            inverse: std::array::from_fn(|i| std::array::from_fn(|j| (minor(j, i) / det) as f32)),
        }
    }

    /// Squared Mahalanobis distance.
    pub(super) fn distance(&self, tint: Tint) -> f32 {
        let d: [f32; 3] = std::array::from_fn(|i| tint.0[i] - self.mean[i]);
        (0..3).map(|i| d[i] * (0..3).map(|j| self.inverse[i][j] * d[j]).sum::<f32>()).sum()
    }
}

/// What the search for backings looks at.
pub(super) struct Search<'a> {
    pub color: &'a Image<LinearRgb>,
    pub tints: &'a Image<Tint>,
    /// Even places, unlike any intact cloth.
    pub even: &'a Image<bool>,
    /// Area of even patches that prove nothing, texels.
    pub by_chance: usize,
    /// Thread contrast of intact cloth, variance of log light.
    pub contrast: f32,
    /// Where openings are looked for.
    pub cover: &'a Image<Unit>,
    /// What colours intact cloth has.
    pub usual_tint: UsualTint,
    pub scale: Scale,
    pub pitch: f32,
    /// Light of the brightest place that may be a backing.
    pub brightest: f32,
    /// Light of ordinary cloth.
    pub usual: f32,
}

/// How much brighter than its broadest place a backing may be in the light.
const MUCH_BRIGHTER: f32 = 5.5;
/// At most this many things lie behind one injury.
const MOST: usize = 3;
/// Share of the first one's even places that a further one must have: less is pale fluff of the cloth.
const SECOND: f32 = 0.25;

/// The backings that explain the even places, the one with the broadest place first.
pub(super) fn backings(search: &Search<'_>) -> Vec<Backing> {
    let Search { color, tints, even, by_chance, scale, pitch, brightest, usual, .. } = *search;
    let least = ((0.2 * pitch * pitch).max(12.0) as usize).max(by_chance + by_chance / 2);
    let mut left = even.clone();
    let mut most = 0;
    let mut found = Vec::new();
    while found.len() < MOST {
        let (labels, parts) = label(&left);
        let Some((number, part)) = parts.iter().enumerate().max_by_key(|(_, p)| p.area) else { break };
        if part.area < least {
            break;
        }
        let own = labels.map(|l| l as usize == number + 1);
        let first = Backing::of(&pick(tints, &own), lit(&pick(color, &own)), scale, brightest);
        let reach = (MUCH_BRIGHTER * first.color.luminance() + scale.floor).ln();
        let like = left.zip(tints, |e, t| e && first.explains(t, scale) && t.0[0] < reach);
        let all = like.zip(&own, |a, b| a || b);
        let count = all.texels().iter().filter(|&&a| a).count();
        left = left.zip(&all, |e, taken| e && !taken);
        most = most.max(count);
        let made = Backing::of(&pick(tints, &all), lit(&pick(color, &all)), scale, brightest);
        // What is lighter than the cloth shows its tint clearly, and a card has one: loops of undyed thread have several.
        let one_tint = made.color.luminance() < usual || made.spread.iter().all(|s| *s < MOST_SPREAD);
        if count as f32 >= SECOND * most as f32 && one_tint {
            found.push(made);
        }
    }
    if found.is_empty() {
        found.extend(between_fibres(search));
    }
    found
}

/// Share of the cloth's thread contrast above which places of a foreign tint are cloth with a stain.
const THREADED: f32 = 0.45;

/// A backing that threads and fuzz leave no even place of. Its texels alone are even from one to the next, since a thread before
/// it has the cloth's tint; a stain leaves the contrast of the threads within its tint. Only of a tint that intact cloth does not
/// have, and no lighter than the cloth: what rubbing bares is light and as foreign.
fn between_fibres(search: &Search<'_>) -> Option<Backing> {
    let Search { color, tints, scale, pitch, brightest, usual, usual_tint, cover, contrast, .. } = *search;
    let foreign = tints.zip(cover, |t, c| c.0 > 0.5 && usual_tint.distance(t) > 2.0 * FOREIGN);
    let (labels, parts) = label(&foreign);
    let (number, part) = parts.iter().enumerate().max_by_key(|(_, p)| p.area)?;
    if (part.area as f32) < (0.3 * pitch * pitch).max(12.0) {
        return None;
    }
    let own = labels.map(|l| l as usize == number + 1);
    let first = Backing::of(&pick(tints, &own), lit(&pick(color, &own)), scale, brightest);
    let like = foreign.zip(tints, |f, t| f && first.explains(t, scale));
    // Half of it is purer; the rest has fibres in it.
    let pure = quantile(&mut pick(tints, &like).iter().map(|t| usual_tint.distance(*t)).collect::<Vec<_>>(), 0.5);
    let like = like.zip(tints, |l, t| l && usual_tint.distance(t) >= pure);
    let weight = like.map(|l| if l { 1.0 } else { 0.0 });
    let mean = |image: &Image<f32>| weighted(image, &weight, (REACH * pitch).max(1.2), 0.0);
    let light = tints.map(|t| t.0[0]);
    let uneven = mean(&light.map(|l| l * l)).zip(&mean(&light), |square, mean| (square - mean * mean).max(0.0));
    let noise = color.map(|c| scale.spread(c)[0]);
    let mut within: Vec<f32> =
        uneven.zip(&noise, |u, n| u - n).texels().iter().zip(like.texels()).filter(|(_, l)| **l).map(|(u, _)| *u).collect();
    let ratio = quantile(&mut within, 0.5) / contrast.max(1e-6);
    let made = Backing::of(&pick(tints, &like), lit(&pick(color, &like)), scale, brightest);
    (ratio < THREADED && made.color.luminance() < usual).then_some(made)
}

/// Deviations from the usual tint of the cloth beyond which a texel of it may be a pinhole, squared.
pub(super) const FOREIGN: f32 = 16.0;

/// The tints that intact cloth has in the main.
#[derive(Clone, Copy, Debug)]
pub(super) struct UsualTint {
    pub middle: [f32; 3],
    spreads: [f32; 2],
}

impl UsualTint {
    pub(super) fn of(known: &[Tint]) -> Self {
        let middle = [0, 1, 2].map(|axis| quantile(&mut known.iter().map(|t| t.0[axis]).collect::<Vec<_>>(), 0.5));
        let spread = |axis: usize| {
            let off = quantile(&mut known.iter().map(|t| (t.0[axis] - middle[axis]).abs()).collect::<Vec<_>>(), 0.5);
            (1.4826 * off).max(0.03)
        };
        Self { middle, spreads: [spread(1), spread(2)] }
    }

    /// Squared, in deviations.
    pub(super) fn distance(&self, tint: Tint) -> f32 {
        (0..2).map(|i| ((tint.0[i + 1] - self.middle[i + 1]) / self.spreads[i]).powi(2)).sum()
    }
}

/// A backing that a person pointed at.
pub(super) fn told(search: &Search<'_>, strokes: &Image<bool>) -> Option<Backing> {
    let (tints, colors) = (pick(search.tints, strokes), pick(search.color, strokes));
    (tints.len() >= 4).then(|| Backing::of(&tints, lit(&colors), search.scale, search.brightest))
}

/// The colour of the brightest tenth.
fn lit(colors: &[LinearRgb]) -> LinearRgb {
    let limit = quantile(&mut colors.iter().map(|c| c.luminance()).collect::<Vec<_>>(), 0.9);
    let bright: Vec<LinearRgb> = colors.iter().filter(|c| c.luminance() >= limit).copied().collect();
    let sum = bright.iter().fold(LinearRgb::ZERO, |sum, c| sum.plus(*c, 1.0));
    sum.times(1.0 / bright.len().max(1) as f32)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Grey cloth with threads six texels apart; in the middle what `inside` says of a place and the light of its thread.
    fn found(inside: impl Fn(usize, usize, f32) -> LinearRgb + Sync) -> Option<Backing> {
        let hurt = |x: usize, y: usize| (20..44).contains(&x) && (20..44).contains(&y);
        let thread = |x: usize| 0.12 + 0.05 * (x % 6) as f32;
        let color = Image::from_fn(64, 64, |x, y| {
            if hurt(x, y) { inside(x, y, thread(x)) } else { LinearRgb([1.0, 0.95, 0.85]).times(thread(x)) }
        });
        let scale = Scale::guess(&color);
        let tints = color.map(|c| scale.tint(c));
        let cover = Image::from_fn(64, 64, |x, y| Unit(if hurt(x, y) { 1.0 } else { 0.0 }));
        let usual_tint = UsualTint::of(&pick(&tints, &cover.map(|c| c.0 < 0.5)));
        let even = cover.map(|_| false);
        let (by_chance, pitch, brightest, usual, contrast) = (60, 6.0, 0.4, 0.24, 0.15);
        let search = Search {
            color: &color,
            tints: &tints,
            even: &even,
            by_chance,
            contrast,
            cover: &cover,
            usual_tint,
            scale,
            pitch,
            brightest,
            usual,
        };
        backings(&search).into_iter().next()
    }

    #[test]
    fn slits_between_fibres_show_a_backing_and_stained_threads_do_not() {
        let green = LinearRgb([0.10, 0.30, 0.22]);
        let slit = found(|x, _, light| if x % 4 == 0 { LinearRgb([1.0, 0.95, 0.85]).times(light) } else { green.times(0.7) });
        assert!(slit.is_some_and(|b| b.color.0[1] > 1.5 * b.color.0[0]), "an even tint between fibres is what lies behind");
        assert!(found(|_, _, light| green.times(3.0 * light)).is_none(), "a tint with the threads' contrast is a stain");
    }
}
