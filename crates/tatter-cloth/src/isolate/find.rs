//! Finding injured places in intact cloth: an outlier score against the photo's own cloth, no learning.

use tatter_core::image::{Image, LinearRgb};
use tatter_core::kernel::{close, label};
use tatter_core::rng::Rng;

use super::features::{FEATURES, RIDGE, features};
use super::linear::{Gaussian, median, robust_gaussian};

/// How unlike the intact cloth a place is, in multiples of the ordinary (the median), from which an injury starts.
/// Lower finds fainter stains and more false ones; tuned with the low threshold on 36 pictures and made scenes.
const SURE: f32 = 7.0;
/// Places this unlike belong to the injury when they touch a sure one.
const JOINS: f32 = 3.5;
/// Beyond this all places are as unlike as can be.
const MOST: f32 = 80.0;
/// Rows and columns at the photo's border that scanners and lenses spoil; they take the score of the place just inside.
const SPOILT: usize = 3;
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
pub(super) fn outlier_score(lab: &Image<LinearRgb>, sigma: f32, exclude: &Image<bool>, seed: u64) -> Image<f32> {
    let places = features(lab, sigma);
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
    let score = places.map(|place| distance(&place.0) / ordinary);
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
    let cuts = [super::linear::quantile(&mut tones, 0.33), super::linear::quantile(&mut tones, 0.67)];
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
/// 1.5 `sigma` closed, specks dropped.
pub(super) fn places(score: &Image<f32>, sigma: f32, sure: f32, joins: f32) -> Vec<Found> {
    let unlike = close(&score.map(|s| s > joins), 1.5 * sigma);
    let (labels, components) = label(&unlike);
    let mut sums = vec![(0.0f64, 0.0f32, 0.0f64, 0.0f64); components.len()];
    for y in 0..score.height() {
        for x in 0..score.width() {
            let number = labels.get(x, y);
            if number > 0 {
                let (s, sum) = (score.get(x, y), &mut sums[number as usize - 1]);
                // Unlikeness counts more than size: a small tear beats a wide faint fold.
                let gain = f64::from((s - joins).clamp(0.0, MOST));
                sum.0 += gain;
                sum.1 = sum.1.max(s);
                sum.2 += gain * x as f64;
                sum.3 += gain * y as f64;
            }
        }
    }
    let least_area = (sigma * sigma) as usize;
    let mut found: Vec<Found> = components
        .iter()
        .zip(&sums)
        .enumerate()
        .filter(|(_, (component, sum))| sum.1 > sure && component.area >= least_area)
        .map(|(i, (component, sum))| Found {
            mask: labels.map(|number| number == i as u32 + 1),
            center: [(sum.2 / sum.0) as f32 + 0.5, (sum.3 / sum.0) as f32 + 0.5],
            radius: 0.5 * (component.bounds.width as f32).hypot(component.bounds.height as f32),
            score: sum.0 as f32,
            peak: sum.1,
        })
        .collect();
    found.sort_by(|a, b| b.score.total_cmp(&a.score));
    found
}

/// [`places`] with the thresholds of ordinary photos.
pub(super) fn sure_places(score: &Image<f32>, sigma: f32) -> Vec<Found> {
    places(score, sigma, SURE, JOINS)
}
