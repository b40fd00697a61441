//! Alpha from a trimap by the matting Laplacian (Levin, Lischinski, Weiss, "A Closed-Form Solution to Natural Image
//! Matting", 2008), on unknown pixels only, by conjugate gradients warm-started from coarser copies.

mod windows;

use rayon::prelude::*;
use tatter_capture::surface::BackingModel;
use tatter_core::image::{Image, LinearRgb, Rect, Unit};
use tatter_core::kernel::{area_resize, bilinear_resize};
use tatter_core::task::{Cancelled, Task};
use windows::{Line, Windows};

use super::sampling::sample;

/// How alpha is solved for.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct MattingSettings {
    /// Regularisation of colour lines, squared colour units: more smooths alpha over texture. 1e-7 is the closed form's.
    pub epsilon: f32,
    /// Pull of a sampled alpha at confidence 1, against the Laplacian. 1 was best of 0.1, 0.3, 1 on torn weave.
    pub gamma: f32,
    /// Residual, relative to the right-hand side, at which the solver stops.
    pub tolerance: f32,
    /// Most rounds at full size.
    pub most_rounds: usize,
}

impl Default for MattingSettings {
    fn default() -> Self {
        Self { epsilon: 1e-7, gamma: 1.0, tolerance: 1e-4, most_rounds: 400 }
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
/// Memory: about 130 bytes for each unknown pixel.
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

/// Alpha of a piece on its backing from a trimap, linear light: a model of the backing from where it is known, alpha sampled
/// against it, one solve. `None` when the trimap shows too little backing to model.
///
/// # Errors
/// When stopped.
///
/// # Panics
/// When the sizes differ: a bug of the caller.
pub fn solve_on_backing(
    color: &Image<LinearRgb>,
    trimap: &Image<Unit>,
    seed: u64,
    settings: &MattingSettings,
    task: &Task,
) -> Result<Option<Image<Unit>>, Cancelled> {
    let Some(backing) = BackingModel::fit(color, &trimap.map(|t| t.0 <= 0.0)) else { return Ok(None) };
    let whole = Rect::new(0, 0, color.width(), color.height());
    let (alpha, confidence) = sample(color, whole, trimap, &backing, seed);
    task.check()?;
    solve_sampled(color, trimap, Sampled { alpha: &alpha, confidence: &confidence }, settings, task).map(Some)
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

/// The linear system on unknown pixels: the Laplacian, and a pull of each pixel towards an alpha.
struct System<'a> {
    windows: Windows<'a>,
    pull: Vec<f64>,
}

/// Pull towards the start of pixels that nothing ties down: without it the system would be singular.
const LOOSE: f64 = 1e-9;

fn solve_from(
    color: &Image<LinearRgb>,
    trimap: &Image<Unit>,
    start: &Image<Unit>,
    sampled: Option<Sampled<'_>>,
    settings: &MattingSettings,
    task: &Task,
) -> Result<Image<Unit>, Cancelled> {
    assert!(color.size() == trimap.size() && start.size() == trimap.size(), "a picture and its trimap have one size");
    let known = trimap.texels();
    let windows = Windows::new(color, |i| is_known(known[i]), settings.epsilon);
    let mut alpha = trimap.clone();
    if windows.pixels.is_empty() {
        return Ok(alpha);
    }
    let of_unknown = |image: &Image<Unit>| windows.pixels.iter().map(|&p| f64::from(image.texels()[p as usize].0)).collect();
    let pull = sampled.map_or_else(
        || vec![LOOSE; windows.pixels.len()],
        |s| {
            let trust: Vec<f64> = of_unknown(s.confidence);
            trust.iter().map(|c| f64::from(settings.gamma) * c + LOOSE).collect()
        },
    );
    let mut x: Vec<f64> = of_unknown(start);
    let system = System { windows, pull };
    system.conjugate_gradients(&mut x, &|place| f64::from(known[place].0), settings, task)?;
    for (&p, &v) in system.windows.pixels.iter().zip(&x) {
        alpha.texels_mut()[p as usize] = Unit((v as f32).clamp(0.0, 1.0));
    }
    Ok(alpha)
}

impl System<'_> {
    /// The system's matrix times `x`, known pixels taken as `elsewhere`.
    fn multiply(&self, x: &[f64], elsewhere: impl Fn(usize) -> f64 + Sync, lines: &mut Vec<Line>, out: &mut [f64]) {
        self.windows.fit(x, elsewhere, lines);
        out.par_iter_mut().with_min_len(2048).enumerate().for_each(|(i, target)| {
            *target = self.windows.unexplained(i, x[i], lines) + self.pull[i] * x[i];
        });
    }

    /// From a start in `x`, which is also what pixels are pulled to.
    fn conjugate_gradients(
        &self,
        x: &mut [f64],
        known: &(dyn Fn(usize) -> f64 + Sync),
        settings: &MattingSettings,
        task: &Task,
    ) -> Result<(), Cancelled> {
        let n = x.len();
        let scale: Vec<f64> = (0..n)
            .into_par_iter()
            .with_min_len(2048)
            .map(|i| 1.0 / (self.windows.diagonal(i) + self.pull[i]).max(1e-12))
            .collect();
        let (mut lines, mut product) = (Vec::new(), vec![0.0f64; n]);
        let pulled: Vec<f64> = x.iter().zip(&self.pull).map(|(x, p)| x * p).collect();
        self.multiply(&vec![0.0; n], known, &mut lines, &mut product);
        let right: Vec<f64> = pulled.iter().zip(&product).map(|(b, p)| b - p).collect();
        self.multiply(x, known, &mut lines, &mut product);
        let mut residual: Vec<f64> = pulled.iter().zip(&product).map(|(b, p)| b - p).collect();
        let mut z: Vec<f64> = residual.iter().zip(&scale).map(|(r, s)| r * s).collect();
        let mut direction = z.clone();
        let mut rz = dot(&residual, &z);
        let scaled: Vec<f64> = right.iter().zip(&scale).map(|(b, s)| b * s).collect();
        let goal = f64::from(settings.tolerance).powi(2) * dot(&right, &scaled).max(1e-12);
        for round in 0..settings.most_rounds {
            if rz <= goal {
                break;
            }
            if round % 16 == 0 {
                task.check()?;
            }
            self.multiply(&direction, |_| 0.0, &mut lines, &mut product);
            let step = rz / dot(&direction, &product).max(1e-30);
            x.par_iter_mut().zip(&direction).with_min_len(4096).for_each(|(x, d)| *x += step * d);
            residual.par_iter_mut().zip(&product).with_min_len(4096).for_each(|(r, p)| *r -= step * p);
            z.par_iter_mut().zip(&residual).zip(&scale).with_min_len(4096).for_each(|((z, r), s)| *z = r * s);
            let next = dot(&residual, &z);
            let keep = next / rz;
            rz = next;
            direction.par_iter_mut().zip(&z).with_min_len(4096).for_each(|(d, z)| *d = z + keep * *d);
        }
        Ok(())
    }
}

/// Sums of fixed blocks added in order: the same on any number of threads.
fn dot(a: &[f64], b: &[f64]) -> f64 {
    let sums: Vec<f64> =
        a.par_chunks(4096).zip(b.par_chunks(4096)).map(|(a, b)| a.iter().zip(b).map(|(x, y)| x * y).sum::<f64>()).collect();
    sums.iter().sum()
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
        // PyMatting 1.1.16 (direct solver, double precision) is off by 0.007 to 0.011 on such pictures.
        for i in 0..640 {
            let off = (alpha.texels()[i].0 - truth(i % 32)).abs();
            assert!(off < 0.01, "column {}, row {} is off by {off}", i % 32, i / 32);
        }
    }
}
