//! The colour of a stretch of cloth from scattered samples, not misled by a print, a seam or a badge within it.

use std::collections::{BTreeMap, BTreeSet};

use glam::DVec3;
use tatter_core::color::{ColorGaussian, Lab, OkLab, ciede2000};
use tatter_core::image::LinearRgb;

/// A colour seen, and the cell of the neighbourhood it was seen in.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) struct Glimpse {
    pub(crate) color: LinearRgb,
    pub(crate) cell: u32,
    /// Where, in shares of the patch's canvas.
    pub(crate) at: [f32; 2],
}

/// Cloth of one colour, threads and all.
#[derive(Clone, Debug)]
pub(crate) struct Swatch {
    /// Mean, linear light.
    pub(crate) mean: LinearRgb,
    /// What was seen in the cells that count.
    pub(crate) samples: Vec<LinearRgb>,
    /// Mean colour of each cell of this cloth.
    pub(crate) cells: BTreeMap<u32, LinearRgb>,
    /// Share of the cells that show this colour; below 1 the rest is a print, a seam, another cloth.
    pub(crate) share: f32,
}

/// Fewer samples than this say nothing about a cloth.
const FEWEST: usize = 12;
/// Cells further from the middle than the nearest of this share are left out: stray texels, the end of a seam.
const KEPT: f64 = 0.9;
/// Two colours are two cloths when they are this far apart in OKLab (about ΔE00 5) …
const APART: f64 = 0.05;
/// … and this many times as far as cells stray within each: an even fade splits at 3.5, two clear colours far above.
const CLEAR: f64 = 4.5;
/// … and the lesser has this share of the cells.
const LESSER: f64 = 0.08;

struct Cell {
    id: u32,
    mean: DVec3,
    place: DVec3,
    count: f64,
}

impl Swatch {
    /// `None` of too few samples.
    pub(crate) fn of(glimpses: &[Glimpse]) -> Option<Self> {
        if glimpses.len() < FEWEST {
            return None;
        }
        let mut all = cells(glimpses);
        let whole: f64 = all.iter().map(|c| c.count).sum();
        while let Some(lesser) = split(&all) {
            all = all.into_iter().zip(lesser).filter_map(|(cell, lesser)| (!lesser).then_some(cell)).collect();
        }
        let share = all.iter().map(|c| c.count).sum::<f64>() / whole;
        let cells: BTreeMap<u32, LinearRgb> = all.iter().map(|c| (c.id, rgb(c.mean))).collect();
        trim(&mut all);
        let count: f64 = all.iter().map(|c| c.count).sum();
        let mean = all.iter().map(|c| c.mean * c.count).sum::<DVec3>() / count;
        let kept: BTreeSet<u32> = all.iter().map(|c| c.id).collect();
        let samples = glimpses.iter().filter(|g| kept.contains(&g.cell)).map(|g| g.color).collect();
        Some(Self { mean: rgb(mean), samples, cells, share: share as f32 })
    }

    /// Its colours as a Gaussian in OKLab.
    pub(crate) fn gaussian(&self) -> Option<ColorGaussian> {
        ColorGaussian::of(&self.samples.iter().map(|&c| place(c)).collect::<Vec<_>>())
    }

    /// Median CIEDE2000 between this cloth's cells and the same cells of samples of another; `None` without common cells.
    pub(crate) fn difference(&self, other: &[Glimpse]) -> Option<f32> {
        let mut far: Vec<f32> = cells(other)
            .iter()
            .filter_map(|c| Some(ciede2000(Lab::from(rgb(c.mean)), Lab::from(*self.cells.get(&c.id)?))))
            .collect();
        (!far.is_empty()).then(|| {
            let middle = far.len() / 2;
            *far.select_nth_unstable_by(middle, f32::total_cmp).1
        })
    }
}

fn rgb(v: DVec3) -> LinearRgb {
    LinearRgb(v.as_vec3().to_array())
}

/// Where a colour lies in OKLab.
pub(super) fn place(color: LinearRgb) -> DVec3 {
    let OkLab { l, a, b } = OkLab::from(color);
    DVec3::new(l.into(), a.into(), b.into())
}

/// Mean of each cell, by number.
fn cells(glimpses: &[Glimpse]) -> Vec<Cell> {
    let mut sums: BTreeMap<u32, (DVec3, f64)> = BTreeMap::new();
    for g in glimpses {
        let sum = sums.entry(g.cell).or_default();
        sum.0 += glam::Vec3::from(g.color.0).as_dvec3();
        sum.1 += 1.0;
    }
    sums.into_iter()
        .map(|(id, (sum, count))| {
            let mean = sum / count;
            Cell { id, mean, place: place(rgb(mean)), count }
        })
        .collect()
}

/// Which cells belong to the lesser of two clearly different colours; `None` when there is one colour.
fn split(cells: &[Cell]) -> Option<Vec<bool>> {
    let weighted = |chosen: &dyn Fn(usize) -> bool| {
        let some = || cells.iter().enumerate().filter(|(i, _)| chosen(*i));
        let count: f64 = some().map(|(_, c)| c.count).sum();
        (some().map(|(_, c)| c.place * c.count).sum::<DVec3>() / count.max(1e-9), count)
    };
    let furthest =
        |from: DVec3| cells.iter().map(|c| c.place).max_by(|a, b| (*a - from).length().total_cmp(&(*b - from).length()));
    let first = furthest(weighted(&|_| true).0)?;
    let (mut a, mut b) = (first, furthest(first)?);
    let mut in_b = vec![false; cells.len()];
    let (mut count_a, mut count_b) = (0.0, 0.0);
    // Lloyd's steps settle within a few on a line of two clusters.
    for _ in 0..8 {
        in_b = cells.iter().map(|c| (c.place - b).length() < (c.place - a).length()).collect();
        (a, count_a) = weighted(&|i| !in_b[i]);
        (b, count_b) = weighted(&|i| in_b[i]);
    }
    let total = count_a + count_b;
    let stray: f64 =
        cells.iter().zip(&in_b).map(|(c, &in_b)| c.count * (c.place - if in_b { b } else { a }).length_squared()).sum();
    let stray = (stray / total).sqrt();
    let apart = (a - b).length();
    if apart < APART || apart < CLEAR * stray || count_a.min(count_b) < LESSER * total {
        return None;
    }
    let b_is_lesser = count_b < count_a;
    Some(in_b.into_iter().map(|in_b| in_b == b_is_lesser).collect())
}

/// Leave out the cells furthest from the middle.
fn trim(cells: &mut Vec<Cell>) {
    let axis = |of: &dyn Fn(&Cell) -> f64| {
        let mut values: Vec<f64> = cells.iter().map(of).collect();
        let middle = values.len() / 2;
        *values.select_nth_unstable_by(middle, f64::total_cmp).1
    };
    let middle = DVec3::new(axis(&|c| c.place.x), axis(&|c| c.place.y), axis(&|c| c.place.z));
    let kept = (cells.len() as f64 * KEPT).ceil() as usize;
    cells.sort_by(|a, b| (a.place - middle).length().total_cmp(&(b.place - middle).length()).then(a.id.cmp(&b.id)));
    cells.truncate(kept.max(1));
    cells.sort_by_key(|c| c.id);
}

#[cfg(test)]
mod tests {
    use tatter_core::rng::Rng;

    use super::*;

    fn cloth(rng: &mut Rng, cells: std::ops::Range<u32>, color: [f32; 3]) -> Vec<Glimpse> {
        cells
            .flat_map(|cell| (0..20).map(move |_| cell))
            .map(|cell| Glimpse { color: LinearRgb(color.map(|v| v * (1.0 + 0.1 * rng.normal()).max(0.1))), cell, at: [0.5; 2] })
            .collect()
    }

    #[test]
    fn a_print_does_not_mix_into_the_cloth() {
        let mut rng = Rng::new(1);
        let (blue, red) = ([0.05, 0.1, 0.3], [0.5, 0.05, 0.04]);
        let mut seen = cloth(&mut rng, 0..40, blue);
        seen.extend(cloth(&mut rng, 40..60, red));
        let found = Swatch::of(&seen).expect("enough samples");
        assert!((found.share - 2.0 / 3.0).abs() < 0.01, "two thirds are blue: {}", found.share);
        let far = ciede2000(Lab::from(found.mean), Lab::from(LinearRgb(blue)));
        assert!(far < 1.0, "the mean is the blue: ΔE {far}");
        assert!(found.cells.keys().all(|cell| *cell < 40), "no cell of the print");
    }

    #[test]
    fn cloth_of_two_threads_and_faded_cloth_stay_whole() {
        let mut rng = Rng::new(2);
        // Blue warp and white weft in every cell.
        let mut seen = cloth(&mut rng, 0..50, [0.03, 0.06, 0.2]);
        seen.extend(cloth(&mut rng, 0..50, [0.6, 0.6, 0.6]));
        assert!(Swatch::of(&seen).expect("enough samples").share > 0.999, "threads are no print");
        let faded: Vec<Glimpse> =
            (0..60).flat_map(|i| cloth(&mut rng, i..i + 1, [0.05 + 0.004 * i as f32, 0.1 + 0.004 * i as f32, 0.3])).collect();
        assert!(Swatch::of(&faded).expect("enough samples").share > 0.999, "an even fade is one cloth");
        assert!(Swatch::of(&faded[..8]).is_none(), "a few samples say nothing");
    }
}
