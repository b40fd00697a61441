//! Small dense linear algebra: Cholesky factor and solve.

/// Lower Cholesky factor of a symmetric positive definite matrix of side `n`, row major; `None` when it is not one.
#[must_use]
pub fn cholesky(matrix: &[f64], n: usize) -> Option<Vec<f64>> {
    let mut lower = vec![0.0; n * n];
    for i in 0..n {
        for j in 0..=i {
            let dot: f64 = (0..j).map(|k| lower[i * n + k] * lower[j * n + k]).sum();
            let rest = matrix[i * n + j] - dot;
            if i == j {
                if rest <= 1e-14 {
                    return None;
                }
                lower[i * n + i] = rest.sqrt();
            } else {
                lower[i * n + j] = rest / lower[j * n + j];
            }
        }
    }
    Some(lower)
}

/// Solve `L Lᵀ x = b`.
#[must_use]
pub fn cholesky_solve(lower: &[f64], b: &[f64]) -> Vec<f64> {
    let n = b.len();
    let mut x = forward(lower, b);
    for i in (0..n).rev() {
        let dot: f64 = (i + 1..n).map(|k| lower[k * n + i] * x[k]).sum();
        x[i] = (x[i] - dot) / lower[i * n + i];
    }
    x
}

/// Solve `L x = b`.
#[must_use]
pub fn forward(lower: &[f64], b: &[f64]) -> Vec<f64> {
    let n = b.len();
    let mut y = vec![0.0; n];
    for i in 0..n {
        let dot: f64 = (0..i).map(|k| lower[i * n + k] * y[k]).sum();
        y[i] = (b[i] - dot) / lower[i * n + i];
    }
    y
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn cholesky_solves_a_worked_system() {
        // [4 2; 2 3] x = [2; 5] has the solution [-0.5; 2].
        let lower = cholesky(&[4.0, 2.0, 2.0, 3.0], 2).unwrap();
        let x = cholesky_solve(&lower, &[2.0, 5.0]);
        assert!((x[0] + 0.5).abs() < 1e-12 && (x[1] - 2.0).abs() < 1e-12, "solution {x:?}");
    }
}
