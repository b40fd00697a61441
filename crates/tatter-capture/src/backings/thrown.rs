//! Light thrown through the cloth onto its backing: the picture of lamps and sky that shadows are drawn with.
//!
//! What reaches a place of the backing is what the cloth lets pass on the way there. For cloth that lies along its card that is a convolution: the
//! shade is `K ∗ (1 − alpha)`, where `K ≥ 0` is all that gives light, thrown onto the card through a pinhole in the cloth. It is found as few bells:
//! the sky as bells of several breadths about the place itself, and lamps as bells wherever one explains most of what is left (orthogonal matching
//! pursuit: Pati, Rezaiifar, Krishnaprasad, 1993), with weights of none below nought.

use rayon::prelude::*;
use tatter_core::image::Image;
use tatter_core::kernel::soft;
use tatter_fourier::num_complex::Complex;
use tatter_fourier::{FourierPlanner, both_axes, fast_length};

/// Breadths of bells, sigma in pixels.
const BREADTHS: [f32; 6] = [1.0, 2.0, 4.0, 8.0, 16.0, 32.0];
/// Breadths of the sky's.
const SKY: std::ops::Range<usize> = 1..6;
/// Most bells besides the sky's.
const LAMPS: usize = 8;
/// Share of what is unexplained that one more bell must explain.
const WORTH: f32 = 0.02;

/// A bell that light falls through: its breadth by its place in [`BREADTHS`], and how far off the light passes the cloth, pixels; `None` is light
/// that nothing keeps off.
type Bell = Option<(usize, [isize; 2])>;

/// Where light comes from, as bells and how much each gives.
#[derive(Clone, Debug)]
pub(super) struct Thrown(Vec<(Bell, f32)>);

/// What bells are made of: what the cloth lets pass, blurred by each breadth.
struct Blurred(Vec<Image<f32>>);

impl Blurred {
    /// Of the share of light that cloth lets pass; breadths are `times` as many pixels.
    fn of(open: &Image<f32>, times: f32) -> Self {
        Self(BREADTHS.iter().map(|breadth| soft(open, breadth * times)).collect())
    }

    fn column(&self, bell: Bell, open: &Image<f32>) -> Image<f32> {
        match bell {
            None => open.clone(),
            Some((breadth, [dx, dy])) => {
                let blurred = &self.0[breadth];
                Image::from_fn(open.width(), open.height(), |x, y| {
                    open.get(x, y) * blurred.get_clamped(x as isize + dx, y as isize + dy)
                })
            }
        }
    }
}

impl Thrown {
    /// Bells of which the shade, and so `through = open · shade`, is best told where there is `weight`. `open` is the share of light that cloth lets
    /// pass; light that passes farther than `reach` pixels off is not looked for.
    pub(super) fn find(through: &Image<f32>, open: &Image<f32>, weight: &Image<f32>, reach: usize) -> Self {
        let blurred = Blurred::of(open, 1.0);
        let search = Search::new(&blurred, &open.zip(weight, |o, w| o * o * w), reach);
        let bells = SKY.map(|breadth| Some((breadth, [0; 2])));
        let mut fit = Fit::new(through, weight);
        for bell in std::iter::once(None).chain(bells) {
            fit.add(bell, &blurred.column(bell, open));
        }
        let mut left = fit.solve();
        for _ in 0..LAMPS {
            let slope = left.1.zip(open, |l, o| l * o).zip(weight, |l, w| l * w);
            let Some(bell) = search.best(&slope) else { break };
            if fit.bells.contains(&bell) {
                break;
            }
            fit.add(bell, &blurred.column(bell, open));
            let next = fit.solve();
            let is_worth = next.0 < (1.0 - WORTH) * left.0;
            left = next;
            if !is_worth {
                break;
            }
        }
        Self(fit.bells.into_iter().zip(fit.shares).filter(|(_, share)| *share > 0.0).collect())
    }

    /// The same bells, with other weights, for another guess of what is open.
    pub(super) fn weighed(&self, through: &Image<f32>, open: &Image<f32>, weight: &Image<f32>) -> Self {
        let blurred = Blurred::of(open, 1.0);
        let mut fit = Fit::new(through, weight);
        for (bell, _) in &self.0 {
            fit.add(*bell, &blurred.column(*bell, open));
        }
        fit.solve();
        Self(fit.bells.into_iter().zip(fit.shares).collect())
    }

    /// Share of its full light that the backing has behind cloth that lets `open` of it pass; `times` as many pixels lie side by side as in the
    /// picture that the bells were found in.
    pub(super) fn shade(&self, open: &Image<f32>, times: f32) -> Image<f32> {
        let mut shade = Image::filled(open.width(), open.height(), 0.0f32);
        for (breadth, sigma) in BREADTHS.iter().enumerate() {
            let of_breadth: Vec<([isize; 2], f32)> = self
                .0
                .iter()
                .filter_map(|(bell, share)| {
                    let (own, off) = (*bell)?;
                    (own == breadth).then(|| (off.map(|d| (d as f32 * times).round() as isize), *share))
                })
                .collect();
            if of_breadth.is_empty() {
                continue;
            }
            let blurred = soft(open, sigma * times);
            for ([dx, dy], share) in of_breadth {
                shade.par_rows_mut().for_each(|(y, row)| {
                    for (x, value) in row.iter_mut().enumerate() {
                        *value += share * blurred.get_clamped(x as isize + dx, y as isize + dy);
                    }
                });
            }
        }
        let free: f32 = self.0.iter().filter(|(bell, _)| bell.is_none()).map(|(_, share)| share).sum();
        shade.map(|s| s + free)
    }
}

/// Weights of bells by least squares, none below nought.
struct Fit<'a> {
    through: &'a Image<f32>,
    weight: &'a Image<f32>,
    bells: Vec<Bell>,
    columns: Vec<Image<f32>>,
    /// Products of columns with each other and with what is to be told.
    products: Vec<Vec<f64>>,
    aims: Vec<f64>,
    shares: Vec<f32>,
}

impl<'a> Fit<'a> {
    fn new(through: &'a Image<f32>, weight: &'a Image<f32>) -> Self {
        Self {
            through,
            weight,
            bells: Vec::new(),
            columns: Vec::new(),
            products: Vec::new(),
            aims: Vec::new(),
            shares: Vec::new(),
        }
    }

    fn add(&mut self, bell: Bell, column: &Image<f32>) {
        let weighed = column.zip(self.weight, |c, w| c * w);
        let product = |other: &Image<f32>| dot(&weighed, other);
        let mut products: Vec<f64> = self.columns.iter().map(product).collect();
        for (row, value) in self.products.iter_mut().zip(&products) {
            row.push(*value);
        }
        products.push(product(column));
        self.products.push(products);
        self.aims.push(product(self.through));
        self.columns.push(column.clone());
        self.bells.push(bell);
        self.shares.push(0.0);
    }

    /// The best weights by coordinate descent; the sum of squares that is left, and what is left where.
    fn solve(&mut self) -> (f32, Image<f32>) {
        const ROUNDS: usize = 400;
        let mut shares: Vec<f64> = self.shares.iter().map(|s| f64::from(*s)).collect();
        for _ in 0..ROUNDS {
            for i in 0..shares.len() {
                let own = self.products[i][i];
                let told: f64 = self.products[i].iter().zip(&shares).map(|(p, s)| p * s).sum();
                shares[i] = if own > 1e-9 { (shares[i] + (self.aims[i] - told) / own).max(0.0) } else { 0.0 };
            }
        }
        self.shares = shares.into_iter().map(|s| s as f32).collect();
        let mut left = self.through.clone();
        for (column, share) in self.columns.iter().zip(&self.shares).filter(|(_, share)| **share > 0.0) {
            left = left.zip(column, |l, c| l - share * c);
        }
        let square = dot(&left.zip(self.weight, |l, w| l * w), &left);
        (square as f32, left)
    }
}

fn dot(a: &Image<f32>, b: &Image<f32>) -> f64 {
    a.texels().iter().zip(b.texels()).map(|(a, b)| f64::from(a * b)).sum()
}

/// Looks for the bell that explains most, by correlation.
struct Search {
    side: usize,
    reach: usize,
    /// Of each breadth: its transform, and the squares of its columns for each offset.
    bells: Vec<(Vec<Complex<f32>>, Vec<f32>)>,
}

impl Search {
    fn new(blurred: &Blurred, squares: &Image<f32>, reach: usize) -> Self {
        let side = fast_length(squares.width().max(squares.height()) + 2 * reach);
        let squares = transformed(side, |x, y| inside(squares, x, y));
        let bells = blurred
            .0
            .par_iter()
            .map(|image| {
                // Beyond its edge a picture goes on as it ends.
                let at = |x: usize, y: usize| image.get_clamped(x as isize - reach as isize, y as isize - reach as isize);
                let (own, square) = (transformed(side, at), transformed(side, |x, y| at(x, y).powi(2)));
                (own, correlated(&square, &squares, side))
            })
            .collect();
        Self { side, reach, bells }
    }

    /// The bell along which `slope`, what is left times the weight it has, grows most for its length.
    fn best(&self, slope: &Image<f32>) -> Option<Bell> {
        /// Columns shorter than this share of the longest are next to nothing, whatever they explain.
        const SHORT: f32 = 0.01;
        let slope = transformed(self.side, |x, y| inside(slope, x, y));
        let reach = self.reach as isize;
        let best = self.bells.par_iter().enumerate().filter_map(|(breadth, (own, squares))| {
            let along = correlated(own, &slope, self.side);
            let longest = squares.iter().fold(0.0f32, |most, s| most.max(*s));
            let offsets = (-reach..=reach).flat_map(|dy| (-reach..=reach).map(move |dx| [dx, dy]));
            let gains = offsets.filter(|[dx, dy]| dx * dx + dy * dy <= reach * reach).filter_map(|off| {
                let i = (off[1] + reach) as usize * self.side + (off[0] + reach) as usize;
                (along[i] > 0.0 && squares[i] > SHORT * longest).then(|| (along[i] * along[i] / squares[i], off))
            });
            gains.max_by(|a, b| a.0.total_cmp(&b.0)).map(|(gain, off)| (gain, (breadth, off)))
        });
        best.max_by(|a, b| a.0.total_cmp(&b.0).then(a.1.cmp(&b.1))).map(|(_, bell)| Some(bell))
    }
}

fn inside(image: &Image<f32>, x: usize, y: usize) -> f32 {
    if x < image.width() && y < image.height() { image.get(x, y) } else { 0.0 }
}

/// Transform of a square of values, axes exchanged.
fn transformed(side: usize, at: impl Fn(usize, usize) -> f32) -> Vec<Complex<f32>> {
    let mut grid = Vec::with_capacity(side * side);
    for y in 0..side {
        grid.extend((0..side).map(|x| Complex::new(at(x, y), 0.0)));
    }
    both_axes(grid, &*FourierPlanner::new().forward(side))
}

/// Sum over all places of one picture there times the other so far off, for every offset.
fn correlated(image: &[Complex<f32>], with: &[Complex<f32>], side: usize) -> Vec<f32> {
    let product = image.iter().zip(with).map(|(a, b)| a * b.conj()).collect();
    let scale = 1.0 / (side * side) as f32;
    both_axes(product, &*FourierPlanner::new().inverse(side)).into_iter().map(|v| v.re * scale).collect()
}

#[cfg(test)]
mod tests {
    use tatter_core::kernel::gaussian;
    use tatter_core::rng::hash_unit;

    use super::*;

    /// Threads at random distances with a hole among them.
    fn torn(side: usize) -> Image<f32> {
        let thread = |seed: u64, i: usize| hash_unit(seed, (i / 4) as u32, 0) < 0.55;
        let sharp = Image::from_fn(side, side, |x, y| {
            let hole = (x as f32 - 0.5 * side as f32).hypot(y as f32 - 0.45 * side as f32) < 0.2 * side as f32;
            if hole && !thread(3, y) || !thread(1, x) && !thread(2, y) { 1.0 } else { 0.0 }
        });
        gaussian(&sharp, 0.8)
    }

    /// A lamp of which a quarter is kept off by nothing, and a sky: shade by the definition of a convolution, place by place.
    #[test]
    fn light_that_was_thrown_is_found() {
        let open = torn(160);
        let off = [-11isize, 7];
        let (lamp, sky) = (gaussian(&open, 1.0), gaussian(&open, 8.0));
        let shade = Image::from_fn(160, 160, |x, y| {
            0.1 + 0.5 * lamp.get_clamped(x as isize + off[0], y as isize + off[1]) + 0.4 * sky.get(x, y)
        });
        let through = open.zip(&shade, |o, s| o * s);
        let weight = open.map(|o| if o > 0.1 { 1.0 } else { 0.0 });
        let found = Thrown::find(&through, &open, &weight, 24);
        // Neighbouring bells may share it.
        let near = |at: [isize; 2]| (at[0] - off[0]).abs().max((at[1] - off[1]).abs()) <= 2;
        let lamps: f32 = found.0.iter().filter(|(bell, _)| bell.is_some_and(|(_, at)| near(at))).map(|(_, share)| share).sum();
        assert!((lamps - 0.5).abs() < 0.05, "{:?}", found.0);
        let wrong = found.shade(&open, 1.0).zip(&shade, |a, b| (a - b).abs());
        let mean = dot(&wrong, &weight) / weight.texels().iter().map(|w| f64::from(*w)).sum::<f64>();
        assert!(mean < 0.015, "shade is off by {mean} where something is open");
    }

    /// Least squares with none below nought, by hand: two columns that lie askew, of which the second would be negative.
    #[test]
    fn shares_are_not_negative() {
        let column = |values: [f32; 3]| Image::from_vec(3, 1, values.to_vec());
        let (aim, one) = (column([1.0, 0.0, 0.0]), column([1.0; 3]));
        let mut fit = Fit::new(&aim, &one);
        fit.add(None, &column([1.0, 0.5, 0.0]));
        fit.add(None, &column([0.0, 1.0, 0.0]));
        let (left, _) = fit.solve();
        // The first alone: (1, 0.5, 0)·(1, 0, 0) / 1.25 = 0.8, which leaves 1 - 0.8 of the square.
        assert!(
            (fit.shares[0] - 0.8).abs() < 1e-4 && fit.shares[1] == 0.0 && (left - 0.2).abs() < 1e-4,
            "{:?} leave {left}",
            fit.shares
        );
    }
}
