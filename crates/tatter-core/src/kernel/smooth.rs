//! Wide smoothing with weights: normalised convolution (Knutsson, Westin, 1993), at reduced size where nothing is lost.

use super::{area_resize, bilinear_resize, gaussian};
use crate::image::{Image, Pixel};

/// Weight below which a place has nothing near to learn from.
const LEAST: f32 = 1e-4;

/// Gaussian blur; above 6 texels on a smaller copy, whose texels stay below a third of `sigma`.
#[must_use]
pub fn soft<P: Pixel>(image: &Image<P>, sigma: f32) -> Image<P> {
    let factor = (sigma / 3.0).floor().max(1.0);
    if factor < 2.0 {
        return gaussian(image, sigma);
    }
    let (width, height) = (image.width(), image.height());
    let small = |side: usize| ((side as f32 / factor).ceil() as usize).max(1);
    let low = area_resize(image, small(width), small(height));
    let ratio = width as f32 / low.width() as f32;
    bilinear_resize(&gaussian(&low, sigma / ratio), width, height)
}

/// Mean of what has weight, in a Gaussian of `sigma` texels; `fallback` where nothing has.
#[must_use]
pub fn weighted<P: Pixel>(image: &Image<P>, weight: &Image<f32>, sigma: f32, fallback: P) -> Image<P> {
    let sum = soft(&image.zip(weight, P::times), sigma);
    sum.zip(&soft(weight, sigma), |s, w| if w > LEAST { s.times(1.0 / w) } else { fallback })
}
