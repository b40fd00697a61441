//! Robust mean and covariance.

use tatter_core::linear::{cholesky, forward};
use tatter_core::rng::Rng;
use tatter_core::stats::median;

/// A Gaussian to measure distances with.
#[derive(Clone, Debug)]
pub(super) struct Gaussian<const N: usize> {
    pub(super) mean: [f32; N],
    /// Lower Cholesky factor of the *inverse use*: rows of `L⁻¹`, so that distance² = |L⁻¹ (x − mean)|².
    whitening: [[f32; N]; N],
    /// Log determinant of the covariance.
    pub(super) log_det: f32,
}

impl<const N: usize> Gaussian<N> {
    /// Weighted mean and covariance, `ridge[i]` added to the variance of feature i. `None` without weight.
    pub(super) fn fit(samples: &[[f32; N]], weights: impl Fn(usize) -> f32, ridge: [f32; N]) -> Option<Self> {
        let total: f64 = (0..samples.len()).map(|i| f64::from(weights(i))).sum();
        if total < 1e-9 {
            return None;
        }
        let mut mean = [0.0f64; N];
        for (i, sample) in samples.iter().enumerate() {
            let w = f64::from(weights(i)) / total;
            for k in 0..N {
                mean[k] += w * f64::from(sample[k]);
            }
        }
        let mut covariance = vec![0.0f64; N * N];
        for (i, sample) in samples.iter().enumerate() {
            let w = f64::from(weights(i)) / total;
            if w == 0.0 {
                continue;
            }
            for r in 0..N {
                let dr = w * (f64::from(sample[r]) - mean[r]);
                for c in 0..=r {
                    covariance[r * N + c] += dr * (f64::from(sample[c]) - mean[c]);
                }
            }
        }
        for (r, &extra) in ridge.iter().enumerate() {
            covariance[r * N + r] += f64::from(extra);
        }
        let lower = cholesky(&covariance, N)?;
        let mut whitening = [[0.0f32; N]; N];
        for c in 0..N {
            let mut unit = vec![0.0; N];
            unit[c] = 1.0;
            for (r, v) in forward(&lower, &unit).into_iter().enumerate() {
                whitening[r][c] = v as f32;
            }
        }
        let log_det = (0..N).map(|i| 2.0 * lower[i * N + i].ln()).sum::<f64>() as f32;
        Some(Self { mean: mean.map(|v| v as f32), whitening, log_det })
    }

    /// Squared Mahalanobis distance.
    #[inline]
    pub(super) fn distance2(&self, x: &[f32; N]) -> f32 {
        let mut d = [0.0f32; N];
        for k in 0..N {
            d[k] = x[k] - self.mean[k];
        }
        let mut sum = 0.0;
        for (r, row) in self.whitening.iter().enumerate() {
            let z: f32 = row[..=r].iter().zip(&d[..=r]).map(|(w, v)| w * v).sum();
            sum += z * z;
        }
        sum
    }
}

/// Robust Gaussian: minimum covariance determinant by concentration steps (Rousseeuw, Van Driessen, "A Fast Algorithm for
/// the Minimum Covariance Determinant Estimator", 1999), started from medians and from `starts` random subsets.
pub(super) fn robust_gaussian<const N: usize>(
    samples: &[[f32; N]],
    support: f32,
    ridge: [f32; N],
    seed: u64,
) -> Option<Gaussian<N>> {
    let keep = ((samples.len() as f32 * support) as usize).max(N + 2).min(samples.len());
    let mut rng = Rng::new(seed);
    let mut best: Option<Gaussian<N>> = None;
    for start in 0..4 {
        let mut model = if start == 0 {
            median_start(samples, ridge)?
        } else {
            let picks: Vec<usize> = (0..6 * N).map(|_| rng.below(samples.len())).collect();
            let chosen: Vec<[f32; N]> = picks.iter().map(|&i| samples[i]).collect();
            Gaussian::fit(&chosen, |_| 1.0, ridge)?
        };
        for _ in 0..8 {
            let mut order: Vec<(f32, usize)> = samples.iter().enumerate().map(|(i, s)| (model.distance2(s), i)).collect();
            order.select_nth_unstable_by(keep - 1, |a, b| a.0.total_cmp(&b.0).then(a.1.cmp(&b.1)));
            let mut inside = vec![0.0f32; samples.len()];
            for &(_, i) in &order[..keep] {
                inside[i] = 1.0;
            }
            model = Gaussian::fit(samples, |i| inside[i], ridge)?;
        }
        if best.as_ref().is_none_or(|b| model.log_det < b.log_det) {
            best = Some(model);
        }
    }
    best
}

fn median_start<const N: usize>(samples: &[[f32; N]], ridge: [f32; N]) -> Option<Gaussian<N>> {
    let middle = |values: Vec<f32>| median(&mut { values });
    let center: [f32; N] = std::array::from_fn(|k| middle(samples.iter().map(|s| s[k]).collect()));
    let spread: [f32; N] =
        std::array::from_fn(|k| 1.4826 * middle(samples.iter().map(|s| (s[k] - center[k]).abs()).collect()) + 1e-6);
    let far = |s: &[f32; N]| (0..N).map(|k| ((s[k] - center[k]) / spread[k]).powi(2)).sum::<f32>();
    let half = middle(samples.iter().map(far).collect());
    Gaussian::fit(samples, |i| if far(&samples[i]) <= half { 1.0 } else { 0.0 }, ridge)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_third_of_outliers_does_not_move_the_mean() {
        let mut rng = Rng::new(5);
        let samples: Vec<[f32; 2]> = (0..900)
            .map(|i| if i % 4 == 0 { [30.0 + rng.normal(), -20.0] } else { [1.0 + rng.normal(), 2.0 + 0.5 * rng.normal()] })
            .collect();
        let model = robust_gaussian(&samples, 0.7, [1e-6; 2], 1).unwrap();
        assert!((model.mean[0] - 1.0).abs() < 0.15 && (model.mean[1] - 2.0).abs() < 0.1, "mean {:?}", model.mean);
        assert!(model.distance2(&[30.0, -20.0]) > 400.0, "an outlier is far");
    }
}
