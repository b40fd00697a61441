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
    let mut out = Image::filled(width, height, P::ZERO);
    if size.width.is_multiple_of(width) && size.height.is_multiple_of(height) {
        let (across, down) = (size.width / width, size.height / height);
        let weight = (1.0 / across as f64) as f32 * (1.0 / down as f64) as f32;
        out.par_rows_mut().for_each(|(y, target)| {
            for sy in y * down..(y + 1) * down {
                for (texel, own) in target.iter_mut().zip(row(sy).chunks_exact(across)) {
                    *texel = own.iter().fold(*texel, |sum, v| sum.plus(*v, weight));
                }
            }
        });
        return out;
    }
    let columns = spans(size.width, width);
    let rows = spans(size.height, height);
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
    let (columns, rows) = (between(image.width(), width), between(image.height(), height));
    let mut out = Image::filled(width, height, P::ZERO);
    out.par_rows_mut().for_each(|(y, row)| {
        let Between { either: [above, below], share: down } = rows[y];
        let (above, below) = (image.row(above), image.row(below));
        for (to, column) in row.iter_mut().zip(&columns) {
            let ([left, right], along) = (column.either, column.share);
            *to = P::ZERO
                .plus(above[left], (1.0 - along) * (1.0 - down))
                .plus(above[right], along * (1.0 - down))
                .plus(below[left], (1.0 - along) * down)
                .plus(below[right], along * down);
        }
    });
    out
}

/// Two old texels, and how far from the first to the second a new one lies (0..1).
struct Between {
    either: [usize; 2],
    share: f32,
}

/// Where the centres of `new` texels lie among `old` ones, edges extended.
fn between(old: usize, new: usize) -> Vec<Between> {
    let ratio = old as f32 / new as f32;
    let last = old as isize - 1;
    (0..new)
        .map(|i| {
            let at = (i as f32 + 0.5) * ratio - 0.5;
            let first = at.floor();
            let either = [first as isize, first as isize + 1].map(|k| k.clamp(0, last) as usize);
            Between { either, share: at - first }
        })
        .collect()
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
        let whole = Image::from_fn(30, 16, |x, y| (x * 3 + y * 7) as f32 % 11.0);
        let small = area_resize(&whole, 6, 8);
        assert!((mean(&whole) - mean(&small)).abs() < 1e-4, "{} became {}", mean(&whole), mean(&small));
    }

    #[test]
    fn enlarging_looks_between_texels() {
        let image = Image::from_fn(7, 5, |x, y| (x * 3 + y * 7) as f32 % 11.0);
        let large = bilinear_resize(&image, 31, 16);
        let beside = Image::from_fn(31, 16, |x, y| image.bilinear((x as f32 + 0.5) * 7.0 / 31.0, (y as f32 + 0.5) * 5.0 / 16.0));
        let off = large.zip(&beside, |a, b| (a - b).abs()).texels().iter().copied().fold(0.0, f32::max);
        assert!(off < 1e-4, "off by {off}");
    }

    #[test]
    fn two_by_two_means() {
        let image = Image::from_vec(4, 2, vec![0.0f32, 1.0, 2.0, 3.0, 4.0, 5.0, 6.0, 7.0]);
        assert_eq!(area_resize(&image, 2, 1).texels(), &[2.5, 4.5], "means of (0 1 4 5) and (2 3 6 7)");
    }
}
