//! Slow light and backing colours as low-order surfaces, fitted so that what does not belong cannot pull them.

use tatter_core::image::{Image, LinearRgb};
use tatter_core::linear::{cholesky, cholesky_solve};
use tatter_core::stats::median;

/// Terms of a polynomial of degree 2 in x and y.
const TERMS: usize = 6;
/// Tukey's constant for 95 % efficiency on Gaussian noise (Holland, Welsch 1977), in robust deviations.
const TUKEY: f32 = 4.685;

/// A surface of degree 2 for `C` values over an image.
#[derive(Clone, Debug, PartialEq)]
pub struct Surface<const C: usize> {
    coefficients: [[f64; TERMS]; C],
    half: [f32; 2],
    /// Root mean square residual of what belongs, over all channels.
    pub spread: f32,
}

impl<const C: usize> Surface<C> {
    /// Iteratively reweighted least squares with Tukey's weights on samples `(x, y, values, prior weight)`, in an image of
    /// `size` texels. `None` with fewer than 12 samples.
    pub fn fit(size: [usize; 2], samples: &[([f32; 2], [f32; C], f32)]) -> Option<Self> {
        if samples.len() < 2 * TERMS {
            return None;
        }
        let half = size.map(|n| 0.5 * n as f32);
        let mut surface = Self { coefficients: [[0.0; TERMS]; C], half, spread: 0.0 };
        let mut weights: Vec<f32> = samples.iter().map(|s| s.2).collect();
        for round in 0..14 {
            surface.least_squares(samples, &weights)?;
            let residuals: Vec<f32> = samples
                .iter()
                .map(|(at, value, _)| {
                    let fitted = surface.at(*at);
                    (0..C).map(|c| (value[c] - fitted[c]).powi(2)).sum::<f32>().sqrt()
                })
                .collect();
            let scale = 1.4826 * median(&mut residuals.clone()) + 1e-6;
            // The first rounds are least absolute deviations, which a blot on less than half the picture cannot win.
            let cut = TUKEY * scale;
            for ((weight, r), sample) in weights.iter_mut().zip(&residuals).zip(samples) {
                let t = (r / cut).powi(2);
                let tukey = if t < 1.0 { (1.0 - t).powi(2) } else { 0.0 };
                *weight = sample.2 * if round < 8 { scale / r.max(0.05 * scale) } else { tukey };
            }
            let kept: f32 = weights.iter().sum();
            let squares: f32 = weights.iter().zip(&residuals).map(|(w, r)| w * r * r).sum();
            surface.spread = (squares / (kept.max(1e-9) * C as f32)).sqrt();
        }
        Some(surface)
    }

    fn least_squares(&mut self, samples: &[([f32; 2], [f32; C], f32)], weights: &[f32]) -> Option<()> {
        let mut normal = vec![0.0f64; TERMS * TERMS];
        let mut right = [[0.0f64; TERMS]; C];
        for ((at, value, _), &w) in samples.iter().zip(weights) {
            let terms = self.terms(*at);
            for i in 0..TERMS {
                let wt = f64::from(w) * terms[i];
                for j in 0..=i {
                    normal[i * TERMS + j] += wt * terms[j];
                }
                for c in 0..C {
                    right[c][i] += wt * f64::from(value[c]);
                }
            }
        }
        let ridge = normal[0] * 1e-6 + 1e-12;
        for i in 0..TERMS {
            normal[i * TERMS + i] += ridge * if i == 0 { 1e-6 } else { 1.0 };
        }
        let lower = cholesky(&normal, TERMS)?;
        for (coefficients, right) in self.coefficients.iter_mut().zip(&right) {
            coefficients.copy_from_slice(&cholesky_solve(&lower, right));
        }
        Some(())
    }

    fn terms(&self, [x, y]: [f32; 2]) -> [f64; TERMS] {
        let u = f64::from(x / self.half[0]) - 1.0;
        let v = f64::from(y / self.half[1]) - 1.0;
        [1.0, u, v, u * u, u * v, v * v]
    }

    /// The fitted values at a place in texels, centres at +0.5.
    pub fn at(&self, at: [f32; 2]) -> [f32; C] {
        let terms = self.terms(at);
        std::array::from_fn(|c| self.coefficients[c].iter().zip(&terms).map(|(a, b)| a * b).sum::<f64>() as f32)
    }
}

/// The colour of the backing wherever it would be seen: linear light, a surface of degree 2.
#[derive(Clone, Debug, PartialEq)]
pub struct BackingModel(pub Surface<3>);

impl BackingModel {
    /// From the texels where `backing` is true, thinned to a few thousand. `None` when too few.
    pub fn fit(color: &Image<LinearRgb>, backing: &Image<bool>) -> Option<Self> {
        let count = backing.texels().iter().filter(|b| **b).count();
        let step = (count / 6000).max(1);
        let width = color.width();
        let samples: Vec<_> = (0..color.size().area())
            .filter(|&i| backing.texels()[i])
            .step_by(step)
            .map(|i| ([(i % width) as f32 + 0.5, (i / width) as f32 + 0.5], color.texels()[i].0, 1.0))
            .collect();
        Surface::fit([width, color.height()], &samples).map(Self)
    }

    /// One colour everywhere, for a photo of that size.
    pub fn constant(color: LinearRgb, width: usize, height: usize) -> Self {
        let mut coefficients = [[0.0; TERMS]; 3];
        for (terms, value) in coefficients.iter_mut().zip(color.0) {
            terms[0] = f64::from(value);
        }
        Self(Surface { coefficients, half: [0.5 * width as f32, 0.5 * height as f32], spread: 0.0 })
    }

    /// The same backing in a photo of another size.
    pub fn for_photo(mut self, width: usize, height: usize) -> Self {
        self.0.half = [0.5 * width as f32, 0.5 * height as f32];
        self
    }

    /// The backing's colour at a photo place, pixels with centres at +0.5.
    pub fn at(&self, x: f32, y: f32) -> LinearRgb {
        LinearRgb(self.0.at([x, y]).map(|v| v.max(0.0)))
    }

    /// The backing's colour in the middle of the photo.
    pub fn mean(&self) -> LinearRgb {
        self.at(self.0.half[0], self.0.half[1])
    }

    /// Root mean square residual of backing pixels, linear light.
    pub const fn spread(&self) -> f32 {
        self.0.spread
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_large_blot_does_not_bend_the_light() {
        let truth = |x: f32, y: f32| 0.6 + 0.002 * x - 0.00001 * x * y;
        let samples: Vec<_> = (0..1600)
            .map(|i| {
                let (x, y) = ((i % 40) as f32 * 2.5, (i / 40) as f32 * 2.5);
                let blot = x > 10.0 && x < 55.0 && y > 20.0 && y < 70.0;
                let grain = 0.01 * (tatter_core::rng::hash_unit(3, i, 0) - 0.5);
                ([x, y], [truth(x, y) + grain - if blot { 0.3 } else { 0.0 }], 1.0)
            })
            .collect();
        let surface = Surface::fit([100, 100], &samples).unwrap();
        for (x, y) in [(5.0, 5.0), (30.0, 40.0), (90.0, 80.0)] {
            let off = (surface.at([x, y])[0] - truth(x, y)).abs();
            assert!(off < 0.002, "a blot of 0.3 bends it by less than 0.002, not by {off} at {x}, {y}");
        }
    }
}
