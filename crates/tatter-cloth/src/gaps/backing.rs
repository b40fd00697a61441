//! What shows behind the cloth: colours of even places that intact cloth never shows, each in every shade.

use tatter_core::image::{Image, LinearRgb, Pixel as _, Unit};
use tatter_core::kernel::{distance_to, gaussian, label};
use tatter_core::stats::quantile;

use super::palette::{Scale, Tint, pick};
use super::slit::between_fibres;

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
    pub(super) fn of(samples: &[Tint], color: LinearRgb, scale: Scale, brightest: f32) -> Self {
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
    /// Intact cloth.
    pub reference: &'a Image<bool>,
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
/// Breadth of an even place, in thread spacings, that no thread has: light bounced off coloured cloth may tint it.
const BROAD: f32 = 1.2;
/// Breadth of an even place, in thread spacings, that loops of thread don't reach together.
const THREAD: f32 = 3.0;
/// How much lighter than ordinary cloth an undyed thread in deeply dyed cloth is, share of intact cloth that shows it (more is what lies behind loose
/// cloth, seen in its pores), and least of its light there: flecks are narrower than loops, and a lens spreads their light. A scanned denim
/// has 8 times and 0.012; ochre canvas before a white card, whose pores show it, 2.8 times and 0.004.
const LIGHTER: f32 = 4.0;
const FLECKS: std::ops::Range<f32> = 0.006..0.03;
const FLECK_LIGHT: f32 = 0.5;
/// At most this many things lie behind one injury.
const MOST: usize = 3;
/// Share of the first one's even places that a further one must have: less is pale fluff of the cloth.
const SECOND: f32 = 0.25;

/// The backings that explain the even places, the one with the broadest place first; where there are none, one that is seen
/// between fibres, with its purest texels.
pub(super) fn backings(search: &Search<'_>) -> (Vec<Backing>, Option<Image<bool>>) {
    let found = evenly_seen(search);
    if !found.is_empty() {
        return (found, None);
    }
    between_fibres(search)
        .filter(|(one, _)| !is_own_dye(search, one))
        .map_or_else(|| (Vec::new(), None), |(one, seeds)| (vec![one], Some(seeds)))
}

fn evenly_seen(search: &Search<'_>) -> Vec<Backing> {
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
        // What is lighter than the cloth shows its tint clearly, and a card has one: loops of undyed thread have several, but
        // are no broader than threads. The broader it is, the more of its spread is fuzz that lies over it.
        let breadth = 2.0 * quantile(&mut masked(&distance_to(&own.map(|o| !o)), &own), 0.98) / pitch;
        let within = |most: f32| made.spread.iter().all(|s| *s < most * MOST_SPREAD);
        let one_tint = made.color.luminance() < usual
            || within(1.0)
            || (within(2.5) && breadth > BROAD)
            || (within(4.0) && breadth > 1.5 * BROAD);
        let thread = breadth < THREAD && is_own_dye(search, &made);
        if count as f32 >= SECOND * most as f32 && one_tint && !thread {
            found.push(made);
        }
    }
    found
}

/// Whether intact cloth shows flecks of what is lighter than it: undyed weft of a denim, of which loops and floats are pulled out. What
/// lies behind close cloth is not seen in it, and through the pores of loose cloth only in the shade of its threads.
fn is_own_dye(search: &Search<'_>, one: &Backing) -> bool {
    let light = one.color.luminance();
    let intact = pick(search.tints, search.reference);
    let fleck = |t: &&Tint| t.0[0].exp() - search.scale.floor > FLECK_LIGHT * light && one.explains(**t, search.scale);
    light > LIGHTER * search.usual && FLECKS.contains(&(intact.iter().filter(fleck).count() as f32 / intact.len().max(1) as f32))
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

    /// How far a tint is from them, in deviations.
    pub(super) fn off(&self, tint: Tint) -> [f32; 2] {
        [0, 1].map(|i| (tint.0[i + 1] - self.middle[i + 1]) / self.spreads[i])
    }

    /// Squared, in deviations.
    pub(super) fn distance(&self, tint: Tint) -> f32 {
        self.off(tint).into_iter().map(|o| o * o).sum()
    }
}

/// A backing that a person pointed at.
pub(super) fn told(search: &Search<'_>, strokes: &Image<bool>) -> Option<Backing> {
    let (tints, colors) = (pick(search.tints, strokes), pick(search.color, strokes));
    (tints.len() >= 4).then(|| Backing::of(&tints, lit(&colors), search.scale, search.brightest))
}

/// Values where the mask is set, all of them.
pub(super) fn masked(values: &Image<f32>, mask: &Image<bool>) -> Vec<f32> {
    values.texels().iter().zip(mask.texels()).filter(|(_, m)| **m).map(|(v, _)| *v).collect()
}

/// The colour of the brightest tenth.
pub(super) fn lit(colors: &[LinearRgb]) -> LinearRgb {
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
        let grey = |x: usize, _: usize| LinearRgb([1.0, 0.95, 0.85]).times(0.12 + 0.05 * (x % 6) as f32);
        found_in(grey, inside, |_, _| false)
    }

    /// The same of another cloth, with the places that are even.
    fn found_in(
        cloth: impl Fn(usize, usize) -> LinearRgb + Sync,
        inside: impl Fn(usize, usize, f32) -> LinearRgb + Sync,
        even: impl Fn(usize, usize) -> bool + Sync,
    ) -> Option<Backing> {
        let hurt = |x: usize, y: usize| (20..44).contains(&x) && (20..44).contains(&y);
        let thread = |x: usize| 0.12 + 0.05 * (x % 6) as f32;
        let color = Image::from_fn(64, 64, |x, y| if hurt(x, y) { inside(x, y, thread(x)) } else { cloth(x, y) });
        let scale = Scale::guess(&color);
        let tints = color.map(|c| scale.tint(c));
        let cover = Image::from_fn(64, 64, |x, y| Unit(if hurt(x, y) { 1.0 } else { 0.0 }));
        let usual_tint = UsualTint::of(&pick(&tints, &cover.map(|c| c.0 < 0.5)));
        let even = Image::from_fn(64, 64, even);
        let usual = cloth(3, 3).luminance();
        let (by_chance, pitch, brightest, contrast) = (60, 6.0, 0.4, 0.15);
        let search = Search {
            color: &color,
            reference: &cover.map(|c| c.0 < 0.5),
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
        backings(&search).0.into_iter().next()
    }

    #[test]
    fn loops_of_a_thread_that_cloth_shows_in_flecks_are_no_openings() {
        // Physical reasoning, no source: a denim's undyed weft stands out in flecks, and is what its floats are made of.
        let pale = LinearRgb([0.70, 0.78, 0.76]);
        let dark = LinearRgb([0.06, 0.08, 0.10]);
        let ring = |wide: f32| move |x: usize, y: usize| ((x as f32 - 31.5).hypot(y as f32 - 31.5) - 6.0).abs() < 0.5 * wide;
        let denim = |flecks: bool| {
            move |x: usize, y: usize| if flecks && x.is_multiple_of(6) && y.is_multiple_of(8) { pale.times(0.7) } else { dark }
        };
        let seen = |flecks: bool, wide: f32| {
            let on = ring(wide);
            found_in(denim(flecks), move |x, y, _| if ring(wide)(x, y) { pale } else { dark }, on).is_some()
        };
        assert!(!seen(true, 8.0), "a loop of the weft that the cloth shows");
        assert!(seen(false, 8.0), "an opening over a pale card: the cloth shows nothing of it");
        assert!(seen(true, 24.0), "broader than any loop: a card of the weft's colour");
        // Pores of loose cloth show what lies behind it: in a canvas that is not much darker than the card, or at every crossing of a dark one.
        for (cloth, every) in [(LinearRgb([0.34, 0.28, 0.16]), 12), (dark, 5)] {
            let loose = move |x: usize, y: usize| {
                if x.is_multiple_of(every) && y.is_multiple_of(every) { pale.times(0.7) } else { cloth }
            };
            let on = ring(8.0);
            let found = found_in(loose, move |x, y, _| if on(x, y) { pale } else { cloth }, ring(8.0));
            assert!(found.is_some(), "an opening in loose cloth, pores every {every} texels");
        }
    }

    #[test]
    fn slits_between_fibres_show_a_backing_and_stained_threads_do_not() {
        let green = LinearRgb([0.10, 0.30, 0.22]);
        let slit = found(|x, _, light| if x % 4 == 0 { LinearRgb([1.0, 0.95, 0.85]).times(light) } else { green.times(0.7) });
        assert!(slit.is_some_and(|b| b.color.0[1] > 1.5 * b.color.0[0]), "an even tint between fibres is what lies behind");
        assert!(found(|_, _, light| green.times(3.0 * light)).is_none(), "a tint with the threads' contrast is a stain");
        let worn =
            found(|x, _, light| if x % 4 == 0 { LinearRgb([1.0, 0.95, 0.85]).times(0.2 + light) } else { green.times(1.1) });
        assert!(
            worn.is_some_and(|b| b.color.luminance() > 0.24),
            "before rubbed threads a backing may be lighter than most cloth"
        );
        assert!(found(|_, _, light| green.times(5.0 * light)).is_none(), "a light tint with the threads' contrast is a dye");
        let pale = LinearRgb([0.75, 0.78, 0.90]);
        let card = found(|x, _, light| if x % 4 == 0 { LinearRgb([1.0, 0.95, 0.85]).times(light) } else { pale });
        assert!(card.is_some_and(|b| b.color.luminance() > 0.7), "what is lighter than any thread and even lies behind");
        assert!(found(|_, _, light| pale.times(3.0 * light)).is_none(), "what is light and threaded was bared by rubbing");
    }
}
