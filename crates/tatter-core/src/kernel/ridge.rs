//! Gaussian derivatives and bright ridges (Lindeberg, "Edge Detection and Ridge Detection with Automatic Scale Selection",
//! 1998; Sato et al., "Three-Dimensional Multi-Scale Line Filter", 1998), edges extended.

use rayon::prelude::*;

use crate::image::Image;

/// Second derivatives at one scale, `xx`, `xy`, `yy`, y downwards, per texel².
#[derive(Clone, Debug)]
pub struct Hessian {
    /// Along x twice.
    pub xx: Image<f32>,
    /// Once along each.
    pub xy: Image<f32>,
    /// Along y twice.
    pub yy: Image<f32>,
}

/// Second derivatives of the image smoothed by a Gaussian of `sigma` texels. Cost O(sigma) a texel, three images of memory
/// and one between.
#[must_use]
pub fn hessian(image: &Image<f32>, sigma: f32) -> Hessian {
    let [smooth, first, second] = [0, 1, 2].map(|order| kernel(sigma, order));
    Hessian {
        xx: separable(image, &second, &smooth),
        xy: separable(image, &first, &first),
        yy: separable(image, &smooth, &second),
    }
}

/// How much a bright ridge of about `sigma` texels runs through each texel: `sigma²` times the curvature across it, 0 where
/// there is none. A Gaussian ridge of height 1 gives at most 0.385 (at `sigma` = 1.41 of its width).
#[must_use]
pub fn ridges(image: &Image<f32>, sigma: f32) -> Image<f32> {
    let Hessian { xx, xy, yy } = hessian(image, sigma);
    let scale = sigma * sigma;
    Image::from_fn(image.width(), image.height(), |x, y| {
        let (a, b, c) = (xx.get(x, y), xy.get(x, y), yy.get(x, y));
        let lowest = 0.5 * (a + c) - (0.25 * (a - c) * (a - c) + b * b).sqrt();
        (-lowest).max(0.0) * scale
    })
}

/// Taps -radius..=radius of the `order`-th derivative of a Gaussian, band-limited: the inverse transform of
/// `(i w)^order exp(-sigma² w² / 2)` over one period. Sampling the Gaussian itself is wrong by a fifth below one texel.
fn kernel(sigma: f32, order: u32) -> Vec<f32> {
    let sigma = f64::from(sigma.max(0.3));
    let radius = (4.0 * sigma).ceil() as i32 + 3;
    let steps = 2048;
    (-radius..=radius)
        .map(|n| {
            let sum: f64 = (0..steps)
                .map(|i| {
                    let w = std::f64::consts::PI * (f64::from(i) + 0.5) / f64::from(steps);
                    let phase = w * f64::from(n) + std::f64::consts::FRAC_PI_2 * f64::from(order);
                    w.powi(order as i32) * (-0.5 * sigma * sigma * w * w).exp() * phase.cos()
                })
                .sum();
            (sum / f64::from(steps)) as f32
        })
        .collect()
}

/// Convolve with one kernel along x and another along y, both given from their first tap, odd counts.
pub(super) fn separable(image: &Image<f32>, along_x: &[f32], along_y: &[f32]) -> Image<f32> {
    let (width, rows) = (image.width(), image.height());
    let mut across = Image::filled(width, rows, 0.0f32);
    let reach = along_x.len() / 2;
    across.par_rows_mut().for_each(|(y, target)| {
        let source = image.row(y);
        let mut padded = vec![source[0]; reach];
        padded.extend_from_slice(source);
        padded.resize(width + 2 * reach, source[width - 1]);
        // Convolution: tap n reads the texel n before.
        for (i, &tap) in along_x.iter().rev().enumerate() {
            for (sum, &value) in target.iter_mut().zip(&padded[i..i + width]) {
                *sum += tap * value;
            }
        }
    });
    let mut out = Image::filled(width, rows, 0.0f32);
    let reach = (along_y.len() / 2) as isize;
    out.par_rows_mut().for_each(|(y, target)| {
        for (i, &tap) in along_y.iter().rev().enumerate() {
            let from = (y as isize + i as isize - reach).clamp(0, rows as isize - 1) as usize;
            for (sum, &value) in target.iter_mut().zip(across.row(from)) {
                *sum += tap * value;
            }
        }
    });
    out
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn gaussian_ridges_respond_as_computed() {
        // Closed form sigma² w / (w² + sigma²)^1.5 (ridge_scale_response.csv of the project checks): width, sigma, response; 2 %.
        let table = [
            [1.0, 0.5, 0.178_885_44],
            [1.0, 1.0, 0.353_553_39],
            [1.0, std::f32::consts::SQRT_2, 0.384_900_18],
            [1.0, 2.0, 0.357_770_88],
            [1.0, 3.0, 0.284_604_99],
            [2.0, 1.0, 0.178_885_44],
            [2.0, 2.0, 0.353_553_39],
            [2.0, 2.828_427, 0.384_900_18],
            [2.0, 4.0, 0.357_770_88],
        ];
        for [width, sigma, want] in table {
            for turned in [false, true] {
                let ridge = Image::from_fn(81, 81, |x, y| {
                    let d = if turned { y } else { x } as f32 - 40.0;
                    (-d * d / (2.0 * width * width)).exp()
                });
                let got = ridges(&ridge, sigma).get(40, 40);
                assert!((got / want - 1.0).abs() < 0.02, "width {width}, sigma {sigma}: {got}, closed form {want}");
            }
        }
    }

    #[test]
    fn a_ramp_and_a_valley_are_no_ridges() {
        let ramp = Image::from_fn(60, 60, |x, _| 0.1 * x as f32);
        assert!(ridges(&ramp, 2.0).get(30, 30) < 1e-4, "a ramp has no curvature");
        let valley = Image::from_fn(61, 61, |x, _| -(-(x as f32 - 30.0).powi(2) / 8.0).exp());
        assert!(ridges(&valley, 2.0).get(30, 30) < 1e-3, "a dark line is no bright ridge");
    }
}
