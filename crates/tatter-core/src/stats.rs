//! Order statistics, and samples of images for them.

use crate::image::Image;

/// The value below which a `share` of the listed ones lies; 0 of none.
pub fn quantile(values: &mut [f32], share: f32) -> f32 {
    if values.is_empty() {
        return 0.0;
    }
    let at = ((values.len() - 1) as f32 * share.clamp(0.0, 1.0)).round() as usize;
    *values.select_nth_unstable_by(at, f32::total_cmp).1
}

/// The middle value (0 when empty); reorders.
pub fn median(values: &mut [f32]) -> f32 {
    quantile(values, 0.5)
}

/// Up to about 60 000 values on a regular grid, of the places where `weight` is at least a half.
pub fn sample(image: &Image<f32>, weight: &Image<f32>) -> Vec<f32> {
    grid(image).filter(|&(x, y)| weight.get(x, y) >= 0.5).map(|(x, y)| image.get(x, y)).collect()
}

/// The same of all places.
pub fn sample_all(image: &Image<f32>) -> Vec<f32> {
    grid(image).map(|(x, y)| image.get(x, y)).collect()
}

fn grid(image: &Image<f32>) -> impl Iterator<Item = (usize, usize)> {
    let step = stride(image.size().area());
    let (width, height) = (image.width(), image.height());
    (step / 2..height).step_by(step).flat_map(move |y| (step / 2..width).step_by(step).map(move |x| (x, y)))
}

/// Texels from one sample to the next so that an image gives about 60 000. Odd, to fall in step with no weave for long.
pub fn stride(texels: usize) -> usize {
    let step = (texels as f32 / 60_000.0).sqrt().floor().max(1.0) as usize;
    step | 1
}
