//! From slopes to heights.
//!
//! Slopes of neighbours are averaged to the edges between them and the height whose steps fit best is found by cosine transforms
//! (Neumann edges: the picture need not repeat), in time N log N.

use std::sync::Arc;

use rayon::prelude::*;
use tatter_core::image::Image;
use tatter_core::task::{Cancelled, Task};
use tatter_fourier::{CosinePlanner, TransformType2And3};

type Slopes = Image<[f32; 2]>;

/// How slopes become heights.
#[derive(Clone, Copy, Debug)]
pub struct Integration {
    /// Waves much longer than this many texels are flattened; `None` keeps all.
    pub reach: Option<f32>,
    /// 0 fits the steps between neighbours; 1 fits the slopes over two texels that normals are made of, so that the finest
    /// threads keep their steepness, at the price of noise.
    pub detail: f64,
}

impl Integration {
    /// How strongly heights are pulled to 0.
    fn stiff(self) -> f64 {
        self.reach.map_or(0.0, |reach| 1.0 / f64::from(reach).powi(2))
    }
}

/// The height, in texels, that best fits slopes (right and *up*, as normals count); its mean is 0. Peak memory is 8 bytes a texel besides the slopes.
pub fn integrate(slopes: &Slopes, how: Integration) -> Image<f32> {
    let (width, height) = (slopes.width(), slopes.height());
    if width * height == 0 {
        return Image::filled(width, height, 0.0);
    }
    let mut field = Edges::new(slopes, &Image::filled(width, height, 1.0)).wanted(slopes).into_vec();
    Cosines::new(width, height).each_wave(&mut field, |x, y| {
        let below = steps_at(x, how.detail) + steps_at(y, how.detail);
        if below > 0.0 { 1.0 / (below + how.stiff()) } else { 0.0 }
    });
    Image::from_vec(width, height, field)
}

/// The same where some slopes are worth more than others and some nothing: `trust` 0..1 a texel, 0 across openings. Conjugate
/// gradients, with the cosine transforms of [`integrate`] as their preconditioner. Peak memory is 32 bytes a texel besides the slopes.
///
/// # Errors
/// When cancelled.
pub fn integrate_trusted(slopes: &Slopes, trust: &Image<f32>, how: Integration, task: &Task) -> Result<Image<f32>, Cancelled> {
    let start = integrate(slopes, Integration { detail: 0.0, ..how });
    if slopes.size().area() == 0 {
        return Ok(start);
    }
    let cosines = Cosines::new(slopes.width(), slopes.height());
    let height = Edges::new(slopes, trust).relax(&cosines, slopes, start, how, task)?;
    Ok(sharper(&cosines, height, how))
}

/// Give the finest waves the steepness over two texels that [`Integration::detail`] asks for.
fn sharper(cosines: &Cosines, height: Image<f32>, how: Integration) -> Image<f32> {
    let (width, rows) = (height.width(), height.height());
    let plain = Integration { detail: 0.0, ..how };
    let mut field = height.into_vec();
    cosines.each_wave(&mut field, |x, y| {
        let (fine, near) = (steps_at(x, how.detail) + steps_at(y, how.detail), steps_at(x, 0.0) + steps_at(y, 0.0));
        (near + plain.stiff()) / (fine + how.stiff()).max(1e-12)
    });
    Image::from_vec(width, rows, field)
}

/// Weights of the steps from every texel to its right and lower neighbour.
struct Edges {
    weight: Image<[f32; 2]>,
}

/// Weight left to what is worth nothing, so that it is bridged smoothly.
const BRIDGE: f32 = 1e-3;
/// Rounds of conjugate gradients, and the share of the first residual at which they end.
const MOST_ROUNDS: usize = 20;
const CLOSE: f64 = 3e-3;

impl Edges {
    fn new(slopes: &Slopes, trust: &Image<f32>) -> Self {
        let weight = Image::from_fn(slopes.width(), slopes.height(), |x, y| {
            neighbours(trust, x, y).map(|next| next.map_or(0.0, |next| trust.get(x, y).min(next).max(BRIDGE)))
        });
        Self { weight }
    }

    /// Weighted Laplacian and the pull to 0.
    fn apply(&self, height: &Image<f32>, stiff: f32) -> Image<f32> {
        Image::from_fn(height.width(), height.height(), |x, y| {
            let own = height.get(x, y);
            let w = self.weight.get(x, y);
            let mut sum = stiff * own;
            for (axis, next) in neighbours(height, x, y).into_iter().enumerate() {
                sum += next.map_or(0.0, |next| w[axis] * (own - next));
            }
            if x > 0 {
                sum += self.weight.get(x - 1, y)[0] * (own - height.get(x - 1, y));
            }
            if y > 0 {
                sum += self.weight.get(x, y - 1)[1] * (own - height.get(x, y - 1));
            }
            sum
        })
    }

    /// What the steps ask for.
    fn wanted(&self, slopes: &Slopes) -> Image<f32> {
        let flow = Image::from_fn(slopes.width(), slopes.height(), |x, y| {
            let (step, w) = (step(slopes, x, y), self.weight.get(x, y));
            [step[0] * w[0], step[1] * w[1]]
        });
        Image::from_fn(slopes.width(), slopes.height(), |x, y| {
            let [right, down] = flow.get(x, y);
            let left = if x > 0 { flow.get(x - 1, y)[0] } else { 0.0 };
            let up = if y > 0 { flow.get(x, y - 1)[1] } else { 0.0 };
            left + up - right - down
        })
    }

    fn relax(
        &self,
        cosines: &Cosines,
        slopes: &Slopes,
        start: Image<f32>,
        how: Integration,
        task: &Task,
    ) -> Result<Image<f32>, Cancelled> {
        let stiff = how.stiff() as f32;
        let mut height = start;
        let mut left = self.wanted(slopes).zip(&self.apply(&height, stiff), |wanted, got| wanted - got);
        let precondition = |left: &Image<f32>| {
            let mut field = left.texels().to_vec();
            cosines.each_wave(&mut field, |x, y| {
                let below = steps_at(x, 0.0) + steps_at(y, 0.0) + how.stiff();
                if below > 0.0 { 1.0 / below } else { 0.0 }
            });
            Image::from_vec(left.width(), left.height(), field)
        };
        let mut better = precondition(&left);
        let mut along = better.clone();
        let mut size = product(&left, &better);
        let enough = size * CLOSE * CLOSE;
        for _ in 0..MOST_ROUNDS {
            if size <= enough || size <= 0.0 {
                break;
            }
            task.check()?;
            let turned = self.apply(&along, stiff);
            let stride = (size / product(&along, &turned).max(1e-30)) as f32;
            height = height.zip(&along, |h, a| h + stride * a);
            left = left.zip(&turned, |l, t| l - stride * t);
            better = precondition(&left);
            let next = product(&left, &better);
            let keep = (next / size) as f32;
            along = better.zip(&along, |b, a| b + keep * a);
            size = next;
        }
        Ok(height)
    }
}

/// Right and lower neighbour.
fn neighbours(image: &Image<f32>, x: usize, y: usize) -> [Option<f32>; 2] {
    let right = (x + 1 < image.width()).then(|| image.get(x + 1, y));
    [right, (y + 1 < image.height()).then(|| image.get(x, y + 1))]
}

/// Steps of the height to the right and lower neighbour that the slopes say.
fn step(slopes: &Slopes, x: usize, y: usize) -> [f32; 2] {
    let own = slopes.get(x, y);
    let right = if x + 1 < slopes.width() { slopes.get(x + 1, y) } else { own };
    let below = if y + 1 < slopes.height() { slopes.get(x, y + 1) } else { own };
    [0.5 * (own[0] + right[0]), -0.5 * (own[1] + below[1])]
}

/// Sum of products, row by row, so that it is the same on any number of threads.
fn product(a: &Image<f32>, b: &Image<f32>) -> f64 {
    let rows: Vec<f64> = (0..a.height())
        .into_par_iter()
        .map(|y| a.row(y).iter().zip(b.row(y)).map(|(a, b)| f64::from(*a) * f64::from(*b)).sum())
        .collect();
    rows.iter().sum()
}

/// Cosine transforms of one size.
struct Cosines {
    width: usize,
    height: usize,
    along: Arc<dyn TransformType2And3<f32>>,
    down: Arc<dyn TransformType2And3<f32>>,
}

impl Cosines {
    fn new(width: usize, height: usize) -> Self {
        let mut planner = CosinePlanner::new();
        Self { width, height, along: planner.cosine(width), down: planner.cosine(height) }
    }

    /// Multiply every wave by a gain of its turns a texel, in place.
    fn each_wave(&self, field: &mut [f32], gain: impl Fn(f64, f64) -> f64 + Sync) {
        let (width, height) = (self.width, self.height);
        lines(field, width, |line, scratch| self.along.process_dct2_with_scratch(line, scratch), self.along.get_scratch_len());
        let mut turned = turned(field, width, height);
        lines(
            &mut turned,
            height,
            |line, scratch| self.down.process_dct2_with_scratch(line, scratch),
            self.down.get_scratch_len(),
        );
        let scale = 4.0 / (width as f64 * height as f64);
        let turn_of = |i: usize, count: usize| std::f64::consts::PI * i as f64 / count as f64;
        turned.par_chunks_mut(height).enumerate().for_each(|(u, column)| {
            let x = turn_of(u, width);
            for (v, cell) in column.iter_mut().enumerate() {
                *cell = (f64::from(*cell) * scale * gain(x, turn_of(v, height))) as f32;
            }
        });
        lines(
            &mut turned,
            height,
            |line, scratch| self.down.process_dct3_with_scratch(line, scratch),
            self.down.get_scratch_len(),
        );
        turn(&turned, height, width, field);
        drop(turned);
        lines(field, width, |line, scratch| self.along.process_dct3_with_scratch(line, scratch), self.along.get_scratch_len());
    }
}

/// The square of the step that a wave of so many radians a texel makes.
fn steps_at(turn: f64, detail: f64) -> f64 {
    let (near, far) = (2.0 - 2.0 * turn.cos(), turn.sin().powi(2));
    near + detail * (far - near)
}

fn lines(field: &mut [f32], length: usize, process: impl Fn(&mut [f32], &mut [f32]) + Sync, scratch: usize) {
    field.par_chunks_mut(length).for_each_init(|| vec![0.0; scratch], |scratch, line| process(line, scratch));
}

/// Rows become columns.
fn turned(field: &[f32], columns: usize, rows: usize) -> Vec<f32> {
    let mut out = vec![0.0; field.len()];
    turn(field, columns, rows, &mut out);
    out
}

/// Rows become columns, in blocks that stay in cache.
pub(super) fn turn<T: Copy + Send + Sync>(field: &[T], columns: usize, rows: usize, out: &mut [T]) {
    const BLOCK: usize = 16;
    out.par_chunks_mut(rows * BLOCK).enumerate().for_each(|(block, part)| {
        let x0 = block * BLOCK;
        let wide = part.len() / rows;
        for y0 in (0..rows).step_by(BLOCK) {
            for dx in 0..wide {
                for y in y0..(y0 + BLOCK).min(rows) {
                    part[dx * rows + y] = field[y * columns + x0 + dx];
                }
            }
        }
    });
}
