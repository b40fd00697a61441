//! Finding injured places in intact cloth: an outlier score against the photo's own cloth, no learning.

use tatter_core::angle::Angle;
use tatter_core::image::{Image, LinearRgb, Rect};
use tatter_core::kernel::{Component, close, distance_to, label};
use tatter_core::rng::Rng;
use tatter_core::stats::{median, quantile};

use super::features::{FEATURES, LINE_JOINS, RIDGE, features, line_unlikeness};
use super::gaussian::{Gaussian, robust_gaussian};

/// How unlike the intact cloth a place is, in multiples of the ordinary (the median), from which an injury starts.
/// Lower finds fainter stains and more false ones; tuned with the low threshold on 36 pictures and made scenes.
const SURE: f32 = 7.0;
/// Places this unlike belong to the injury when they touch a sure one.
pub(super) const JOINS: f32 = 3.5;
/// Beyond this all places are as unlike as can be.
const MOST: f32 = 80.0;
/// Rows and columns at the photo's border that scanners and lenses spoil; they take the score of the place just inside.
const SPOILT: usize = 3;
/// Places are one injury when the gap between them is below this share of their half diagonals together.
const TOGETHER: f32 = 0.4;
/// And below this, working pixels.
const FARTHEST: f32 = 30.0;
/// Share of places that must be intact.
const SUPPORT: f32 = 0.7;
/// Places the cloth's model is learnt from.
const SAMPLES: usize = 3000;

/// One injured place at working size.
#[derive(Clone, Debug)]
pub(super) struct Found {
    pub(super) mask: Image<bool>,
    pub(super) center: [f32; 2],
    pub(super) radius: f32,
    pub(super) score: f32,
    pub(super) peak: f32,
}

/// The outlier score of every pixel: squared distance to the cloth's model over its median. `exclude` is no cloth for
/// certain and not learnt from.
pub(super) fn outlier_score(
    lab: &Image<LinearRgb>,
    sigma: f32,
    lines: [Angle; 2],
    exclude: &Image<bool>,
    seed: u64,
) -> Image<f32> {
    let places = features(lab, sigma, lines, exclude);
    let open: Vec<usize> = (0..places.size().area()).filter(|&i| !exclude.texels()[i]).collect();
    let mut rng = Rng::new(seed ^ 0x0C10_7417);
    let samples: Vec<[f32; FEATURES]> =
        (0..SAMPLES).filter(|_| !open.is_empty()).map(|_| places.texels()[open[rng.below(open.len())]].0).collect();
    let Some(cloth) = robust_gaussian(&samples, SUPPORT, RIDGE, seed) else {
        return Image::filled(lab.width(), lab.height(), 0.0);
    };
    let kinds = kinds_of_cloth(&samples, &cloth);
    let distance = |place: &[f32; FEATURES]| kinds.iter().map(|k| k.distance2(place)).fold(f32::INFINITY, f32::min);
    let mut known: Vec<f32> = samples.iter().map(distance).collect();
    let ordinary = median(&mut known).max(1e-6);
    let long_lines = line_unlikeness(lab, lines);
    // A line of 6.4 deviations is sure.
    let score = places.zip(&long_lines, |place, line| (distance(&place.0) / ordinary).max(JOINS * (line / LINE_JOINS).powi(2)));
    let (right, bottom) = (lab.width().saturating_sub(SPOILT + 1), lab.height().saturating_sub(SPOILT + 1));
    Image::from_fn(lab.width(), lab.height(), |x, y| {
        score.get(x.clamp(SPOILT, right.max(SPOILT)), y.clamp(SPOILT, bottom.max(SPOILT))).min(score.get(x, y))
    })
}

/// Printed and striped cloth is of several kinds; each is a Gaussian of its own, learnt from places near the robust whole
/// by a few rounds of hard assignment. Plain cloth comes out as itself.
fn kinds_of_cloth(samples: &[[f32; FEATURES]], whole: &Gaussian<FEATURES>) -> Vec<Gaussian<FEATURES>> {
    const KINDS: usize = 3;
    let mut far: Vec<f32> = samples.iter().map(|s| whole.distance2(s)).collect();
    let limit = 4.0 * median(&mut far);
    let near: Vec<[f32; FEATURES]> = samples.iter().filter(|s| whole.distance2(s) <= limit).copied().collect();
    let tone = |s: &[f32; FEATURES]| s[0] - whole.mean[0] + 0.5 * (s[1] + s[2] - whole.mean[1] - whole.mean[2]);
    let mut tones: Vec<f32> = near.iter().map(tone).collect();
    let cuts = [quantile(&mut tones, 0.33), quantile(&mut tones, 0.67)];
    let mut belongs: Vec<usize> = near.iter().map(|s| cuts.iter().filter(|cut| tone(s) > **cut).count()).collect();
    let wider = RIDGE.map(|r| 2.0 * r);
    let mut kinds = Vec::new();
    for _ in 0..6 {
        let fitted: Vec<_> = (0..KINDS)
            .filter(|k| belongs.iter().filter(|b| *b == k).count() * 12 > near.len())
            .filter_map(|k| Gaussian::fit(&near, |i| if belongs[i] == k { 1.0 } else { 0.0 }, wider))
            .collect();
        if fitted.is_empty() {
            break;
        }
        for (place, kind) in near.iter().zip(&mut belongs) {
            let cost = |g: &Gaussian<FEATURES>| g.distance2(place) + g.log_det;
            *kind = (0..fitted.len()).min_by(|&a, &b| cost(&fitted[a]).total_cmp(&cost(&fitted[b]))).unwrap_or(0);
        }
        kinds = fitted;
    }
    if kinds.is_empty() { vec![whole.clone()] } else { kinds }
}

/// Injured places, strongest first: sure places with everything unlike the cloth that touches them (hysteresis), gaps up to
/// 1.5 `sigma` closed, specks dropped, neighbours that belong together joined.
pub(super) fn places(score: &Image<f32>, sigma: f32, sure: f32, joins: f32) -> Vec<Found> {
    let unlike = close(&score.map(|s| s > joins), 1.5 * sigma);
    let (labels, components) = label(&unlike);
    let mut sums = vec![(0.0f64, 0.0f32); components.len()];
    for (number, s) in labels.texels().iter().zip(score.texels()) {
        if *number > 0 {
            let sum = &mut sums[*number as usize - 1];
            sum.0 += gain(*s, joins);
            sum.1 = sum.1.max(*s);
        }
    }
    let least_area = (sigma * sigma) as usize;
    let counts = |i: usize| sums[i].1 > sure && components[i].area >= least_area;
    let taken: Vec<usize> = (0..components.len()).filter(|&i| counts(i)).collect();
    let group = groups(&labels, &components, &taken);
    let mut found: Vec<Found> = Vec::new();
    for first in taken.iter().copied().filter(|&i| group[i] == i) {
        let mask = labels.map(|number| number > 0 && group[number as usize - 1] == first);
        let members = taken.iter().copied().filter(|&i| group[i] == first);
        let bounds = members.clone().map(|i| components[i].bounds).reduce(hull).unwrap_or(components[first].bounds);
        found.push(Found {
            center: middle(&mask, score, joins),
            mask,
            radius: 0.5 * (bounds.width as f32).hypot(bounds.height as f32),
            score: members.clone().map(|i| sums[i].0).sum::<f64>().sqrt() as f32,
            peak: members.map(|i| sums[i].1).fold(0.0, f32::max),
        });
    }
    found.sort_by(|a, b| b.score.total_cmp(&a.score));
    found
}

/// Unlikeness counts more than size: a small tear beats a wide faint fold.
fn gain(score: f32, joins: f32) -> f64 {
    f64::from((score - joins).clamp(0.0, MOST)).powi(2)
}

/// The middle of a place, weighted by how unlike the cloth it is.
fn middle(mask: &Image<bool>, score: &Image<f32>, joins: f32) -> [f32; 2] {
    let mut sum = [0.0f64; 3];
    for (i, (inside, s)) in mask.texels().iter().zip(score.texels()).enumerate() {
        if *inside {
            let w = gain(*s, joins) + 1e-6;
            sum[0] += w * (i % mask.width()) as f64;
            sum[1] += w * (i / mask.width()) as f64;
            sum[2] += w;
        }
    }
    [0, 1].map(|k| (sum[k] / sum[2].max(1e-9)) as f32 + 0.5)
}

/// Places nearer to one another than to half their own sizes are one injury: loops in a row, a band torn up in stretches.
/// For each component the first of its group; components not `taken` are left alone.
fn groups(labels: &Image<u32>, components: &[Component], taken: &[usize]) -> Vec<usize> {
    let mut group: Vec<usize> = (0..components.len()).map(|i| if taken.contains(&i) { i } else { usize::MAX }).collect();
    let half = |i: usize| 0.5 * (components[i].bounds.width as f32).hypot(components[i].bounds.height as f32);
    let reach = |a: usize, b: usize| (TOGETHER * (half(a) + half(b))).min(FARTHEST);
    for &a in taken {
        let near = |b: usize| b > a && apart(components[a].bounds, components[b].bounds) < reach(a, b);
        if !taken.iter().any(|&b| near(b)) {
            continue;
        }
        let away = distance_to(&labels.map(|number| number as usize == a + 1));
        let mut nearest = vec![f32::INFINITY; components.len()];
        for (number, d) in labels.texels().iter().zip(away.texels()) {
            if *number > 0 {
                let least = &mut nearest[*number as usize - 1];
                *least = least.min(*d);
            }
        }
        for &b in taken.iter().filter(|&&b| near(b)) {
            if nearest[b] < reach(a, b) && group[a] != group[b] {
                let (keep, drop) = (group[a].min(group[b]), group[a].max(group[b]));
                group.iter_mut().filter(|g| **g == drop).for_each(|g| *g = keep);
            }
        }
    }
    group
}

fn hull(a: Rect, b: Rect) -> Rect {
    let (x, y) = (a.x.min(b.x), a.y.min(b.y));
    Rect::new(x, y, a.right().max(b.right()) - x, a.bottom().max(b.bottom()) - y)
}

/// Gap between two rectangles.
fn apart(a: Rect, b: Rect) -> f32 {
    let gap = |low: usize, high: usize| high.saturating_sub(low) as f32;
    let across = gap(a.right(), b.x).max(gap(b.right(), a.x));
    across.hypot(gap(a.bottom(), b.y).max(gap(b.bottom(), a.y)))
}

/// [`places`] with the thresholds of ordinary photos.
pub(super) fn sure_places(score: &Image<f32>, sigma: f32) -> Vec<Found> {
    places(score, sigma, SURE, JOINS)
}
