//! A map between two shots refined on what they have in common, pixel by pixel.
//!
//! Gauss-Newton with the mean gradient of both (Malis, "Improving Vision-Based Control Using Efficient Second-Order
//! Minimization Techniques", 2004), one gain as in Evangelidis, Psarakis, "Parametric Image Alignment Using Enhanced
//! Correlation Coefficient Maximization", 2008, and Tukey's weights, so that what changed between the shots does not pull.

use rayon::prelude::*;
use tatter_core::image::{Image, Size};
use tatter_core::linear::{cholesky, cholesky_solve};
use tatter_core::stats::quantile;

use super::warp::warp_quickly;
use super::{Freedom, Homography, inside, warp};

/// Most rounds.
const ROUNDS: usize = 15;

/// How near a map is to come to the truth.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Care {
    /// A guess, to be refined further.
    Rough,
    /// A result. Two lobes of Lanczos shift a wave of six pixels by a fiftieth of a pixel; three do not.
    Fine,
}

impl Care {
    /// Step of a corner, pixels, below which it has settled.
    const fn settled(self) -> f64 {
        match self {
            Self::Rough => 0.05,
            Self::Fine => 0.004,
        }
    }

    fn show(self, other: &Image<f32>, map: &Homography, size: Size) -> Image<f32> {
        match self {
            Self::Rough => warp_quickly(other, map, size),
            Self::Fine => warp(other, map, size),
        }
    }
}
/// Tukey's constant for 95 % efficiency (Holland, Welsch 1977).
const TUKEY: f32 = 4.685;
/// Most that residuals may be thought to scatter, in deviations of contrast: an outline that is light over a dark card and dark
/// over a light one is two deviations off and more, and must not count however many such there are.
const FAR: f32 = 0.4;
/// Pixels at the border of either shot that are left out.
const BORDER: usize = 3;
/// Neighbouring pixels that say the same: a lens blurs over about that many.
const ALIKE: f64 = 6.0;

/// A fit.
#[derive(Clone, Copy, Debug)]
pub(super) struct Fit {
    pub(super) map: Homography,
    /// Weighted mean square of what is left, and the weight of it in independent pixels.
    pub(super) left: f64,
    pub(super) count: f64,
    /// Deviation by noise of where the middle of the weights lies, pixels.
    pub(super) uncertain: f64,
}

/// Places of `reference` in `other`, from `start`. `None` when nothing holds it.
pub(super) fn refine(
    reference: &Image<f32>,
    other: &Image<f32>,
    weight: &Image<f32>,
    freedom: Freedom,
    start: &Homography,
    care: Care,
) -> Option<Fit> {
    let mut map = *start;
    let mut fit = None;
    for _ in 0..ROUNDS {
        let sums = Sums::of(
            reference,
            &care.show(other, &map, reference.size()),
            weight,
            freedom,
            &inside(other.size(), &map, reference.size()),
        )?;
        let solved = sums.solve(freedom)?;
        let step = from_numbers(&solved.numbers, reference);
        let far = corners(reference).map(|c| {
            let to = step.at(c);
            (to[0] - c[0]).hypot(to[1] - c[1])
        });
        let far = far.into_iter().fold(0.0, f64::max);
        fit = Some(Fit { map, left: sums.left / sums.weight, count: sums.weight / ALIKE, uncertain: solved.uncertain });
        if !far.is_finite() || far > 0.25 * reference.width() as f64 {
            return None;
        }
        map = map.after(&step);
        if far < care.settled() {
            break;
        }
    }
    fit.map(|fit| Fit { map, ..fit })
}

fn corners(image: &Image<f32>) -> [[f64; 2]; 4] {
    let (w, h) = (image.width() as f64, image.height() as f64);
    [[0.0, 0.0], [w, 0.0], [0.0, h], [w, h]]
}

/// Half the longer side: places are counted from the middle in it.
fn unit(image: &Image<f32>) -> f64 {
    0.5 * image.width().max(image.height()) as f64
}

/// The small map of the numbers solved for, in pixels.
fn from_numbers(p: &[f64; 8], image: &Image<f32>) -> Homography {
    let s = unit(image);
    let (cx, cy) = (0.5 * image.width() as f64, 0.5 * image.height() as f64);
    let inner = Homography([[1.0 + p[2], p[3], p[0]], [p[4], 1.0 + p[5], p[1]], [p[6], p[7], 1.0]]);
    let to = Homography([[1.0 / s, 0.0, -cx / s], [0.0, 1.0 / s, -cy / s], [0.0, 0.0, 1.0]]);
    let back = Homography([[s, 0.0, cx], [0.0, s, cy], [0.0, 0.0, 1.0]]);
    back.after(&inner.after(&to))
}

/// Normal equations.
struct Sums {
    matrix: [[f64; 8]; 8],
    right: [f64; 8],
    left: f64,
    weight: f64,
}

struct Solved {
    numbers: [f64; 8],
    uncertain: f64,
}

/// What one pixel says.
#[derive(Clone, Copy)]
struct Pull {
    residual: f32,
    slope: [f32; 2],
    /// Share of the slope in the usual one, for the scale of residuals.
    trust: f32,
}

impl Sums {
    fn of(reference: &Image<f32>, shown: &Image<f32>, weight: &Image<f32>, freedom: Freedom, seen: &Image<bool>) -> Option<Self> {
        let (width, height) = (reference.width(), reference.height());
        let gain = gain(reference, shown, weight);
        let pulls = Image::from_fn(width, height, |x, y| {
            let w = weight.get(x, y);
            let near = x < BORDER || y < BORDER || x + BORDER >= width || y + BORDER >= height;
            if w <= 0.0 || near || !seen.get(x, y) {
                return Pull { residual: 0.0, slope: [0.0; 2], trust: 0.0 };
            }
            let slope = |image: &Image<f32>| {
                [0.5 * (image.get(x + 1, y) - image.get(x - 1, y)), 0.5 * (image.get(x, y + 1) - image.get(x, y - 1))]
            };
            let (a, b) = (slope(reference), slope(shown));
            let slope = [0, 1].map(|i| 0.5 * (a[i] + gain * b[i]));
            Pull { residual: reference.get(x, y) - gain * shown.get(x, y), slope, trust: w }
        });
        let scale = scale(&pulls)?;
        let rows: Vec<Self> =
            (0..height).into_par_iter().map(|y| Self::row(&pulls, y, scale, freedom, unit(reference))).collect();
        // Row sums are added in order: the same bytes whatever the threads.
        let mut all = Self { matrix: [[0.0; 8]; 8], right: [0.0; 8], left: 0.0, weight: 0.0 };
        for row in rows {
            for i in 0..8 {
                for j in 0..8 {
                    all.matrix[i][j] += row.matrix[i][j];
                }
                all.right[i] += row.right[i];
            }
            all.left += row.left;
            all.weight += row.weight;
        }
        (all.weight > 100.0).then_some(all)
    }

    fn row(pulls: &Image<Pull>, y: usize, scale: f32, freedom: Freedom, unit: f64) -> Self {
        let mut sums = Self { matrix: [[0.0; 8]; 8], right: [0.0; 8], left: 0.0, weight: 0.0 };
        let count = freedom.count();
        let v = (y as f64 + 0.5 - 0.5 * pulls.height() as f64) / unit;
        for (x, pull) in pulls.row(y).iter().enumerate().filter(|(_, p)| p.trust > 0.0) {
            let t = (pull.residual / (TUKEY * scale)).powi(2);
            if t >= 1.0 {
                continue;
            }
            let weight = f64::from(pull.trust * (1.0 - t).powi(2));
            let u = (x as f64 + 0.5 - 0.5 * pulls.width() as f64) / unit;
            let [gx, gy] = pull.slope.map(|g| f64::from(g) * unit);
            let away = u * gx + v * gy;
            let numbers = [gx, gy, gx * u, gx * v, gy * u, gy * v, -u * away, -v * away];
            let r = f64::from(pull.residual);
            for i in 0..count {
                for j in 0..=i {
                    sums.matrix[i][j] += weight * numbers[i] * numbers[j];
                }
                sums.right[i] += weight * numbers[i] * r;
            }
            sums.left += weight * r * r;
            sums.weight += weight;
        }
        sums
    }

    fn solve(&self, freedom: Freedom) -> Option<Solved> {
        let n = freedom.count();
        let mut matrix = vec![0.0; n * n];
        for i in 0..n {
            for j in 0..=i {
                matrix[i * n + j] = self.matrix[i][j];
            }
            matrix[i * n + i] *= 1.0 + 1e-6;
            matrix[i * n + i] += 1e-9;
        }
        let lower = cholesky(&matrix, n)?;
        let mut numbers = [0.0; 8];
        numbers[..n].copy_from_slice(&cholesky_solve(&lower, &self.right[..n]));
        let variance = ALIKE * self.left / self.weight;
        let along = |k: usize| {
            let mut one = vec![0.0; n];
            one[k] = 1.0;
            cholesky_solve(&lower, &one)[k]
        };
        let uncertain = (variance * (along(0) + along(1))).sqrt();
        Some(Solved { numbers, uncertain })
    }
}

/// What `shown` is to be multiplied by.
fn gain(reference: &Image<f32>, shown: &Image<f32>, weight: &Image<f32>) -> f32 {
    let (mut cross, mut own) = (0.0f64, 1e-9f64);
    for ((a, b), w) in reference.texels().iter().zip(shown.texels()).zip(weight.texels()) {
        cross += f64::from(w * a * b);
        own += f64::from(w * b * b);
    }
    ((cross / own) as f32).clamp(0.3, 3.0)
}

/// Robust deviation of residuals where there is a slope to hold on to; the many plain pixels of a card say nothing of it.
fn scale(pulls: &Image<Pull>) -> Option<f32> {
    let step = tatter_core::stats::stride(pulls.size().area());
    let mut listed = Vec::new();
    for y in (step / 2..pulls.height()).step_by(step) {
        for pull in pulls.row(y).iter().skip(step / 2).step_by(step).filter(|p| p.trust > 0.0) {
            listed.push((pull.slope[0].hypot(pull.slope[1]), pull.residual.abs()));
        }
    }
    let middle = quantile(&mut listed.iter().map(|l| l.0).collect::<Vec<_>>(), 0.5);
    let mut steep: Vec<f32> = listed.iter().filter(|l| l.0 >= middle).map(|l| l.1).collect();
    (steep.len() > 50).then(|| (1.4826 * quantile(&mut steep, 0.5)).clamp(0.02, FAR))
}
