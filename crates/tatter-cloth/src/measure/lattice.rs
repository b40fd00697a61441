//! Two reciprocal vectors and a weave repeat that explain all peaks of a spectrum.
//!
//! A weave's spectrum has points at `i g1 + j g2`, one vector a thread family, and at fractions of them that tell the
//! repeat: plain (1/2, 1/2), twill on n threads (1/n, ±1/n), satin on five (1/5, ±2/5). Many pairs generate the same points;
//! which pair is the threads' follows from how the power lies: threads are long, straight and uneven, so power gathers
//! on the two axes.

use super::spectrum::{Peak, Spectrum};
use super::{Hand, Weave};

/// Which fractional points a weave has.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) enum Repeat {
    /// None: threads alike above and below, as in gauze.
    Whole,
    /// `(m / n, m k / n)`.
    Line(i32, i32),
    /// `(a / 4, b / 4)` with a + b even.
    Basket,
}

/// Candidates with the log of how common they are.
const REPEATS: &[(Repeat, f64)] = &[
    (Repeat::Line(2, 1), 0.0),
    (Repeat::Line(4, 1), -0.4),
    (Repeat::Line(4, -1), -0.4),
    (Repeat::Line(3, 1), -0.8),
    (Repeat::Line(3, -1), -0.8),
    (Repeat::Whole, -4.0),
    (Repeat::Line(5, 2), -1.5),
    (Repeat::Line(5, -2), -1.5),
    (Repeat::Basket, -1.5),
    (Repeat::Line(6, 1), -5.0),
    (Repeat::Line(6, -1), -5.0),
    (Repeat::Line(8, 3), -2.5),
    (Repeat::Line(8, -3), -2.5),
];

impl Repeat {
    /// Fractional points in the unit cell.
    pub(super) fn points(self) -> Vec<[f64; 2]> {
        match self {
            Self::Whole => vec![[0.0, 0.0]],
            Self::Line(n, k) => {
                (0..n).map(|m| [f64::from(m) / f64::from(n), f64::from((m * k).rem_euclid(n)) / f64::from(n)]).collect()
            }
            Self::Basket => {
                (0..16).filter(|i| (i / 4 + i % 4) % 2 == 0).map(|i| [f64::from(i / 4) / 4.0, f64::from(i % 4) / 4.0]).collect()
            }
        }
    }
}

/// The fitted lattice.
#[derive(Clone, Debug)]
pub(super) struct Lattice {
    /// Reciprocal vectors, cycles a pixel, y up.
    pub(super) base: [[f64; 2]; 2],
    pub(super) repeat: Repeat,
    pub(super) confidence: f32,
    /// Points with their coordinates in `base` and log excess, strongest first.
    pub(super) points: Vec<([f64; 2], f32)>,
}

fn combine(base: &[[f64; 2]; 2], [i, j]: [f64; 2]) -> [f64; 2] {
    [i * base[0][0] + j * base[1][0], i * base[0][1] + j * base[1][1]]
}

fn determinant([a, b]: &[[f64; 2]; 2]) -> f64 {
    a[0] * b[1] - a[1] * b[0]
}

/// Coordinates of a frequency in a base.
fn coordinates(base: &[[f64; 2]; 2], f: [f64; 2]) -> [f64; 2] {
    let d = determinant(base);
    [(f[0] * base[1][1] - f[1] * base[1][0]) / d, (base[0][0] * f[1] - base[0][1] * f[0]) / d]
}

/// The nearest point of the lattice: its coordinates and squared distance.
fn nearest(base: &[[f64; 2]; 2], points: &[[f64; 2]], f: [f64; 2]) -> ([f64; 2], f64) {
    let [u, v] = coordinates(base, f);
    let mut best = ([0.0; 2], f64::MAX);
    for p in points {
        let at = [(u - p[0]).round() + p[0], (v - p[1]).round() + p[1]];
        let off = combine(base, [u - at[0], v - at[1]]);
        let distance = off[0] * off[0] + off[1] * off[1];
        if distance < best.1 {
            best = (at, distance);
        }
    }
    best
}

/// Squared tolerance at a frequency: half a bin, and 0.8 % of it for cloth that is not quite regular.
fn tolerance2(spectrum: &Spectrum, f: [f64; 2]) -> f64 {
    let bin = 0.5 / spectrum.side as f64;
    bin * bin + 6.4e-5 * (f[0] * f[0] + f[1] * f[1])
}

/// Find the lattice; `None` when fewer than three peaks stand out.
pub(super) fn fit(spectrum: &Spectrum, peaks: &[Peak], shortest_pitch: f32) -> Option<Lattice> {
    if peaks.len() < 3 {
        return None;
    }
    let vectors = candidates(peaks, f64::from(1.0 / shortest_pitch.max(2.0)));
    let rays = Rays::new(spectrum);
    let mut best: Option<(f64, [[f64; 2]; 2], Repeat)> = None;
    for (i, &a) in vectors.iter().enumerate() {
        for &b in &vectors[i + 1..] {
            let base = [a, b];
            let Some(shape) = shape_prior(&base) else { continue };
            let own = shape + axis_evidence(spectrum, &rays, &base);
            for &(repeat, prior) in REPEATS {
                let score = own + prior + explained(spectrum, &base, repeat, peaks);
                if best.is_none_or(|(top, ..)| score > top) {
                    best = Some((score, base, repeat));
                }
            }
        }
    }
    let (_, mut base, repeat) = best?;
    for _ in 0..3 {
        base = least_squares(spectrum, &base, repeat, peaks).unwrap_or(base);
    }
    Some(finish(spectrum, base, repeat, peaks))
}

/// Vectors worth trying: peaks, and sums and differences of the strong ones.
fn candidates(peaks: &[Peak], highest: f64) -> Vec<[f64; 2]> {
    let mut all: Vec<[f64; 2]> = peaks.iter().take(24).map(|p| p.at).collect();
    let strong: Vec<[f64; 2]> = peaks.iter().take(8).map(|p| p.at).collect();
    for (i, a) in strong.iter().enumerate() {
        for b in &strong[i + 1..] {
            all.push([a[0] + b[0], a[1] + b[1]]);
            all.push([a[0] - b[0], a[1] - b[1]]);
        }
    }
    let mut kept: Vec<[f64; 2]> = Vec::new();
    for v in all {
        let v = if v[1] < 0.0 || (v[1] == 0.0 && v[0] < 0.0) { [-v[0], -v[1]] } else { v };
        let length = v[0].hypot(v[1]);
        let near = |k: &[f64; 2]| (k[0] - v[0]).hypot(k[1] - v[1]) < 0.01 * length;
        if length > 0.006 && length < highest && !kept.iter().any(near) {
            kept.push(v);
        }
    }
    kept
}

/// How like cloth two vectors are: nearly square on, not too unlike in pitch. `None` when out of the question.
fn shape_prior([a, b]: &[[f64; 2]; 2]) -> Option<f64> {
    let (la, lb) = (a[0].hypot(a[1]), b[0].hypot(b[1]));
    let cosine = (a[0] * b[0] + a[1] * b[1]) / (la * lb);
    let off = cosine.abs().asin().to_degrees();
    let ratio = (la / lb).ln().abs();
    (off < 22.0 && ratio < 1.3).then(|| -0.5 * (off / 5.0).powi(2) - 0.5 * (ratio / 0.55).powi(2))
}

/// Log likelihood of the peaks under the lattice against peaks strewn anywhere. Dense lattices explain anything, and pay for it.
fn explained(spectrum: &Spectrum, base: &[[f64; 2]; 2], repeat: Repeat, peaks: &[Peak]) -> f64 {
    const STRAY: f64 = 0.2;
    let points = repeat.points();
    let cell = determinant(base).abs() / points.len() as f64;
    peaks
        .iter()
        .map(|peak| {
            let s2 = tolerance2(spectrum, peak.at);
            let (_, d2) = nearest(base, &points, peak.at);
            let density = cell / (std::f64::consts::TAU * s2) * (-0.5 * d2 / s2).exp();
            f64::from(((peak.excess - 1.4) / 2.5).clamp(0.05, 1.5)) * ((1.0 - STRAY) * density + STRAY).ln()
        })
        .sum()
}

/// Mean and deviation of the rays at all angles.
struct Rays {
    values: Vec<f32>,
    mean: f32,
    deviation: f32,
}

impl Rays {
    fn new(spectrum: &Spectrum) -> Self {
        let values: Vec<f32> = (0..360).map(|d| spectrum.ray((f64::from(d) * 0.5).to_radians())).collect();
        let mean = values.iter().sum::<f32>() / 360.0;
        let deviation = (values.iter().map(|v| (v - mean).powi(2)).sum::<f32>() / 360.0).sqrt().max(1e-3);
        Self { values, mean, deviation }
    }

    /// Deviations above the mean, within a degree.
    fn at(&self, v: [f64; 2]) -> f64 {
        let step = (v[1].atan2(v[0]).to_degrees() * 2.0).round() as i32;
        let best = (-2..=2).map(|d| self.values[(step + d).rem_euclid(360) as usize]).fold(f32::MIN, f32::max);
        f64::from((best - self.mean) / self.deviation)
    }
}

/// Power on the two axes: threads themselves, and the rays their unevenness leaves.
fn axis_evidence(spectrum: &Spectrum, rays: &Rays, base: &[[f64; 2]; 2]) -> f64 {
    let point = |i: f64, j: f64| f64::from(spectrum.excess_near(combine(base, [i, j])).clamp(-1.0, 5.0));
    let threads = point(1.0, 0.0) + point(0.0, 1.0) + 0.5 * (point(2.0, 0.0) + point(0.0, 2.0));
    let along: f64 = base.iter().map(|&v| rays.at(v).clamp(-1.0, 4.0)).sum();
    1.2 * threads + 2.0 * along
}

/// Weighted least squares of the base on the peaks it explains.
fn least_squares(spectrum: &Spectrum, base: &[[f64; 2]; 2], repeat: Repeat, peaks: &[Peak]) -> Option<[[f64; 2]; 2]> {
    let points = repeat.points();
    let rows: Vec<([f64; 2], [f64; 2], f64)> = peaks
        .iter()
        .filter_map(|peak| {
            let (at, d2) = nearest(base, &points, peak.at);
            (d2 < 6.0 * tolerance2(spectrum, peak.at)).then_some((at, peak.at, f64::from(peak.excess)))
        })
        .collect();
    solve(&rows)
}

/// The base that best maps coordinates to frequencies: rows of (coordinates, frequency, weight).
pub(super) fn solve(rows: &[([f64; 2], [f64; 2], f64)]) -> Option<[[f64; 2]; 2]> {
    let (mut aa, mut ab, mut bb, mut rhs) = (0.0, 0.0, 0.0, [[0.0; 2]; 2]);
    for (at, f, w) in rows {
        aa += w * at[0] * at[0];
        ab += w * at[0] * at[1];
        bb += w * at[1] * at[1];
        for c in 0..2 {
            rhs[0][c] += w * at[0] * f[c];
            rhs[1][c] += w * at[1] * f[c];
        }
    }
    let d = aa * bb - ab * ab;
    if d < 1e-9 * aa * bb || d <= 0.0 {
        return None;
    }
    let row = |p: f64, q: f64| -> [f64; 2] { std::array::from_fn(|c| (p * rhs[0][c] + q * rhs[1][c]) / d) };
    Some([row(bb, -ab), row(-ab, aa)])
}

/// List the points that carry power, and say how sure the fit is.
fn finish(spectrum: &Spectrum, base: [[f64; 2]; 2], repeat: Repeat, peaks: &[Peak]) -> Lattice {
    let fractions = repeat.points();
    let mut points: Vec<([f64; 2], f32)> = Vec::new();
    for i in -3..=3 {
        for j in -3..=3 {
            for p in &fractions {
                let at = [f64::from(i) + p[0], f64::from(j) + p[1]];
                let f = combine(&base, at);
                let (upper, inside) = (f[1] > 0.0 || (f[1] == 0.0 && f[0] > 0.0), f[0].hypot(f[1]) < 0.4);
                if upper && inside && f[0].hypot(f[1]) * spectrum.side as f64 > 3.0 {
                    points.push((at, spectrum.excess_near(f)));
                }
            }
        }
    }
    points.sort_by(|a, b| b.1.total_cmp(&a.1));
    let (mut on, mut all, mut count) = (0.0f32, 0.0f32, 0);
    for peak in peaks {
        let (_, d2) = nearest(&base, &fractions, peak.at);
        let weight = peak.excess - 1.0;
        all += weight;
        if d2 < 6.0 * tolerance2(spectrum, peak.at) {
            on += weight;
            count += 1;
        }
    }
    let strength = points.iter().take(6).map(|p| p.1).sum::<f32>() / 6.0;
    let confidence =
        (on / all.max(1e-6)).powf(0.7) * (1.0 - (-(strength - 1.6).max(0.0) / 1.2).exp()) * (count as f32 / 4.0).min(1.0);
    Lattice { base, repeat, confidence, points }
}

impl Lattice {
    /// The weave, with `g1` across the ends to the right and `g2` across the picks upwards.
    pub(super) fn weave(&self, g1: [f64; 2], g2: [f64; 2]) -> Weave {
        let own = [g1, g2];
        match self.repeat {
            Repeat::Whole => Weave::Unknown,
            Repeat::Line(2, _) => Weave::Plain,
            Repeat::Basket => Weave::Basket,
            Repeat::Line(n @ (5 | 8), k) if k.abs() > 1 => Weave::Satin { ends: n as u8 },
            Repeat::Line(n, k) => {
                let line = |m: f64| combine(&self.base, [m / f64::from(n), m * f64::from(k) / f64::from(n)]);
                // Lines that climb to the right do not change along one end and one pick: their point is (1, -1) / n.
                let [u, v] = coordinates(&own, line(1.0));
                let hand = if u * v < 0.0 { Hand::Z } else { Hand::S };
                let over = (n as u8).div_ceil(2);
                Weave::Twill { over, under: n as u8 - over, hand }
            }
        }
    }
}
