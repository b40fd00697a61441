//! Sharper frequencies: the phase of each lattice point is followed from block to block over the whole photo.

use rayon::prelude::*;
use tatter_core::image::Image;
use tatter_fourier::num_complex::Complex;

use super::judge::Reading;
use super::lattice::{Base, Row, solve};

/// Points followed on a small picture; fewer on large ones, where each holds more threads and costs more.
const POINTS: usize = 14;

/// Points followed at least.
const FEW_POINTS: usize = 4;

/// The lattice's base fitted to phases. Drift (bow, skew, perspective) averages out: the result counts threads over the
/// whole photo.
pub(super) fn sharpen(signal: &Image<Complex<f32>>, found: &Reading) -> Base {
    let mut base = found.base;
    let pitch = 1.0 / base.iter().map(|g| g[0].hypot(g[1])).fold(f64::MAX, f64::min);
    let shorter = signal.width().min(signal.height());
    let count = (POINTS * 600_000 / (signal.width() * signal.height())).clamp(FEW_POINTS, POINTS);
    for pitches in [2.5, 5.0] {
        let step = ((pitches * pitch) as usize).clamp(12, shorter / 4);
        let rows: Vec<Row> = found
            .points
            .iter()
            .take(count)
            .filter(|(_, excess)| *excess > 1.2)
            .collect::<Vec<_>>()
            .par_iter()
            .filter_map(|(at, _)| {
                let f = [at[0] * base[0][0] + at[1] * base[1][0], at[0] * base[0][1] + at[1] * base[1][1]];
                follow(signal, f, step).map(|(sharp, weight)| (*at, sharp, weight))
            })
            .collect();
        let Some(first) = solve(&rows) else { return base };
        // Points led astray by a print or a stripe are dropped, and the rest fitted again.
        let misfit = |g: &Base, r: &Row| {
            let (at, f) = (r.0, r.1);
            (at[0] * g[0][0] + at[1] * g[1][0] - f[0]).hypot(at[0] * g[0][1] + at[1] * g[1][1] - f[1])
        };
        let mut misfits: Vec<f64> = rows.iter().map(|r| misfit(&first, r)).collect();
        misfits.sort_unstable_by(f64::total_cmp);
        let limit = (3.0 * misfits[misfits.len() / 2]).max(1e-5);
        let good: Vec<_> = rows.into_iter().filter(|r| misfit(&first, r) <= limit).collect();
        let next = solve(&good).unwrap_or(first);
        let moved = (0..2).map(|i| (next[i][0] - found.base[i][0]).hypot(next[i][1] - found.base[i][1])).fold(0.0, f64::max);
        // The phase may not lead farther than the spectrum's own doubt.
        if moved * pitch > 0.06 {
            return base;
        }
        base = next;
    }
    base
}

/// How much two lattice points, in threads, take turns over the photo, 0..1: 0 where both are everywhere as strong as they are
/// in the whole, 1 where only one is anywhere.
pub(super) fn take_turns(signal: &Image<Complex<f32>>, base: &Base, points: [[f64; 2]; 2]) -> f64 {
    let pitch = 1.0 / base.iter().map(|g| g[0].hypot(g[1])).fold(f64::MAX, f64::min);
    let step = ((TURNS * pitch) as usize).clamp(8, (signal.width().min(signal.height()) / 4).max(8));
    let power = points.map(|at| {
        let f = [0, 1].map(|i| at[0] * base[0][i] + at[1] * base[1][i]);
        demodulate(signal, f, step).map(|v| v.norm_sqr())
    });
    let whole = |image: &Image<f64>| image.texels().iter().sum::<f64>();
    let total = [whole(&power[0]), whole(&power[1])];
    let share = total[0] / (total[0] + total[1]).max(1e-30);
    let pairs = || power[0].texels().iter().zip(power[1].texels());
    let weight: f64 = pairs().map(|(a, b)| a + b).sum();
    let off: f64 = pairs().map(|(a, b)| (a + b) * (a / (a + b).max(1e-30) - share).powi(2)).sum();
    off / (weight * share * (1.0 - share)).max(1e-30)
}

/// Half the width of the blocks in which points take turns, thread spacings.
const TURNS: f64 = 3.0;

/// One frequency (y up) sharpened by the mean phase step between neighbouring blocks; with a weight for its steadiness.
fn follow(signal: &Image<Complex<f32>>, f: [f64; 2], step: usize) -> Option<([f64; 2], f64)> {
    let blocks = demodulate(signal, f, step);
    let (columns, rows) = (blocks.width(), blocks.height());
    let (mut right, mut down, mut power) = (Complex::new(0.0f64, 0.0), Complex::new(0.0, 0.0), 0.0);
    for y in 0..rows {
        for x in 0..columns {
            let here = blocks.get(x, y);
            power += here.norm_sqr();
            if x + 1 < columns {
                right += blocks.get(x + 1, y) * here.conj();
            }
            if y + 1 < rows {
                down += blocks.get(x, y + 1) * here.conj();
            }
        }
    }
    if power <= 0.0 || columns < 2 || rows < 2 {
        return None;
    }
    let turn = std::f64::consts::TAU * step as f64;
    let steady = (right.norm() / power).min(down.norm() / power);
    Some(([f[0] + right.arg() / turn, f[1] - down.arg() / turn], steady * steady * power.sqrt()))
}

/// Hann-windowed blocks of twice `step`, each turned back by the frequency.
fn demodulate(signal: &Image<Complex<f32>>, f: [f64; 2], step: usize) -> Image<Complex<f64>> {
    let (width, height) = (signal.width(), signal.height());
    let (columns, rows) = ((width / step).saturating_sub(1), (height / step).saturating_sub(1));
    let window: Vec<f32> =
        (0..2 * step).map(|i| 0.5 - 0.5 * (std::f32::consts::PI * (i as f32 + 0.5) / step as f32).cos()).collect();
    let turned = |length: usize, f: f64| -> Vec<Complex<f32>> {
        (0..length)
            .map(|i| {
                let angle = -std::f64::consts::TAU * (f * i as f64).fract();
                Complex::new(angle.cos() as f32, angle.sin() as f32)
            })
            .collect()
    };
    let (across, downwards) = (turned(width, f[0]), turned(height, -f[1]));
    let mut sums = vec![Complex::new(0.0f64, 0.0); columns * rows];
    let mut line = vec![Complex::new(0.0f32, 0.0); columns];
    for y in 0..height {
        let row: Vec<Complex<f32>> = signal.row(y).iter().zip(&across).map(|(v, t)| v * t).collect();
        for (c, slot) in line.iter_mut().enumerate() {
            *slot = row[c * step..(c + 2) * step].iter().zip(&window).map(|(v, w)| v * w).sum();
        }
        let last = y / step;
        for r in last.saturating_sub(1)..=last {
            if r < rows && y >= r * step && y < (r + 2) * step {
                let weight = downwards[y] * window[y - r * step];
                for (sum, v) in sums[r * columns..(r + 1) * columns].iter_mut().zip(&line) {
                    let v = v * weight;
                    *sum += Complex::new(f64::from(v.re), f64::from(v.im));
                }
            }
        }
    }
    Image::from_vec(columns, rows, sums)
}
