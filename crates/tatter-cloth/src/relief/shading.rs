//! Shading told from dye: what a change of colour explains is dye, what is left of brightness is shading.

use tatter_core::image::{Image, LinearRgb, Pixel};
use tatter_core::kernel::{area_resize, gaussian};

/// Variance of chromaticity (log ratios) that noise and light reflected between threads make on one dye: more keeps more
/// brightness in the relief, less takes more of it for dye. Chosen, not tuned.
const CHROMA_NOISE: f32 = 0.05 * 0.05;

/// Brightness in parts. Logarithms of linear light, sizes as the photo.
#[derive(Debug)]
pub(super) struct Shading {
    /// Log luminance less dye and uneven light: the shading of the relief about 0.
    pub shade: Image<f32>,
    /// Log of the uneven light about its own mean.
    pub slow: Image<f32>,
    /// Log luminance less uneven light, dye and all, and the log ratios red to green and blue to green: each about the middle
    /// of intact cloth, 0 where no cloth is seen.
    pub seen: [Image<f32>; 3],
}

/// Moments of guide (two chromaticities) and log luminance, averaged together.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
struct Moments([f32; 9]);

impl Pixel for Moments {
    const ZERO: Self = Self([0.0; 9]);
    fn plus(mut self, other: Self, weight: f32) -> Self {
        for (a, b) in self.0.iter_mut().zip(other.0) {
            *a += b * weight;
        }
        self
    }
    fn times(mut self, factor: f32) -> Self {
        for a in &mut self.0 {
            *a *= factor;
        }
        self
    }
}

/// Log of luminance and the two log ratios red to green, blue to green; `floor` keeps noise in the dark from growing.
fn logs(color: LinearRgb, floor: f32) -> [f32; 3] {
    let [r, g, b] = color.0.map(|c| (c.max(0.0) + floor).ln());
    [(color.luminance().max(0.0) + floor).ln(), r - g, b - g]
}

/// Split the photo. `weight` is 0 where no cloth is seen, `intact` where light may be learned, `pitch` in texels.
pub(super) fn shading(color: &Image<LinearRgb>, weight: &Image<f32>, intact: &Image<f32>, pitch: f32) -> Shading {
    let mut light = tatter_core::stats::sample(&color.map(LinearRgb::luminance), intact);
    let floor = 0.02 * tatter_core::stats::quantile(&mut light, 0.5).max(1e-4);
    let split = color.map(|c| logs(c, floor));
    // Noise in colour is smoothed over three texels, 1 2 1 each way.
    let chroma = Image::from_fn(color.width(), color.height(), |x, y| {
        let mut sum = [0.0f32; 2];
        for (dy, v) in [(-1, 0.25), (0, 0.5), (1, 0.25)] {
            for (dx, h) in [(-1, 0.25), (0, 0.5), (1, 0.25)] {
                let [_, rg, bg] = split.get_clamped(x as isize + dx, y as isize + dy);
                sum[0] += v * h * rg;
                sum[1] += v * h * bg;
            }
        }
        sum
    });
    let luma = split.map(|[l, _, _]| l);
    drop(split);
    let slow = slow_light(&luma, &chroma, intact);
    let shade = without_dye(&luma, &slow, &chroma, weight, 1.5 * pitch);
    let seen = [luma.zip(&slow, |l, s| l - s), chroma.map(|[rg, _]| rg), chroma.map(|[_, bg]| bg)].map(|part| {
        let middle = tatter_core::stats::quantile(&mut tatter_core::stats::sample(&part, intact), 0.5);
        part.zip(weight, |v, w| w * (v - middle))
    });
    Shading { shade, slow, seen }
}

/// A guided filter (He, Sun, Tang, "Guided Image Filtering", 2010) with chromaticity as its guide: the part of brightness
/// that is a local linear function of colour, and the slow part, leave.
fn without_dye(luma: &Image<f32>, slow: &Image<f32>, chroma: &Image<[f32; 2]>, weight: &Image<f32>, sigma: f32) -> Image<f32> {
    let (width, height) = (luma.width(), luma.height());
    // Moments are summed in cells of a third of sigma.
    let cell = (sigma / 3.0).floor().max(1.0) as usize;
    let cells = Image::from_fn(width.div_ceil(cell), height.div_ceil(cell), |cx, cy| {
        let mut sum = Moments::default();
        for y in cy * cell..((cy + 1) * cell).min(height) {
            for x in cx * cell..((cx + 1) * cell).min(width) {
                let (l, [a, b]) = (luma.get(x, y) - slow.get(x, y), chroma.get(x, y));
                sum = sum.plus(Moments([1.0, l, a, b, a * a, a * b, b * b, a * l, b * l]), weight.get(x, y));
            }
        }
        sum
    });
    let low = gaussian(&cells, sigma / cell as f32);
    // Slopes for the two ratios, and the offset: three numbers a place.
    let fit = low.map(|Moments([n, l, a, b, aa, ab, bb, al, bl])| {
        if n < 1e-4 {
            return LinearRgb::ZERO;
        }
        let [l, a, b, aa, ab, bb, al, bl] = [l, a, b, aa, ab, bb, al, bl].map(|v| v / n);
        let (caa, cab, cbb) = (aa - a * a + CHROMA_NOISE, ab - a * b, bb - b * b + CHROMA_NOISE);
        let (cal, cbl) = (al - a * l, bl - b * l);
        let det = caa * cbb - cab * cab;
        let (ka, kb) = ((cal * cbb - cbl * cab) / det, (cbl * caa - cal * cab) / det);
        LinearRgb([ka, kb, l - ka * a - kb * b])
    });
    let per_cell = 1.0 / cell as f32;
    Image::from_fn(width, height, |x, y| {
        let LinearRgb([ka, kb, offset]) = fit.bilinear((x as f32 + 0.5) * per_cell, (y as f32 + 0.5) * per_cell);
        let [a, b] = chroma.get(x, y);
        weight.get(x, y) * (luma.get(x, y) - slow.get(x, y) - ka * a - kb * b - offset)
    })
}

/// Terms of uneven light, and with them the two ratios of colour.
const SLOW: usize = 6;
const TERMS: usize = SLOW + 2;
/// Variance that the ratios of a place of cloth have by chance: what goes along with more is dye that wore off, not light.
const CHANCE: f64 = 0.03 * 0.03;

/// Uneven light as a surface of degree two in log luminance, fitted to intact cloth by Tukey-weighted least squares, so
/// that neither stain nor hole bends it. Wear fades far beyond what is called hurt: what changes along with the colour is no light.
/// About its own mean.
fn slow_light(luma: &Image<f32>, chroma: &Image<[f32; 2]>, intact: &Image<f32>) -> Image<f32> {
    let (width, height) = (luma.width(), luma.height());
    let side = 64.min(width).min(height);
    let small = |part: &Image<f32>| area_resize(&part.zip(intact, |l, w| l * w), side, side);
    let weights = area_resize(intact, side, side);
    let [light, rg, bg] = [small(luma), small(&chroma.map(|[rg, _]| rg)), small(&chroma.map(|[_, bg]| bg))];
    let middle = |part: &Image<f32>| {
        let means = part.zip(&weights, |p, w| p / w.max(1e-6));
        tatter_core::stats::quantile(&mut tatter_core::stats::sample(&means, &weights.map(|w| f32::from(u8::from(w > 0.3)))), 0.5)
    };
    let usual = [middle(&rg), middle(&bg)];
    let place = |x: f32, y: f32| [1.0, x, y, x * x, x * y, y * y, 0.0, 0.0];
    let at = |i: usize| 2.0 * (i as f32 + 0.5) / side as f32 - 1.0;
    let points: Vec<([f32; TERMS], f32, f32)> = (0..side * side)
        .filter(|&i| weights.texels()[i] > 0.3)
        .map(|i| {
            let of = |part: &Image<f32>| part.texels()[i] / weights.texels()[i];
            let mut terms = place(at(i % side), at(i / side));
            (terms[SLOW], terms[SLOW + 1]) = (of(&rg) - usual[0], of(&bg) - usual[1]);
            (terms, of(&light), weights.texels()[i])
        })
        .collect();
    let mut fit = [0.0f64; TERMS];
    if points.len() >= 60 {
        let mut cut = f32::INFINITY;
        for _ in 0..5 {
            fit = least_squares(&points, &fit, cut);
            let mut off: Vec<f32> = points.iter().map(|(p, v, _)| (v - value(&fit, p)).abs()).collect();
            cut = (4.685 * 1.4826 * tatter_core::stats::quantile(&mut off, 0.5)).max(1e-3);
        }
    }
    // Without its constant, and about the mean over the picture (x² and y² average a third).
    fit[0] = -(fit[3] + fit[5]) / 3.0;
    Image::from_fn(width, height, |x, y| {
        let (u, v) = (2.0 * (x as f32 + 0.5) / width as f32 - 1.0, 2.0 * (y as f32 + 0.5) / height as f32 - 1.0);
        value(&fit, &place(u, v)).clamp(-1.5, 1.5)
    })
}

fn value(fit: &[f64; TERMS], place: &[f32; TERMS]) -> f32 {
    fit.iter().zip(place).map(|(f, p)| f * f64::from(*p)).sum::<f64>() as f32
}

/// Weighted normal equations, solved by elimination with pivots; a small ridge keeps a strip of cloth from swinging.
fn least_squares(points: &[([f32; TERMS], f32, f32)], last: &[f64; TERMS], cut: f32) -> [f64; TERMS] {
    let mut rows = [[0.0f64; TERMS + 1]; TERMS];
    for (place, v, weight) in points {
        let off = (v - value(last, place)) / cut;
        let robust = if cut.is_infinite() { 1.0 } else { (1.0 - off * off).max(0.0).powi(2) };
        let w = f64::from(weight * robust);
        for i in 0..TERMS {
            for j in 0..TERMS {
                rows[i][j] += w * f64::from(place[i] * place[j]);
            }
            rows[i][TERMS] += w * f64::from(place[i] * v);
        }
    }
    for (i, row) in rows.iter_mut().enumerate().skip(1) {
        row[i] += if i < SLOW { 1e-3 } else { CHANCE } * points.len() as f64;
    }
    for i in 0..TERMS {
        let pivot = (i..TERMS).max_by(|&a, &b| rows[a][i].abs().total_cmp(&rows[b][i].abs())).unwrap_or(i);
        rows.swap(i, pivot);
        if rows[i][i].abs() < 1e-12 {
            return [0.0; TERMS];
        }
        for j in 0..TERMS {
            if j != i {
                let share = rows[j][i] / rows[i][i];
                let pivot = rows[i];
                for (cell, above) in rows[j].iter_mut().zip(pivot).skip(i) {
                    *cell -= share * above;
                }
            }
        }
    }
    std::array::from_fn(|i| rows[i][TERMS] / rows[i][i])
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Least and greatest uneven light found, logs, where cloth is worn pale in its middle and a lamp falls off to the right.
    fn found(worn: f32, falloff: f32) -> [f32; 2] {
        let (dye, core) = (LinearRgb([0.05, 0.08, 0.2]), LinearRgb([0.5, 0.5, 0.47]));
        let color = Image::from_fn(256, 256, |x, y| {
            let (u, v) = ((x as f32 - 128.0) / 128.0, (y as f32 - 128.0) / 128.0);
            let bare = worn * (1.0 - 0.5 * (u * u + v * v)).max(0.0);
            let thread = 1.0 + 0.3 * ((x % 8) as f32 - 3.5) / 3.5;
            dye.times(1.0 - bare).plus(core, bare).times(thread * (-falloff * u).exp())
        });
        let whole = color.map(|_| 1.0f32);
        let slow = shading(&color, &whole, &whole, 8.0).slow;
        slow.texels().iter().fold([f32::INFINITY, f32::NEG_INFINITY], |[a, b], s| [a.min(*s), b.max(*s)])
    }

    #[test]
    fn wear_is_no_light_and_a_lamp_is() {
        // The truth is exact: the light is even, or falls off by e to the 0.6 from side to side. Worn indigo alone is 1.3 in logs, and
        // what of it bends with its colour is half or more: taken for light by brightness alone, all of it would be.
        let [low, high] = found(0.5, 0.0);
        assert!(high - low < 0.8, "worn cloth in even light: {low} to {high}");
        let [low, high] = found(0.0, 0.3);
        assert!((high - low - 0.6).abs() < 0.06, "plain cloth under a lamp: {low} to {high}");
    }
}
