//! Gaussian, box and median smoothing, edges extended.

use rayon::prelude::*;

use crate::image::{Image, Pixel};

/// Gaussian blur with `sigma` in texels; 0 or less copies. Cost O(sigma) a texel up to sigma 6, then constant (three box
/// passes, within 3 % of the Gaussian: Wells, "Efficient Synthesis of Gaussian Filters by Cascaded Uniform Filters", 1986).
#[must_use]
pub fn gaussian<P: Pixel>(image: &Image<P>, sigma: f32) -> Image<P> {
    if sigma <= 0.05 {
        return image.clone();
    }
    if sigma > 6.0 {
        // The variance of three boxes of width 2 r + 1 is r (r + 1); a fractional radius is met by a mixed last box.
        let exact = (sigma * sigma + 0.25).sqrt() - 0.5;
        let low = exact.floor() as usize;
        let (a, b) = (box_variance(low), box_variance(low + 1));
        let high_share = ((sigma * sigma / 3.0 - a) / (b - a) * 3.0).round() as usize;
        let mut out = image.clone();
        for pass in 0..3 {
            out = box_blur(&out, if pass < high_share { low + 1 } else { low });
        }
        return out;
    }
    let radius = (3.0 * sigma).ceil() as usize;
    let mut weights: Vec<f32> = (0..=radius).map(|i| libm::expf(-((i * i) as f32) / (2.0 * sigma * sigma))).collect();
    let sum: f32 = weights[0] + 2.0 * weights[1..].iter().sum::<f32>();
    for w in &mut weights {
        *w /= sum;
    }
    along_columns(&along_rows(image, &weights), &weights)
}

fn box_variance(radius: usize) -> f32 {
    let width = (2 * radius + 1) as f32;
    (width * width - 1.0) / 12.0
}

/// Convolve rows with a symmetric kernel given from its middle outwards.
fn along_rows<P: Pixel>(image: &Image<P>, weights: &[f32]) -> Image<P> {
    let (width, radius) = (image.width(), weights.len() - 1);
    let mut out = Image::filled(width, image.height(), P::ZERO);
    out.par_rows_mut().for_each(|(y, row)| {
        let source = image.row(y);
        let mut padded = Vec::with_capacity(width + 2 * radius);
        padded.extend(std::iter::repeat_n(source[0], radius));
        padded.extend_from_slice(source);
        padded.extend(std::iter::repeat_n(source[width - 1], radius));
        // Tap by tap along the row, so that neighbours are summed side by side.
        row.iter_mut().zip(&padded[radius..]).for_each(|(to, own)| *to = own.times(weights[0]));
        for (i, &w) in weights.iter().enumerate().skip(1) {
            let either = padded[radius - i..].iter().zip(&padded[radius + i..]);
            row.iter_mut().zip(either).for_each(|(to, (left, right))| *to = to.plus(*left, w).plus(*right, w));
        }
    });
    out
}

/// The same down the columns.
fn along_columns<P: Pixel>(image: &Image<P>, weights: &[f32]) -> Image<P> {
    let last = image.height().saturating_sub(1);
    let mut out = Image::filled(image.width(), image.height(), P::ZERO);
    out.par_rows_mut().for_each(|(y, row)| {
        row.iter_mut().zip(image.row(y)).for_each(|(to, own)| *to = own.times(weights[0]));
        for (i, &w) in weights.iter().enumerate().skip(1) {
            let either = image.row(y.saturating_sub(i)).iter().zip(image.row((y + i).min(last)));
            row.iter_mut().zip(either).for_each(|(to, (above, below))| *to = to.plus(*above, w).plus(*below, w));
        }
    });
    out
}

/// Mean over a square of side `2 radius + 1`; constant cost a texel.
#[must_use]
pub fn box_blur<P: Pixel>(image: &Image<P>, radius: usize) -> Image<P> {
    if radius == 0 {
        return image.clone();
    }
    transposed(&box_rows(&transposed(&box_rows(image, radius)), radius))
}

fn box_rows<P: Pixel>(image: &Image<P>, radius: usize) -> Image<P> {
    let width = image.width() as isize;
    let radius = radius as isize;
    let scale = 1.0 / (2 * radius + 1) as f32;
    let mut out = Image::filled(image.width(), image.height(), P::ZERO);
    out.par_rows_mut().for_each(|(y, row)| {
        let source = image.row(y);
        let at = |x: isize| source[x.clamp(0, width - 1) as usize];
        let mut sum = (-radius..=radius).fold(P::ZERO, |sum, x| sum.plus(at(x), 1.0));
        for (x, target) in row.iter_mut().enumerate() {
            *target = sum.times(scale);
            sum = sum.plus(at(x as isize + radius + 1), 1.0).plus(at(x as isize - radius), -1.0);
        }
    });
    out
}

/// Rows become columns, in blocks that stay in cache.
pub(super) fn transposed<P: Pixel>(image: &Image<P>) -> Image<P> {
    const BLOCK: usize = 32;
    let (width, height) = (image.width(), image.height());
    let mut out = Image::filled(height, width, P::ZERO);
    out.texels_mut().par_chunks_mut(height * BLOCK).enumerate().for_each(|(block, rows)| {
        let x0 = block * BLOCK;
        let columns = rows.len() / height;
        for y0 in (0..height).step_by(BLOCK) {
            for y in y0..(y0 + BLOCK).min(height) {
                for (dx, &texel) in image.row(y)[x0..x0 + columns].iter().enumerate() {
                    rows[dx * height + y] = texel;
                }
            }
        }
    });
    out
}

/// Median of each 3 × 3 window, edges extended.
#[must_use]
pub fn median3(image: &Image<f32>) -> Image<f32> {
    Image::from_fn(image.width(), image.height(), |x, y| {
        let mut window = [0.0f32; 9];
        for (i, slot) in window.iter_mut().enumerate() {
            *slot = image.get_clamped(x as isize + i as isize % 3 - 1, y as isize + i as isize / 3 - 1);
        }
        window.sort_unstable_by(f32::total_cmp);
        window[4]
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn an_impulse_keeps_its_sum_and_gets_the_variance() {
        for sigma in [0.8, 2.0, 5.9, 6.1, 11.3] {
            let mut image = Image::filled(129, 129, 0.0f32);
            image.set(64, 64, 1.0);
            let out = gaussian(&image, sigma);
            let sum: f32 = out.texels().iter().sum();
            let mut variance = 0.0;
            for y in 0..129 {
                for x in 0..129 {
                    variance += out.get(x, y) * (x as f32 - 64.0).powi(2);
                }
            }
            assert!((sum - 1.0).abs() < 1e-4, "sigma {sigma}: sum {sum}");
            assert!((variance.sqrt() / sigma - 1.0).abs() < 0.04, "sigma {sigma}: deviation {}", variance.sqrt());
        }
    }

    #[test]
    fn a_flat_image_stays_flat() {
        let image = Image::filled(70, 33, 0.5f32);
        for blurred in [gaussian(&image, 1.5), gaussian(&image, 9.0), box_blur(&image, 40), median3(&image)] {
            assert!(blurred.texels().iter().all(|v| (v - 0.5).abs() < 1e-5), "flat in, flat out");
        }
    }
}
