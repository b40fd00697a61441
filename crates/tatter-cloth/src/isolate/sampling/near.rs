//! The known colours nearest to each place.

use tatter_core::image::{Image, LinearRgb};
use tatter_core::rng::hash_unit;

/// Side of a cell, pixels: all its pixels are given the same colours, and each cell lends at most one colour.
const CELL: usize = 4;

/// For each cell of a picture the `N` known colours nearest to it, each from another cell.
pub(super) struct Nearby<const N: usize> {
    across: usize,
    cells: Vec<List<N>>,
}

#[derive(Clone, Copy)]
struct Lent {
    /// Where it was seen, in cells.
    place: [f32; 2],
    color: [f32; 3],
}

/// Nearest first.
#[derive(Clone, Copy)]
struct List<const N: usize> {
    lent: [Lent; N],
    count: usize,
}

impl<const N: usize> Nearby<N> {
    /// `known(i)`: whether the pixel at place i may lend its colour; `seed` decides which pixel of a cell does.
    ///
    /// Lists are handed from cell to cell in two sweeps, there and back, as distances are in a chamfer transform; the
    /// nearest is found, a further one may be missed for one nearly as near.
    pub(super) fn new(color: &Image<LinearRgb>, known: impl Fn(usize) -> bool, seed: u64) -> Self {
        let (across, down) = (color.width().div_ceil(CELL), color.height().div_ceil(CELL));
        let mut cells: Vec<List<N>> =
            (0..across * down).map(|i| List::own(color, &known, [i % across * CELL, i / across * CELL], seed)).collect();
        let width = across as isize;
        for back in [false, true] {
            for step in 0..cells.len() {
                let i = if back { cells.len() - 1 - step } else { step };
                let (x, y) = (i % across, i / across);
                let side = if back { 1 } else { -1 };
                for (dx, dy) in [(side, 0), (side, side), (0, side), (-side, side)] {
                    let inside = x.checked_add_signed(dx).is_some_and(|x| x < across)
                        && y.checked_add_signed(dy).is_some_and(|y| y < down);
                    if inside {
                        let other = cells[i.wrapping_add_signed(dx + dy * width)];
                        cells[i].take(&other, [x as f32 + 0.5, y as f32 + 0.5]);
                    }
                }
            }
        }
        Self { across, cells }
    }

    /// The colours for a pixel, nearest first; fewer than `N` only when fewer cells have any.
    #[inline]
    pub(super) fn colors(&self, x: usize, y: usize) -> impl Iterator<Item = [f32; 3]> + Clone + '_ {
        let list = &self.cells[y / CELL * self.across + x / CELL];
        list.lent[..list.count].iter().map(|l| l.color)
    }
}

impl<const N: usize> List<N> {
    fn own(color: &Image<LinearRgb>, known: &impl Fn(usize) -> bool, [left, top]: [usize; 2], seed: u64) -> Self {
        let mut list = Self { lent: [Lent { place: [0.0; 2], color: [0.0; 3] }; N], count: 0 };
        let mut best = f32::INFINITY;
        for y in top..(top + CELL).min(color.height()) {
            for x in left..(left + CELL).min(color.width()) {
                let lot = hash_unit(seed, x as u32, y as u32);
                if lot < best && known(y * color.width() + x) {
                    best = lot;
                    let place = [x, y].map(|v| (v as f32 + 0.5) / CELL as f32);
                    list.lent[0] = Lent { place, color: color.get(x, y).0 };
                    list.count = 1;
                }
            }
        }
        list
    }

    /// Keep what of another list is nearer to `here`, or finds room.
    fn take(&mut self, other: &Self, here: [f32; 2]) {
        let far = |l: &Lent| (l.place[0] - here[0]).powi(2) + (l.place[1] - here[1]).powi(2);
        for lent in &other.lent[..other.count] {
            let distance = far(lent);
            if self.lent[..self.count].iter().any(|own| own.place == lent.place) {
                continue;
            }
            let at = self.lent[..self.count].partition_point(|own| far(own) <= distance);
            if at < N {
                self.count = (self.count + 1).min(N);
                self.lent[at..self.count].rotate_right(1);
                self.lent[at] = *lent;
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_nearest_known_colours_reach_every_cell() {
        // One known pixel in every third column and fifth row of cells, counted off by hand.
        let color = Image::from_fn(96, 80, |x, y| LinearRgb([x as f32, y as f32, 0.0]));
        let known = |i: usize| (i % 96).is_multiple_of(12) && (i / 96).is_multiple_of(20);
        let near = Nearby::<3>::new(&color, known, 5);
        for (x, y) in [(0, 0), (95, 79), (50, 31), (3, 70)] {
            let got: Vec<f32> = near.colors(x, y).map(|c| (c[0] - x as f32).hypot(c[1] - y as f32)).collect();
            let mut all: Vec<f32> = (0..8)
                .flat_map(|i| (0..4).map(move |j| [i as f32 * 12.0, j as f32 * 20.0]))
                .map(|p| (p[0] - x as f32).hypot(p[1] - y as f32))
                .collect();
            all.sort_by(f32::total_cmp);
            assert_eq!(got.len(), 3, "three colours at {x}, {y}");
            assert!(got.iter().zip(&all).all(|(g, a)| (g - a).abs() < 6.0), "at {x}, {y}: {got:?} of {:?}", &all[..3]);
        }
    }
}
