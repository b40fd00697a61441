//! Shading into height, in texels: bands for soft light, linear shape from shading for a lamp (Pentland, "Linear Shading
//! Analysis", 1990).

use rayon::prelude::*;
use rustfft::num_complex::Complex32;
use rustfft::{Fft, FftPlanner};
use tatter_core::image::Image;

use super::Light;
use super::smooth::soft;

/// Noise level of the inversion: less follows the light's blind direction further, more is smoother.
const REGULAR: f32 = 0.03;

/// Dark is deep: bands from a fibre to half a thread and more, each the stronger the wider. Any unit.
pub(super) fn bands(shade: &Image<f32>, pitch: f32) -> Image<f32> {
    let mut sum = Image::filled(shade.width(), shade.height(), 0.0f32);
    let unit = pitch / 9.0;
    let mut fine = soft(shade, 0.7 * unit);
    for s in [0.7f32, 1.4, 2.8] {
        let wide = soft(shade, 2.0 * s * unit);
        sum = Image::from_fn(shade.width(), shade.height(), |x, y| sum.get(x, y) + s * (fine.get(x, y) - wide.get(x, y)));
        fine = wide;
    }
    sum
}

/// Height in texels of which this light would make that shading, with `band` (texels) where the light is blind. `direct` is
/// the share of the light that comes from the lamp.
pub(super) fn from_lamp(shade: &Image<f32>, band: &Image<f32>, light: &Light, direct: f32, pitch: f32) -> Image<f32> {
    let Some(from) = light.from else {
        return band.clone();
    };
    let (width, height) = (shade.width(), shade.height());
    let pad = (2.0 * pitch).ceil() as usize;
    let (columns, rows) = (fast_size(width + pad), fast_size(height + pad));
    let (sin, cos) = from.sin_cos();
    let lean = direct / light.elevation.to_radians().tan().max(0.1);
    let (lx, ly) = (lean * cos, lean * sin);
    // One transform carries both: shading as the real part, the band height as the imaginary one.
    let mut field = vec![Complex32::ZERO; columns * rows];
    field.par_chunks_mut(columns).take(height).enumerate().for_each(|(y, row)| {
        for (x, cell) in row.iter_mut().take(width).enumerate() {
            *cell = Complex32::new((shade.get(x, y).exp() - 1.0).clamp(-1.0, 1.5), band.get(x, y));
        }
    });
    let mut planner = FftPlanner::new();
    transform(&mut field, columns, rows, &mut planner, true);
    let slow = 1.0 / (2.5 * pitch);
    let solved: Vec<Complex32> = (0..columns * rows)
        .into_par_iter()
        .with_min_len(columns)
        .map(|i| {
            let (u, v) = (i % columns, i / columns);
            let mirror = field[(columns - u) % columns + ((rows - v) % rows) * columns].conj();
            let (s, b) = ((field[i] + mirror) * 0.5, (field[i] - mirror) * Complex32::new(0.0, -0.5));
            let (fx, fy) = (frequency(u, columns), frequency(v, rows));
            let d = std::f32::consts::TAU * (-lx * fx + ly * fy);
            let power = d * d;
            let seen = power / (power + REGULAR * lean * lean);
            // Slower than a few threads it is fold or stain, not thread.
            let high = 1.0 - (-(fx * fx + fy * fy) / (slow * slow)).exp();
            s * Complex32::new(0.0, -d) / (power + REGULAR * lean * lean) * high + b * (1.0 - seen)
        })
        .collect();
    let mut field = solved;
    transform(&mut field, columns, rows, &mut planner, false);
    let scale = 1.0 / (columns * rows) as f32;
    Image::from_fn(width, height, |x, y| field[y * columns + x].re * scale)
}

/// Cycles a texel of bin `i`.
fn frequency(i: usize, size: usize) -> f32 {
    let i = if 2 * i > size { i as f32 - size as f32 } else { i as f32 };
    i / size as f32
}

/// The next size that is a product of 2, 3 and 5.
fn fast_size(least: usize) -> usize {
    (least..)
        .find(|&n| {
            let mut n = n;
            for prime in [2, 3, 5] {
                while n % prime == 0 {
                    n /= prime;
                }
            }
            n == 1
        })
        .unwrap_or(least)
}

fn transform(field: &mut Vec<Complex32>, columns: usize, rows: usize, planner: &mut FftPlanner<f32>, forward: bool) {
    for (length, count) in [(columns, rows), (rows, columns)] {
        let plan = if forward { planner.plan_fft_forward(length) } else { planner.plan_fft_inverse(length) };
        lines(field, length, plan.as_ref());
        *field = turned(field, length, count);
    }
}

fn lines(field: &mut [Complex32], length: usize, plan: &dyn Fft<f32>) {
    field.par_chunks_mut(length).for_each_init(
        || vec![Complex32::ZERO; plan.get_inplace_scratch_len()],
        |scratch, line| plan.process_with_scratch(line, scratch),
    );
}

/// Rows become columns, in blocks that stay in cache.
fn turned(field: &[Complex32], columns: usize, rows: usize) -> Vec<Complex32> {
    const BLOCK: usize = 16;
    let mut out = vec![Complex32::ZERO; field.len()];
    out.par_chunks_mut(rows * BLOCK).enumerate().for_each(|(block, part)| {
        let x0 = block * BLOCK;
        for y in 0..rows {
            for dx in 0..part.len() / rows {
                part[dx * rows + y] = field[y * columns + x0 + dx];
            }
        }
    });
    out
}

#[cfg(test)]
mod tests {
    use super::*;
    use tatter_core::angle::Angle;

    #[test]
    fn a_lit_wave_comes_back() {
        // A field of waves 16 texels long and 0.4 texels high, shaded by the linear formula itself, with the lamp left above.
        let wave = |x: f32, y: f32| 0.4 * (std::f32::consts::TAU * (x + 0.5 * y) / 16.0).sin();
        let (sin, cos) = Angle::degrees(150.0).sin_cos();
        let shade = Image::from_fn(160, 160, |x, y| {
            let (x, y) = (x as f32, y as f32);
            let (p, q) = ((wave(x + 0.5, y) - wave(x - 0.5, y)), (wave(x, y - 0.5) - wave(x, y + 0.5)));
            (1.0 - (cos * p + sin * q)).ln()
        });
        let light = Light { from: Some(Angle::degrees(150.0)), elevation: Angle::degrees(45.0), told: true, confidence: 1.0 };
        let height = from_lamp(&shade, &Image::filled(160, 160, 0.0), &light, 1.0, 12.0);
        let mut worst = 0.0f32;
        for y in 40..120 {
            for x in 40..120 {
                worst = worst.max((height.get(x, y) - wave(x as f32, y as f32)).abs());
            }
        }
        assert!(worst < 0.12, "the wave's 0.4 texels come back within 0.12, got {worst}");
    }
}
