//! Measures of maps against their truth, for the tests and the scoreboard.

use tatter_core::color::{Lab, ciede2000};
use tatter_core::image::{HeightMm, Image, LinearRgb, Normal, Unit};
use tatter_core::kernel::{gaussian, normals_from_height};
use tatter_core::units::MmPerTexel;

/// Texels at the edge of a picture that are left out.
const EDGE: usize = 8;

/// Where cloth fills a texel, away from the edge.
pub fn closed(opacity: &Image<Unit>) -> Image<bool> {
    let (width, height) = (opacity.width(), opacity.height());
    Image::from_fn(width, height, |x, y| opacity.get(x, y).0 > 0.99 && x.min(y) >= EDGE && x + EDGE < width && y + EDGE < height)
}

/// Mean of a value over the texels of a mask.
fn mean(mask: &Image<bool>, value: impl Fn(usize, usize) -> f32) -> f32 {
    let (mut sum, mut count) = (0.0f64, 0u32);
    for y in 0..mask.height() {
        for x in 0..mask.width() {
            if mask.get(x, y) {
                sum += f64::from(value(x, y));
                count += 1;
            }
        }
    }
    (sum / f64::from(count.max(1))) as f32
}

/// Mean angle between two normal maps, degrees.
pub fn angle(found: &Image<Normal>, truth: &Image<Normal>, mask: &Image<bool>) -> f32 {
    mean(mask, |x, y| found.get(x, y).angle_to(truth.get(x, y)).to_degrees())
}

/// The slopes that a height map of this resolution can hold: normals of the true height, half a texel soft.
pub fn woven_normals(height: &Image<HeightMm>, scale: MmPerTexel) -> Image<Normal> {
    normals_from_height(&gaussian(&height.map(|h| h.0), 0.5).map(HeightMm), scale)
}

/// The baseline: brightness as height. Height is a strength times the linear luminance of the photo, unblurred; of 30
/// strengths, 0.2 to 40 times the one at which luminance has the deviation of a texel's width, the best is taken
/// with the truth in hand, which no user could.
pub fn brightness_angle(photo: &Image<LinearRgb>, scale: MmPerTexel, truth: &Image<Normal>, mask: &Image<bool>) -> f32 {
    let light = photo.map(LinearRgb::luminance);
    let middle = mean(mask, |x, y| light.get(x, y));
    let deviation = mean(mask, |x, y| (light.get(x, y) - middle).powi(2)).sqrt().max(1e-6);
    let mut best = f32::INFINITY;
    for step in 0..30u8 {
        let strength = 0.02 * 2000f32.powf(f32::from(step) / 29.0) * scale.get() / deviation;
        let height = light.map(|l| HeightMm(l * strength));
        best = best.min(angle(&normals_from_height(&height, scale), truth, mask));
    }
    best
}

/// Mean CIEDE2000 between two colour maps, after one common gain, since no photo tells its exposure.
pub fn color_difference(found: &Image<LinearRgb>, truth: &Image<LinearRgb>, mask: &Image<bool>) -> f32 {
    let bright = |image: &Image<LinearRgb>| mean(mask, |x, y| image.get(x, y).luminance());
    let gain = bright(truth) / bright(found).max(1e-6);
    mean(mask, |x, y| {
        let scaled = LinearRgb(found.get(x, y).0.map(|c| c * gain));
        ciede2000(Lab::from(scaled), Lab::from(truth.get(x, y)))
    })
}

/// Correlation of two height maps over a mask.
pub fn correlation(found: &Image<HeightMm>, truth: &Image<HeightMm>, mask: &Image<bool>) -> f32 {
    let (a, b) = (mean(mask, |x, y| found.get(x, y).0), mean(mask, |x, y| truth.get(x, y).0));
    let product = |f: &dyn Fn(usize, usize) -> f32| mean(mask, f);
    let cross = product(&|x, y| (found.get(x, y).0 - a) * (truth.get(x, y).0 - b));
    let own = product(&|x, y| (found.get(x, y).0 - a).powi(2)) * product(&|x, y| (truth.get(x, y).0 - b).powi(2));
    cross / own.sqrt().max(1e-12)
}

/// Range between the 2nd and the 98th hundredth of a height map, mm.
pub fn range(height: &Image<HeightMm>, mask: &Image<bool>) -> f32 {
    let mut values: Vec<f32> = height.texels().iter().zip(mask.texels()).filter(|(_, m)| **m).map(|(h, _)| h.0).collect();
    values.sort_by(f32::total_cmp);
    let at = |share: f32| values.get((share * values.len() as f32) as usize).copied().unwrap_or(0.0);
    at(0.98) - at(0.02)
}

/// How far an alpha is from the true one.
#[derive(Clone, Copy, Debug)]
pub struct AlphaError {
    /// Sum of absolute differences, thousands.
    pub sad_k: f32,
    /// Mean squared difference.
    pub mse: f32,
    /// Sum of squared differences of gradient magnitudes, Gaussian derivatives of sigma 1.4, thousands (Rhemann et al., "A
    /// Perceptually Motivated Online Benchmark for Image Matting", 2009).
    pub gradient_k: f32,
}

/// Compare an alpha with the true one over a mask.
pub fn alpha_error(found: &Image<f32>, truth: &Image<f32>, mask: &Image<bool>) -> AlphaError {
    let slopes = gradient(found).zip(&gradient(truth), |a, b| (a - b).powi(2));
    let count = count(mask);
    AlphaError {
        sad_k: mean(mask, |x, y| (found.get(x, y) - truth.get(x, y)).abs()) * count / 1e3,
        mse: mean(mask, |x, y| (found.get(x, y) - truth.get(x, y)).powi(2)),
        gradient_k: mean(mask, |x, y| slopes.get(x, y)) * count / 1e3,
    }
}

/// Gradient magnitude by Gaussian derivatives.
fn gradient(image: &Image<f32>) -> Image<f32> {
    const REACH: isize = 5;
    const SIGMA: f32 = 1.4;
    let bell = |i: isize| (-((i * i) as f32) / (2.0 * SIGMA * SIGMA)).exp();
    let total: f32 = (-REACH..=REACH).map(bell).sum();
    let along = |image: &Image<f32>, tap: &dyn Fn(isize) -> f32, [dx, dy]: [isize; 2]| {
        let at = |x: usize, y: usize, i: isize| image.get_clamped(x as isize + i * dx, y as isize + i * dy);
        let rows = (0..image.height()).flat_map(|y| (0..image.width()).map(move |x| (x, y)));
        let values: Vec<f32> = rows.map(|(x, y)| (-REACH..=REACH).map(|i| tap(i) / total * at(x, y, i)).sum()).collect();
        Image::from_fn(image.width(), image.height(), |x, y| values[y * image.width() + x])
    };
    let slope = |i: isize| i as f32 / (SIGMA * SIGMA) * bell(i);
    let right = along(&along(image, &slope, [1, 0]), &bell, [0, 1]);
    let down = along(&along(image, &bell, [1, 0]), &slope, [0, 1]);
    right.zip(&down, f32::hypot)
}

/// Intersection over union of two masks within a third.
pub fn overlap(a: &Image<bool>, b: &Image<bool>, within: &Image<bool>) -> f32 {
    let share = |mask: Image<bool>| count(&mask.zip(within, |m, w| m && w));
    share(a.zip(b, |a, b| a && b)) / share(a.zip(b, |a, b| a || b)).max(1.0)
}

/// Texels of a mask.
pub fn count(mask: &Image<bool>) -> f32 {
    mask.texels().iter().filter(|m| **m).count() as f32
}
