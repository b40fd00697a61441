//! The photo as a pyramid of flattened signals: each layer halves the one before, so that cloth of any coarseness has a
//! layer in which a tile of fixed side holds a fair number of threads.

use tatter_core::image::{Image, LinearRgb};
use tatter_fourier::num_complex::Complex;

/// Halvings at most: threads up to a third of a kilopixel.
const LAYERS: usize = 5;

/// One layer: lightness as real part and a warm-cold difference as imaginary part, slow changes removed, 0 where masked.
/// Two real signals travel in one transform: the power at f and -f together is the sum of both.
#[derive(Debug)]
pub(super) struct Layer {
    pub(super) signal: Image<Complex<f32>>,
    /// 1 where the cloth counts, 0 where masked; `None` without a mask.
    pub(super) weight: Option<Image<f32>>,
    /// Photo pixels a pixel of this layer.
    pub(super) shrink: usize,
}

/// The layers, finest first.
pub(super) fn layers(color: &Image<LinearRgb>, mask: Option<&Image<bool>>) -> Vec<Layer> {
    let mut raw = color.map(|c| {
        // Square roots are near enough to lightness, and quick.
        let [r, g, b] = c.0.map(|v| v.max(0.0).sqrt());
        Complex::new(0.25 * r + 0.6 * g + 0.15 * b, 0.7 * (r - b))
    });
    let mut weight = mask.map(|m| m.map(|keep| if keep { 1.0f32 } else { 0.0 }));
    if let Some(w) = &weight {
        raw = raw.zip(w, |v, w| v * w);
    }
    let mut all = Vec::new();
    let mut shrink = 1;
    loop {
        all.push(Layer { signal: flatten(&raw, weight.as_ref()), weight: weight.clone(), shrink });
        if all.len() == LAYERS || raw.width().min(raw.height()) < 128 {
            return all;
        }
        raw = halve(&raw);
        weight = weight.map(|w| halve(&w));
        shrink *= 2;
    }
}

/// Half the size through the filter (1 3 3 1) / 8, which keeps fine threads from returning as false coarse ones.
fn halve<P>(image: &Image<P>) -> Image<P>
where
    P: Copy + Send + Sync + std::ops::Add<Output = P> + std::ops::Mul<f32, Output = P>,
{
    let taps = |a: P, b: P, c: P, d: P| (a + d) * 0.125 + (b + c) * 0.375;
    let (width, height) = (image.width() / 2, image.height() / 2);
    let narrow = Image::from_fn(width, image.height(), |x, y| {
        let row = image.row(y);
        let at = |i: usize| row[i.min(row.len() - 1)];
        taps(at((2 * x).saturating_sub(1)), at(2 * x), at(2 * x + 1), at(2 * x + 2))
    });
    Image::from_fn(width, height, |x, y| {
        let at = |i: usize| narrow.get(x, i.min(narrow.height() - 1));
        taps(at((2 * y).saturating_sub(1)), at(2 * y), at(2 * y + 1), at(2 * y + 2))
    })
}

/// Take away the mean of the neighbourhood, interpolated between blocks; the cap keeps glints, holes and print from
/// drowning the threads.
fn flatten(raw: &Image<Complex<f32>>, weight: Option<&Image<f32>>) -> Image<Complex<f32>> {
    let (width, height) = (raw.width(), raw.height());
    let block = (width.min(height) / 6).clamp(12, 32);
    let (columns, rows) = (width.div_ceil(block), height.div_ceil(block));
    let sums = Image::from_fn(columns, rows, |bx, by| {
        let mut sum = [0.0f32; 3];
        for y in by * block..((by + 1) * block).min(height) {
            for x in bx * block..((bx + 1) * block).min(width) {
                let v = raw.get(x, y);
                sum = [sum[0] + v.re, sum[1] + v.im, sum[2] + weight.map_or(1.0, |w| w.get(x, y))];
            }
        }
        sum
    });
    let means = Image::from_fn(columns, rows, |bx, by| {
        let mut sum = [0.0f32; 3];
        for (dx, dy) in (-1..=1).flat_map(|dy| (-1..=1).map(move |dx| (dx, dy))) {
            let (x, y) = (bx as isize + dx, by as isize + dy);
            if x >= 0 && y >= 0 && x < columns as isize && y < rows as isize {
                let s = sums.get(x as usize, y as usize);
                sum = [sum[0] + s[0], sum[1] + s[1], sum[2] + s[2]];
            }
        }
        Complex::new(sum[0], sum[1]) / sum[2].max(1e-3)
    });
    Image::from_fn(width, height, |x, y| {
        let place = |i: usize, count: usize| {
            let at = ((i as f32 + 0.5) / block as f32 - 0.5).clamp(0.0, (count - 1) as f32);
            let low = (at as usize).min(count.saturating_sub(2));
            (low, at - low as f32)
        };
        let ((cx, fx), (cy, fy)) = (place(x, columns), place(y, rows));
        let row = |y: usize| {
            let y = y.min(rows - 1);
            means.get(cx, y) * (1.0 - fx) + means.get((cx + 1).min(columns - 1), y) * fx
        };
        let mean = row(cy) * (1.0 - fy) + row(cy + 1) * fy;
        let w = weight.map_or(1.0, |w| w.get(x, y));
        let v = raw.get(x, y) - mean * w;
        Complex::new(v.re.clamp(-0.35, 0.35), v.im.clamp(-0.35, 0.35))
    })
}
