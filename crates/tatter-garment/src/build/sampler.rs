//! What of a patch one garment texel sees: an elliptical footprint when the patch shrinks (Heckbert, "Fundamentals of Texture
//! Mapping and Image Warping", 1989), interpolation when it grows.

use pulp::Simd;

use super::kernel::{catmull_rom, mitchell_of_squares};
use super::pyramid::{LANES, Level, Texel, add, level_scale};

/// Longest footprint kept relative to its breadth; beyond it (a surface seen almost edge-on in UV) it blurs instead.
const LONGEST: f64 = 16.0;
/// Taps weighed at once: what the widest registers of many processors hold.
const CHUNK: usize = 8;

/// Texels a side of the box around the footprint of a patch that is about as much smaller one way as the other.
const BOX: usize = 6;
/// So many of them before the one at or before the place: half the box's breadth is below 3.
const BEFORE: isize = 2;

/// How one face samples its patch: constant over the face.
#[derive(Clone, Copy, Debug)]
pub(super) struct Filter {
    /// Which density of the patch is read.
    pub(super) level: usize,
    /// Texels of that density in one of the patch.
    scale: f64,
    /// How far it reads, in patch texels.
    pub(super) support: f64,
    ellipse: Option<Ellipse>,
}

/// `a du² + b du dv + c dv² < 4` in texels of the level.
#[derive(Clone, Copy, Debug)]
struct Ellipse {
    a: f32,
    b: f32,
    c: f32,
    half_u: f32,
    half_v: f32,
    /// It lies within a box of [`BOX`] wherever it is.
    boxed: bool,
}

/// Longer and shorter stretch of a 2 × 2 matrix, and the direction of the longer one in its result.
pub(super) fn stretches(j: [[f64; 2]; 2]) -> (f64, f64, f64) {
    let (a, b, c) = squares(j);
    let root = ((a - c).powi(2) + 4.0 * b * b).sqrt();
    (((a + c + root) / 2.0).sqrt(), ((a + c - root) / 2.0).max(0.0).sqrt(), 0.5 * (2.0 * b).atan2(a - c))
}

fn squares([[ux, uy], [vx, vy]]: [[f64; 2]; 2]) -> (f64, f64, f64) {
    (ux * ux + uy * uy, ux * vx + uy * vy, vx * vx + vy * vy)
}

impl Filter {
    /// From how patch texels change with garment texels; `last_level` is the coarsest there is.
    pub(super) fn new(patch_from_texel: [[f64; 2]; 2], last_level: usize) -> Self {
        let (long, short, angle) = stretches(patch_from_texel);
        if long <= 1.0 {
            return Self { level: 0, scale: 1.0, support: 2.0, ellipse: None };
        }
        let short = short.max(long / LONGEST);
        let level = ((2.0 * short.max(1.0).log2()) as usize).min(last_level);
        let scale = level_scale(level);
        // Never below one texel of the level: there is nothing between its texels. Never above 64: such a patch is a dot.
        let (major, minor) = ((long / scale).clamp(1.0, 64.0), (short / scale).clamp(1.0, 64.0));
        let (sin, cos) = angle.sin_cos();
        let (m2, n2) = (major * major, minor * minor);
        let (uu, uv, vv) = (m2 * cos * cos + n2 * sin * sin, (m2 - n2) * sin * cos, m2 * sin * sin + n2 * cos * cos);
        let det = uu * vv - uv * uv;
        let ellipse = Ellipse {
            a: (vv / det) as f32,
            b: (-2.0 * uv / det) as f32,
            c: (uu / det) as f32,
            half_u: (2.0 * uu.sqrt()) as f32,
            half_v: (2.0 * vv.sqrt()) as f32,
            boxed: uu.max(vv) < 2.2,
        };
        Self { level, scale: 1.0 / scale, support: 2.0 * major * scale, ellipse: Some(ellipse) }
    }

    /// The premultiplied mean around a place in patch texels (first centre at 0.5). Inlined into whoever asks for many, so that it runs
    /// in the registers that are chosen there.
    #[inline(always)]
    pub(super) fn sample<S: Simd>(&self, simd: S, level: &Level, x: f64, y: f64) -> Texel {
        let (x, y) = (x * self.scale - 0.5, y * self.scale - 0.5);
        match &self.ellipse {
            Some(ellipse) => ellipse.sample(simd, level, x, y),
            None => interpolate(level, x, y),
        }
    }
}

impl Ellipse {
    /// `(x, y)` counts from the first texel's centre.
    #[inline(always)]
    fn sample<S: Simd>(&self, simd: S, level: &Level, x: f64, y: f64) -> Texel {
        let (x0, y0) = (floor(x), floor(y));
        let (fx, fy) = ((x - x0 as f64) as f32, (y - y0 as f64) as f32);
        let within = |from: isize, of: usize| from >= 0 && from + BOX as isize <= of as isize;
        if self.boxed && within(x0 - BEFORE, level.width) && within(y0 - BEFORE, level.height) {
            let first = (y0 - BEFORE) as usize * level.width + (x0 - BEFORE) as usize;
            return self.sum_box(simd, level, first, [-(BEFORE as f32) - fx, -(BEFORE as f32) - fy]);
        }
        let (u0, u1) = span(fx, self.half_u);
        let (v0, v1) = span(fy, self.half_v);
        let (mut sums, mut totals) = ([[0.0f32; LANES]; 2], [0.0f32; CHUNK]);
        for iv in v0..=v1 {
            let dv = iv as f32 - fy;
            let row_y = y0 + iv;
            let inside = row_y >= 0 && row_y < level.height as isize;
            let row = if inside { &level.texels[row_y as usize * level.width..(row_y as usize + 1) * level.width] } else { &[] };
            let mut start = u0;
            while start <= u1 {
                // Weights first, sums after: each loop then fits the registers. Beyond the ellipse they are nothing.
                let weights = self.weights(simd, start as f32 - fx, dv);
                for (total, weight) in totals.iter_mut().zip(&weights) {
                    *total += weight;
                }
                let count = ((u1 - start + 1) as usize).min(CHUNK);
                let from = x0 + start;
                if from >= 0 && from + count as isize <= row.len() as isize {
                    // Into two sums by turns: each then waits for every other tap only.
                    let (pairs, single) = row[from as usize..from as usize + count].as_chunks::<2>();
                    for (pair, w) in pairs.iter().zip(weights.as_chunks::<2>().0) {
                        weighed(simd, &mut sums[0], &pair[0], w[0]);
                        weighed(simd, &mut sums[1], &pair[1], w[1]);
                    }
                    if let [texel] = single {
                        weighed(simd, &mut sums[0], texel, weights[count - 1]);
                    }
                } else {
                    // Outside the canvas lies nothing: it weighs, and adds nothing.
                    for (i, &w) in weights[..count].iter().enumerate() {
                        if let Some(texel) = row.get((from + i as isize) as usize) {
                            weighed(simd, &mut sums[0], texel, w);
                        }
                    }
                }
                start += CHUNK as isize;
            }
        }
        mean(&sums, &totals)
    }

    /// The mean over a box from a texel on, which lies `du` across and `dv` down from the place. Beyond the ellipse weights are nothing.
    #[inline(always)]
    fn sum_box<S: Simd>(&self, simd: S, level: &Level, first: usize, [du, dv]: [f32; 2]) -> Texel {
        let (mut sums, mut totals) = ([[0.0f32; LANES]; 2], [0.0f32; CHUNK]);
        for i in 0..BOX {
            let weights = self.weights(simd, du, dv + i as f32);
            for (total, weight) in totals.iter_mut().zip(&weights) {
                *total += weight;
            }
            let row = &level.texels[first + i * level.width..][..BOX];
            for (k, (texel, weight)) in row.iter().zip(weights).enumerate() {
                weighed(simd, &mut sums[k % 2], texel, weight);
            }
        }
        mean(&sums, &totals)
    }

    /// Of so many texels of a row, the first `du` across and `dv` down from the place.
    #[inline(always)]
    fn weights<S: Simd>(&self, simd: S, du: f32, dv: f32) -> [f32; CHUNK] {
        let mut out: [f32; CHUNK] = std::array::from_fn(|i| i as f32);
        let (whole, rest) = S::as_mut_simd_f32s(&mut out);
        for lanes in whole {
            *lanes = self.weigh(simd, du, dv, *lanes);
        }
        // Of registers wider than this.
        if !rest.is_empty() {
            simd.partial_store_f32s(rest, self.weigh(simd, du, dv, simd.partial_load_f32s(rest)));
        }
        out
    }

    #[inline(always)]
    fn weigh<S: Simd>(&self, simd: S, du: f32, dv: f32, steps: S::f32s) -> S::f32s {
        let du = simd.add_f32s(simd.splat_f32s(du), steps);
        let (a, bv, cv) = (simd.splat_f32s(self.a), simd.splat_f32s(self.b * dv), simd.splat_f32s(self.c * dv * dv));
        mitchell_of_squares(simd, simd.add_f32s(simd.mul_f32s(simd.add_f32s(simd.mul_f32s(a, du), bv), du), cv))
    }
}

/// What was summed up in two parts, by the sum of the weights.
#[inline(always)]
fn mean(sums: &[Texel; 2], totals: &[f32; CHUNK]) -> Texel {
    let total: f32 = totals.iter().sum();
    let factor = if total > 1e-6 { 1.0 / total } else { 0.0 };
    std::array::from_fn(|lane| (sums[0][lane] + sums[1][lane]) * factor)
}

/// Add a texel by its weight. Register by register: a compiler left to itself takes lanes of neighbours together, and sorts them again.
#[inline(always)]
fn weighed<S: Simd>(simd: S, sum: &mut Texel, texel: &Texel, weight: f32) {
    let weight = simd.splat_f32s(weight);
    for (sum, texel) in S::as_mut_simd_f32s(sum).0.iter_mut().zip(S::as_simd_f32s(texel).0) {
        *sum = simd.add_f32s(*sum, simd.mul_f32s(*texel, weight));
    }
}

/// First and last texel within `half` of a place.
#[inline(always)]
fn span(f: f32, half: f32) -> (isize, isize) {
    (-floor(f64::from(half - f)), floor(f64::from(f + half)))
}

/// `floor` as a whole number; the library call costs as much as a tap.
#[inline(always)]
fn floor(v: f64) -> isize {
    let cut = v as isize;
    cut - isize::from(v < cut as f64)
}

#[inline(always)]
fn interpolate(level: &Level, x: f64, y: f64) -> Texel {
    let (x0, y0) = (x.floor(), y.floor());
    let weights = |f: f64| -> [f32; 4] { std::array::from_fn(|i| catmull_rom(f + 1.0 - i as f64) as f32) };
    let (wx, wy) = (weights(x - x0), weights(y - y0));
    let (x0, y0) = (x0 as isize - 1, y0 as isize - 1);
    let mut sum = [0.0f32; LANES];
    for (i, &v) in wy.iter().enumerate() {
        let row_y = y0 + i as isize;
        if row_y < 0 || row_y >= level.height as isize {
            continue;
        }
        let row = &level.texels[row_y as usize * level.width..(row_y as usize + 1) * level.width];
        for (k, &u) in wx.iter().enumerate() {
            if let Some(texel) = row.get((x0 + k as isize) as usize) {
                add(&mut sum, texel, u * v);
            }
        }
    }
    sum
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Heckbert 1989, 3.5.8: with his unit-variance terms the radii are the root of one plus the squared stretches; the radii
    /// were computed by an independent script.
    #[test]
    fn footprints_have_the_published_radii() {
        let cases = [
            ([[1.0, 0.0], [0.0, 1.0]], std::f64::consts::SQRT_2, std::f64::consts::SQRT_2),
            ([[4.0, 0.0], [0.0, 1.0]], std::f64::consts::SQRT_2, 4.123_105_63),
            ([[3.0, 1.0], [-1.0, 2.0]], 2.409_858_42, 3.345_531_71),
            ([[0.25, 0.0], [0.0, 0.25]], 1.030_776_41, 1.030_776_41),
            ([[8.0, 0.0], [0.0, 8.0]], 8.062_257_75, 8.062_257_75),
        ];
        for (j, minor, major) in cases {
            let (long, short, _) = stretches(j);
            assert!((1f64.hypot(long) - major).abs() < 1e-7 && (1f64.hypot(short) - minor).abs() < 1e-7, "{j:?}: {long} {short}");
        }
    }

    #[test]
    fn the_middle_of_a_ramp_is_its_value_at_any_density() {
        let texels = (0..64 * 64).map(|i| [(i % 64) as f32; LANES]).collect();
        let level = Level { width: 64, height: 64, texels };
        for j in [[[0.3, 0.1], [-0.1, 0.3]], [[1.4, 0.2], [0.1, 1.7]], [[1.9, 0.0], [0.0, 0.4]]] {
            let filter = Filter::new(j, 4);
            let got = filter.sample(pulp::Scalar, &level, 30.7, 33.2)[0];
            assert_eq!(filter.level, 0, "{j:?} reads the patch itself");
            assert!((got - 30.2).abs() < 0.03, "{j:?}: {got}");
        }
    }
}
