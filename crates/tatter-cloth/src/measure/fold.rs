//! The cloth's own repeat without its noise: amplitudes of the spectrum's points, averaged over blocks of the picture that
//! are first laid on each other by their phases. Bow, skew and slowly changing spacing do not smear it.

use rayon::prelude::*;
use tatter_core::image::Image;
use tatter_fourier::num_complex::Complex;

use super::lattice::{Base, combine, length};

type C = Complex<f64>;

/// Points of the spectrum with their mean amplitude.
#[derive(Clone, Debug)]
pub(super) struct Fold {
    /// Whole coordinates in the points' base, and frequency.
    pub(super) at: Vec<([i32; 2], [f64; 2])>,
    /// Mean amplitude over the blocks, total power 1.
    pub(super) amplitude: Vec<C>,
    /// Whether each point is more than noise and a two-hundredth of the power.
    pub(super) strong: Vec<bool>,
}

impl Fold {
    /// Base of the lattice that the strong points alone generate, in whole numbers of this fold's.
    pub(super) fn generated(&self) -> [[i32; 2]; 2] {
        let mut base = [[0, 0], [0, 0]];
        for ((at, _), _) in self.at.iter().zip(&self.strong).filter(|(_, s)| **s) {
            base = join(base, *at);
        }
        base
    }
}

/// Upper triangular base of the lattice of `base` and one more vector (Hermite's form).
fn join([mut a, mut b]: [[i32; 2]; 2], mut v: [i32; 2]) -> [[i32; 2]; 2] {
    while v[0] != 0 {
        let q = a[0].div_euclid(v[0]);
        (a, v) = (v, [a[0] - q * v[0], a[1] - q * v[1]]);
    }
    while v[1] != 0 {
        let q = b[1].div_euclid(v[1]);
        (b, v) = (v, [0, b[1] - q * v[1]]);
    }
    if b[1] != 0 {
        a[1] = a[1].rem_euclid(b[1].abs());
    }
    [a, b]
}

/// Points up to the band's edge, at most this many: what a repeat of eight threads needs to show its floats.
const POINTS: usize = 64;

/// Sides of the picture looked at, at most.
const LOOK: usize = 640;

/// Fold `signal` (the real part of `turn` times it) by the lattice of `base`.
pub(super) fn fold(signal: &Image<Complex<f32>>, turn: Complex<f32>, base: &Base) -> Option<Fold> {
    let at = points(base);
    // Blocks long enough to hold neighbouring points apart under a Hann window.
    let shorter = signal.width().min(signal.height());
    let step = ((1.5 / length(base[0])) as usize).clamp(8, shorter / 3);
    let (columns, rows) = ((signal.width().min(LOOK) / step).checked_sub(1)?, (signal.height().min(LOOK) / step).checked_sub(1)?);
    if columns * rows < 1 || at.len() < 3 {
        return None;
    }
    let (left, top) = ((signal.width() - (columns + 1) * step) / 2, (signal.height() - (rows + 1) * step) / 2);
    let view = View { signal, turn, left, top, step, columns, rows };
    let by_point: Vec<Vec<C>> = at.par_iter().map(|(_, f)| view.amplitudes(*f)).collect();
    let count = columns * rows;
    let blocks: Vec<Vec<C>> = (0..count).map(|b| by_point.iter().map(|p| p[b]).collect()).collect();
    Some(lay_together(at, &blocks))
}

/// Half of the lattice's points, the lowest first, inside the band.
fn points(base: &Base) -> Vec<([i32; 2], [f64; 2])> {
    let mut all = Vec::new();
    for i in -24..=24 {
        for j in -24..=24 {
            let f = combine(base, [f64::from(i), f64::from(j)]);
            let upper = f[1] > 1e-9 || (f[1].abs() <= 1e-9 && f[0] > 0.0);
            if upper && length(f) < 0.46 && f[0].abs() < 0.46 && f[1].abs() < 0.46 {
                all.push(([i, j], f));
            }
        }
    }
    all.sort_by(|a, b| length(a.1).total_cmp(&length(b.1)));
    all.truncate(POINTS);
    all
}

struct View<'a> {
    signal: &'a Image<Complex<f32>>,
    turn: Complex<f32>,
    left: usize,
    top: usize,
    step: usize,
    columns: usize,
    rows: usize,
}

impl View<'_> {
    /// Amplitude of one frequency (y up) in each block, phase counted from the block's own corner.
    fn amplitudes(&self, f: [f64; 2]) -> Vec<C> {
        let step = self.step;
        let wave = |k: usize, f: f64| {
            let (sin, cos) = (-std::f64::consts::TAU * (f * k as f64).fract()).sin_cos();
            let window = 0.5 - 0.5 * (std::f64::consts::PI * (k as f64 + 0.5) / step as f64).cos();
            Complex::new((window * cos) as f32, (window * sin) as f32)
        };
        let across: Vec<Complex<f32>> = (0..2 * step).map(|k| wave(k, f[0])).collect();
        let down: Vec<Complex<f32>> = (0..2 * step).map(|k| wave(k, -f[1])).collect();
        let mut sums = vec![C::default(); self.columns * self.rows];
        let mut line = vec![0f32; (self.columns + 1) * step];
        for y in 0..(self.rows + 1) * step {
            let row = &self.signal.row(self.top + y)[self.left..];
            line.iter_mut().zip(row).for_each(|(l, v)| *l = v.re * self.turn.re - v.im * self.turn.im);
            for c in 0..self.columns {
                let part: Complex<f32> = line[c * step..(c + 2) * step].iter().zip(&across).map(|(v, w)| w * v).sum();
                for r in (y / step).saturating_sub(1)..=(y / step).min(self.rows - 1) {
                    let v = part * down[y - r * step];
                    sums[r * self.columns + c] += C::new(f64::from(v.re), f64::from(v.im));
                }
            }
        }
        sums
    }
}

/// Shift every block until it lies on the mean of those before it, and average.
fn lay_together(at: Vec<([i32; 2], [f64; 2])>, blocks: &[Vec<C>]) -> Fold {
    let power = |k: usize| blocks.iter().map(|b| b[k].norm_sqr()).sum::<f64>();
    let powers: Vec<f64> = (0..at.len()).map(power).collect();
    let mut order: Vec<usize> = (0..at.len()).collect();
    order.sort_by(|&a, &b| powers[b].total_cmp(&powers[a]));
    let cross = |a: usize, b: usize| at[a].0[0] * at[b].0[1] - at[a].0[1] * at[b].0[0];
    let first = order[0];
    let second = order.iter().copied().find(|&k| cross(first, k) != 0).unwrap_or(first);
    let d = cross(first, second);
    let total = |b: &[C]| b.iter().map(C::norm_sqr).sum::<f64>();
    let start = (0..blocks.len()).max_by(|&a, &b| total(&blocks[a]).total_cmp(&total(&blocks[b])).then(b.cmp(&a))).unwrap_or(0);
    let mut mean = blocks[start].clone();
    for pass in 0..2 {
        let mut sum = vec![C::default(); at.len()];
        let target = mean.clone();
        for block in blocks {
            let moved = best_shift(&at, block, &target, [first, second], d);
            sum.iter_mut().zip(moved).for_each(|(s, v)| *s += v);
        }
        mean = sum.iter().map(|s| s / blocks.len() as f64).collect();
        if pass == 0 && blocks.len() == 1 {
            break;
        }
    }
    let kept = total(&mean);
    let count = blocks.len() as f64;
    // Variance of a mean, from the scatter of the blocks; neighbours overlap by half.
    let noise = |k: usize| (powers[k] / count - mean[k].norm_sqr()).max(0.0) * 2.0 / count;
    let strong = (0..at.len()).map(|k| mean[k].norm_sqr() > (6.0 * noise(k)).max(0.005 * kept)).collect();
    let scale = 1.0 / kept.max(1e-30).sqrt();
    mean.iter_mut().for_each(|v| *v *= scale);
    Fold { at, amplitude: mean, strong }
}

/// The block moved so that its two strongest points agree with the target's in phase, by the one of the ways that leaves
/// the others most alike.
fn best_shift(at: &[([i32; 2], [f64; 2])], block: &[C], target: &[C], [p, q]: [usize; 2], d: i32) -> Vec<C> {
    let phase = |k: usize| (target[k] * block[k].conj()).arg() / std::f64::consts::TAU;
    let ([a, b], [c, e]) = (at[p].0, at[q].0);
    let mut best: (f64, Vec<C>) = (f64::MIN, block.to_vec());
    let mut seen: Vec<[i64; 2]> = Vec::new();
    for i in 0..d.abs() {
        for j in 0..d.abs() {
            // Turns along the points' base: m s = phase + whole, m the coordinates of the two.
            let (u, v) = (phase(p) + f64::from(i), phase(q) + f64::from(j));
            let s = [(u * f64::from(e) - v * f64::from(b)) / f64::from(d), (v * f64::from(a) - u * f64::from(c)) / f64::from(d)];
            let key = s.map(|v| ((v.rem_euclid(1.0)) * 4096.0).round() as i64 % 4096);
            if seen.contains(&key) {
                continue;
            }
            seen.push(key);
            let moved: Vec<C> = block
                .iter()
                .zip(at)
                .map(|(v, (m, _))| {
                    let turns = f64::from(m[0]) * s[0] + f64::from(m[1]) * s[1];
                    v * C::from_polar(1.0, std::f64::consts::TAU * turns)
                })
                .collect();
            let like: f64 = moved.iter().zip(target).map(|(a, b)| (a * b.conj()).re).sum();
            if like > best.0 {
                best = (like, moved);
            }
        }
    }
    best.1
}
