//! Change of size for working copies: exact area averages down, bilinear up.

use std::ops::Deref;

use rayon::prelude::*;

use crate::image::{Image, Pixel, Size};

/// Each new texel is the mean of the area it covers (`INTER_AREA` of reference libraries for shrinking).
///
/// # Panics
/// When a side of either image is 0: a bug of the caller.
#[must_use]
pub fn area_resize<P: Pixel>(image: &Image<P>, width: usize, height: usize) -> Image<P> {
    if (width, height) == (image.width(), image.height()) {
        return image.clone();
    }
    area_resize_rows(image.size(), width, height, |y| image.row(y))
}

/// [`area_resize`] of an image of which rows are made when they are asked for: each once, and again where two new texels share one.
///
/// # Panics
/// As [`area_resize`].
#[must_use]
pub fn area_resize_rows<P: Pixel, R: Deref<Target = [P]>>(
    size: Size,
    width: usize,
    height: usize,
    row: impl Fn(usize) -> R + Sync,
) -> Image<P> {
    assert!(width > 0 && height > 0 && size.area() > 0, "images to resize have texels");
    let columns = spans(size.width, width);
    let rows = spans(size.height, height);
    let mut out = Image::filled(width, height, P::ZERO);
    out.par_rows_mut().for_each(|(y, target)| {
        for &(sy, wy) in &rows[y] {
            let source = row(sy);
            for (texel, span) in target.iter_mut().zip(&columns) {
                for &(sx, wx) in span {
                    *texel = texel.plus(source[sx], wx * wy);
                }
            }
        }
    });
    out
}

/// For each new texel: which old ones it covers, with weights that sum to one.
fn spans(old: usize, new: usize) -> Vec<Vec<(usize, f32)>> {
    let ratio = old as f64 / new as f64;
    (0..new)
        .map(|i| {
            let (from, to) = (i as f64 * ratio, (i + 1) as f64 * ratio);
            let last = (to.ceil() as usize).min(old);
            (from.floor() as usize..last)
                .map(|s| (s, ((to.min(s as f64 + 1.0) - from.max(s as f64)) / ratio) as f32))
                .filter(|&(_, w)| w > 1e-7)
                .collect()
        })
        .collect()
}

/// Bilinear samples at the new centres; for enlarging.
#[must_use]
pub fn bilinear_resize<P: Pixel>(image: &Image<P>, width: usize, height: usize) -> Image<P> {
    if (width, height) == (image.width(), image.height()) {
        return image.clone();
    }
    let (sx, sy) = (image.width() as f32 / width as f32, image.height() as f32 / height as f32);
    Image::from_fn(width, height, |x, y| image.bilinear((x as f32 + 0.5) * sx, (y as f32 + 0.5) * sy))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn shrinking_keeps_the_mean() {
        let image = Image::from_fn(31, 17, |x, y| (x * 3 + y * 7) as f32 % 11.0);
        let mean = |i: &Image<f32>| i.texels().iter().sum::<f32>() / i.size().area() as f32;
        let small = area_resize(&image, 7, 5);
        assert!((mean(&image) - mean(&small)).abs() < 1e-4, "{} became {}", mean(&image), mean(&small));
    }

    #[test]
    fn two_by_two_means() {
        let image = Image::from_vec(4, 2, vec![0.0f32, 1.0, 2.0, 3.0, 4.0, 5.0, 6.0, 7.0]);
        assert_eq!(area_resize(&image, 2, 1).texels(), &[2.5, 4.5], "means of (0 1 4 5) and (2 3 6 7)");
    }
}
