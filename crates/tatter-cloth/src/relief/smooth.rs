//! Wide smoothing with weights: normalised convolution (Knutsson, Westin, 1993), at reduced size where nothing is lost.

use tatter_core::image::{Image, Pixel};
use tatter_core::kernel::{area_resize, bilinear_resize, gaussian};

/// Weight below which a place has nothing near to learn from.
const LEAST: f32 = 1e-4;

/// Gaussian blur; above 6 texels on a smaller copy, whose texels stay below a third of `sigma`.
pub(crate) fn soft<P: Pixel>(image: &Image<P>, sigma: f32) -> Image<P> {
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
pub(crate) fn weighted<P: Pixel>(image: &Image<P>, weight: &Image<f32>, sigma: f32, fallback: P) -> Image<P> {
    let sum = soft(&image.zip(weight, P::times), sigma);
    sum.zip(&soft(weight, sigma), |s, w| if w > LEAST { s.times(1.0 / w) } else { fallback })
}

/// The value below which a `share` of the listed ones lies; 0 of none.
pub(crate) fn quantile(values: &mut [f32], share: f32) -> f32 {
    if values.is_empty() {
        return 0.0;
    }
    let at = ((values.len() - 1) as f32 * share.clamp(0.0, 1.0)).round() as usize;
    *values.select_nth_unstable_by(at, f32::total_cmp).1
}

/// Up to about 60 000 values on a regular grid, of the places where `weight` is at least a half.
pub(crate) fn sample(image: &Image<f32>, weight: &Image<f32>) -> Vec<f32> {
    let step = stride(image.width() * image.height());
    let mut found = Vec::new();
    for y in (step / 2..image.height()).step_by(step) {
        for x in (step / 2..image.width()).step_by(step) {
            if weight.get(x, y) >= 0.5 {
                found.push(image.get(x, y));
            }
        }
    }
    found
}

/// Texels from one sample to the next so that an image gives about 60 000. Odd, to fall in step with no weave for long.
pub(crate) fn stride(texels: usize) -> usize {
    let step = (texels as f32 / 60_000.0).sqrt().floor().max(1.0) as usize;
    step | 1
}
