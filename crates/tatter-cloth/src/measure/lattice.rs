//! The lattice of points in the spectrum, whatever its threads are, and the pairs of thread families that could have made it.
//!
//! A weave's spectrum has points at `i g1 + j g2`, one vector a thread family, and at fractions of them that tell the
//! repeat: plain (1/2, 1/2), twill on n threads (1/n, ±1/n), satin on five (1/5, ±2/5). Many pairs of families generate the
//! same points: a plain weave and its own diagonal do. So the points come first, and the families are judged by
//! [`super::model`].

use super::spectrum::{Peak, Spectrum};

/// Two vectors, cycles a pixel, y up.
pub(super) type Base = [[f64; 2]; 2];

/// Coordinates, frequency, weight.
pub(super) type Row = ([f64; 2], [f64; 2], f64);

pub(super) fn combine(base: &Base, [i, j]: [f64; 2]) -> [f64; 2] {
    [i * base[0][0] + j * base[1][0], i * base[0][1] + j * base[1][1]]
}

pub(super) fn determinant([a, b]: &Base) -> f64 {
    a[0] * b[1] - a[1] * b[0]
}

pub(super) fn length(v: [f64; 2]) -> f64 {
    v[0].hypot(v[1])
}

/// Coordinates of a frequency in a base.
pub(super) fn coordinates(base: &Base, f: [f64; 2]) -> [f64; 2] {
    let d = determinant(base);
    [(f[0] * base[1][1] - f[1] * base[1][0]) / d, (base[0][0] * f[1] - base[0][1] * f[0]) / d]
}

/// The points found, and how well they account for the peaks.
#[derive(Clone, Copy, Debug)]
pub(super) struct Points {
    /// The two shortest vectors that generate them.
    pub(super) base: Base,
    /// Share of the peaks' weight that lies on them.
    pub(super) share: f32,
    pub(super) score: f64,
}

/// Squared tolerance at a frequency: half a bin, and 0.8 % of it for cloth that is not quite regular.
fn tolerance2(spectrum: &Spectrum, f: [f64; 2]) -> f64 {
    let bin = 0.5 / spectrum.side as f64;
    bin * bin + 6.4e-5 * (f[0] * f[0] + f[1] * f[1])
}

/// Mark the peaks on the two lines through the origin that hold most: coloured stripes and checks put peaks of any spacing
/// there, which say nothing of the weave.
pub(super) fn mark_stripes(peaks: &mut [Peak], side: usize) {
    let reach = 1.2 / side as f64;
    let on = |p: &Peak, degrees: f64| {
        let (sin, cos) = degrees.to_radians().sin_cos();
        (p.at[0] * sin - p.at[1] * cos).abs() < reach
    };
    let held = |degrees: f64, peaks: &[Peak]| peaks.iter().filter(|p| on(p, degrees)).map(|p| f64::from(p.excess)).sum::<f64>();
    let best = |steps: &mut dyn Iterator<Item = f64>, peaks: &[Peak]| {
        steps.map(|d| (held(d, peaks), d)).fold((0.0, 0.0), |a, b| if b.0 > a.0 { b } else { a }).1
    };
    let first = best(&mut (0..360).map(|i| 0.5 * f64::from(i)), peaks);
    let second = best(&mut (-30..=30).map(|i| first + 90.0 + 0.5 * f64::from(i)), peaks);
    for line in [first, second] {
        if peaks.iter().filter(|p| on(p, line)).count() >= 3 {
            peaks.iter_mut().filter(|p| on(p, line)).for_each(|p| p.stripe = true);
        }
    }
}

/// Lattices that explain the peaks, best first; at most `count`, none twice.
pub(super) fn lattices(spectrum: &Spectrum, peaks: &[Peak], count: usize) -> Vec<Points> {
    let vectors = candidates(peaks, spectrum.side);
    let mut scored: Vec<(f64, Base)> = Vec::new();
    for (i, &a) in vectors.iter().enumerate() {
        for &b in &vectors[i + 1..] {
            let base = reduced([a, b]);
            let (la, lb) = (length(base[0]), length(base[1]));
            let bins = spectrum.side as f64;
            if determinant(&base).abs() < 0.5 * la * lb || la * bins < 3.0 {
                continue;
            }
            scored.push((explained(spectrum, &base, peaks), base));
        }
    }
    scored.sort_by(|a, b| b.0.total_cmp(&a.0));
    let mut found: Vec<Points> = Vec::new();
    for (_, base) in scored.into_iter().take(200) {
        if found.len() == count {
            break;
        }
        if found.iter().any(|p| same(spectrum, &p.base, &base)) {
            continue;
        }
        let mut base = base;
        for _ in 0..3 {
            base = least_squares(spectrum, &base, peaks).unwrap_or(base);
        }
        let base = reduced(base);
        if determinant(&base).abs() * (spectrum.side as f64).powi(2) < 8.0 || found.iter().any(|p| same(spectrum, &p.base, &base))
        {
            continue;
        }
        found.push(judged(spectrum, base, peaks));
    }
    found.sort_by(|a, b| b.score.total_cmp(&a.score));
    found
}

/// A base with how well it accounts for the peaks.
pub(super) fn judged(spectrum: &Spectrum, base: Base, peaks: &[Peak]) -> Points {
    Points { base, share: share(spectrum, &base, peaks), score: explained(spectrum, &base, peaks) }
}

/// Whether two reduced bases generate the same points.
pub(super) fn same(spectrum: &Spectrum, a: &Base, b: &Base) -> bool {
    let ratio = (determinant(a) / determinant(b)).abs();
    (0.9..1.1).contains(&ratio)
        && b.iter().all(|&v| {
            let [i, j] = coordinates(a, v);
            let off = combine(a, [i - i.round(), j - j.round()]);
            off[0] * off[0] + off[1] * off[1] < 6.0 * tolerance2(spectrum, v)
        })
}

/// Vectors worth trying: peaks, and sums and differences of the strong ones.
fn candidates(peaks: &[Peak], side: usize) -> Vec<[f64; 2]> {
    let off: Vec<[f64; 2]> = peaks.iter().filter(|p| !p.stripe).map(|p| p.at).collect();
    let mut all: Vec<[f64; 2]> = peaks.iter().take(16).map(|p| p.at).chain(off.iter().copied().take(10)).collect();
    let strong: Vec<[f64; 2]> = peaks.iter().take(6).map(|p| p.at).chain(off.iter().copied().take(5)).collect();
    for (i, a) in strong.iter().enumerate() {
        for b in &strong[i + 1..] {
            all.push([a[0] + b[0], a[1] + b[1]]);
            all.push([a[0] - b[0], a[1] - b[1]]);
        }
    }
    let mut kept: Vec<[f64; 2]> = Vec::new();
    for v in all {
        let v = if v[1] < 0.0 || (v[1] == 0.0 && v[0] < 0.0) { [-v[0], -v[1]] } else { v };
        let near = |k: &[f64; 2]| length([k[0] - v[0], k[1] - v[1]]) < (0.01 * length(v)).max(0.5 / side as f64);
        if length(v) * side as f64 > 3.5 && length(v) < 0.5 && !kept.iter().any(near) {
            kept.push(v);
        }
    }
    kept
}

/// The two shortest vectors of the same lattice (Lagrange's reduction).
pub(super) fn reduced([mut a, mut b]: Base) -> Base {
    for _ in 0..32 {
        if length(a) > length(b) {
            (a, b) = (b, a);
        }
        let along = ((a[0] * b[0] + a[1] * b[1]) / (a[0] * a[0] + a[1] * a[1]).max(1e-18)).round();
        if along == 0.0 {
            break;
        }
        b = [b[0] - along * a[0], b[1] - along * a[1]];
    }
    [a, b]
}

fn distance2(base: &Base, f: [f64; 2]) -> ([f64; 2], f64) {
    let [u, v] = coordinates(base, f);
    let at = [u.round(), v.round()];
    let off = combine(base, [u - at[0], v - at[1]]);
    (at, off[0] * off[0] + off[1] * off[1])
}

fn weight(spectrum: &Spectrum, peak: &Peak) -> f64 {
    let above = (peak.excess - spectrum.noise_peak() - 0.1) / 2.2;
    f64::from(above.clamp(0.01, 1.5) * if peak.stripe { 0.3 } else { 1.0 })
}

/// Log likelihood of the peaks under the lattice against peaks strewn anywhere. Dense lattices explain anything, and pay for it.
fn explained(spectrum: &Spectrum, base: &Base, peaks: &[Peak]) -> f64 {
    const STRAY: f64 = 0.2;
    let cell = determinant(base).abs();
    peaks
        .iter()
        .map(|peak| {
            let s2 = tolerance2(spectrum, peak.at);
            let (_, d2) = distance2(base, peak.at);
            let density = cell / (std::f64::consts::TAU * s2) * (-0.5 * d2 / s2).exp();
            weight(spectrum, peak) * ((1.0 - STRAY) * density + STRAY).ln()
        })
        .sum()
}

fn share(spectrum: &Spectrum, base: &Base, peaks: &[Peak]) -> f32 {
    let (mut on, mut all) = (0.0, 0.0);
    for peak in peaks {
        let w = f64::from(peak.excess.min(6.0).exp() - 1.0) * if peak.stripe { 0.3 } else { 1.0 };
        all += w;
        if distance2(base, peak.at).1 < 6.0 * tolerance2(spectrum, peak.at) {
            on += w;
        }
    }
    (on / f64::max(all, 1e-6)) as f32
}

/// Weighted least squares of the base on the peaks it explains.
fn least_squares(spectrum: &Spectrum, base: &Base, peaks: &[Peak]) -> Option<Base> {
    let rows: Vec<Row> = peaks
        .iter()
        .filter_map(|peak| {
            let (at, d2) = distance2(base, peak.at);
            (d2 < 6.0 * tolerance2(spectrum, peak.at)).then_some((at, peak.at, f64::from(peak.excess)))
        })
        .collect();
    solve(&rows)
}

/// The base that best maps coordinates to frequencies.
pub(super) fn solve(rows: &[Row]) -> Option<Base> {
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

/// A pair of thread families that could have made the points.
#[derive(Clone, Copy, Debug)]
pub(super) struct Families {
    /// The first family's vector, the second's. The second lies a quarter turn, about, left of the first.
    pub(super) base: Base,
    /// Points a cell: the threads of a repeat.
    pub(super) index: i32,
    /// Log of how like cloth the pair is: nearly square on, not too unlike in pitch.
    pub(super) shape: f64,
}

/// Every pair whose cell holds one of `indices` points, with pitches of `shortest` to `longest` pixels.
pub(super) fn families(points: &Base, indices: &[i32], shortest: f64, longest: f64) -> Vec<Families> {
    const REACH: i32 = 6;
    let mut vectors: Vec<([i32; 2], [f64; 2])> = Vec::new();
    for i in -REACH..=REACH {
        for j in -REACH..=REACH {
            let v = combine(points, [f64::from(i), f64::from(j)]);
            if (1.0 / longest..=1.0 / shortest).contains(&length(v)) {
                vectors.push(([i, j], v));
            }
        }
    }
    let mut all = Vec::new();
    for &(s, a) in &vectors {
        // The first family crosses the picture from left to right, within an eighth of a turn.
        if !(a[0] > 0.0 && a[1] > -a[0] && a[1] <= a[0]) {
            continue;
        }
        for &(t, b) in &vectors {
            let index = (s[0] * t[1] - s[1] * t[0]).abs();
            if !indices.contains(&index) || determinant(&[a, b]) <= 0.0 {
                continue;
            }
            let off = ((a[0] * b[0] + a[1] * b[1]) / (length(a) * length(b))).abs().asin().to_degrees();
            let ratio = (length(a) / length(b)).ln().abs();
            if off < 20.0 && ratio < 1.2 {
                let shape = -0.5 * (off / 4.0).powi(2) - 0.5 * (ratio / 0.5).powi(2);
                all.push(Families { base: [a, b], index, shape });
            }
        }
    }
    all.sort_by(|a, b| b.shape.total_cmp(&a.shape));
    all.truncate(80);
    all
}
