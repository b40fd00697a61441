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
pub fn stride(texels: usize) -> usize {
    let step = (texels as f32 / 60_000.0).sqrt().floor().max(1.0) as usize;
    step | 1
}
