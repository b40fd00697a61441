//! A map between two shots refined on what they have in common, pixel by pixel.
//!
//! Gauss-Newton with the mean gradient of both (Malis, "Improving Vision-Based Control Using Efficient Second-Order
//! Minimization Techniques", 2004), one gain as in Evangelidis, Psarakis, "Parametric Image Alignment Using Enhanced
//! Correlation Coefficient Maximization", 2008, and Tukey's weights, so that what changed between the shots does not pull.

use rayon::prelude::*;
use tatter_core::image::{Image, Size};
use tatter_core::linear::{cholesky, cholesky_solve};
use tatter_core::stats::quantile;

use super::warp::{Source, is_inside};
use super::{Freedom, Homography};

/// Most rounds.
const ROUNDS: usize = 15;
/// Tukey's constant for 95 % efficiency (Holland, Welsch 1977).
const TUKEY: f32 = 4.685;
/// Most that residuals may be thought to scatter, in deviations of contrast: an outline that is light over a dark card and dark
/// over a light one is two deviations off and more, and must not count however many such there are.
const FAR: f32 = 0.4;
/// Pixels at the border of either shot that are left out.
const BORDER: usize = 3;
/// Neighbouring pixels that say the same: a lens blurs over about that many.
const ALIKE: f64 = 6.0;
/// Rows of a band, the first and the last for their neighbours' slopes alone.
const BAND: usize = 18;

/// How near a map is to come to the truth.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Care {
    /// A guess, to be refined further.
    Rough,
    /// A result. Two lobes of Lanczos shift a wave of six pixels by a fiftieth of a pixel; three do not.
    Fine,
}

impl Care {
    /// Step of a corner, pixels, below which it has settled.
    const fn settled(self) -> f64 {
        match self {
            Self::Rough => 0.05,
            Self::Fine => 0.004,
        }
    }

    /// Pixels that settle it: of a million, noise moves a map by a few thousandths of a pixel.
    const fn enough(self) -> usize {
        match self {
            Self::Rough => 250_000,
            Self::Fine => 1_000_000,
        }
    }
}

/// The other shot, to be shown row by row.
enum Other {
    Quick(Source<f32, 4>),
    Fine(Source<f32, 6>),
}

impl Other {
    fn of(image: &Image<f32>, care: Care) -> Self {
        match care {
            Care::Rough => Self::Quick(Source::of(image)),
            Care::Fine => Self::Fine(Source::of(image)),
        }
    }

    fn show(&self, map: &Homography, y: usize, row: &mut [f32]) {
        match self {
            Self::Quick(source) => source.show(map, y, row),
            Self::Fine(source) => source.show(map, y, row),
        }
    }
}

/// The rows that a round looks at: all, or bands spread evenly, which say nearly as much of a large picture.
struct Rows(Vec<usize>);

impl Rows {
    fn all(size: Size) -> Self {
        Self((0..size.height).collect())
    }

    /// Bands of a picture that has far more pixels than are enough.
    fn bands(size: Size, enough: usize) -> Option<Self> {
        let count = enough.div_ceil(size.width.max(1) * (BAND - 2));
        let step = size.height / count.max(1);
        (step >= 2 * BAND).then(|| {
            let band = |n: usize| n * step + (step - BAND) / 2..n * step + (step + BAND) / 2;
            Self((0..count).flat_map(band).collect())
        })
    }

    /// Those rows of an image.
    fn of<P: Copy>(&self, image: &Image<P>) -> Image<P> {
        Image::from_vec(image.width(), self.0.len(), self.0.iter().flat_map(|y| image.row(*y)).copied().collect())
    }

    /// Whether the rows before and after the `n`th are its neighbours in the picture.
    fn among_neighbours(&self, n: usize) -> bool {
        let Self(rows) = self;
        n > 0 && n + 1 < rows.len() && rows[n - 1] + 1 == rows[n] && rows[n] + 1 == rows[n + 1]
    }
}

/// A fit.
#[derive(Clone, Copy, Debug)]
pub(super) struct Fit {
    pub(super) map: Homography,
    /// Weighted mean square of what is left, and the weight of it in independent pixels.
    pub(super) left: f64,
    pub(super) count: f64,
    /// Deviation by noise of where the middle of the weights lies, pixels.
    pub(super) uncertain: f64,
}

/// Places of `reference` in `other`, from `start`. `None` when nothing holds it.
pub(super) fn refine(
    reference: &Image<f32>,
    other: &Image<f32>,
    weight: &Image<f32>,
    freedom: Freedom,
    start: &Homography,
    care: Care,
) -> Option<Fit> {
    let shots = Shots { reference, from: other.size(), other: Other::of(other, care), weight };
    let size = reference.size();
    let on = |rows: &Rows| rounds(&shots, rows, freedom, start, care.settled());
    // What counts may lie between the bands.
    Rows::bands(size, care.enough()).and_then(|bands| on(&bands)).or_else(|| on(&Rows::all(size)))
}

/// Two shots, and the pixels of the first that count.
struct Shots<'a> {
    reference: &'a Image<f32>,
    from: Size,
    other: Other,
    weight: &'a Image<f32>,
}

/// Rounds over some rows until the corners go no further than `settled` pixels in one.
fn rounds(shots: &Shots<'_>, rows: &Rows, freedom: Freedom, start: &Homography, settled: f64) -> Option<Fit> {
    let (size, mut map, mut fit) = (shots.reference.size(), *start, None);
    let (reference, weight) = (rows.of(shots.reference), rows.of(shots.weight));
    for _ in 0..ROUNDS {
        let mut shown = Image::filled(size.width, rows.0.len(), 0.0);
        shown.par_rows_mut().for_each(|(n, row)| shots.other.show(&map, rows.0[n], row));
        let seen = Image::from_fn(size.width, rows.0.len(), |x, n| is_inside(shots.from, &map, x, rows.0[n]));
        let sums = Look { reference: &reference, shown: &shown, weight: &weight, seen: &seen, rows, size }.sums(freedom)?;
        let solved = sums.solve(freedom)?;
        let step = from_numbers(&solved.numbers, size);
        let far = corners(size).map(|c| {
            let to = step.at(c);
            (to[0] - c[0]).hypot(to[1] - c[1])
        });
        let far = far.into_iter().fold(0.0, f64::max);
        fit = Some(Fit { map, left: sums.left / sums.weight, count: sums.weight / ALIKE, uncertain: solved.uncertain });
        if !far.is_finite() || far > 0.25 * size.width as f64 {
            return None;
        }
        map = map.after(&step);
        if far < settled {
            break;
        }
    }
    fit.map(|fit| Fit { map, ..fit })
}

fn corners(size: Size) -> [[f64; 2]; 4] {
    let (w, h) = (size.width as f64, size.height as f64);
    [[0.0, 0.0], [w, 0.0], [0.0, h], [w, h]]
}

/// Half the longer side: places are counted from the middle in it.
fn unit(size: Size) -> f64 {
    0.5 * size.width.max(size.height) as f64
}

/// The small map of the numbers solved for, in pixels.
fn from_numbers(p: &[f64; 8], size: Size) -> Homography {
    let s = unit(size);
    let (cx, cy) = (0.5 * size.width as f64, 0.5 * size.height as f64);
    let inner = Homography([[1.0 + p[2], p[3], p[0]], [p[4], 1.0 + p[5], p[1]], [p[6], p[7], 1.0]]);
    let to = Homography([[1.0 / s, 0.0, -cx / s], [0.0, 1.0 / s, -cy / s], [0.0, 0.0, 1.0]]);
    let back = Homography([[s, 0.0, cx], [0.0, s, cy], [0.0, 0.0, 1.0]]);
    back.after(&inner.after(&to))
}

/// Normal equations.
struct Sums {
    matrix: [[f64; 8]; 8],
    right: [f64; 8],
    left: f64,
    weight: f64,
}

struct Solved {
    numbers: [f64; 8],
    uncertain: f64,
}

/// What one pixel says.
#[derive(Clone, Copy)]
struct Pull {
    residual: f32,
    slope: [f32; 2],
    /// Share of the slope in the usual one, for the scale of residuals.
    trust: f32,
}

/// Some rows of both shots on each other.
struct Look<'a> {
    reference: &'a Image<f32>,
    shown: &'a Image<f32>,
    weight: &'a Image<f32>,
    seen: &'a Image<bool>,
    rows: &'a Rows,
    /// Of the whole picture.
    size: Size,
}

impl Look<'_> {
    /// `None` where there is too little to hold on to.
    fn sums(&self, freedom: Freedom) -> Option<Sums> {
        let pulls = self.pulls();
        let scale = scale(&pulls)?;
        let row = |n: usize| match freedom {
            Freedom::Shift => self.row::<2>(&pulls, n, scale),
            Freedom::Affine => self.row::<6>(&pulls, n, scale),
            Freedom::Projective => self.row::<8>(&pulls, n, scale),
        };
        let rows: Vec<Sums> = (0..self.rows.0.len()).into_par_iter().map(row).collect();
        // Row sums are added in order: the same bytes whatever the threads.
        let all = rows.iter().fold(Sums::NONE, Sums::and);
        (all.weight > 100.0).then_some(all)
    }

    fn pulls(&self) -> Image<Pull> {
        let Self { reference, shown, weight, .. } = self;
        let gain = gain(reference, shown, weight);
        Image::from_fn(reference.width(), reference.height(), |x, n| {
            let (w, y) = (weight.get(x, n), self.rows.0[n]);
            let within = |v: usize, count: usize| v >= BORDER && v + BORDER < count;
            let near = !within(x, self.size.width) || !within(y, self.size.height) || !self.rows.among_neighbours(n);
            if w <= 0.0 || near || !self.seen.get(x, n) {
                return Pull { residual: 0.0, slope: [0.0; 2], trust: 0.0 };
            }
            let slope = |image: &Image<f32>| {
                [0.5 * (image.get(x + 1, n) - image.get(x - 1, n)), 0.5 * (image.get(x, n + 1) - image.get(x, n - 1))]
            };
            let (a, b) = (slope(reference), slope(shown));
            let slope = [0, 1].map(|i| 0.5 * (a[i] + gain * b[i]));
            Pull { residual: reference.get(x, n) - gain * shown.get(x, n), slope, trust: w }
        })
    }

    /// The `n`th row's normal equations of so many numbers.
    fn row<const COUNT: usize>(&self, pulls: &Image<Pull>, n: usize, scale: f32) -> Sums {
        let mut sums = Sums::NONE;
        let unit = unit(self.size);
        let v = (self.rows.0[n] as f64 + 0.5 - 0.5 * self.size.height as f64) / unit;
        for (x, pull) in pulls.row(n).iter().enumerate().filter(|(_, p)| p.trust > 0.0) {
            let t = (pull.residual / (TUKEY * scale)).powi(2);
            if t >= 1.0 {
                continue;
            }
            let weight = f64::from(pull.trust * (1.0 - t).powi(2));
            let u = (x as f64 + 0.5 - 0.5 * self.size.width as f64) / unit;
            let [gx, gy] = pull.slope.map(|g| f64::from(g) * unit);
            let away = u * gx + v * gy;
            let numbers = [gx, gy, gx * u, gx * v, gy * u, gy * v, -u * away, -v * away];
            let r = f64::from(pull.residual);
            for (i, number) in numbers.iter().enumerate().take(COUNT) {
                let weighed = weight * number;
                sums.matrix[i].iter_mut().zip(&numbers).take(i + 1).for_each(|(sum, other)| *sum += weighed * other);
                sums.right[i] += weighed * r;
            }
            sums.left += weight * r * r;
            sums.weight += weight;
        }
        sums
    }
}

impl Sums {
    const NONE: Self = Self { matrix: [[0.0; 8]; 8], right: [0.0; 8], left: 0.0, weight: 0.0 };

    fn and(mut self, row: &Self) -> Self {
        for i in 0..8 {
            for j in 0..8 {
                self.matrix[i][j] += row.matrix[i][j];
            }
            self.right[i] += row.right[i];
        }
        self.left += row.left;
        self.weight += row.weight;
        self
    }

    fn solve(&self, freedom: Freedom) -> Option<Solved> {
        let n = freedom.count();
        let mut matrix = vec![0.0; n * n];
        for i in 0..n {
            for j in 0..=i {
                matrix[i * n + j] = self.matrix[i][j];
            }
            matrix[i * n + i] *= 1.0 + 1e-6;
            matrix[i * n + i] += 1e-9;
        }
        let lower = cholesky(&matrix, n)?;
        let mut numbers = [0.0; 8];
        numbers[..n].copy_from_slice(&cholesky_solve(&lower, &self.right[..n]));
        let variance = ALIKE * self.left / self.weight;
        let along = |k: usize| {
            let mut one = vec![0.0; n];
            one[k] = 1.0;
            cholesky_solve(&lower, &one)[k]
        };
        let uncertain = (variance * (along(0) + along(1))).sqrt();
        Some(Solved { numbers, uncertain })
    }
}

/// What `shown` is to be multiplied by.
fn gain(reference: &Image<f32>, shown: &Image<f32>, weight: &Image<f32>) -> f32 {
    let (mut cross, mut own) = (0.0f64, 1e-9f64);
    for ((a, b), w) in reference.texels().iter().zip(shown.texels()).zip(weight.texels()) {
        cross += f64::from(w * a * b);
        own += f64::from(w * b * b);
    }
    ((cross / own) as f32).clamp(0.3, 3.0)
}

/// Robust deviation of residuals where there is a slope to hold on to; the many plain pixels of a card say nothing of it.
fn scale(pulls: &Image<Pull>) -> Option<f32> {
    let step = tatter_core::stats::stride(pulls.size().area());
    let mut listed = Vec::new();
    for y in (step / 2..pulls.height()).step_by(step) {
        for pull in pulls.row(y).iter().skip(step / 2).step_by(step).filter(|p| p.trust > 0.0) {
            listed.push((pull.slope[0].hypot(pull.slope[1]), pull.residual.abs()));
        }
    }
    let middle = quantile(&mut listed.iter().map(|l| l.0).collect::<Vec<_>>(), 0.5);
    let mut steep: Vec<f32> = listed.iter().filter(|l| l.0 >= middle).map(|l| l.1).collect();
    (steep.len() > 50).then(|| (1.4826 * quantile(&mut steep, 0.5)).clamp(0.02, FAR))
}
