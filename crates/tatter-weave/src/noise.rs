//! Smooth noise that repeats after a whole number of cells, so that a cloth can tile.

use tatter_core::rng::hash_unit;

/// A value in 0..1 for two whole numbers.
pub(crate) fn pick(seed: u64, a: i32, b: i32) -> f32 {
    hash_unit(seed, a as u32, b as u32)
}

/// Roughly normal, mean 0, deviation 1, within ±3.46, for two whole numbers.
pub(crate) fn normal(seed: u64, a: i32, b: i32) -> f32 {
    let sum: f32 = (0..4u64).map(|k| pick(seed ^ (k << 52), a, b)).sum();
    (sum - 2.0) * 1.732
}

/// Noise of a line, -1..1, one cell a unit, repeating after `period` cells. Deviation about 0.5.
pub(crate) fn line(seed: u64, x: f32, period: i32) -> f32 {
    let cell = x.floor();
    let f = x - cell;
    let u = f * f * (3.0 - 2.0 * f);
    let at = |k: i32| pick(seed, (cell as i32 + k).rem_euclid(period.max(1)), 7);
    let a = at(0);
    2.0 * (a + (at(1) - a) * u) - 1.0
}

/// Noise of a plane, -1..1, one cell a unit, repeating after `period` cells each way. Deviation about 0.4.
pub(crate) fn plane(seed: u64, [x, y]: [f32; 2], period: [i32; 2]) -> f32 {
    let (cx, cy) = (x.floor(), y.floor());
    let (fx, fy) = (x - cx, y - cy);
    let (ux, uy) = (fx * fx * (3.0 - 2.0 * fx), fy * fy * (3.0 - 2.0 * fy));
    let (x0, x1) = ((cx as i32).rem_euclid(period[0].max(1)), (cx as i32 + 1).rem_euclid(period[0].max(1)));
    let (y0, y1) = ((cy as i32).rem_euclid(period[1].max(1)), (cy as i32 + 1).rem_euclid(period[1].max(1)));
    let (a, b, c, d) = (pick(seed, x0, y0), pick(seed, x1, y0), pick(seed, x0, y1), pick(seed, x1, y1));
    let top = a + (b - a) * ux;
    let bottom = c + (d - c) * ux;
    2.0 * (top + (bottom - top) * uy) - 1.0
}

/// A period of noise that repeats with a length: cells of about `cell` along `length`, and how many fit.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Cells {
    /// Cells a unit of length.
    pub(crate) rate: f32,
    /// Cells in the whole length.
    pub(crate) count: i32,
}

impl Cells {
    pub(crate) fn new(length: f32, cell: f32) -> Self {
        let count = (length / cell).round().max(1.0);
        Self { rate: count / length, count: count as i32 }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn noise_repeats_and_is_continuous() {
        let cells = Cells::new(37.0, 3.0);
        for k in 0..100 {
            let x = k as f32 * 0.37;
            let (a, b) = (line(5, x * cells.rate, cells.count), line(5, (x + 37.0) * cells.rate, cells.count));
            assert!((a - b).abs() < 1e-3, "line at {x}");
            let near = line(5, (x + 1e-3) * cells.rate, cells.count);
            assert!((a - near).abs() < 0.01, "a jump at {x}");
            let (c, d) = (plane(9, [x, 0.3], [4, 5]), plane(9, [x + 4.0, 5.3], [4, 5]));
            assert!((c - d).abs() < 1e-3, "plane at {x}");
        }
    }
}
