//! What a place of cloth looks like, as a few numbers: colour without slow light, energies of texture, direction, and how
//! much a line of cloth along either thread direction stands out from its surround.

use rayon::iter::ParallelIterator as _;
use tatter_capture::surface::Surface;
use tatter_core::angle::Angle;
use tatter_core::color::Lab;
use tatter_core::image::{Image, LinearRgb, Pixel as _};
use tatter_core::kernel::gaussian;
use tatter_core::stats::{median, quantile};

/// L*, a*, b*, three bands, two gradients, their cross term, lines along two directions.
pub(super) const FEATURES: usize = 11;
/// Deviation of the Gaussian along long lines, working pixels.
const LINE_REACH: f32 = 24.0;
/// Deviations from which a long line belongs to an injury: yarn of ordinary unevenness stays below.
pub(super) const LINE_JOINS: f32 = 4.5;
/// One place of cloth.
pub(super) type Feature = [f32; FEATURES];

/// Added to each feature's variance: below these differences (L* units, log energy) nothing is an injury, only noise of
/// 8-bit pictures. Tuned on scans and grey factory pictures; more hides faint stains.
pub(super) const RIDGE: Feature = [0.15, 0.06, 0.06, 0.01, 0.01, 0.01, 0.01, 0.01, 0.003, 0.1, 0.1];

/// CIELAB of the picture with its slow light and slow cast taken off: what remains varies around the cloth's mean. Light is not
/// learnt from what is no cloth for certain.
pub(super) fn flat_lab(color: &Image<LinearRgb>, sigma: f32, exclude: &Image<bool>) -> Image<LinearRgb> {
    let lab = color.map(|c| {
        let lab = Lab::from(LinearRgb(c.0.map(|v| v.clamp(0.0, 4.0))));
        LinearRgb([lab.l, lab.a, lab.b])
    });
    let smooth = gaussian(&lab, sigma);
    let (width, height) = (lab.width(), lab.height());
    let step = ((width * height) as f32 / 2500.0).sqrt().max(1.0) as usize;
    let mut samples = Vec::new();
    for y in (step / 2..height).step_by(step) {
        for x in (step / 2..width).step_by(step).filter(|&x| !exclude.get(x, y)) {
            samples.push(([x as f32 + 0.5, y as f32 + 0.5], smooth.get(x, y).0, 1.0));
        }
    }
    let flat = match Surface::<3>::fit([width, height], &samples) {
        Some(surface) => Image::from_fn(width, height, |x, y| {
            lab.get(x, y).plus(LinearRgb(surface.at([x as f32 + 0.5, y as f32 + 0.5])), -1.0)
        }),
        None => lab,
    };
    without_spoilt_border(&flat)
}

/// Scanners leave a few dark or light lines at the border: where a quarter of such a line is far from what lines of this
/// cloth are, it and what lies beyond show the cloth just inside, mirrored.
fn without_spoilt_border(flat: &Image<LinearRgb>) -> Image<LinearRgb> {
    const DEEP: usize = 8;
    let (width, height) = (flat.width(), flat.height());
    if width.min(height) < 6 * DEEP {
        return flat.clone();
    }
    let quarters = |line: &mut dyn Iterator<Item = f32>| {
        let mut values: Vec<f32> = line.collect();
        [0.25, 0.5, 0.75].map(|share| quantile(&mut values, share))
    };
    let row = |y: usize| quarters(&mut flat.row(y).iter().map(|c| c.0[0]));
    let column = |x: usize| quarters(&mut (0..height).map(|y| flat.get(x, y).0[0]));
    let limits = |count: usize, line: &dyn Fn(usize) -> [f32; 3]| {
        let inner: Vec<[f32; 3]> = (2 * DEEP..count - 2 * DEEP).map(line).collect();
        let spoilt = |v: [f32; 3]| {
            (0..3).any(|k| {
                let mut of: Vec<f32> = inner.iter().map(|q| q[k]).collect();
                let middle = median(&mut of);
                let spread = 1.4826 * median(&mut of.iter().map(|v| (v - middle).abs()).collect::<Vec<_>>());
                (v[k] - middle).abs() > 6.0 * spread.max(0.3)
            })
        };
        let low = (0..DEEP).rev().find(|&i| spoilt(line(i))).map_or(0, |i| i + 2);
        let high = (count - DEEP..count).find(|&i| spoilt(line(i))).map_or(count, |i| i - 1);
        (low, high)
    };
    let ((left, right), (top, bottom)) = (limits(width, &column), limits(height, &row));
    let mirrored =
        |v: usize, low: usize, high: usize| if v < low { 2 * low - v } else { v.min(2 * (high - 1) - v.min(2 * high - 2)) };
    Image::from_fn(width, height, |x, y| flat.get(mirrored(x, left, right), mirrored(y, top, bottom)))
}

/// How many robust deviations a long line of cloth through each pixel stands out, the stronger of two directions: a pulled
/// or hanging thread, a streak. Lines of ordinary uneven yarn set the deviation.
pub(super) fn line_unlikeness(lab: &Image<LinearRgb>, lines: [Angle; 2]) -> Image<f32> {
    let soft = gaussian(&lab.map(|c| c.0[0]), 0.7);
    let [first, second] = lines.map(|line| {
        let mean = along(&soft, line, LINE_REACH);
        // Against the lines beside it: folds and shades are broad and fall out.
        let off = mean.zip(&gaussian(&mean, 3.0), |l, s| (l - s).abs());
        let step = (off.size().area() / 4000).max(1);
        let mut some: Vec<f32> = off.texels().iter().step_by(step).copied().collect();
        let scale = 1.0 / (1.4826 * median(&mut some)).max(0.1);
        let (sin, cos) = line.sin_cos();
        let whole = |place: usize, count: usize, step: f32| {
            let room = place.min(count - 1 - place) as f32;
            if step.abs() < 0.2 { 1.0 } else { (room / step.abs() / LINE_REACH).min(1.0) }
        };
        // Near the border a line is short and proves less.
        let unlike = Image::from_fn(off.width(), off.height(), |x, y| {
            off.get(x, y) * scale * (0.5 + 0.5 * whole(x, off.width(), cos).min(whole(y, off.height(), sin)))
        });
        // A thread is not lost where it runs under others for a while: pieces of a line join along it.
        let pieces = along(&unlike.map(|u| if u > LINE_JOINS { 1.0 } else { 0.0 }), line, LINE_REACH);
        unlike.zip(&pieces, |u, p| if p > 0.15 && u > 0.4 * LINE_JOINS { u.max(1.01 * LINE_JOINS) } else { u })
    });
    first.zip(&second, f32::max)
}

/// Features of every pixel, smoothed over `sigma` pixels (about one thread pitch); threads run along `lines`. What changes slowly is
/// not learnt from places that are no cloth for certain.
pub(super) fn features(lab: &Image<LinearRgb>, sigma: f32, lines: [Angle; 2], exclude: &Image<bool>) -> Image<FeatureTexel> {
    let (width, height) = (lab.width(), lab.height());
    let light = lab.map(|c| c.0[0]);
    let octaves = [0.0, 1.0, 2.0, 4.0].map(|s| gaussian(&light, s));
    let band = |a: usize| octaves[a].zip(&octaves[a + 1], |p, q| (p - q) * (p - q));
    let slope = |dx: isize, dy: isize| {
        let image = &octaves[1];
        move |x: usize, y: usize| {
            let (x, y) = (x as isize, y as isize);
            0.5 * (image.get_clamped(x + dx, y + dy) - image.get_clamped(x - dx, y - dy))
        }
    };
    let (gx, gy) = (slope(1, 0), slope(0, 1));
    let gradients = Image::from_fn(width, height, |x, y| {
        let (p, q) = (gx(x, y), gy(x, y));
        LinearRgb([p * p, q * q, p * q])
    });
    let bands = [band(0), band(1), band(2)];
    let bands = Image::from_fn(width, height, |x, y| LinearRgb([0, 1, 2].map(|i: usize| bands[i].get(x, y))));
    let (color, bands, gradients) = (gaussian(lab, sigma), gaussian(&bands, sigma), gaussian(&gradients, sigma));
    let surround = gaussian(&octaves[3], 2.0 * sigma);
    let lines = lines.map(|line| along(&octaves[1], line, (2.5 * sigma).clamp(8.0, 16.0)));
    let places = Image::from_fn(width, height, |x, y| {
        let (c, b, g) = (color.get(x, y).0, bands.get(x, y).0, gradients.get(x, y).0);
        let log = |v: f32| 0.5 * (v.max(0.0) + 0.02).ln();
        let cross = g[2] / (g[0] * g[1]).max(0.0).sqrt().max(0.02);
        let [first, second] = [0, 1].map(|i: usize| lines[i].get(x, y) - surround.get(x, y));
        FeatureTexel([c[0], c[1], c[2], log(b[0]), log(b[1]), log(b[2]), log(g[0]), log(g[1]), cross, first, second])
    });
    without_slow_texture(places, exclude)
}

/// Means along a line through each pixel, Gaussian of deviation `reach` pixels.
fn along(light: &Image<f32>, line: Angle, reach: f32) -> Image<f32> {
    let (sin, cos) = line.sin_cos();
    let count = (1.5 * reach).ceil() as i32;
    let taps: Vec<(f32, f32, f32)> = (-count..=count)
        .map(|t| {
            let t = t as f32;
            (t * cos, -t * sin, (-t * t / (2.0 * reach * reach)).exp())
        })
        .collect();
    let reach = count as usize + 1;
    let bordered = light.bordered(reach);
    let kernel = spread(&taps, reach);
    let mut means = Image::filled(light.width(), light.height(), 0.0);
    // Tap by tap along the row, so that neighbours are summed side by side.
    means.par_rows_mut().for_each(|(y, row)| {
        for ([dx, dy], w) in &kernel {
            let source = &bordered.row(y + dy)[*dx..];
            row.iter_mut().zip(source).for_each(|(to, v)| *to += w * v);
        }
    });
    means
}

/// Taps between pixels, `(x, y, weight)` from the pixel they are for, as weights of the pixels around them (bilinear) that sum to 1;
/// those are counted from a corner `middle` pixels up and left.
fn spread(taps: &[(f32, f32, f32)], middle: usize) -> Vec<([usize; 2], f32)> {
    let total: f32 = taps.iter().map(|t| t.2).sum();
    let mut weights = std::collections::BTreeMap::<[usize; 2], f32>::new();
    for (dx, dy, w) in taps {
        let (x0, y0) = (dx.floor(), dy.floor());
        let either = |first: f32, at: f32| [(first, 1.0 - (at - first)), (first + 1.0, at - first)];
        for (y, wy) in either(y0, *dy) {
            for (x, wx) in either(x0, *dx).into_iter().filter(|(_, wx)| wx * wy > 1e-4) {
                let at = [x, y].map(|v| (v + middle as f32) as usize);
                *weights.entry([at[1], at[0]]).or_default() += w / total * wx * wy;
            }
        }
    }
    let kept: f32 = weights.values().sum();
    weights.into_iter().map(|([y, x], w)| ([x, y], w / kept)).collect()
}

/// A lens sharper in the middle, or cloth that curves away, changes texture slowly over the photo: taken off as light is.
fn without_slow_texture(mut places: Image<FeatureTexel>, exclude: &Image<bool>) -> Image<FeatureTexel> {
    const FIRST: usize = 3;
    let (width, height) = (places.width(), places.height());
    let step = ((width * height) as f32 / 2500.0).sqrt().max(1.0) as usize;
    let grid = |n: usize| (step / 2..n).step_by(step);
    let samples: Vec<_> = grid(height)
        .flat_map(|y| grid(width).map(move |x| (x, y)))
        .filter(|&(x, y)| !exclude.get(x, y))
        .map(|(x, y)| {
            let place = places.get(x, y).0;
            ([x as f32 + 0.5, y as f32 + 0.5], std::array::from_fn(|i| place[FIRST + i]), 1.0)
        })
        .collect();
    let Some(surface) = Surface::<5>::fit([width, height], &samples) else { return places };
    let middle = surface.at([0.5 * width as f32, 0.5 * height as f32]);
    places.par_rows_mut().for_each(|(y, row)| {
        for (x, place) in row.iter_mut().enumerate() {
            let slow = surface.at([x as f32 + 0.5, y as f32 + 0.5]);
            for i in 0..5 {
                place.0[FIRST + i] -= slow[i] - middle[i];
            }
        }
    });
    places
}

/// A feature as an image's texel.
#[derive(Clone, Copy, Debug)]
pub(super) struct FeatureTexel(pub(super) Feature);

#[cfg(test)]
mod tests {
    use super::*;

    /// Beside the definition: a Gaussian's mean of places between pixels.
    #[test]
    fn means_along_a_line_are_those_of_its_places() {
        let light = Image::from_fn(40, 30, |x, y| ((x * 13 + y * 29) % 17) as f32);
        let (line, reach) = (Angle::degrees(62.0), 5.0f32);
        let (sin, cos) = line.sin_cos();
        let means = along(&light, line, reach);
        for (x, y) in [(0, 0), (39, 29), (20, 14), (3, 27)] {
            let [mut sum, mut total] = [0.0f32; 2];
            for t in -8..=8 {
                let t = t as f32;
                let w = (-t * t / (2.0 * reach * reach)).exp();
                sum += w * light.bilinear(x as f32 + 0.5 + t * cos, y as f32 + 0.5 - t * sin);
                total += w;
            }
            let off = (means.get(x, y) - sum / total).abs();
            assert!(off < 0.01, "at {x}, {y} off by {off}");
        }
    }
}
