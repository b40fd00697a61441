//! A picture shown on the pixels of another.

use rayon::iter::ParallelIterator as _;
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
    Source::<P, TAPS>::of(image).shown(there, size)
}

/// A picture to be looked at between its pixels.
pub(crate) struct Source<P, const TAPS: usize> {
    /// With as many pixels around it as are looked at from one place, so that no place looks beyond it.
    bordered: Image<P>,
    table: Vec<[f32; TAPS]>,
}

impl<P: Pixel, const TAPS: usize> Source<P, TAPS> {
    pub(crate) fn of(image: &Image<P>) -> Self {
        Self { bordered: image.bordered(TAPS), table: (0..=STEPS).map(|i| taps(i as f32 / STEPS as f32)).collect() }
    }

    /// All of it on a picture of `size`.
    pub(crate) fn shown(&self, there: &Homography, size: Size) -> Image<P> {
        let mut shown = Image::filled(size.width, size.height, P::ZERO);
        shown.par_rows_mut().for_each(|(y, row)| self.show(there, y, row));
        shown
    }

    /// Row `y` of the picture on which it is shown.
    pub(crate) fn show(&self, there: &Homography, y: usize, row: &mut [P]) {
        let width = self.bordered.width();
        // The first pixel looked at from a place, by whose share of a pixel the place lies beyond the middle two's first.
        let first = |place: f64, count: usize| {
            let last = (count - TAPS) as f64;
            let place = (place - 0.5 + (1 + TAPS / 2) as f64).clamp(0.0, last);
            let whole = place as usize;
            (whole, &self.table[((place - whole as f64) * STEPS as f64 + 0.5) as usize])
        };
        for (x, to) in row.iter_mut().enumerate() {
            let [px, py] = there.at([x as f64 + 0.5, y as f64 + 0.5]);
            let ((left, wx), (top, wy)) = (first(px, width), first(py, self.bordered.height()));
            let mut columns = [P::ZERO; TAPS];
            let lines = self.bordered.texels()[top * width..].chunks_exact(width);
            for (line, w) in lines.zip(wy) {
                let line = &line[left..left + TAPS];
                columns.iter_mut().zip(line).for_each(|(sum, pixel)| *sum = sum.plus(*pixel, *w));
            }
            *to = columns.iter().zip(wx).fold(P::ZERO, |sum, (column, w)| sum.plus(*column, *w));
        }
    }
}

/// Where a picture of `size` finds a place of one of `from` pixels, a pixel off its border.
#[must_use]
pub fn inside(from: Size, there: &Homography, size: Size) -> Image<bool> {
    Image::from_fn(size.width, size.height, |x, y| is_inside(from, there, x, y))
}

/// [`inside`] of one pixel.
pub(crate) fn is_inside(from: Size, there: &Homography, x: usize, y: usize) -> bool {
    let [px, py] = there.at([x as f64 + 0.5, y as f64 + 0.5]);
    // The border itself is inside when nothing moved.
    px >= 0.5 && py >= 0.5 && px <= from.width as f64 - 0.5 && py <= from.height as f64 - 0.5
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
