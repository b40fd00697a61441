//! A picture shown on the pixels of another.

use tatter_core::image::{Image, Pixel, Size};

use super::Homography;

/// Steps a pixel is divided into for the table of weights: a place is off by a 1024th at most.
const STEPS: usize = 512;

/// `image` on a picture of `size` by `there`, which takes that picture's places to the image's: Lanczos of three lobes
/// (Duchon, "Lanczos Filtering in One and Two Dimensions", 1979), which leaves a photo's finest threads nearly whole; edges
/// extended. A map that moves nothing copies.
#[must_use]
pub fn warp<P: Pixel>(image: &Image<P>, there: &Homography, size: Size) -> Image<P> {
    resampled::<P, 6>(image, there, size)
}

/// The same with two lobes: half the work, for what is compared only.
pub(super) fn warp_quickly<P: Pixel>(image: &Image<P>, there: &Homography, size: Size) -> Image<P> {
    resampled::<P, 4>(image, there, size)
}

fn resampled<P: Pixel, const TAPS: usize>(image: &Image<P>, there: &Homography, size: Size) -> Image<P> {
    if *there == Homography::IDENTITY && size == image.size() {
        return image.clone();
    }
    let table: Vec<[f32; TAPS]> = (0..=STEPS).map(|i| taps(i as f32 / STEPS as f32)).collect();
    let lobes = TAPS as isize / 2;
    Image::from_fn(size.width, size.height, |x, y| {
        let [px, py] = there.at([x as f64 + 0.5, y as f64 + 0.5]).map(|v| v - 0.5);
        let (x0, y0) = (px.floor(), py.floor());
        let weights = |t: f64| &table[(t * STEPS as f64).round() as usize];
        let (wx, wy) = (weights(px - x0), weights(py - y0));
        let (left, top) = (x0 as isize + 1 - lobes, y0 as isize + 1 - lobes);
        let mut sum = P::ZERO;
        for (j, wy) in wy.iter().enumerate() {
            let mut row = P::ZERO;
            for (i, wx) in wx.iter().enumerate() {
                row = row.plus(image.get_clamped(left + i as isize, top + j as isize), *wx);
            }
            sum = sum.plus(row, *wy);
        }
        sum
    })
}

/// Where a picture of `size` finds a place of one of `from` pixels, a pixel off its border.
#[must_use]
pub fn inside(from: Size, there: &Homography, size: Size) -> Image<bool> {
    Image::from_fn(size.width, size.height, |x, y| {
        let [px, py] = there.at([x as f64 + 0.5, y as f64 + 0.5]);
        // The border itself is inside when nothing moved.
        px >= 0.5 && py >= 0.5 && px <= from.width as f64 - 0.5 && py <= from.height as f64 - 0.5
    })
}

/// Weights of the pixels around a place `t` of the way between the middle two; their sum is 1.
fn taps<const TAPS: usize>(t: f32) -> [f32; TAPS] {
    let lobes = TAPS as f32 / 2.0;
    let sinc = |x: f32| if x.abs() < 1e-6 { 1.0 } else { (std::f32::consts::PI * x).sin() / (std::f32::consts::PI * x) };
    let raw: [f32; TAPS] = std::array::from_fn(|i| {
        let x = i as f32 + 1.0 - lobes - t;
        if x.abs() >= lobes { 0.0 } else { sinc(x) * sinc(x / lobes) }
    });
    let total: f32 = raw.iter().sum();
    raw.map(|w| w / total)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_wave_keeps_its_height_and_place() {
        let wave = |x: f32, y: f32| (0.9 * x + 0.7 * y).sin();
        let image = Image::from_fn(64, 48, |x, y| wave(x as f32, y as f32));
        let moved = warp(&image, &Homography::shift(3.37, -1.62), image.size());
        for (x, y) in [(20, 20), (31, 12), (40, 30)] {
            let off = (moved.get(x, y) - wave(x as f32 + 3.37, y as f32 - 1.62)).abs();
            assert!(off < 0.02, "pixel {x}, {y} is off by {off}");
        }
    }
}
