//! The matting Laplacian without its matrix: windows of 3 × 3 pixels, each with its mean colour and covariance.
//!
//! For a field `p` the Laplacian's value at pixel i is the sum, over the windows that hold i, of what the window's own line
//! `p ≈ a · colour + b` leaves unexplained there. Rows sum to zero by construction, whatever the rounding; the assembled
//! matrix in single precision did not, and lost alpha on plain colours.

use rayon::prelude::*;
use tatter_core::image::{Image, LinearRgb};

pub(super) const NOWHERE: u32 = u32::MAX;

/// Windows that hold an unknown pixel.
pub(super) struct Windows<'a> {
    color: &'a Image<LinearRgb>,
    /// Number of the unknown pixel at each place.
    unknown: Vec<u32>,
    /// Unknown pixels, in row order.
    pub(super) pixels: Vec<u32>,
    /// Number of the window around each place.
    at: Vec<u32>,
    list: Vec<Window>,
}

struct Window {
    middle: u32,
    mean: [f32; 3],
    /// Lower Cholesky factor of the covariance with its regularisation (rows: 00 10 11 20 21 22), diagonal inverted. The
    /// inverse itself would lose the long axis of a thin covariance in single precision.
    factor: [f32; 6],
}

/// A window's fit to a field.
#[derive(Clone, Copy, Default)]
pub(super) struct Line {
    mean: f64,
    slope: [f32; 3],
}

const NEIGHBOURS: [(isize, isize); 9] = [(-1, -1), (0, -1), (1, -1), (-1, 0), (0, 0), (1, 0), (-1, 1), (0, 1), (1, 1)];

impl<'a> Windows<'a> {
    /// `known(i)`: whether alpha is given at place i.
    pub(super) fn new(color: &'a Image<LinearRgb>, known: impl Fn(usize) -> bool, epsilon: f32) -> Self {
        let (width, height) = (color.width(), color.height());
        let mut unknown = vec![NOWHERE; width * height];
        let mut pixels = Vec::new();
        for (i, number) in unknown.iter_mut().enumerate() {
            if !known(i) {
                *number = pixels.len() as u32;
                pixels.push(i as u32);
            }
        }
        let list: Vec<Window> = (0..width * height)
            .into_par_iter()
            .with_min_len(4096)
            .filter_map(|i| {
                let (x, y) = (i % width, i / width);
                let inner = x > 0 && y > 0 && x + 1 < width && y + 1 < height;
                let holds = inner && NEIGHBOURS.iter().any(|&step| unknown[moved(i, step, width)] != NOWHERE);
                holds.then(|| Window::at(color, i, epsilon))
            })
            .collect();
        let mut at = vec![NOWHERE; width * height];
        for (k, window) in list.iter().enumerate() {
            at[window.middle as usize] = k as u32;
        }
        Self { color, unknown, pixels, at, list }
    }

    /// Each window's line for the field that is `p` at unknown pixels and `elsewhere(place)` at known ones.
    pub(super) fn fit(&self, p: &[f64], elsewhere: impl Fn(usize) -> f64 + Sync, lines: &mut Vec<Line>) {
        let width = self.color.width();
        lines.resize(self.list.len(), Line::default());
        lines.par_iter_mut().zip(&self.list).with_min_len(2048).for_each(|(line, window)| {
            let (mut values, mut mean) = ([0.0f64; 9], 0.0);
            for (value, &step) in values.iter_mut().zip(&NEIGHBOURS) {
                let place = moved(window.middle as usize, step, width);
                let number = self.unknown[place];
                *value = if number == NOWHERE { elsewhere(place) } else { p[number as usize] };
                mean += *value;
            }
            mean /= 9.0;
            let mut along = [0.0f32; 3];
            for (value, &step) in values.iter().zip(&NEIGHBOURS) {
                let color = self.color.texels()[moved(window.middle as usize, step, width)].0;
                let off = (value - mean) as f32 / 9.0;
                for c in 0..3 {
                    along[c] += (color[c] - window.mean[c]) * off;
                }
            }
            *line = Line { mean, slope: window.solve(along) };
        });
    }

    /// The Laplacian's value at unknown pixel number `i`, whose own value is `own`.
    #[inline]
    pub(super) fn unexplained(&self, i: usize, own: f64, lines: &[Line]) -> f64 {
        let place = self.pixels[i] as usize;
        let color = self.color.texels()[place].0;
        let mut sum = 0.0;
        self.around(place, |k| {
            let (window, line) = (&self.list[k], &lines[k]);
            let along: f32 = (0..3).map(|c| line.slope[c] * (color[c] - window.mean[c])).sum();
            sum += own - line.mean - f64::from(along);
        });
        sum
    }

    /// The Laplacian's diagonal at unknown pixel number `i`.
    pub(super) fn diagonal(&self, i: usize) -> f64 {
        let place = self.pixels[i] as usize;
        let color = self.color.texels()[place].0;
        let mut sum = 0.0f64;
        self.around(place, |k| {
            let window = &self.list[k];
            let off: [f32; 3] = std::array::from_fn(|c| color[c] - window.mean[c]);
            let turned = window.solve(off);
            sum += 1.0 - (1.0 + f64::from((0..3).map(|c| turned[c] * off[c]).sum::<f32>())) / 9.0;
        });
        sum
    }

    /// The windows that hold a place.
    #[inline]
    fn around(&self, place: usize, mut visit: impl FnMut(usize)) {
        let (width, height) = (self.color.width(), self.color.height());
        let (x, y) = (place % width, place / width);
        for wy in y.saturating_sub(1)..(y + 2).min(height) {
            for wx in x.saturating_sub(1)..(x + 2).min(width) {
                let k = self.at[wy * width + wx];
                if k != NOWHERE {
                    visit(k as usize);
                }
            }
        }
    }
}

#[inline]
const fn moved(place: usize, (dx, dy): (isize, isize), width: usize) -> usize {
    place.wrapping_add_signed(dy * width as isize + dx)
}

impl Window {
    fn at(color: &Image<LinearRgb>, middle: usize, epsilon: f32) -> Self {
        let texels: [[f64; 3]; 9] =
            std::array::from_fn(|i| color.texels()[moved(middle, NEIGHBOURS[i], color.width())].0.map(f64::from));
        let mean: [f32; 3] = std::array::from_fn(|c| (texels.iter().map(|t| t[c]).sum::<f64>() / 9.0) as f32);
        let covariance = |a: usize, b: usize| {
            let sum: f64 = texels.iter().map(|t| (t[a] - f64::from(mean[a])) * (t[b] - f64::from(mean[b]))).sum();
            (sum + if a == b { f64::from(epsilon) } else { 0.0 }) / 9.0
        };
        let root = |v: f64| 1.0 / v.max(1e-30).sqrt();
        let l00 = root(covariance(0, 0));
        let (l10, l20) = (covariance(1, 0) * l00, covariance(2, 0) * l00);
        let l11 = root(covariance(1, 1) - l10 * l10);
        let l21 = (covariance(2, 1) - l20 * l10) * l11;
        let l22 = root(covariance(2, 2) - l20 * l20 - l21 * l21);
        Self { middle: middle as u32, mean, factor: [l00, l10, l11, l20, l21, l22].map(|v| v as f32) }
    }

    /// The covariance's inverse applied to `v`.
    #[inline]
    fn solve(&self, v: [f32; 3]) -> [f32; 3] {
        let [l00, l10, l11, l20, l21, l22] = self.factor;
        let y0 = v[0] * l00;
        let y1 = (v[1] - l10 * y0) * l11;
        let y2 = (v[2] - l20 * y0 - l21 * y1) * l22;
        let x2 = y2 * l22;
        let x1 = (y1 - l21 * x2) * l11;
        [(y0 - l10 * x1 - l20 * x2) * l00, x1, x2]
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use tatter_core::rng::hash_unit;

    /// The whole matrix, column by column.
    fn matrix(color: &Image<LinearRgb>, epsilon: f32) -> Vec<f64> {
        let windows = Windows::new(color, |_| false, epsilon);
        let n = windows.pixels.len();
        let mut whole = vec![0.0; n * n];
        let mut lines = Vec::new();
        for column in 0..n {
            let mut unit = vec![0.0; n];
            unit[column] = 1.0;
            windows.fit(&unit, |_| 0.0, &mut lines);
            for row in 0..n {
                whole[row * n + column] = windows.unexplained(row, unit[row], &lines);
            }
        }
        whole
    }

    #[test]
    fn it_is_symmetric_and_semidefinite_with_zero_row_sums() {
        // Levin, Lischinski, Weiss 2008, section 3, for noise and for colours on one line.
        let noise = Image::from_fn(9, 8, |x, y| LinearRgb([0, 1, 2].map(|c| hash_unit(c, x as u32, y as u32))));
        let line = Image::from_fn(9, 8, |x, y| LinearRgb([0.1, 0.2, 0.4].map(|c| c * (1.0 + 0.1 * x as f32 + 0.02 * y as f32))));
        for (color, epsilon) in [(&noise, 1e-5), (&line, 1e-5), (&noise, 1e-7), (&line, 1e-7)] {
            let whole = matrix(color, epsilon);
            for i in 0..72 {
                let sum: f64 = whole[i * 72..(i + 1) * 72].iter().sum();
                assert!(sum.abs() < 1e-5, "row {i} sums to {sum}");
                assert!((0..72).all(|j| (whole[i * 72 + j] - whole[j * 72 + i]).abs() < 1e-4), "row {i} mirrors its column");
                let windows = Windows::new(color, |_| false, epsilon);
                assert!((whole[i * 73] - windows.diagonal(i)).abs() < 1e-4, "the diagonal at {i} is known beforehand");
            }
            // A matrix with an eigenvalue below -1e-4 has no Cholesky factor once 1e-4 is added.
            let mut lifted = whole.clone();
            (0..72).for_each(|i| lifted[i * 73] += 1e-4);
            assert!(tatter_core::linear::cholesky(&lifted, 72).is_some(), "no direction is negative");
        }
    }

    #[test]
    fn a_constant_picture_gives_weights_of_one_ninth() {
        let whole = matrix(&Image::filled(7, 7, LinearRgb([0.4, 0.5, 0.6])), 1e-7);
        // The corner neighbour of the middle shares one window, the next one along the edge two.
        let row = &whole[24 * 49..25 * 49];
        assert!((row[8] + 1.0 / 9.0).abs() < 1e-5 && (row[9] + 2.0 / 9.0).abs() < 1e-5, "row {row:?}");
    }

    #[test]
    fn a_row_agrees_with_the_reference_library() {
        // PyMatting 1.1.16, `cf_laplacian`; fixture by tools/matting_reference.py.
        let picture = include_bytes!("../../../tests/fixtures/matting/threads.ppm");
        let texels = &picture[picture.len() - 48 * 36 * 3..];
        let part =
            Image::from_fn(7, 7, |x, y| LinearRgb([0, 1, 2].map(|c| f32::from(texels[((y + 6) * 48 + x + 18) * 3 + c]) / 255.0)));
        let text = include_str!("../../../tests/fixtures/matting/laplacian_row.txt");
        let reference: Vec<f64> = text.lines().skip(1).flat_map(|line| line.split(' ').map(|v| v.parse().unwrap())).collect();
        assert_eq!(reference.len(), 25, "five rows of five entries");
        let whole = matrix(&part, 1e-7);
        for (k, wanted) in reference.iter().enumerate() {
            let got = whole[24 * 49 + (1 + k / 5) * 7 + 1 + k % 5];
            assert!((got - wanted).abs() < 1e-4, "entry {k} is {got}, the library has {wanted}");
        }
    }
}
