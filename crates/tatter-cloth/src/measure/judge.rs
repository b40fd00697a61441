//! One layer of the photo judged: its points, the families that could have made them, and which of those predict it best.

use rayon::prelude::*;
use tatter_core::image::Image;
use tatter_fourier::num_complex::Complex;

use super::fold::{Fold, fold};
use super::lattice::{
    Base, Families, Points, combine, coordinates, families, judged, lattices, length, mark_stripes, reduced, same,
};
use super::layers::Layer;
use super::model::{Features, Fit, fit};
use super::spectrum::{Peak, Spectrum, averaged};
use super::structure::{self, Structure};

/// What one layer says.
#[derive(Clone, Debug)]
pub(super) struct Reading {
    /// Vectors of the two families, cycles a pixel of the layer, y up; the first crosses the picture left to right.
    pub(super) base: Base,
    pub(super) structure: Structure,
    /// Probability that the families are these, 0..1, if the points are.
    families_sure: f64,
    /// Probability that the structure is this, if the families are.
    pub(super) structure_sure: f64,
    /// Probability that it repeats as this does, if the families are: the same count and step, whichever shows more.
    pub(super) repeat_sure: f64,
    /// Probability that it is a weave, not a knit.
    pub(super) woven_sure: f64,
    /// Share of the repeat's power predicted.
    predicted: f64,
    /// Share of the peaks' power on the points.
    share: f64,
    /// Mean log excess of the strongest points over what noise reaches.
    strength: f64,
    /// Deviations of power along the two families' rays above the mean ray.
    rays: [f64; 2],
    /// Repeats of the weave in one side of the layer, the smaller.
    repeats: f64,
    /// Whether points between the threads' own were seen.
    pub(super) interlaced: bool,
    /// Whether the layer is coarse enough for such cloth.
    pub(super) fine: bool,
    /// How clear it is that the threads are not pairs of finer ones, 0.5..1.
    doubled: f64,
    /// The finer pitch, layer pixels.
    pitch: f64,
    /// Whether a check of colours looks like it.
    checked: bool,
    /// Whether it may as well be a knit of twice the pitches.
    looped: bool,
    /// How far the reading can be relied on, 0..1.
    pub(super) quality: f64,
    /// Coordinates in `base` with log excess, strongest first.
    pub(super) points: Vec<([f64; 2], f32)>,
}

impl Reading {
    /// Confidence that it is a weave of these threads.
    pub(super) fn woven(&self) -> f64 {
        self.quality * self.woven_sure
    }

    /// Confidence that it is a knit; nothing unless the knit predicts the repeat far better than any weave.
    pub(super) fn knit(&self) -> f64 {
        if self.woven_sure < 0.05 { self.quality } else { 0.0 }
    }

    /// What a layer of twice the pixels left in doubt, a coarser one cannot settle.
    pub(super) fn heed(&mut self, finer: &Self, ratio: f64) {
        if finer.doubled < self.doubled && alike(&self.base, &finer.base.map(|g| g.map(|c| c * ratio))) {
            self.quality *= finer.doubled / self.doubled;
            self.doubled = finer.doubled;
        }
    }
}

/// All structures with their features, made once.
pub(super) fn library() -> Vec<(Features, f64)> {
    structure::all().into_par_iter().map(|(s, prior)| (Features::new(s), prior)).collect()
}

/// One hypothesis with its score.
#[derive(Clone, Copy, Debug)]
struct Judged {
    families: Families,
    structure: Structure,
    fit: Fit,
    score: f64,
    rays: [f64; 2],
    /// Which of the point lattices.
    lattice: usize,
}

/// Side of the tiles of a layer.
fn tile_side(signal: &Image<Complex<f32>>) -> usize {
    let shorter = signal.width().min(signal.height());
    [256, 128, 64].into_iter().find(|&side| side <= shorter).unwrap_or(0)
}

/// Read one layer; `None` when it shows no lattice.
pub(super) fn read(layer: &Layer, library: &[(Features, f64)], shortest: f64) -> Option<Reading> {
    let side = tile_side(&layer.signal);
    if side == 0 {
        return None;
    }
    let spectrum = averaged(layer, side);
    let mut peaks = spectrum.peaks(shortest as f32);
    if peaks.len() < 3 {
        return None;
    }
    mark_stripes(&mut peaks, side);
    let found = lattices(&spectrum, &peaks, 4);
    let turn = dominant(&layer.signal);
    let rays = Rays::new(&spectrum);
    let longest = side as f64 / 3.5;
    let mut all: Vec<Judged> = Vec::new();
    let mut seen: Vec<(Points, Fold)> = Vec::new();
    for points in found {
        let Some((points, folded)) = thinned(layer, turn, &spectrum, &peaks, points) else { continue };
        if !seen.iter().any(|(p, _)| same(&spectrum, &p.base, &points.base)) {
            seen.push((points, folded));
        }
    }
    for (lattice, (points, folded)) in seen.iter().enumerate() {
        all.extend(hypotheses(points, folded, library, &rays, [shortest, longest]).into_iter().map(|j| Judged { lattice, ..j }));
    }
    all.sort_by(|a, b| b.score.total_cmp(&a.score));
    let doubled = settle_basket(&spectrum, &mut all);
    let best = *all.first()?;
    let shorter = layer.signal.width().min(layer.signal.height()) as f64;
    let found = &seen[best.lattice];
    let context = Context { spectrum: &spectrum, shorter, points: &found.0, folded: &found.1, doubled };
    Some(reading(&context, best, &all))
}

/// Plain cloth and basket of half its pitch have the same points, and dyed ones predict almost the same. But plain threads
/// leave power at their own vectors, where basket has none, and basket at twice those. Put the one first that this tells,
/// and say how clearly it does, 0.5..1.
fn settle_basket(spectrum: &Spectrum, all: &mut [Judged]) -> f64 {
    let Some(first) = all.first().copied() else { return 1.0 };
    let basket = first.structure == Structure::Basket;
    let plain = |j: &Judged| matches!(j.structure, Structure::Woven { threads: 2, .. });
    let twice = |fine: &Judged, coarse: &Judged| alike(&fine.families.base, &coarse.families.base.map(|g| times(g, 2.0)));
    if !basket && !plain(&first) {
        return 1.0;
    }
    let other = all
        .iter()
        .position(|j| if basket { plain(j) && twice(&first, j) } else { j.structure == Structure::Basket && twice(j, &first) });
    let Some(at) = other else { return 1.0 };
    let coarse = if basket { all[at].families.base } else { first.families.base };
    let excess = |g: [f64; 2]| f64::from(spectrum.excess_near(g)).max(0.0);
    let near = coarse.iter().any(|&g| length(g) * (spectrum.side as f64) < NEAR);
    let telling: f64 = if near {
        // Too near the bright middle of the spectrum to compare; drawings of plain gain up to 0.04, of basket from 0.02.
        let (fine, coarse) = if basket { (&first, &all[at]) } else { (&all[at], &first) };
        25.0 * (0.045 - (fine.fit.share - coarse.fit.share))
    } else {
        coarse.iter().map(|&g| excess(g) - excess(times(g, 2.0))).sum()
    };
    if (telling < 0.0) != basket {
        // The scores change places too, so that the odds go with the order.
        let (mut winner, mut loser) = (all[at], first);
        std::mem::swap(&mut winner.score, &mut loser.score);
        all[0] = winner;
        all[at] = loser;
    }
    0.5 + 0.5 * ((telling.abs() - 0.5) / 1.5).clamp(0.0, 1.0)
}

/// Bins from the middle of the spectrum within which its background is no measure.
const NEAR: f64 = 12.0;

fn times(v: [f64; 2], k: f64) -> [f64; 2] {
    v.map(|c| k * c)
}

/// Fold by the points; where only a part of them carries power, by that part.
fn thinned(layer: &Layer, turn: Complex<f32>, spectrum: &Spectrum, peaks: &[Peak], points: Points) -> Option<(Points, Fold)> {
    let folded = fold(&layer.signal, turn, &points.base)?;
    let part = folded.generated();
    let index = (part[0][0] * part[1][1] - part[0][1] * part[1][0]).abs();
    if index == 0 {
        return None;
    }
    if index == 1 {
        return Some((points, folded));
    }
    let base = reduced(part.map(|m| combine(&points.base, m.map(f64::from))));
    let points = judged(spectrum, base, peaks);
    let folded = fold(&layer.signal, turn, &points.base)?;
    Some((points, folded))
}

/// The mix of lightness and colour in which the cloth varies most, as a unit complex number whose product with the
/// signal has it as real part.
fn dominant(signal: &Image<Complex<f32>>) -> Complex<f32> {
    let (mut xx, mut xy, mut yy) = (0.0f64, 0.0, 0.0);
    for y in (0..signal.height()).step_by(2) {
        for v in signal.row(y) {
            let (a, b) = (f64::from(v.re), f64::from(v.im));
            (xx, xy, yy) = (xx + a * a, xy + a * b, yy + b * b);
        }
    }
    let angle = 0.5 * (2.0 * xy).atan2(xx - yy);
    Complex::new(angle.cos() as f32, -angle.sin() as f32)
}

fn hypotheses(
    points: &Points,
    folded: &Fold,
    library: &[(Features, f64)],
    rays: &Rays<'_>,
    [shortest, longest]: [f64; 2],
) -> Vec<Judged> {
    let pairs = families(&points.base, &[1, 2, 3, 4, 5, 8], shortest, longest);
    let mut known: Vec<([f64; 2], f64)> = Vec::new();
    let mut weighed: Vec<(Families, [f64; 2], f64)> = Vec::new();
    for pair in pairs {
        let along = pair.base.map(|g| {
            let found = known.iter().find(|(k, _)| *k == g).map(|(_, z)| *z);
            let z = found.unwrap_or_else(|| rays.at(g));
            if found.is_none() {
                known.push((g, z));
            }
            z
        });
        let tilt = pair.base[0][1].atan2(pair.base[0][0]).to_degrees();
        let own = pair.shape + 0.9 * along.iter().map(|z| z.clamp(-1.0, 4.0)).sum::<f64>() - 0.5 * (tilt / 30.0).powi(2);
        weighed.push((pair, along, own));
    }
    weighed.sort_by(|a, b| b.2.total_cmp(&a.2));
    weighed.truncate(PAIRS);
    weighed
        .par_iter()
        .flat_map_iter(|(pair, along, own)| {
            library.iter().filter_map(move |(features, prior)| {
                let structure = features.structure();
                let unseen = pair.index == 1 && structure.index() == 2;
                let fits = structure.index() == pair.index
                    && points.base.iter().all(|&v| structure.has_point(coordinates(&pair.base, v)));
                if !fits && !unseen {
                    return None;
                }
                let fit = fit(features, &pair.base, folded)?;
                let prior = prior - if unseen { 1.0 } else { 0.0 };
                let score = fit.evidence + prior + own + 0.3 * points.score;
                Some(Judged { families: *pair, structure, fit, score, rays: *along, lattice: 0 })
            })
        })
        .collect()
}

/// Pairs of families tried, the likeliest by shape and rays.
const PAIRS: usize = 28;

/// Whether two pairs of families are the same but for the count of a percent.
fn alike(a: &Base, b: &Base) -> bool {
    (0..2).all(|i| length([a[i][0] - b[i][0], a[i][1] - b[i][1]]) < 0.02 * length(a[i]))
}

/// What a reading is made from, besides the hypotheses.
struct Context<'a> {
    spectrum: &'a Spectrum,
    /// The layer's smaller side.
    shorter: f64,
    points: &'a Points,
    folded: &'a Fold,
    /// How clear it is that the threads are not pairs of finer ones.
    doubled: f64,
}

fn reading(context: &Context<'_>, best: Judged, all: &[Judged]) -> Reading {
    let base = best.families.base;
    let odds = |j: &Judged| (j.score - best.score).exp();
    let total: f64 = all.iter().map(odds).sum();
    let here: f64 = all.iter().filter(|j| alike(&j.families.base, &base)).map(odds).sum();
    let there = all.iter().filter(|j| alike(&j.families.base, &base));
    let alike_repeat: f64 = there.filter(|j| j.structure.repeats_as(best.structure)).map(odds).sum();
    let woven: f64 = all.iter().filter(|j| !j.structure.is_knit()).map(odds).sum();
    let spectrum = context.spectrum;
    let mut points: Vec<([f64; 2], f32)> =
        context.folded.at.iter().map(|(_, f)| (coordinates(&base, *f), spectrum.excess_near(*f))).collect();
    points.sort_by(|a, b| b.1.total_cmp(&a.1));
    let strength = points.iter().take(6).map(|p| f64::from(p.1)).sum::<f64>() / 6.0;
    let threads = base.map(|g| length(g) * context.shorter).into_iter().fold(f64::MAX, f64::min);
    // Stripes one thread broad in both families are checks of colour, larger than any thread.
    let half = |i: usize| f64::from(spectrum.excess_near(base[i].map(|c| 0.5 * c)));
    // Loops have the points of a plain weave of half their pitches, and as strong ones of whole courses, but not of wales.
    let crossed = [[0.5, 0.5], [0.5, -0.5]].map(|at| f64::from(spectrum.excess_near(combine(&base, at))));
    let plain = matches!(best.structure, Structure::Woven { threads: 2, .. });
    let [weak, strong] = [half(0).min(half(1)), half(0).max(half(1))];
    let courses = strong > crossed[0].max(crossed[1]).max(f64::from(spectrum.noise_peak()) + COURSES);
    let looped = plain && courses && weak < crossed[0].min(crossed[1]);
    let checked = points.first().is_some_and(|p| half(0).min(half(1)) > f64::from(p.1) - 1.0);
    let mut reading = Reading {
        base,
        structure: best.structure,
        families_sure: here / total,
        doubled: context.doubled,
        pitch: base.iter().map(|&g| 1.0 / length(g)).fold(f64::MAX, f64::min),
        structure_sure: 1.0 / here,
        repeat_sure: alike_repeat / here,
        woven_sure: woven / total,
        predicted: best.fit.share,
        share: f64::from(context.points.share),
        strength: strength - f64::from(spectrum.noise_peak()),
        rays: best.rays,
        repeats: threads / f64::from(best.structure.repeat()),
        interlaced: best.families.index > 1,
        fine: base.iter().all(|&g| length(g) * spectrum.side as f64 > NEAR),
        checked,
        looped,
        quality: 0.0,
        points,
    };
    reading.quality = quality(&reading);
    reading
}

/// Log excess over noise of a knit's courses at least: 4.5 and more in jersey; in torn and burnt plain cloth chance makes up to 2.5.
const COURSES: f64 = 3.5;

/// How far the reading can be relied on, be it a weave or a knit: the product of what must all be so. The ramps were set
/// on the drawings of the tests and on hand counts, so that 0.6 is right in nineteen of twenty.
fn quality(r: &Reading) -> f64 {
    let ramp = |v: f64, low: f64, high: f64| ((v - low) / (high - low)).clamp(0.0, 1.0);
    let seen = ramp(r.predicted, 0.4, 0.75) * ramp(r.share, 0.25, 0.6) * ramp(r.strength, 0.3, 1.8);
    let enough = ramp(r.repeats, 1.5, 3.5);
    let knit = r.structure.is_knit();
    // Without points between the threads' own it may be a net, a print or a ribbed knit as well.
    let interlaced = if r.interlaced || knit { 1.0 } else { 0.55 };
    // Yarns are uneven along their whole length, prints are not.
    let straight = if knit { 1.0 } else { 0.45 + 0.55 * ramp(r.rays[0].min(r.rays[1]), 0.2, 1.2) };
    let checked = if r.checked { 0.3 } else { 1.0 };
    let looped = if r.looped { 0.5 } else { 1.0 };
    // Below that, threads and pixel grid make moiré.
    let resolved = ramp(r.pitch, 2.5, 2.8);
    r.families_sure * r.doubled * seen * enough * interlaced * straight * checked * looped * resolved
}

/// Mean and deviation of the spectrum's rays at all angles.
struct Rays<'a> {
    spectrum: &'a Spectrum,
}

impl<'a> Rays<'a> {
    fn new(spectrum: &'a Spectrum) -> Self {
        Self { spectrum }
    }

    /// Deviations above the mean of all directions, within a degree: threads are long, straight and uneven, so each family
    /// leaves a bright ray across itself.
    fn at(&self, v: [f64; 2]) -> f64 {
        let last = 1.3 * length(v) * self.spectrum.side as f64;
        let value = |degrees: f64| f64::from(self.spectrum.ray(degrees.to_radians(), last));
        let own = v[1].atan2(v[0]).to_degrees();
        let best = (-2..=2).map(|d| value(own + 0.5 * f64::from(d))).fold(f64::MIN, f64::max);
        let others: Vec<f64> = (0..60).map(|d| value(3.0 * f64::from(d))).collect();
        let mean = others.iter().sum::<f64>() / 60.0;
        let deviation = (others.iter().map(|v| (v - mean).powi(2)).sum::<f64>() / 60.0).sqrt().max(0.05);
        (best - mean) / deviation
    }
}
