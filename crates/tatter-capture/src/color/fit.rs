//! Corrections of colours and their fits.

use tatter_core::color::{Lab, ciede2000};
use tatter_core::image::{Image, LinearRgb};
use tatter_core::linear::{cholesky, cholesky_solve};

/// What is done to the colours of a photo. Each is of degree 1: more light gives more of the same colour.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Correction {
    /// A factor a channel.
    Gains([f32; 3]),
    /// Three rows of factors of red, green, blue.
    Matrix([[f32; 3]; 3]),
    /// Three rows of factors of red, green, blue and the roots of red green, green blue, red blue: root-polynomial of degree 2 (Finlayson,
    /// Mackiewicz, Hurlbert, "Color Correction Using Root-Polynomial Regression", 2015, table I).
    RootPolynomial([[f32; 6]; 3]),
}

impl Correction {
    /// For people.
    #[must_use]
    pub const fn name(&self) -> &'static str {
        match self {
            Self::Gains(_) => "a factor a channel",
            Self::Matrix(_) => "3 x 3 matrix",
            Self::RootPolynomial(_) => "root-polynomial of degree 2",
        }
    }

    /// The colour corrected; not below 0.
    #[must_use]
    pub fn apply(&self, color: LinearRgb) -> LinearRgb {
        let LinearRgb([r, g, b]) = color;
        LinearRgb(
            match self {
                Self::Gains(gains) => [gains[0] * r, gains[1] * g, gains[2] * b],
                Self::Matrix(rows) => rows.map(|row| row[0] * r + row[1] * g + row[2] * b),
                Self::RootPolynomial(rows) => {
                    let root = |a: f32, b: f32| (a.max(0.0) * b.max(0.0)).sqrt();
                    let terms = [r, g, b, root(r, g), root(g, b), root(r, b)];
                    rows.map(|row| row.iter().zip(terms).map(|(factor, term)| factor * term).sum::<f32>())
                }
            }
            .map(|v| v.max(0.0)),
        )
    }

    /// A whole photo corrected.
    #[must_use]
    pub fn show(&self, color: &Image<LinearRgb>) -> Image<LinearRgb> {
        color.map(|c| self.apply(c))
    }
}

/// How much freedom a fit has.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Form {
    /// A factor a channel.
    Gains,
    /// 3 × 3.
    Matrix,
    /// Root-polynomial of degree 2.
    RootPolynomial,
}

impl Form {
    /// From the least to the most free.
    pub const ALL: [Self; 3] = [Self::Gains, Self::Matrix, Self::RootPolynomial];
}

/// The correction of that form that takes `seen` to `wanted` by weighted least squares; `None` when they do not determine one.
#[must_use]
pub fn fit(form: Form, seen: &[LinearRgb], wanted: &[LinearRgb], weights: &[f32]) -> Option<Correction> {
    assert!(seen.len() == wanted.len() && seen.len() == weights.len(), "a weight and a wish for each colour");
    match form {
        Form::Gains => {
            let mut gains = [0.0; 3];
            for (c, gain) in gains.iter_mut().enumerate() {
                let sum = |f: &dyn Fn(usize) -> f32| (0..seen.len()).map(|i| f64::from(weights[i] * f(i))).sum::<f64>();
                let own = sum(&|i| seen[i].0[c] * seen[i].0[c]);
                *gain = (sum(&|i| seen[i].0[c] * wanted[i].0[c]) / own) as f32;
                if !gain.is_finite() {
                    return None;
                }
            }
            Some(Correction::Gains(gains))
        }
        Form::Matrix => solve(seen, wanted, weights, |c| c.map(f64::from)).map(Correction::Matrix),
        Form::RootPolynomial => {
            let terms = |c: [f32; 3]| {
                let [r, g, b] = c.map(|v| f64::from(v.max(0.0)));
                [r, g, b, (r * g).sqrt(), (g * b).sqrt(), (r * b).sqrt()]
            };
            solve(seen, wanted, weights, terms).map(Correction::RootPolynomial)
        }
    }
}

fn solve<const N: usize>(
    seen: &[LinearRgb],
    wanted: &[LinearRgb],
    weights: &[f32],
    terms: impl Fn([f32; 3]) -> [f64; N],
) -> Option<[[f32; N]; 3]> {
    let mut matrix = vec![0.0; N * N];
    let mut right = [[0.0; N]; 3];
    for ((seen, wanted), weight) in seen.iter().zip(wanted).zip(weights) {
        let (t, w) = (terms(seen.0), f64::from(*weight));
        for i in 0..N {
            for j in 0..N {
                matrix[i * N + j] += w * t[i] * t[j];
            }
            for (right, wanted) in right.iter_mut().zip(wanted.0) {
                right[i] += w * t[i] * f64::from(wanted);
            }
        }
    }
    for i in 0..N {
        // Roots of products are nearly the means of what they are of.
        matrix[i * N + i] *= 1.0 + 1e-7;
    }
    let lower = cholesky(&matrix, N)?;
    Some(right.map(|right| {
        let row = cholesky_solve(&lower, &right);
        std::array::from_fn(|i| row[i] as f32)
    }))
}

/// How far colours are from what they should be: CIEDE2000, mean and greatest.
#[must_use]
pub fn difference(got: &[LinearRgb], wanted: &[LinearRgb]) -> [f32; 2] {
    // Compared as they are kept: nothing is below 0.
    let lab = |c: &LinearRgb| Lab::from(LinearRgb(c.0.map(|v| v.max(0.0))));
    let all: Vec<f32> = got.iter().zip(wanted).map(|(a, b)| ciede2000(lab(a), lab(b))).collect();
    [all.iter().sum::<f32>() / all.len().max(1) as f32, all.iter().copied().fold(0.0, f32::max)]
}
