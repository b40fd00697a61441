//! Colours as Gaussians in log light, and which of them is a backing.

use tatter_core::image::{Image, LinearRgb, Pixel as _};
use tatter_core::kernel::{distance_to, gaussian, label};

use crate::relief::smooth::{quantile, stride};

/// A colour with its spread, in logs of linear light.
#[derive(Clone, Copy, Debug)]
pub(super) struct Tone {
    pub mean: [f32; 3],
    inverse: [[f32; 3]; 3],
    log_det: f32,
}

impl Tone {
    /// From samples; `floor` is the least deviation believed.
    pub(super) fn fit(samples: &[[f32; 3]], floor: f32) -> Self {
        let n = samples.len().max(1) as f64;
        let mean: [f64; 3] = std::array::from_fn(|i| samples.iter().map(|s| f64::from(s[i])).sum::<f64>() / n);
        let cov: [[f64; 3]; 3] = std::array::from_fn(|i| {
            std::array::from_fn(|j| {
                let sum: f64 = samples.iter().map(|s| (f64::from(s[i]) - mean[i]) * (f64::from(s[j]) - mean[j])).sum();
                sum / n + if i == j { f64::from(floor * floor) } else { 0.0 }
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
            log_det: det.ln() as f32,
        }
    }

    /// Squared Mahalanobis distance.
    pub(super) fn distance(&self, v: LinearRgb) -> f32 {
        let d: [f32; 3] = std::array::from_fn(|i| v.0[i] - self.mean[i]);
        (0..3).map(|i| d[i] * (0..3).map(|j| self.inverse[i][j] * d[j]).sum::<f32>()).sum()
    }

    /// Minus twice the log of its density, but for a constant.
    pub(super) fn cost(&self, v: LinearRgb) -> f32 {
        self.distance(v) + self.log_det
    }
}

/// Values of a grid of places where the mask is set.
pub(super) fn pick(logs: &Image<LinearRgb>, mask: &Image<bool>) -> Vec<[f32; 3]> {
    let step = stride(mask.texels().iter().filter(|&&m| m).count());
    let places = (0..mask.height()).flat_map(|y| (y % step..mask.width()).step_by(step).map(move |x| (x, y)));
    places.filter(|&(x, y)| mask.get(x, y)).map(|(x, y)| logs.get(x, y).0).collect()
}

/// Parts of at least `area` texels.
pub(super) fn larger(mask: &Image<bool>, area: usize) -> Image<bool> {
    let (labels, parts) = label(mask);
    labels.map(|l| l > 0 && parts[l as usize - 1].area >= area)
}

/// Up to three groups of colours among the candidates, farthest-first then five rounds of means.
fn groups(samples: &[[f32; 3]]) -> Vec<[f32; 3]> {
    let apart = |a: &[f32; 3], b: &[f32; 3]| (0..3).map(|i| (a[i] - b[i]).powi(2)).sum::<f32>();
    let nearest = |s: &[f32; 3], centres: &[[f32; 3]]| {
        (0..centres.len()).min_by(|&a, &b| apart(s, &centres[a]).total_cmp(&apart(s, &centres[b]))).unwrap_or(0)
    };
    let mut centres = vec![Tone::fit(samples, 0.1).mean];
    for _ in 0..2 {
        let reach = |s: &[f32; 3]| centres.iter().map(|c| apart(s, c)).fold(f32::INFINITY, f32::min);
        let mut far: Vec<f32> = samples.iter().map(reach).collect();
        // The 98th of a hundred, not the farthest: single odd texels found no group.
        let limit = quantile(&mut far, 0.98);
        match samples.iter().find(|s| reach(s) >= limit) {
            Some(next) if limit > 0.35 * 0.35 => centres.push(*next),
            _ => break,
        }
    }
    for _ in 0..5 {
        let mut sums = vec![([0.0f64; 3], 0usize); centres.len()];
        for s in samples {
            let (sum, count) = &mut sums[nearest(s, &centres)];
            *count += 1;
            for (total, value) in sum.iter_mut().zip(s) {
                *total += f64::from(*value);
            }
        }
        for (centre, (sum, count)) in centres.iter_mut().zip(sums) {
            if count > 0 {
                *centre = sum.map(|v| (v / count as f64) as f32);
            }
        }
    }
    centres
}

/// What the search for backings may use.
pub(super) struct Search<'a> {
    pub logs: &'a Image<LinearRgb>,
    /// Texels no intact cloth looks like, in parts large enough to judge.
    pub candidates: &'a Image<bool>,
    pub reference: &'a Image<bool>,
    pub cloth: Tone,
    pub pitch: f32,
}

/// The groups of candidate colours that behave like something *behind* the cloth: even where cloth is threaded, and with a
/// sharp rim where a stain is soft.
pub(super) fn backings(search: &Search<'_>) -> Vec<Tone> {
    let Search { logs, candidates, reference, cloth, pitch } = search;
    let samples = pick(logs, candidates);
    if samples.is_empty() {
        return Vec::new();
    }
    let detail = logs.zip(&gaussian(logs, (0.3 * pitch).max(1.5)), |v, m| (0..3).map(|i| (v.0[i] - m.0[i]).abs()).sum::<f32>());
    let mean_of = |mask: &Image<bool>| {
        let mut values: Vec<f32> = detail.texels().iter().zip(mask.texels()).filter(|(_, m)| **m).map(|(d, _)| *d).collect();
        (quantile(&mut values, 0.5), values.len())
    };
    let usual = mean_of(reference).0.max(0.02);
    let centres = groups(&samples);
    let apart = |v: LinearRgb, c: &[f32; 3]| (0..3).map(|i| (v.0[i] - c[i]).powi(2)).sum::<f32>();
    let mut found = Vec::new();
    for (number, centre) in centres.iter().enumerate() {
        let member = logs.zip(candidates, |v, c| {
            c && (0..centres.len()).all(|other| other == number || apart(v, centre) <= apart(v, &centres[other]))
        });
        let outside = member.map(|m| !m);
        let inner = distance_to(&outside).map(|d| d > (0.2 * pitch).max(1.5));
        let (evenness, count) = mean_of(&inner);
        let bright = centre.iter().sum::<f32>() > cloth.mean.iter().sum::<f32>();
        // In the dark, noise and leftover light loom large in logs: there it is counted in light.
        let darkness = ((centre.iter().sum::<f32>() - cloth.mean.iter().sum::<f32>()) / 3.0).exp();
        let flat = evenness * (2.0 * darkness).min(1.0) < usual * if bright { 0.4 } else { 0.6 };
        if count >= 12 && flat && rim_width(logs, &member, cloth, centre, *pitch) < (0.35 * pitch).max(3.5) {
            found.push(Tone::fit(&pick(logs, &inner), 0.12));
        }
    }
    found
}

/// Texels across the rim: those of colours between, over the length of the rim.
fn rim_width(logs: &Image<LinearRgb>, member: &Image<bool>, cloth: &Tone, centre: &[f32; 3], pitch: f32) -> f32 {
    let axis: [f32; 3] = std::array::from_fn(|i| centre[i] - cloth.mean[i]);
    let length = axis.iter().map(|a| a * a).sum::<f32>().max(1e-6);
    let near = distance_to(member);
    let (mut between, mut rim) = (0usize, 0usize);
    for y in 0..logs.height() {
        for x in 0..logs.width() {
            let d = near.get(x, y);
            if d > 0.5 * pitch {
                continue;
            }
            let v = logs.get(x, y).0;
            let t = (0..3).map(|i| (v[i] - cloth.mean[i]) * axis[i]).sum::<f32>() / length;
            between += usize::from((0.4..0.8).contains(&t));
            rim += usize::from(d > 0.0 && d <= 1.0);
        }
    }
    if rim == 0 { f32::INFINITY } else { between as f32 / rim as f32 }
}

/// The tone under which a texel is likeliest, allowing for shade cast on it (down to `ln 0.4`).
pub(super) fn likeliest(tones: &[Tone], v: LinearRgb) -> f32 {
    let lit = |tone: &Tone| {
        // Shade moves all three channels alike; it costs a little, so that cloth of the same hue stays cloth.
        [0.0f32, 0.3, 0.6, 0.9]
            .map(|shade| tone.cost(v.plus(LinearRgb([shade; 3]), 1.0)) + 8.0 * shade)
            .into_iter()
            .fold(f32::INFINITY, f32::min)
    };
    tones.iter().map(lit).fold(f32::INFINITY, f32::min)
}
