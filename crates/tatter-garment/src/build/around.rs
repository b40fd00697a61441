//! The garment's texels around a patch: where its own cloth is looked at.

use std::ops::Range;

use tatter_core::image::Image;
use tatter_core::kernel::{distance_to, gaussian};

use super::plan::Draw;
use super::pyramid::Prepared;

/// How far the ring reaches beyond the cover's edge, as a share of the canvas: what [`near`] blurs, three deviations.
pub(super) const REACH: f64 = 0.1;

/// A cover blurred over what counts as near its edge.
pub(super) fn near(cover: &Image<f32>) -> Image<f32> {
    gaussian(cover, 0.03 * cover.width() as f32)
}

/// One near the cover's edge, from the outside to half covered; nothing deep inside or far away.
pub(super) fn ring(cover: &Image<f32>, near: &Image<f32>) -> Image<f32> {
    near.zip(cover, |near, c| near.min(1.0 - near) * 2.0 * (1.0 - c))
}

/// Cells across the canvas in which samples are gathered: wider than threads, narrower than prints.
const CELLS: f64 = 16.0;

/// The cell that a place in patch texels lies in.
pub(super) fn cell_of(x: f64, y: f64, size: (f64, f64)) -> u32 {
    // The ring leaves the canvas at most by its reach.
    let at = |v: f64, size: f64| ((v / size + 0.5).clamp(0.0, 2.0) * CELLS) as u32;
    at(y, size.1) * 64 + at(x, size.0)
}

/// A texel of the garment at the rim.
#[derive(Clone, Copy, Debug)]
pub(super) struct Near {
    pub(super) x: usize,
    pub(super) y: usize,
    pub(super) cell: u32,
    /// Where, in shares of the canvas.
    pub(super) at: [f32; 2],
}

/// About this many texels are taken, more often where the ring is strong.
const SAMPLES: f64 = 4000.0;
/// Of fewer nothing is said of a cloth: then the whole canvas beyond the cover is looked at.
const FEW: usize = 64;

/// Texels at the rim of a patch, `draws` reaching beyond its cover.
pub(super) fn near_texels(draws: &[Draw], prepared: &Prepared, size: (f64, f64)) -> Vec<Near> {
    let ring = &prepared.rim;
    let total: f64 = ring.texels().iter().map(|&w| f64::from(w)).sum();
    let strongest = ring.texels().iter().copied().fold(1e-6, f32::max);
    let per_texel = |d: &Draw| {
        let [u, v] = d.patch_from_texel;
        (u[0] * v[1] - u[1] * v[0]).abs() * prepared.cells_per_texel[0] * prepared.cells_per_texel[1]
    };
    // Ring cells to a garment texel, the same all over up to the cloth's curve.
    let density = draws.iter().map(per_texel).fold(0.0, f64::max);
    let keep = (SAMPLES * density / total.max(1e-9)).min(1.0 / f64::from(strongest));
    let in_ring = |cell: [usize; 2], chance: f64| chance < f64::from(ring.get(cell[0], cell[1])) * keep;
    let rim = |draw: &Draw, y: i64, columns: Range<i64>| at_rim(draw, prepared, y, columns);
    let found = texels(draws, prepared, size, (f64::from(strongest) * keep, &rim), &in_ring);
    if found.len() >= FEW {
        return found;
    }
    let beyond = |cell: [usize; 2], _| prepared.coarse.get(cell[0], cell[1]) < 0.1;
    texels(draws, prepared, size, (f64::INFINITY, &|_, _, columns| vec![columns]), &beyond)
}

/// Parts of the columns of a row.
type Parts<'a> = dyn Fn(&Draw, i64, Range<i64>) -> Vec<Range<i64>> + 'a;

/// Where the rim is looked for: cells of which it is a smaller share of its strongest count as none of it.
const FAINT: f32 = 1e-3;
/// Columns that are passed over together where the rim is far.
const RUN: i64 = 32;

/// Cells from each to the nearest of the rim.
pub(super) fn away(rim: &Image<f32>) -> Image<f32> {
    let strongest = rim.texels().iter().copied().fold(1e-6, f32::max);
    distance_to(&rim.map(|w| w > FAINT * strongest))
}

/// Of some columns of row `y` those near the rim: none is left out from which any of it is seen.
fn at_rim(draw: &Draw, prepared: &Prepared, y: i64, columns: Range<i64>) -> Vec<Range<i64>> {
    let ([u, v], away) = (draw.patch_from_texel, &prepared.away);
    let [across, down] = prepared.cells_per_texel;
    // From the middle of a run to its ends, and over two cells.
    let reach = 0.5 * RUN as f64 * (u[0] * across).hypot(v[0] * down) + 2.0 * std::f64::consts::SQRT_2;
    let mut runs: Vec<Range<i64>> = Vec::new();
    for start in columns.clone().step_by(RUN as usize) {
        let run = start..(start + RUN).min(columns.end);
        let (x, y) = draw.patch_at(start + RUN / 2, y);
        // Beyond the canvas the rim is no nearer than from its edge.
        if f64::from(away.get_clamped((x * across).floor() as isize, (y * down).floor() as isize)) > reach {
            continue;
        }
        match runs.last_mut().filter(|last| last.end == run.start) {
            Some(last) => last.end = run.end,
            None => runs.push(run),
        }
    }
    runs
}

/// Texels within the canvas that `takes` takes, by their coarse cell and a number in 0..1; it takes none whose number is not below `most`, and
/// none beyond the `parts` of a row.
fn texels(
    draws: &[Draw],
    prepared: &Prepared,
    size: (f64, f64),
    (most, parts): (f64, &Parts<'_>),
    takes: &dyn Fn([usize; 2], f64) -> bool,
) -> Vec<Near> {
    let mut found = Vec::new();
    for draw in draws {
        for y in draw.bounds.y0..draw.bounds.y1 {
            let parts = parts(draw, y, draw.triangle.columns(y, draw.bounds.x0, draw.bounds.x1));
            for (x, chance) in parts.into_iter().flat_map(|part| drawn(part, y, most)) {
                let (px, py) = draw.patch_at(x, y);
                if prepared.cell(px, py).is_some_and(|cell| takes(cell, chance)) {
                    found.push(Near {
                        x: x as usize,
                        y: y as usize,
                        cell: cell_of(px, py, size),
                        at: [(px / size.0) as f32, (py / size.1) as f32],
                    });
                }
            }
        }
    }
    found
}

/// Columns of a row with a number in 0..1 that is below `most`, each as likely as if every one had drawn such a number: by a hash, since a
/// regular stride would beat with the garment's own threads. Where few are wanted, columns that lie side by side draw together for one of
/// them; else most of the time goes into numbers that nothing comes of.
pub(super) fn drawn(columns: Range<i64>, y: i64, most: f64) -> impl Iterator<Item = (i64, f64)> {
    let shift = if most > 0.0 { (1.0 / most).log2().clamp(0.0, 6.0) as u32 } else { 6 };
    let side = 1i64 << shift;
    (columns.start >> shift..(columns.end + side - 1) >> shift).filter_map(move |group| {
        let lot = scrambled(group as u32, y as u32);
        // The upper bits say which, the lower ones how far.
        let x = group * side + i64::from(lot.unbounded_shr(32 - shift));
        let chance = f64::from(lot << shift) / (f64::from(u32::MAX) * side as f64);
        (columns.contains(&x) && chance < most).then_some((x, chance))
    })
}

/// A fixed scramble of a place (finaliser of Steele, Lea, Flood, "Fast Splittable Pseudorandom Number Generators", 2014).
const fn scrambled(x: u32, y: u32) -> u32 {
    let mut z = ((x as u64) << 32 | y as u64).wrapping_add(0x9E37_79B9_7F4A_7C15);
    z = (z ^ (z >> 30)).wrapping_mul(0xBF58_476D_1CE4_E5B9);
    z = (z ^ (z >> 27)).wrapping_mul(0x94D0_49BB_1331_11EB);
    (z >> 32) as u32
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Of independent numbers about the wanted share falls below, anywhere along the row: within five deviations of the binomial law.
    #[test]
    fn so_many_are_drawn_as_are_wanted() {
        for most in [0.7, 0.3, 0.06, 0.011] {
            let mut counts = [0.0f64; 8];
            let mut sum = 0.0;
            for y in 0..200 {
                for (x, chance) in drawn(3..1003, y, most) {
                    assert!((3..1003).contains(&x) && (0.0..most).contains(&chance), "column {x}, {chance} of {most}");
                    counts[(x % 8) as usize] += 1.0;
                    sum += chance;
                }
            }
            let (all, wanted) = (counts.iter().sum::<f64>(), 200_000.0 * most);
            let spread = |n: f64| 5.0 * (n * (1.0 - most)).sqrt();
            assert!((all - wanted).abs() < spread(wanted), "{all} of {wanted}");
            for count in counts {
                assert!((count - wanted / 8.0).abs() < spread(wanted / 8.0), "{counts:?} of {}", wanted / 8.0);
            }
            assert!(
                (sum / all - most / 2.0).abs() < 5.0 * most / (12.0 * all).sqrt(),
                "their mean is half of {most}: {}",
                sum / all
            );
        }
        assert!(drawn(0..100, 1, f64::INFINITY).count() == 100 && drawn(0..100, 1, 0.0).count() == 0, "all, and none");
    }
}
