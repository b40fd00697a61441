//! A first guess by phase correlation (Kuglin, Hines, "The Phase Correlation Image Alignment Method", 1975), over some turns
//! and sizes.

use rayon::prelude::*;
use tatter_core::image::Image;
use tatter_fourier::num_complex::Complex;
use tatter_fourier::{FourierPlanner, both_axes, hann};

use super::{Homography, warp};

/// Turns (degrees) and sizes tried: what a hand that means to hold still does.
const TURNS: [f64; 9] = [0.0, -1.0, 1.0, -2.0, 2.0, -3.0, 3.0, -4.0, 4.0];
const SIZES: [f64; 3] = [1.0, 0.98, 1.02];
/// Furthest shift believed, as a share of the picture's side.
const FURTHEST: f64 = 0.25;

/// Maps that take places of `reference` to those of `other`, the likeliest first, at most `count`.
pub(super) fn guesses(reference: &Image<f32>, other: &Image<f32>, count: usize) -> Vec<Homography> {
    let side = reference.width().max(reference.height()).next_power_of_two();
    let known = spectrum(reference, side);
    let middle = [0.5 * reference.width() as f64, 0.5 * reference.height() as f64];
    let tries: Vec<Homography> =
        SIZES.iter().flat_map(|size| TURNS.iter().map(|turn| Homography::turn(turn.to_radians(), *size, middle))).collect();
    let mut peaks: Vec<(f32, Homography)> = tries
        .par_iter()
        .flat_map_iter(|turn| {
            let found = spectrum(&warp(other, turn, reference.size()), side);
            peaks(&known, &found, side)
                .into_iter()
                .map(|(height, shift)| (height, turn.after(&Homography::shift(shift[0], shift[1]))))
        })
        .collect();
    peaks.sort_by(|a, b| b.0.total_cmp(&a.0));
    peaks.truncate(count);
    peaks.into_iter().map(|(_, map)| map).collect()
}

/// Fourier transform of the picture under a window, on a square.
fn spectrum(image: &Image<f32>, side: usize) -> Vec<Complex<f32>> {
    let mut grid = vec![Complex::default(); side * side];
    for y in 0..image.height() {
        let wy = hann(y, image.height());
        for x in 0..image.width() {
            grid[y * side + x].re = image.get(x, y) * wy * hann(x, image.width());
        }
    }
    both_axes(grid, &*FourierPlanner::new().forward(side))
}

/// The three highest peaks of the correlation and the shifts they stand for.
fn peaks(reference: &[Complex<f32>], other: &[Complex<f32>], side: usize) -> Vec<(f32, [f64; 2])> {
    let soft = |i: usize| {
        let f = i.min(side - i) as f32 / side as f32;
        (-(f / 0.25).powi(2)).exp()
    };
    let cross: Vec<Complex<f32>> = reference
        .iter()
        .zip(other)
        .enumerate()
        .map(|(i, (a, b))| {
            let product = b * a.conj();
            // Half whitened: noise of empty frequencies is not raised to the level of threads.
            product * (soft(i / side) * soft(i % side) / (product.norm().sqrt() + 1e-9))
        })
        .collect();
    let mut cross = both_axes(cross, &*FourierPlanner::new().inverse(side));
    let mut found = Vec::new();
    let furthest = (FURTHEST * side as f64) as isize;
    for _ in 0..3 {
        let near = |i: usize| if i * 2 > side { i as isize - side as isize } else { i as isize };
        let best = (0..side * side)
            .filter(|i| near(i % side).abs() <= furthest && near(i / side).abs() <= furthest)
            .max_by(|a, b| cross[*a].re.total_cmp(&cross[*b].re));
        let Some(best) = best else { break };
        let height = cross[best].re;
        let at = [near(best % side), near(best / side)];
        found.push((height, at.map(|v| v as f64)));
        for dy in -2..=2 {
            for dx in -2..=2 {
                let wrap = |v: isize| v.rem_euclid(side as isize) as usize;
                cross[wrap(at[1] + dy) * side + wrap(at[0] + dx)].re = f32::NEG_INFINITY;
            }
        }
    }
    found
}
