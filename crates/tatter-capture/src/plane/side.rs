//! One straight side of a rectangle, found to a fraction of a pixel.
//!
//! Profiles across the side, in linear light, where a step blurred by the lens keeps its middle. A shadow beside the rectangle has an
//! edge of its own: the innermost clear step is the side's.

use tatter_core::image::{Image, LinearRgb};

use super::outline::distance;

/// Samples a pixel along a profile.
const STEP: f64 = 0.5;
/// Least step, as a share of the strongest, that counts as an edge: a shadow's edge is the stronger one beside a dark card.
const CLEAR: f64 = 0.35;
/// Half the window in which the middle of a step is looked for, pixels.
const WINDOW: f64 = 3.0;
/// Neighbouring places along a side that say the same: prints, lens and sensor blur over about that many.
const ALIKE: f64 = 3.0;
/// Tukey's constant for 95 % efficiency (Holland, Welsch 1977).
const TUKEY: f64 = 4.685;

/// A side between two corners.
#[derive(Clone, Copy, Debug)]
pub(super) struct Side {
    pub(super) from: [f64; 2],
    pub(super) to: [f64; 2],
    /// Deviation across it at both ends, pixels.
    pub(super) deviation: [f64; 2],
    /// Share of places along it that lie on it.
    pub(super) share: f64,
}

/// How a side is looked for.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) enum Pass {
    /// The largest step within so many pixels.
    Near(f64),
    /// The innermost clear step within so many pixels, to a fraction.
    Exact(f64),
}

/// The side near the line `from`-`to`, whose inside lies to the right as one goes. `trim` is the share of it at both ends that is left
/// out.
pub(super) fn side(color: &Image<LinearRgb>, [from, to]: [[f64; 2]; 2], trim: f64, pass: Pass) -> Option<Side> {
    let profiles = Profiles::of(color, [from, to], trim, pass);
    let places = match pass {
        Pass::Near(reach) => profiles.largest(0.5 * reach),
        Pass::Exact(_) => profiles.exact(),
    };
    let fit = line(&places)?;
    let shifted = |place: [f64; 2], by: f64| [place[0] + by * profiles.inward[0], place[1] + by * profiles.inward[1]];
    Some(Side {
        from: shifted(from, fit.at(0.0)),
        to: shifted(to, fit.at(1.0)),
        deviation: [fit.deviation(0.0), fit.deviation(1.0)],
        share: fit.count / profiles.rows.len() as f64,
    })
}

/// Colours across a side at places along it.
struct Profiles {
    /// Place along the side, 0..1, and colours from outside to inside.
    rows: Vec<(f64, Vec<[f64; 3]>)>,
    reach: f64,
    inward: [f64; 2],
}

impl Profiles {
    fn of(color: &Image<LinearRgb>, [from, to]: [[f64; 2]; 2], trim: f64, pass: Pass) -> Self {
        let (Pass::Near(reach) | Pass::Exact(reach)) = pass;
        let length = distance(from, to);
        let along = [(to[0] - from[0]) / length, (to[1] - from[1]) / length];
        let inward = [-along[1], along[0]];
        let count = (length / 3.0).clamp(24.0, 300.0) as usize;
        let apart = length * (1.0 - 2.0 * trim) / count as f64;
        let (taps, steps) = (apart.ceil().max(1.0) as usize, (2.0 * reach / STEP).round() as usize + 1);
        let row = |i: usize| {
            let middle = length * trim + apart * (i as f64 + 0.5);
            let colors = (0..steps).map(|k| {
                let t = k as f64 * STEP - reach;
                let mut sum = [0.0; 3];
                for j in 0..taps {
                    let u = middle + apart * ((j as f64 + 0.5) / taps as f64 - 0.5);
                    let place = [0, 1].map(|c: usize| (from[c] + u * along[c] + t * inward[c]) as f32);
                    let seen = color.bilinear(place[0], place[1]).0;
                    sum = std::array::from_fn(|c| sum[c] + f64::from(seen[c]) / taps as f64);
                }
                sum
            });
            (middle / length, colors.collect())
        };
        Self { rows: (0..count).map(row).collect(), reach, inward }
    }

    fn t(&self, k: f64) -> f64 {
        k * STEP - self.reach
    }

    /// Where means to both sides differ most, a row at a time.
    fn largest(&self, breadth: f64) -> Vec<[f64; 2]> {
        let half = ((breadth / STEP) as usize).max(1);
        self.rows
            .iter()
            .filter_map(|(u, colors)| {
                let mut sums = vec![[0.0; 3]];
                for color in colors {
                    let last = sums[sums.len() - 1];
                    let log = color.map(|v| (v.max(0.0) + 0.02).ln());
                    sums.push(std::array::from_fn(|c| last[c] + log[c]));
                }
                let step =
                    |k: usize| (0..3).map(|c| (sums[k + half][c] - 2.0 * sums[k][c] + sums[k - half][c]).powi(2)).sum::<f64>();
                let best = (half..sums.len() - half).max_by(|&a, &b| step(a).total_cmp(&step(b)))?;
                Some([*u, self.t(best as f64 - 0.5)])
            })
            .collect()
    }

    /// The middle of the innermost clear step, a row at a time.
    fn exact(&self) -> Vec<[f64; 2]> {
        let Some((peak, first, last)) = self.innermost() else { return Vec::new() };
        let near = (1.0 / STEP) as usize;
        let step: Vec<[f64; 3]> = self
            .rows
            .iter()
            .map(|(_, colors)| {
                let mean = |range: std::ops::RangeInclusive<usize>, c: usize| {
                    let count = range.clone().count().max(1) as f64;
                    range.map(|k| colors[k][c]).sum::<f64>() / count
                };
                std::array::from_fn(|c| {
                    mean((peak + near).min(last)..=last, c) - mean(first..=peak.saturating_sub(near).max(first), c)
                })
            })
            .collect();
        let usual: [f64; 3] = std::array::from_fn(|c| step.iter().map(|s| s[c]).sum::<f64>() / step.len() as f64);
        let size = usual.iter().map(|v| v * v).sum::<f64>();
        let mut places = Vec::new();
        for ((u, colors), step) in self.rows.iter().zip(&step) {
            let own = (0..3).map(|c| step[c] * usual[c]).sum::<f64>();
            if own < 0.3 * size {
                continue;
            }
            let (mut sum, mut weight) = (0.0, 0.0);
            for k in first..last {
                let rise = (0..3).map(|c| (colors[k + 1][c] - colors[k][c]) * usual[c]).sum::<f64>().max(0.0);
                // Squared, so that threads beside the side hardly pull.
                (sum, weight) = (sum + rise * rise * self.t(k as f64 + 0.5), weight + rise * rise);
            }
            if weight > 0.0 {
                places.push([*u, sum / weight]);
            }
        }
        places
    }

    /// Sample of the innermost clear step of the mean profile, and of where it begins and ends; in log light, where a dark card in its
    /// own shadow still shows.
    fn innermost(&self) -> Option<(usize, usize, usize)> {
        let count = self.rows[0].1.len();
        let mean: Vec<[f64; 3]> = (0..count)
            .map(|k| {
                let sum = |c: usize| self.rows.iter().map(|(_, colors)| (colors[k][c].max(0.0) + 0.01).ln()).sum::<f64>();
                std::array::from_fn(|c| sum(c) / self.rows.len() as f64)
            })
            .collect();
        let near = (1.0 / STEP) as usize;
        let step: Vec<f64> = (0..count)
            .map(|k| {
                let (a, b) = (mean[k.saturating_sub(near)], mean[(k + near).min(count - 1)]);
                (0..3).map(|c| (b[c] - a[c]).powi(2)).sum::<f64>().sqrt()
            })
            .collect();
        let most = step[near..count - near].iter().copied().fold(0.0, f64::max);
        let is_peak = |k: &usize| step[*k] >= CLEAR * most && step[*k] >= step[k - 1] && step[*k] >= step[k + 1];
        let peak = (most > 0.02).then(|| (near..count - near).rev().find(is_peak)).flatten()?;
        let window = (WINDOW / STEP) as usize;
        Some((peak, peak.saturating_sub(window), (peak + window).min(count - 1)))
    }
}

/// `offset = a + b u`, robustly, with its normal matrix.
struct Line {
    a: f64,
    b: f64,
    scale: f64,
    count: f64,
    /// Sums of weights, of weights times u, times u².
    sums: [f64; 3],
}

impl Line {
    fn at(&self, u: f64) -> f64 {
        self.a + self.b * u
    }

    fn deviation(&self, u: f64) -> f64 {
        let [n, su, suu] = self.sums;
        let variance = (suu - 2.0 * u * su + u * u * n) / (n * suu - su * su).max(1e-12);
        (ALIKE * variance).max(0.0).sqrt() * self.scale
    }
}

fn line(places: &[[f64; 2]]) -> Option<Line> {
    if places.len() < 12 {
        return None;
    }
    let offsets = |f: &dyn Fn(&[f64; 2]) -> f64| places.iter().map(f).collect::<Vec<f64>>();
    let middle = median(offsets(&|p| p[1]));
    let mut fit = Line { a: middle, b: 0.0, scale: 0.0, count: 0.0, sums: [0.0; 3] };
    for _ in 0..20 {
        let off = |p: &[f64; 2]| p[1] - fit.at(p[0]);
        let scale = (1.4826 * median(offsets(&|p| off(p).abs()))).max(0.02);
        let (mut n, mut su, mut suu, mut so, mut suo, mut on) = (0.0, 0.0, 0.0, 0.0, 0.0, 0.0);
        for p in places {
            let t = (off(p) / (TUKEY * scale)).powi(2);
            if t >= 1.0 {
                continue;
            }
            let w = (1.0 - t).powi(2);
            (n, su, suu) = (n + w, su + w * p[0], suu + w * p[0] * p[0]);
            (so, suo, on) = (so + w * p[1], suo + w * p[0] * p[1], on + 1.0);
        }
        let turn = n * suu - su * su;
        if turn.abs() < 1e-9 {
            return None;
        }
        let (a, b) = ((suu * so - su * suo) / turn, (n * suo - su * so) / turn);
        fit = Line { a, b, scale, count: on, sums: [n, su, suu] };
    }
    Some(fit)
}

fn median(mut values: Vec<f64>) -> f64 {
    values.sort_by(f64::total_cmp);
    values[values.len() / 2]
}
