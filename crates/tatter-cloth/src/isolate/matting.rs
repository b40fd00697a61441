//! Alpha from a trimap by the matting Laplacian (Levin, Lischinski, Weiss, "A Closed-Form Solution to Natural Image
//! Matting", 2008), on unknown pixels only, by conjugate gradients warm-started from coarser copies.

use rayon::prelude::*;
use tatter_core::image::{Image, LinearRgb, Unit};
use tatter_core::kernel::{area_resize, bilinear_resize};
use tatter_core::task::{Cancelled, Task};

/// How alpha is solved for.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct MattingSettings {
    /// Regularisation of colour lines, squared colour units: more smooths alpha over texture. 1e-7 is the closed form's.
    pub epsilon: f32,
    /// Pull of a sampled alpha at confidence 1, against the Laplacian. 0.1 was best of 0.02, 0.1, 0.5 on torn weave.
    pub gamma: f32,
    /// Residual, relative to the right-hand side, at which the solver stops.
    pub tolerance: f32,
    /// Most rounds at full size.
    pub most_rounds: usize,
}

impl Default for MattingSettings {
    fn default() -> Self {
        Self { epsilon: 1e-7, gamma: 0.1, tolerance: 1e-4, most_rounds: 400 }
    }
}

/// An alpha somebody estimated, and how far to trust it.
#[derive(Clone, Copy, Debug)]
pub struct Sampled<'a> {
    /// Alpha at each pixel.
    pub alpha: &'a Image<Unit>,
    /// 0 no idea, 1 certain.
    pub confidence: &'a Image<Unit>,
}

/// Closed-form alpha. `trimap` is 0 or 1 where alpha is known, anything between where not. Colours in any one space.
///
/// Memory: about 170 bytes for each unknown pixel.
///
/// # Errors
/// When stopped.
///
/// # Panics
/// When the sizes differ: a bug of the caller.
pub fn solve(
    color: &Image<LinearRgb>,
    trimap: &Image<Unit>,
    settings: &MattingSettings,
    task: &Task,
) -> Result<Image<Unit>, Cancelled> {
    let start = coarse_start(color, trimap, settings, task)?;
    solve_from(color, trimap, &start, None, settings, task)
}

/// Alpha that also keeps to a sampled one, from which it starts.
///
/// # Errors
/// When stopped.
///
/// # Panics
/// When the sizes differ: a bug of the caller.
pub fn solve_sampled(
    color: &Image<LinearRgb>,
    trimap: &Image<Unit>,
    sampled: Sampled<'_>,
    settings: &MattingSettings,
    task: &Task,
) -> Result<Image<Unit>, Cancelled> {
    solve_from(color, trimap, sampled.alpha, Some(sampled), settings, task)
}

fn is_known(t: Unit) -> bool {
    t.0 <= 0.0 || t.0 >= 1.0
}

/// A first alpha from a copy of half the size.
fn coarse_start(
    color: &Image<LinearRgb>,
    trimap: &Image<Unit>,
    settings: &MattingSettings,
    task: &Task,
) -> Result<Image<Unit>, Cancelled> {
    let unknown = trimap.texels().iter().filter(|t| !is_known(**t)).count();
    if unknown < 2000 || color.width().min(color.height()) < 48 {
        return Ok(trimap.clone());
    }
    let (width, height) = (color.width().div_ceil(2), color.height().div_ceil(2));
    let small = area_resize(color, width, height);
    let known = area_resize(&trimap.map(|t| if is_known(t) { t } else { Unit(0.5) }), width, height);
    let start = coarse_start(&small, &known, settings, task)?;
    let alpha = solve_from(&small, &known, &start, None, settings, task)?;
    Ok(bilinear_resize(&alpha, color.width(), color.height()))
}

const NOWHERE: u32 = u32::MAX;

/// The linear system on unknown pixels: 25 neighbours each.
struct System {
    /// Unknown pixels, in row order.
    pixels: Vec<u32>,
    rows: Vec<[f32; 25]>,
    neighbours: Vec<[u32; 25]>,
    right: Vec<f32>,
}

fn solve_from(
    color: &Image<LinearRgb>,
    trimap: &Image<Unit>,
    start: &Image<Unit>,
    sampled: Option<Sampled<'_>>,
    settings: &MattingSettings,
    task: &Task,
) -> Result<Image<Unit>, Cancelled> {
    assert!(color.size() == trimap.size() && start.size() == trimap.size(), "a picture and its trimap have one size");
    let mut alpha = trimap.clone();
    let system = System::new(color, trimap, sampled, settings);
    if system.pixels.is_empty() {
        return Ok(alpha);
    }
    let mut x: Vec<f32> = system.pixels.iter().map(|&p| start.texels()[p as usize].0).collect();
    system.conjugate_gradients(&mut x, settings, task)?;
    for (&p, &v) in system.pixels.iter().zip(&x) {
        alpha.texels_mut()[p as usize] = Unit(v.clamp(0.0, 1.0));
    }
    Ok(alpha)
}

/// A window's mean colour and the inverse of its regularised covariance (xx, xy, xz, yy, yz, zz).
#[derive(Clone, Copy)]
struct Window {
    mean: [f64; 3],
    inverse: [f64; 6],
}

impl Window {
    fn at(color: &Image<LinearRgb>, x: usize, y: usize, epsilon: f32) -> Self {
        let mut mean = [0.0f64; 3];
        let texels: [[f32; 3]; 9] = std::array::from_fn(|i| color.get(x + i % 3 - 1, y + i / 3 - 1).0);
        for t in &texels {
            for c in 0..3 {
                mean[c] += f64::from(t[c]) / 9.0;
            }
        }
        let mut s = [0.0f64; 6];
        for t in &texels {
            let d: [f64; 3] = std::array::from_fn(|c| f64::from(t[c]) - mean[c]);
            for (i, (a, b)) in [(0, 0), (0, 1), (0, 2), (1, 1), (1, 2), (2, 2)].into_iter().enumerate() {
                s[i] += d[a] * d[b] / 9.0;
            }
        }
        for i in [0, 3, 5] {
            s[i] += f64::from(epsilon) / 9.0;
        }
        let cofactors = [
            s[3] * s[5] - s[4] * s[4],
            s[2] * s[4] - s[1] * s[5],
            s[1] * s[4] - s[2] * s[3],
            s[0] * s[5] - s[2] * s[2],
            s[1] * s[2] - s[0] * s[4],
            s[0] * s[3] - s[1] * s[1],
        ];
        let det = s[0] * cofactors[0] + s[1] * cofactors[1] + s[2] * cofactors[2];
        // Colours on a line make this nearly singular: single precision loses alpha here.
        Self { mean, inverse: cofactors.map(|c| c / det.max(1e-300)) }
    }

    #[inline]
    fn turned(&self, d: [f64; 3]) -> [f64; 3] {
        let [a, b, c, e, f, g] = self.inverse;
        [a * d[0] + b * d[1] + c * d[2], b * d[0] + e * d[1] + f * d[2], c * d[0] + f * d[1] + g * d[2]]
    }
}

impl System {
    fn new(color: &Image<LinearRgb>, trimap: &Image<Unit>, sampled: Option<Sampled<'_>>, settings: &MattingSettings) -> Self {
        let (width, height) = (color.width(), color.height());
        let mut number = vec![NOWHERE; width * height];
        let mut pixels = Vec::new();
        for (i, t) in trimap.texels().iter().enumerate() {
            if !is_known(*t) {
                number[i] = pixels.len() as u32;
                pixels.push(i as u32);
            }
        }
        let windows = windows(color, &number, settings.epsilon);
        let made: Vec<([f32; 25], [u32; 25], f32)> = pixels
            .par_iter()
            .with_min_len(1024)
            .map(|&p| {
                let (x, y) = (p as usize % width, p as usize / width);
                let mut row = laplacian_row(color, &windows, x, y);
                let (mut neighbours, mut right) = ([NOWHERE; 25], 0.0);
                for (k, entry) in row.iter_mut().enumerate() {
                    let (nx, ny) = ((x + k % 5).wrapping_sub(2), (y + k / 5).wrapping_sub(2));
                    if nx >= width || ny >= height || k == 12 {
                        continue;
                    }
                    let at = ny * width + nx;
                    neighbours[k] = number[at];
                    if number[at] == NOWHERE {
                        right -= *entry * trimap.texels()[at].0;
                        *entry = 0.0;
                    }
                }
                if let Some(sampled) = sampled {
                    let pull = settings.gamma * sampled.confidence.texels()[p as usize].0;
                    row[12] += pull;
                    right += pull * sampled.alpha.texels()[p as usize].0;
                }
                // Where nothing ties a pixel down the system would be singular.
                row[12] += 1e-7;
                (row, neighbours, right)
            })
            .collect();
        let rows = made.iter().map(|m| m.0).collect();
        let neighbours = made.iter().map(|m| m.1).collect();
        let right = made.iter().map(|m| m.2).collect();
        Self { pixels, rows, neighbours, right }
    }

    fn multiply(&self, x: &[f32], out: &mut [f32]) {
        out.par_iter_mut().with_min_len(2048).enumerate().for_each(|(i, target)| {
            let mut sum = self.rows[i][12] * x[i];
            for (entry, &j) in self.rows[i].iter().zip(&self.neighbours[i]) {
                if j != NOWHERE {
                    sum += entry * x[j as usize];
                }
            }
            *target = sum;
        });
    }

    fn conjugate_gradients(&self, x: &mut [f32], settings: &MattingSettings, task: &Task) -> Result<(), Cancelled> {
        let n = x.len();
        let scale: Vec<f32> = self.rows.iter().map(|r| 1.0 / r[12].max(1e-9)).collect();
        let mut product = vec![0.0f32; n];
        self.multiply(x, &mut product);
        let mut residual: Vec<f32> = self.right.iter().zip(&product).map(|(b, p)| b - p).collect();
        let mut z: Vec<f32> = residual.iter().zip(&scale).map(|(r, s)| r * s).collect();
        let mut direction = z.clone();
        let mut rz = dot(&residual, &z);
        let scaled: Vec<f32> = self.right.iter().zip(&scale).map(|(b, s)| b * s).collect();
        let goal = f64::from(settings.tolerance).powi(2) * dot(&self.right, &scaled).max(1e-12);
        for round in 0..settings.most_rounds {
            if rz <= goal {
                break;
            }
            if round % 16 == 0 {
                task.check()?;
            }
            self.multiply(&direction, &mut product);
            let step = (rz / dot(&direction, &product).max(1e-30)) as f32;
            x.par_iter_mut().zip(&direction).with_min_len(4096).for_each(|(x, d)| *x += step * d);
            residual.par_iter_mut().zip(&product).with_min_len(4096).for_each(|(r, p)| *r -= step * p);
            z.par_iter_mut().zip(&residual).zip(&scale).with_min_len(4096).for_each(|((z, r), s)| *z = r * s);
            let next = dot(&residual, &z);
            let keep = (next / rz) as f32;
            rz = next;
            direction.par_iter_mut().zip(&z).with_min_len(4096).for_each(|(d, z)| *d = z + keep * *d);
        }
        Ok(())
    }
}

/// Sums of fixed blocks added in order: the same on any number of threads.
fn dot(a: &[f32], b: &[f32]) -> f64 {
    let sums: Vec<f64> = a
        .par_chunks(4096)
        .zip(b.par_chunks(4096))
        .map(|(a, b)| a.iter().zip(b).map(|(x, y)| f64::from(*x) * f64::from(*y)).sum::<f64>())
        .collect();
    sums.iter().sum()
}

/// Windows that hold an unknown pixel, by their middle.
fn windows(color: &Image<LinearRgb>, number: &[u32], epsilon: f32) -> Vec<Option<Window>> {
    let (width, height) = (color.width(), color.height());
    (0..width * height)
        .into_par_iter()
        .with_min_len(4096)
        .map(|i| {
            let (x, y) = (i % width, i / width);
            if x == 0 || y == 0 || x + 1 >= width || y + 1 >= height {
                return None;
            }
            let holds = (0..9).any(|k| number[(y + k / 3 - 1) * width + x + k % 3 - 1] != NOWHERE);
            holds.then(|| Window::at(color, x, y, epsilon))
        })
        .collect()
}

/// A row of the matting Laplacian: entries for the 5 × 5 neighbours of `(x, y)`.
fn laplacian_row(color: &Image<LinearRgb>, windows: &[Option<Window>], x: usize, y: usize) -> [f32; 25] {
    let (width, height) = (color.width(), color.height());
    let mut row = [0.0f64; 25];
    let own = color.get(x, y).0;
    for k in 0..9 {
        let (wx, wy) = ((x + k % 3).wrapping_sub(1), (y + k / 3).wrapping_sub(1));
        if wx >= width || wy >= height {
            continue;
        }
        let Some(window) = &windows[wy * width + wx] else { continue };
        let turned = window.turned(std::array::from_fn(|c| f64::from(own[c]) - window.mean[c]));
        for m in 0..9 {
            let (nx, ny) = (wx + m % 3 - 1, wy + m / 3 - 1);
            let other = color.get(nx, ny).0;
            let affinity = (1.0 + (0..3).map(|c| turned[c] * (f64::from(other[c]) - window.mean[c])).sum::<f64>()) / 9.0;
            row[(ny + 2 - y) * 5 + nx + 2 - x] -= affinity;
        }
        row[12] += 1.0;
    }
    row.map(|v| v as f32)
}

#[cfg(test)]
mod tests {
    use super::*;
    use tatter_core::image::Pixel as _;
    use tatter_core::rng::hash_unit;

    fn noise(width: usize, height: usize) -> Image<LinearRgb> {
        Image::from_fn(width, height, |x, y| LinearRgb([0, 1, 2].map(|c| hash_unit(c, x as u32, y as u32))))
    }

    #[test]
    fn the_laplacian_is_symmetric_with_zero_row_sums() {
        // Properties stated in the paper, section 3.
        let color = noise(9, 8);
        let number = vec![0; 72];
        let windows = windows(&color, &number, 1e-5);
        let rows: Vec<_> = (0..72).map(|i| laplacian_row(&color, &windows, i % 9, i / 9)).collect();
        for (i, row) in rows.iter().enumerate() {
            assert!(row.iter().sum::<f32>().abs() < 2e-4, "row {i} sums to {}", row.iter().sum::<f32>());
            for (k, entry) in row.iter().enumerate() {
                let (nx, ny) = ((i % 9 + k % 5).wrapping_sub(2), (i / 9 + k / 5).wrapping_sub(2));
                if nx < 9 && ny < 8 {
                    let back = rows[ny * 9 + nx][24 - k];
                    assert!((back - entry).abs() < 2e-4, "entries {entry} and {back} mirror each other");
                }
            }
        }
    }

    #[test]
    fn a_constant_picture_gives_weights_of_one_ninth() {
        let color = Image::filled(7, 7, LinearRgb([0.4, 0.5, 0.6]));
        let windows = windows(&color, &[0; 49], 1e-7);
        let row = laplacian_row(&color, &windows, 3, 3);
        // The corner neighbour shares one window, the next one along the edge two.
        assert!((row[0] + 1.0 / 9.0).abs() < 1e-5 && (row[1] + 2.0 / 9.0).abs() < 1e-5, "row {row:?}");
    }

    #[test]
    fn a_blend_of_two_colours_is_solved() {
        let truth = |x: usize| ((x as f32 - 8.0) / 16.0).clamp(0.0, 1.0);
        let mix = |a: f32| LinearRgb([0.8 * a + 0.1 * (1.0 - a), 0.2 * a + 0.6 * (1.0 - a), 0.3 * a + 0.1 * (1.0 - a)]);
        let grain = noise(32, 20);
        let color = Image::from_fn(32, 20, |x, y| mix(truth(x)).plus(grain.get(x, y), 0.01));
        let trimap = Image::from_fn(32, 20, |x, _| {
            Unit(if x < 6 {
                0.0
            } else if x > 26 {
                1.0
            } else {
                0.5
            })
        });
        let settings = MattingSettings { tolerance: 1e-6, most_rounds: 2000, ..Default::default() };
        let alpha = solve(&color, &trimap, &settings, &Task::new()).unwrap();
        for x in 0..32 {
            let off = (alpha.get(x, 10).0 - truth(x)).abs();
            assert!(off < 0.06, "column {x} is off by {off}");
        }
    }
}
