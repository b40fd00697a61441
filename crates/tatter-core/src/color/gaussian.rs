//! Colours as a Gaussian, and the linear map that carries one Gaussian onto another with the least motion (Pitié, Kokaram,
//! "The linear Monge-Kantorovitch linear colour mapping for example-based colour transfer", 2007).

use glam::{DMat3, DVec3};

/// Mean and covariance of colours in a space of three axes.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct ColorGaussian {
    /// Mean.
    pub mean: DVec3,
    /// Covariance, symmetric.
    pub covariance: DMat3,
}

/// `matrix * color + offset`.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct ColorMap {
    /// Symmetric and positive definite when it comes from [`ColorGaussian::transport`].
    pub matrix: DMat3,
    /// Added after the matrix.
    pub offset: DVec3,
}

impl ColorMap {
    /// The mapped colour.
    #[inline]
    pub fn apply(&self, color: DVec3) -> DVec3 {
        self.matrix * color + self.offset
    }
}

/// Variance below which an axis counts as flat: a hundredth of a step just visible in OKLab, squared.
const FLAT: f64 = 1e-10;

impl ColorGaussian {
    /// Of samples; `None` of fewer than four, which span no volume.
    pub fn of(samples: &[DVec3]) -> Option<Self> {
        if samples.len() < 4 {
            return None;
        }
        let n = samples.len() as f64;
        let mean = samples.iter().sum::<DVec3>() / n;
        let covariance = samples.iter().fold(DMat3::ZERO, |sum, s| {
            let d = *s - mean;
            sum + DMat3::from_cols(d * d.x, d * d.y, d * d.z)
        });
        Some(Self { mean, covariance: covariance * (1.0 / n) })
    }

    /// The map onto `target`, its gain along every axis held within `gain` (lowest, highest): outside that, contrast would
    /// die or noise would shout.
    pub fn transport(&self, target: &Self, gain: (f64, f64)) -> ColorMap {
        let source = symmetric(self.covariance, |v| v.max(FLAT).sqrt());
        let inverse = symmetric(self.covariance, |v| 1.0 / v.max(FLAT).sqrt());
        let middle = symmetric(source * target.covariance * source, |v| v.max(0.0).sqrt());
        let matrix = symmetric(inverse * middle * inverse, |v| v.clamp(gain.0, gain.1));
        ColorMap { matrix, offset: target.mean - matrix * self.mean }
    }
}

/// A function of a symmetric matrix, by its eigenvalues.
fn symmetric(matrix: DMat3, f: impl Fn(f64) -> f64) -> DMat3 {
    let (values, axes) = eigen(matrix);
    axes * DMat3::from_diagonal(DVec3::from(values.to_array().map(f))) * axes.transpose()
}

/// Eigenvalues and unit eigenvectors (columns) of a symmetric matrix, by Jacobi's rotations.
fn eigen(matrix: DMat3) -> (DVec3, DMat3) {
    let (mut m, mut axes) = (matrix, DMat3::IDENTITY);
    // Convergence is quadratic: a handful of sweeps reaches the last digit.
    for _ in 0..12 {
        for (p, q) in [(0, 1), (0, 2), (1, 2)] {
            let off = m.col(q)[p];
            if off == 0.0 {
                continue;
            }
            let theta = 0.5 * (2.0 * off).atan2(m.col(q)[q] - m.col(p)[p]);
            let (sin, cos) = theta.sin_cos();
            let mut turn = DMat3::IDENTITY;
            (turn.col_mut(p)[p], turn.col_mut(q)[q]) = (cos, cos);
            (turn.col_mut(q)[p], turn.col_mut(p)[q]) = (sin, -sin);
            m = turn.transpose() * m * turn;
            axes *= turn;
        }
    }
    (DVec3::new(m.x_axis.x, m.y_axis.y, m.z_axis.z), axes)
}
