//! Averaged power spectrum of tiles, and its peaks.

use rayon::prelude::*;
use tatter_fourier::num_complex::Complex;
use tatter_fourier::{FourierPlanner, hann};

use super::layers::Layer;

/// Tiles looked at, at most: enough for a steady mean, few enough for a quick answer on large photos.
const TILES: usize = 25;

/// Power over a square of frequencies, both halves equal, and the background it stands on.
#[derive(Debug)]
pub(super) struct Spectrum {
    /// Side, a power of two.
    pub(super) side: usize,
    /// Tiles averaged.
    pub(super) tiles: usize,
    /// Natural log of power over background, row-major, frequency (0, 0) in the corner, y *down*.
    excess: Vec<f32>,
}

/// A local maximum.
#[derive(Clone, Copy, Debug)]
pub(super) struct Peak {
    /// Cycles a pixel, y up, in the upper half plane.
    pub(super) at: [f64; 2],
    /// Natural log of power over background.
    pub(super) excess: f32,
    /// Whether it lies on a line that coloured stripes fill.
    pub(super) stripe: bool,
}

/// Mean of Hann-windowed periodograms (Welch 1967) over tiles that overlap by half.
pub(super) fn averaged(layer: &Layer, side: usize) -> Spectrum {
    let signal = &layer.signal;
    let tiles = tiles(layer, side);
    let window: Vec<f32> = (0..side).map(|i| hann(i, side)).collect();
    let fft = FourierPlanner::new().forward(side);
    let transform = |&(x, y): &(usize, usize)| {
        let mut grid: Vec<Complex<f32>> = Vec::with_capacity(side * side);
        for r in 0..side {
            grid.extend(signal.row(y + r)[x..x + side].iter().zip(&window).map(|(v, w)| v * (w * window[r])));
        }
        fft.process(&mut grid);
        let mut turned = vec![Complex::default(); side * side];
        transpose(&grid, &mut turned, side);
        fft.process(&mut turned);
        // `turned` has x frequency by rows; left so, and read accordingly.
        let power: Vec<f32> = turned.iter().map(|v| v.norm_sqr()).collect();
        power
    };
    let mut sum = vec![0f32; side * side];
    for chunk in tiles.chunks(8) {
        let powers: Vec<Vec<f32>> = chunk.par_iter().map(transform).collect();
        for power in powers {
            sum.iter_mut().zip(power).for_each(|(s, p)| *s += p);
        }
    }
    Spectrum::new(sum, side, tiles.len())
}

/// Corners of tiles that lie on cloth, spread evenly.
fn tiles(layer: &Layer, side: usize) -> Vec<(usize, usize)> {
    let starts = |length: usize| -> Vec<usize> {
        let count = (2 * (length - side)).div_ceil(side).min(4);
        (0..=count).map(|i| i * (length - side) / count.max(1)).collect()
    };
    let columns = starts(layer.signal.width());
    let all: Vec<(usize, usize)> =
        starts(layer.signal.height()).into_iter().flat_map(|y| columns.iter().map(move |&x| (x, y))).take(TILES).collect();
    let Some(weight) = &layer.weight else { return all };
    let share = |&(x, y): &(usize, usize)| -> f32 {
        (y..y + side).map(|r| weight.row(r)[x..x + side].iter().sum::<f32>()).sum::<f32>() / (side * side) as f32
    };
    let shares: Vec<f32> = all.iter().map(share).collect();
    let best = shares.iter().copied().fold(0.0, f32::max);
    all.into_iter().zip(shares).filter(|(_, s)| *s >= 0.6 * best).map(|(tile, _)| tile).collect()
}

fn transpose(from: &[Complex<f32>], to: &mut [Complex<f32>], side: usize) {
    const BLOCK: usize = 16;
    for by in (0..side).step_by(BLOCK) {
        for bx in (0..side).step_by(BLOCK) {
            for y in by..by + BLOCK {
                for x in bx..bx + BLOCK {
                    to[x * side + y] = from[y * side + x];
                }
            }
        }
    }
}

impl Spectrum {
    /// From power with x frequency by rows.
    fn new(power: Vec<f32>, side: usize, tiles: usize) -> Self {
        let at = |kx: usize, ky: usize| power[(kx % side) * side + ky % side];
        let both: Vec<f32> = (0..side * side)
            .map(|i| {
                let (x, y) = (i % side, i / side);
                at(x, y) + at(side - x, side - y) + 1e-20
            })
            .collect();
        let mut spectrum = Self { side, tiles, excess: both };
        let background = spectrum.background();
        for (i, value) in spectrum.excess.iter_mut().enumerate() {
            let radius = radius_of(i % side, i / side, side);
            let ring = ring_of(radius);
            let low = (ring.floor() as usize).min(background.len() - 2);
            let base = background[low] + (background[low + 1] - background[low]) * (ring - low as f32).min(1.0);
            *value = value.ln() - base;
        }
        spectrum
    }

    /// Median log power in rings, four to an octave.
    fn background(&self) -> Vec<f32> {
        let rings = ring_of(self.side as f32) as usize + 2;
        let mut members: Vec<Vec<f32>> = vec![Vec::new(); rings];
        for (i, value) in self.excess.iter().enumerate().take(self.side * (self.side / 2 + 1)) {
            members[(ring_of(radius_of(i % self.side, i / self.side, self.side)) + 0.5) as usize].push(value.ln());
        }
        let mut medians: Vec<f32> = members
            .iter_mut()
            .map(|ring| {
                ring.sort_unstable_by(f32::total_cmp);
                ring.get(ring.len() / 2).copied().unwrap_or(f32::NAN)
            })
            .collect();
        for i in 1..medians.len() {
            if medians[i].is_nan() {
                medians[i] = medians[i - 1];
            }
        }
        medians
    }

    /// Log excess at a frequency in cycles a pixel, y up: the largest of the nearest bins.
    pub(super) fn excess_near(&self, f: [f64; 2]) -> f32 {
        let side = self.side as f64;
        let (x, y) = ((f[0] * side).round() as isize, (-f[1] * side).round() as isize);
        let mut best = f32::MIN;
        for dy in -1..=1 {
            for dx in -1..=1 {
                best = best.max(self.bin(x + dx, y + dy));
            }
        }
        best
    }

    fn bin(&self, x: isize, y: isize) -> f32 {
        let side = self.side as isize;
        self.excess[(y.rem_euclid(side) * side + x.rem_euclid(side)) as usize]
    }

    /// How much the spectrum rises along a ray at that angle (y up), peaks capped: threads are long and uneven, so each
    /// family leaves a bright ray across itself.
    pub(super) fn ray(&self, angle: f64, last: f64) -> f32 {
        let (sin, cos) = angle.sin_cos();
        let (mut sum, mut count) = (0.0, 0.0);
        let last = last.clamp(9.0, self.side as f64 * 0.42);
        let mut r = 3.0;
        while r < last {
            let v = self.bin((r * cos).round() as isize, (-r * sin).round() as isize);
            sum += v.clamp(-1.0, 1.0);
            count += 1.0;
            r += 1.0;
        }
        sum / count
    }

    /// Log excess that noise alone reaches in few of ten thousand bins: chi-squared of four degrees of freedom a tile (two
    /// signals), tiles that overlap by half counting for little more than half.
    pub(super) fn noise_peak(&self) -> f32 {
        match self.tiles {
            0..=1 => 2.6,
            2..=4 => 2.1,
            _ => 1.7,
        }
    }

    /// Peaks that stand out, strongest first, at most 48.
    pub(super) fn peaks(&self, shortest_pitch: f32) -> Vec<Peak> {
        let side = self.side as isize;
        let half = side / 2;
        let limit = side as f32 / shortest_pitch.max(2.0);
        let least = self.noise_peak();
        let mut peaks = Vec::new();
        for y in 0..=half {
            for x in -half + 1..half {
                let radius = (x as f32).hypot(y as f32);
                if radius < 4.5 || radius > limit || (y == 0 && x < 0) {
                    continue;
                }
                let value = self.bin(x, -y);
                if value < least {
                    continue;
                }
                let around = (-2..=2).flat_map(|dy| (-2..=2).map(move |dx| (dx, dy))).filter(|&d| d != (0, 0));
                if around.into_iter().any(|(dx, dy)| self.bin(x + dx, -y + dy) > value) {
                    continue;
                }
                let offset = |a: f32, c: f32| {
                    let bend = a - 2.0 * value + c;
                    if bend < -1e-6 { (0.5 * (a - c) / bend).clamp(-0.5, 0.5) } else { 0.0 }
                };
                let fx = x as f32 + offset(self.bin(x - 1, -y), self.bin(x + 1, -y));
                let fy = y as f32 + offset(self.bin(x, -y + 1), self.bin(x, -y - 1));
                peaks.push(Peak { at: [f64::from(fx) / side as f64, f64::from(fy) / side as f64], excess: value, stripe: false });
            }
        }
        peaks.sort_by(|a, b| b.excess.total_cmp(&a.excess));
        peaks.truncate(48);
        peaks
    }
}

fn radius_of(x: usize, y: usize, side: usize) -> f32 {
    let signed = |k: usize| if k > side / 2 { k as f32 - side as f32 } else { k as f32 };
    signed(x).hypot(signed(y))
}

fn ring_of(radius: f32) -> f32 {
    4.0 * (radius.max(1.0)).log2()
}
