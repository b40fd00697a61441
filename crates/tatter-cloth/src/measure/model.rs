//! What cloth of a given weave can look like, as a linear model of few strengths; how well it predicts the folded repeat.
//!
//! Over a float the upper yarn shows: its dye, its round across (even) and its slope to the lamp (odd), and the dip at the
//! float's two ends, even and odd. Nothing else is let vary *along* a yarn, which is what tells threads from their diagonal.
//! Strengths have a Gaussian prior, so that the evidence of a hypothesis ("Bayesian interpolation", Neural Computation 4, 1992) falls when it
//! could have predicted anything.

use tatter_fourier::num_complex::Complex;

use super::fold::Fold;
use super::lattice::{Base, coordinates};
use super::structure::Structure;

type C = Complex<f64>;

/// Samples a thread, for the Fourier coefficients of the features.
const FINE: usize = 12;

/// Farthest point, in threads, that is compared.
const BAND: i32 = 4;

/// The features of a structure at its points.
#[derive(Debug)]
pub(super) struct Features {
    structure: Structure,
    /// Threads in the square repeat.
    repeat: i32,
    /// Points of the table a side: coordinates -BAND..BAND in steps of 1 / repeat.
    side: i32,
    /// Coefficients, feature by row by column.
    table: Vec<Vec<C>>,
    /// Prior deviation of each strength.
    prior: Vec<f64>,
}

impl Features {
    pub(super) fn new(structure: Structure) -> Self {
        let repeat = structure.repeat();
        let cells = repeat as usize * FINE;
        let prior = structure.prior();
        let mut images = vec![vec![0.0f64; cells * cells]; prior.len()];
        for y in 0..cells {
            for x in 0..cells {
                let place = |k: usize| (k as f64 + 0.5) / FINE as f64;
                for (image, value) in images.iter_mut().zip(structure.features(place(x), place(y))) {
                    image[y * cells + x] = value;
                }
            }
        }
        let side = 2 * BAND * repeat + 1;
        let table = images.iter().map(|image| transform(image, cells, side)).collect();
        Self { structure, repeat, side, table, prior }
    }

    pub(super) fn structure(&self) -> Structure {
        self.structure
    }

    /// Coefficients at coordinates in threads; `None` outside the band or off the repeat's points.
    fn at(&self, [u, v]: [f64; 2]) -> Option<usize> {
        let index = |c: f64| {
            let steps = c * f64::from(self.repeat);
            let whole = steps.round();
            ((steps - whole).abs() < 0.02 && whole.abs() <= f64::from(BAND * self.repeat))
                .then(|| whole as i32 + BAND * self.repeat)
        };
        Some((index(v)? * self.side + index(u)?) as usize)
    }
}

/// Fourier coefficients of a periodic image at the lowest frequencies.
fn transform(image: &[f64], cells: usize, side: i32) -> Vec<C> {
    let wave = |k: i32, i: usize| {
        let turns = f64::from(k) * (i as f64 + 0.5) / cells as f64;
        C::from_polar(1.0 / cells as f64, -std::f64::consts::TAU * turns)
    };
    let half = side / 2;
    let waves: Vec<Vec<C>> = (-half..=half).map(|k| (0..cells).map(|i| wave(k, i)).collect()).collect();
    // Rows first.
    let rows: Vec<Vec<C>> =
        waves.iter().map(|w| (0..cells).map(|y| (0..cells).map(|x| w[x] * image[y * cells + x]).sum()).collect()).collect();
    waves.iter().flat_map(|w| rows.iter().map(move |row| row.iter().zip(w).map(|(r, w)| r * w).sum::<C>())).collect()
}

/// A fitted hypothesis.
#[derive(Clone, Copy, Debug)]
pub(super) struct Fit {
    /// Log evidence.
    pub(super) evidence: f64,
    /// Share of the repeat's power that is predicted, 0..1.
    pub(super) share: f64,
}

/// Blur of lens and fibres: pixels, and share of a pitch.
const BLURS: [(f64, f64); 3] = [(0.5, 0.03), (0.8, 0.08), (1.2, 0.14)];

/// Share of the repeat's power that a right model may miss: yarns are no tubes. Larger trusts the model less.
const MISFIT: f64 = 0.08;

/// Evidence is divided by this: neighbouring points fail together.
const TEMPER: f64 = 1.5;

/// Fit `features` to the folded points under the families `base`.
pub(super) fn fit(features: &Features, base: &Base, folded: &Fold) -> Option<Fit> {
    let mut seen = Vec::new();
    for ((_, f), a) in folded.at.iter().zip(&folded.amplitude) {
        let uv = coordinates(base, *f);
        if let Some(index) = features.at(uv) {
            seen.push((uv, *f, *a, index));
        }
    }
    if seen.len() < 3 {
        return None;
    }
    // Points without power turn with every shift and say nothing.
    let loud: Vec<usize> = (0..seen.len()).filter(|&i| seen[i].2.norm_sqr() > 2e-4).collect();
    let steps = 8;
    let [span_u, span_v] = features.structure.domain();
    let turns = |axis: usize, span: i32| -> Vec<Vec<C>> {
        let turn =
            |i: i32, k: usize| C::from_polar(1.0, std::f64::consts::TAU * seen[k].0[axis] * f64::from(i) / f64::from(steps));
        (0..span * steps).map(|i| loud.iter().map(|&k| turn(i, k)).collect()).collect()
    };
    let (across, along) = (turns(0, span_u), turns(1, span_v));
    let strong = folded.strong.iter().filter(|s| **s).count();
    let mut best: Option<Fit> = None;
    for (px, share) in BLURS {
        let pitch = |v: [f64; 2]| 1.0 / v[0].hypot(v[1]);
        let sigma2 = px * px + (share * 0.5 * (pitch(base[0]) + pitch(base[1]))).powi(2);
        let soft: Vec<f64> = seen.iter().map(|(_, f, ..)| (-19.74 * sigma2 * (f[0] * f[0] + f[1] * f[1])).exp()).collect();
        let columns: Vec<Vec<C>> =
            features.table.iter().map(|t| seen.iter().zip(&soft).map(|((.., index), s)| t[*index] * s).collect()).collect();
        let solver = Solver::new(&columns, &features.prior, seen.len(), strong);
        let heard: Vec<Vec<C>> = columns.iter().map(|c| loud.iter().map(|&k| c[k]).collect()).collect();
        for a in &across {
            let turned: Vec<C> = a.iter().zip(&loud).map(|(a, &k)| a * seen[k].2).collect();
            for b in &along {
                let values: Vec<C> = turned.iter().zip(b).map(|(v, b)| v * b).collect();
                let (evidence, share) = solver.evidence(&heard, &values);
                if best.is_none_or(|b| evidence > b.evidence) {
                    best = Some(Fit { evidence, share });
                }
            }
        }
    }
    best
}

/// Regularised least squares with the same columns for many right-hand sides.
struct Solver {
    /// Lower Cholesky factor of (G + noise / prior).
    factor: Vec<Vec<f64>>,
    noise: f64,
    log_determinant: f64,
    rows: f64,
    /// Share of the rows that carry something: points without power count little, or denser lattices would always win.
    telling: f64,
}

impl Solver {
    fn new(columns: &[Vec<C>], prior: &[f64], points: usize, strong: usize) -> Self {
        let n = columns.len();
        let rows = 2.0 * points as f64;
        let noise = MISFIT / rows;
        let dot = |a: &[C], b: &[C]| a.iter().zip(b).map(|(a, b)| (a.conj() * b).re).sum::<f64>();
        let gram: Vec<Vec<f64>> = (0..n).map(|i| (0..n).map(|j| dot(&columns[i], &columns[j])).collect()).collect();
        // The prior is scaled so that it expects a total power of 1, all that there is.
        let expected: f64 = (0..n).map(|i| prior[i] * prior[i] * gram[i][i]).sum();
        let precision: Vec<f64> = prior.iter().map(|p| noise * expected.max(1e-12) / (p * p)).collect();
        let mut matrix = gram;
        let mut log_determinant = 0.0;
        for i in 0..n {
            matrix[i][i] += precision[i];
            log_determinant -= precision[i].ln();
        }
        let factor = cholesky(matrix);
        log_determinant += factor.iter().enumerate().map(|(i, row)| 2.0 * row[i].ln()).sum::<f64>();
        Self { factor, noise, log_determinant, rows, telling: (2.0 * strong as f64).min(rows) / rows }
    }

    /// Log evidence of a right-hand side, and the share of its power that is predicted.
    fn evidence(&self, columns: &[Vec<C>], values: &[C]) -> (f64, f64) {
        let mut half = Vec::with_capacity(columns.len());
        for (i, column) in columns.iter().enumerate() {
            let c: f64 = column.iter().zip(values).map(|(f, v)| f.re * v.re + f.im * v.im).sum();
            let known: f64 = half.iter().zip(&self.factor[i]).map(|(h, l): (&f64, &f64)| h * l).sum();
            half.push((c - known) / self.factor[i][i]);
        }
        let predicted: f64 = half.iter().map(|h| h * h).sum();
        // Power beyond the band or off the points is missed too: the whole is 1.
        let quadratic = (1.0 - predicted) / self.noise;
        let own = -0.5 * (quadratic + self.log_determinant + self.rows * self.noise.ln());
        // Against power strewn evenly over the points.
        let even = -0.5 * self.rows * (1.0 - self.rows.ln());
        ((own - even) * self.telling / TEMPER, predicted)
    }
}

fn cholesky(matrix: Vec<Vec<f64>>) -> Vec<Vec<f64>> {
    let n = matrix.len();
    let mut l = vec![vec![0.0; n]; n];
    for i in 0..n {
        for j in 0..=i {
            let sum: f64 = matrix[i][j] - (0..j).map(|k| l[i][k] * l[j][k]).sum::<f64>();
            l[i][j] = if i == j { sum.max(1e-15).sqrt() } else { sum / l[j][j] };
        }
    }
    l
}
