//! Reconstruction kernels (Mitchell, Netravali, "Reconstruction Filters in Computer Graphics", 1988).

use pulp::Simd;

/// The cubic of two parameters; support 2.
fn cubic(x: f64, b: f64, c: f64) -> f64 {
    let x = x.abs();
    if x < 1.0 {
        ((12.0 - 9.0 * b - 6.0 * c) * x.powi(3) + (-18.0 + 12.0 * b + 6.0 * c) * x * x + (6.0 - 2.0 * b)) / 6.0
    } else if x < 2.0 {
        ((-b - 6.0 * c) * x.powi(3) + (6.0 * b + 30.0 * c) * x * x + (-12.0 * b - 48.0 * c) * x + (8.0 * b + 24.0 * c)) / 6.0
    } else {
        0.0
    }
}

/// Interpolates: sharp, for enlarging and for shrinking.
pub(super) fn catmull_rom(x: f64) -> f64 {
    cubic(x, 0.0, 0.5)
}

/// Mitchell's kernel, B = C = 1/3 (the least of blur, ringing and blocks together; for the elliptical footprint), of the roots of squares;
/// nothing beyond 4. Its pieces as powers of what is left to their ends: no branch, so that several are told at once.
#[inline(always)]
pub(super) fn mitchell_of_squares<S: Simd>(simd: S, squares: S::f32s) -> S::f32s {
    let (zero, one, two, four) = (simd.splat_f32s(0.0), simd.splat_f32s(1.0), simd.splat_f32s(2.0), simd.splat_f32s(4.0));
    let r = simd.sqrt_f32s(simd.min_f32s(simd.max_f32s(squares, zero), four));
    let far = piece(simd, [-1.0 / 3.0, 7.0 / 18.0], simd.sub_f32s(two, r));
    let near = piece(simd, [2.0 / 3.0, -14.0 / 9.0], simd.max_f32s(simd.sub_f32s(one, r), zero));
    simd.add_f32s(far, near)
}

/// Its square and its cube, each with a factor.
#[inline(always)]
fn piece<S: Simd>(simd: S, [square, cube]: [f32; 2], left: S::f32s) -> S::f32s {
    let (square, cube) = (simd.splat_f32s(square), simd.splat_f32s(cube));
    simd.mul_f32s(simd.add_f32s(square, simd.mul_f32s(cube, left)), simd.mul_f32s(left, left))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn mitchell(x: f64) -> f64 {
        cubic(x, 1.0 / 3.0, 1.0 / 3.0)
    }

    #[test]
    fn squares_tell_the_same_kernel() {
        for i in 0..=4000 {
            let r2 = f64::from(i) / 1000.0;
            let (got, wanted) = (f64::from(mitchell_of_squares(pulp::Scalar, r2 as f32)), mitchell(r2.sqrt()));
            assert!((got - wanted).abs() < 2e-6, "at {r2}: {got}, {wanted}");
        }
    }

    /// Values of the published formulas at these places, computed by an independent script; Mitchell at 0 and 1 are 8/9 and 1/18.
    #[test]
    fn kernels_have_their_published_values() {
        let table = [
            (0.0, 0.888_888_888_9, 1.0),
            (0.25, 0.782_118_055_6, 0.867_187_5),
            (0.5, 0.534_722_222_2, 0.5625),
            (0.75, 0.256_076_388_9, 0.226_562_5),
            (1.0, 0.055_555_555_6, 0.0),
            (1.25, -0.023_437_5, -0.070_312_5),
            (1.5, -0.034_722_222_2, -0.0625),
            (1.75, -0.014_756_944_4, -0.023_437_5),
            (2.0, 0.0, 0.0),
            (2.5, 0.0, 0.0),
        ];
        for (x, m, c) in table {
            assert!((mitchell(x) - m).abs() < 1e-9 && (mitchell(-x) - m).abs() < 1e-9, "Mitchell at {x}");
            assert!((catmull_rom(x) - c).abs() < 1e-9, "Catmull-Rom at {x}");
        }
    }
}
