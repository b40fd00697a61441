//! Waves of a picture, and the height that a gain for each makes of shading.

use rayon::prelude::*;
use tatter_core::image::Image;
use tatter_fourier::num_complex::Complex32;
use tatter_fourier::{Fft, FourierPlanner, fast_length};

use super::gain::Gain;
use super::integrate::turn;

/// Height in texels, and log shading without what dye is left in it, of log light about 0 through a gain; `pitch` texels a
/// spacing.
pub(super) fn raised(shade: &Image<f32>, gain: &Gain, pitch: f32) -> [Image<f32>; 2] {
    let (width, height) = (shade.width(), shade.height());
    let pad = (2.0 * pitch).ceil() as usize;
    let (columns, rows) = (fast_length(width + pad), fast_length(height + pad));
    let mut field = vec![Complex32::ZERO; columns * rows];
    field.par_chunks_mut(columns).take(height).enumerate().for_each(|(y, row)| {
        for (cell, s) in row.iter_mut().zip(shade.row(y)) {
            cell.re = *s;
        }
    });
    let mut planner = FourierPlanner::new();
    let (along, down) = (planner.forward(columns), planner.forward(rows));
    lines(&mut field[..columns * height], columns, along.as_ref());
    let mut turned = turned(&field, columns, rows);
    lines(&mut turned, rows, down.as_ref());
    // Both results are real, so one transform carries them back: height as real, shading as imaginary part. Waves still
    // stand on their side.
    let scale = 1.0 / (columns * rows) as f32;
    turned.par_chunks_mut(rows).enumerate().for_each(|(u, column)| {
        let fx = pitch * frequency(u, columns);
        for (v, cell) in column.iter_mut().enumerate() {
            let [height, shading] = gain.at(fx, pitch * frequency(v, rows));
            *cell *= (height * pitch + shading * Complex32::I) * scale;
        }
    });
    let (along, down) = (planner.inverse(columns), planner.inverse(rows));
    lines(&mut turned, rows, down.as_ref());
    turn(&turned, rows, columns, &mut field);
    drop(turned);
    lines(&mut field[..columns * height], columns, along.as_ref());
    let part = |f: fn(Complex32) -> f32| Image::from_fn(width, height, |x, y| f(field[y * columns + x]));
    [part(|c| c.re), part(|c| c.im)]
}

/// Cycles a texel of bin `i`.
pub(super) fn frequency(i: usize, size: usize) -> f32 {
    let i = if 2 * i > size { i as f32 - size as f32 } else { i as f32 };
    i / size as f32
}

pub(super) fn transform(field: &mut Vec<Complex32>, columns: usize, rows: usize, planner: &mut FourierPlanner, forward: bool) {
    for (length, count) in [(columns, rows), (rows, columns)] {
        let plan = if forward { planner.forward(length) } else { planner.inverse(length) };
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

/// Rows become columns.
fn turned(field: &[Complex32], columns: usize, rows: usize) -> Vec<Complex32> {
    let mut out = vec![Complex32::ZERO; field.len()];
    turn(field, columns, rows, &mut out);
    out
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn there_and_back_is_the_same() {
        let (columns, rows) = (20, 12);
        let value = |i: usize| Complex32::new((i as f32 * 0.7).sin(), 0.0);
        let mut field: Vec<Complex32> = (0..columns * rows).map(value).collect();
        let mut planner = FourierPlanner::new();
        transform(&mut field, columns, rows, &mut planner, true);
        transform(&mut field, columns, rows, &mut planner, false);
        for (i, cell) in field.iter().enumerate() {
            assert!((cell / (columns * rows) as f32 - value(i)).norm() < 1e-5, "cell {i} comes back");
        }
    }
}
