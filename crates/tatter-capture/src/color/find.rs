//! A 24-patch chart found in a photo by itself: even patches that lie in a grid and have a chart's colours.

use std::collections::BTreeMap;

use tatter_core::color::encode_srgb;
use tatter_core::image::{Image, LinearRgb};
use tatter_core::kernel::{area_resize, gaussian, label};
use tatter_core::linear::{cholesky, cholesky_solve};

use super::ColorError;
use super::chart::{ChartFit, chart};
use super::fit::{Form, difference, fit};
use super::patches::{COLUMNS, Edition, PATCHES, ROWS};
use crate::photo::Homography;

/// Longer sides at which the photo is looked at, pixels, in turn: the smaller hides weave and noise, the larger shows small charts.
const SIDES: [usize; 2] = [800, 1600];
/// Steps of code values (0..1) below which neighbours count as one patch: noise needs the great ones, faint gaps the small.
const STEPS: [f32; 3] = [0.02, 0.04, 0.08];
/// Least area of a patch, pixels.
const LEAST_AREA: usize = 25;
/// Neighbours of a patch that are looked at.
const NEIGHBOURS: usize = 12;
/// Distance of neighbours in a grid as a multiple of a patch's side: gaps are thinner than patches.
const PITCH: [f64; 2] = [1.02, 2.4];
/// How far a patch may lie from where its neighbours foretell it, as a share of the step.
const ASTRAY: f64 = 0.25;
/// Patches that must be seen; black in a black frame, white beside white paper, a glint may hide some.
const LEAST_SEEN: usize = 18;
/// Mean CIEDE2000 of what is seen by a matrix, above which a grid is not looked at closer.
const MOST_ROUGH: f32 = 9.0;
/// Mean CIEDE2000 of each patch by the fit to the others, above which it is no chart for certain. Made charts stay below 3, in light that
/// falls off by half too (`tests/chart.rs`); no grid of chance colours there, nor any photo of cloth tried, came this far.
const MOST_FORETOLD: f32 = 6.0;
/// Mean distance of patches from a plane grid seen in perspective, as a share of a patch's cell.
const MOST_BENT: f64 = 0.08;
/// Candidates looked at closer.
const CLOSER: usize = 8;

/// An even patch.
struct Blob {
    at: [f64; 2],
    side: f64,
    color: LinearRgb,
    near: Vec<usize>,
}

/// Blobs by their columns and rows in a grid.
type Grid = BTreeMap<[i32; 2], usize>;

/// A place of a chart.
struct Candidate {
    corners: [[f32; 2]; 4],
    off: f32,
}

/// The correction by the one chart in the photo: see [`chart`]. It may lie any way round and be seen in perspective, but not mirrored.
///
/// # Errors
/// When no chart is seen for certain, or two are.
pub fn find_chart(color: &Image<LinearRgb>) -> Result<ChartFit, ColorError> {
    let longest = color.width().max(color.height());
    let mut nearest = f32::INFINITY;
    for side in SIDES {
        let share = (side as f64 / longest as f64).min(1.0);
        let scaled = |v: usize| ((v as f64 * share).round() as usize).max(1);
        let small = if share < 1.0 { area_resize(color, scaled(color.width()), scaled(color.height())) } else { color.clone() };
        let back = [color.width() as f64 / small.width() as f64, color.height() as f64 / small.height() as f64];
        let mut fits: Vec<ChartFit> = Vec::new();
        for candidate in candidates(&small) {
            let corners = candidate.corners.map(|p| [p[0] * back[0] as f32, p[1] * back[1] as f32]);
            let Ok(found) = chart(color, corners) else { continue };
            nearest = nearest.min(found.left_one_out);
            if found.left_one_out <= MOST_FORETOLD {
                fits.push(found);
            }
        }
        fits.sort_by(|a, b| a.left_one_out.total_cmp(&b.left_one_out));
        if let Some(ChartFit { corners, .. }) = fits.first() {
            let far = 0.5 * distance(corners[0], corners[2]);
            if fits.iter().any(|other| distance(middle(corners), middle(&other.corners)) > far) {
                return Err(ColorError::ChartTwice);
            }
            return Ok(fits.swap_remove(0));
        }
        if longest <= side {
            break;
        }
    }
    Err(ColorError::ChartNotFound { left: nearest })
}

fn middle(corners: &[[f32; 2]; 4]) -> [f32; 2] {
    [0, 1].map(|c: usize| corners.iter().map(|p| p[c]).sum::<f32>() / 4.0)
}

fn distance(a: [f32; 2], b: [f32; 2]) -> f32 {
    (a[0] - b[0]).hypot(a[1] - b[1])
}

/// Places that may be a chart's, most alike first.
fn candidates(color: &Image<LinearRgb>) -> Vec<Candidate> {
    let smooth = gaussian(color, 0.7);
    let codes = smooth.map(|c| LinearRgb(c.0.map(encode_srgb)));
    let mut all = Vec::new();
    for step in STEPS {
        let blobs = blobs(color, &codes, step);
        let mut done = vec![false; blobs.len()];
        for seed in 0..blobs.len() {
            if done[seed] {
                continue;
            }
            for [a, b] in bases(&blobs, seed) {
                let grid = grown(&blobs, seed, a, b);
                if grid.len() < LEAST_SEEN {
                    continue;
                }
                grid.values().for_each(|i| done[*i] = true);
                all.extend(windows(&blobs, &grid));
                break;
            }
        }
    }
    all.sort_by(|a, b| a.off.total_cmp(&b.off));
    all.truncate(CLOSER);
    all
}

/// Even places about as large as their own parallelogram.
fn blobs(color: &Image<LinearRgb>, codes: &Image<LinearRgb>, step: f32) -> Vec<Blob> {
    let (width, height) = (color.width(), color.height());
    let even = Image::from_fn(width, height, |x, y| {
        let at = |x: usize, y: usize| codes.get(x.min(width - 1), y.min(height - 1)).0;
        let apart = |a: [f32; 3], b: [f32; 3]| (0..3).map(|c| (a[c] - b[c]).abs()).fold(0.0, f32::max);
        let across = apart(at(x.saturating_sub(1), y), at(x + 1, y));
        across.max(apart(at(x, y.saturating_sub(1)), at(x, y + 1))) < step
    });
    let (labels, parts) = label(&even);
    let largest = width * height / 24;
    let wanted: Vec<bool> = parts.iter().map(|part| (LEAST_AREA..=largest).contains(&part.area)).collect();
    // Count, places, squares of places, colours.
    let mut sums = vec![[0.0f64; 9]; parts.len()];
    for y in 0..height {
        for x in 0..width {
            let Some(i) = (labels.get(x, y) as usize).checked_sub(1).filter(|i| wanted[*i]) else { continue };
            let [u, v] = [x as f64 + 0.5, y as f64 + 0.5];
            let [r, g, b] = color.get(x, y).0.map(f64::from);
            let terms = [1.0, u, v, u * u, u * v, v * v, r, g, b];
            sums[i].iter_mut().zip(terms).for_each(|(sum, term)| *sum += term);
        }
    }
    let mut blobs: Vec<Blob> = (0..parts.len()).filter(|i| wanted[*i]).filter_map(|i| solid(&sums[i])).collect();
    let near: Vec<Vec<usize>> = (0..blobs.len()).map(|i| nearest(&blobs, i)).collect();
    blobs.iter_mut().zip(near).for_each(|(blob, near)| blob.near = near);
    blobs
}

/// A parallelogram's area is twelve roots of its moments' determinant; rings, crosses and lines have less.
fn solid(sums: &[f64; 9]) -> Option<Blob> {
    let area = sums[0];
    let mean = |i: usize| sums[i] / area;
    let at = [mean(1), mean(2)];
    let [xx, xy, yy] = [mean(3) - at[0] * at[0], mean(4) - at[0] * at[1], mean(5) - at[1] * at[1]];
    let full = area / (12.0 * (xx * yy - xy * xy).max(1e-9).sqrt());
    let color = LinearRgb([6, 7, 8].map(|i| mean(i) as f32));
    (full > 0.8).then(|| Blob { at, side: area.sqrt(), color, near: Vec::new() })
}

fn nearest(blobs: &[Blob], i: usize) -> Vec<usize> {
    let one = &blobs[i];
    let far = |other: &Blob| (other.at[0] - one.at[0]).hypot(other.at[1] - one.at[1]);
    let alike = |other: &Blob| (one.side / other.side).max(other.side / one.side) < 1.6;
    let close = |j: &usize| *j != i && alike(&blobs[*j]) && far(&blobs[*j]) < 1.5 * PITCH[1] * one.side;
    let mut near: Vec<usize> = (0..blobs.len()).filter(close).collect();
    near.sort_by(|a, b| far(&blobs[*a]).total_cmp(&far(&blobs[*b])));
    near.truncate(NEIGHBOURS);
    near
}

fn from_to(a: &Blob, b: &Blob) -> [f64; 2] {
    [b.at[0] - a.at[0], b.at[1] - a.at[1]]
}

/// Pairs of steps to neighbours that may span a grid, the second clockwise of the first as seen.
fn bases(blobs: &[Blob], seed: usize) -> Vec<[[f64; 2]; 2]> {
    let side = blobs[seed].side;
    let steps: Vec<([f64; 2], f64)> = blobs[seed]
        .near
        .iter()
        .map(|j| from_to(&blobs[seed], &blobs[*j]))
        .map(|step| (step, step[0].hypot(step[1])))
        .filter(|(_, long)| (PITCH[0] * side..PITCH[1] * side).contains(long))
        .collect();
    let mut found = Vec::new();
    for (a, a_long) in &steps {
        for (b, b_long) in &steps {
            let cross = (a[0] * b[1] - a[1] * b[0]) / (a_long * b_long);
            if cross > 0.85 && (a_long / b_long).max(b_long / a_long) < 1.5 {
                found.push([*a, *b]);
            }
        }
    }
    found
}

/// All blobs that lie in one grid with the first.
fn grown(blobs: &[Blob], seed: usize, a: [f64; 2], b: [f64; 2]) -> Grid {
    const MOST: usize = 400;
    let mut grid = Grid::from([([0, 0], seed)]);
    let mut taken = vec![false; blobs.len()];
    taken[seed] = true;
    let mut open = std::collections::VecDeque::from([[0, 0]]);
    while let Some(cell) = open.pop_front() {
        let here = grid[&cell];
        for (way, base) in [([1, 0], a), ([-1, 0], a.map(|v| -v)), ([0, 1], b), ([0, -1], b.map(|v| -v))] {
            let next = [cell[0] + way[0], cell[1] + way[1]];
            if grid.contains_key(&next) || grid.len() >= MOST {
                continue;
            }
            let step = known_step(blobs, &grid, cell, way).unwrap_or(base);
            let wanted = [blobs[here].at[0] + step[0], blobs[here].at[1] + step[1]];
            let off = |j: usize| (blobs[j].at[0] - wanted[0]).hypot(blobs[j].at[1] - wanted[1]);
            let best = blobs[here].near.iter().copied().filter(|j| !taken[*j]).min_by(|i, j| off(*i).total_cmp(&off(*j)));
            if let Some(j) = best.filter(|j| off(*j) < ASTRAY * step[0].hypot(step[1])) {
                grid.insert(next, j);
                taken[j] = true;
                open.push_back(next);
            }
        }
    }
    grid
}

/// The step that cells nearby make the same way: that before, or those to either side.
fn known_step(blobs: &[Blob], grid: &Grid, cell: [i32; 2], way: [i32; 2]) -> Option<[f64; 2]> {
    let aside = [way[1], way[0]];
    let starts = [
        [cell[0] - way[0], cell[1] - way[1]],
        [cell[0] + aside[0], cell[1] + aside[1]],
        [cell[0] - aside[0], cell[1] - aside[1]],
    ];
    starts.into_iter().find_map(|start| {
        let end = [start[0] + way[0], start[1] + way[1]];
        Some(from_to(&blobs[*grid.get(&start)?], &blobs[*grid.get(&end)?]))
    })
}

/// Parts of the grid, six by four, whose colours a matrix takes near a chart's.
fn windows(blobs: &[Blob], grid: &Grid) -> Vec<Candidate> {
    let range = |c: usize| {
        let all = grid.keys().map(|cell| cell[c]);
        all.clone().min().unwrap_or(0)..=all.max().unwrap_or(0)
    };
    let mut found = Vec::new();
    for i in range(0) {
        for j in range(1) {
            // The chart's columns and rows by the grid's: all four ways to lie, none of them mirrored.
            for [right, down] in [[[1, 0], [0, 1]], [[0, 1], [-1, 0]], [[-1, 0], [0, -1]], [[0, -1], [1, 0]]] {
                let cell = |k: usize| {
                    let (column, row) = ((k % COLUMNS) as i32, (k / COLUMNS) as i32);
                    [i + column * right[0] + row * down[0], j + column * right[1] + row * down[1]]
                };
                let seen: Vec<(usize, &Blob)> = (0..PATCHES).filter_map(|k| Some((k, &blobs[*grid.get(&cell(k))?]))).collect();
                found.extend(judged(&seen));
            }
        }
    }
    found
}

fn judged(seen: &[(usize, &Blob)]) -> Option<Candidate> {
    if seen.len() < LEAST_SEEN {
        return None;
    }
    let colors: Vec<LinearRgb> = seen.iter().map(|(_, blob)| blob.color).collect();
    let off = Edition::ALL.into_iter().filter_map(|edition| {
        let wanted: Vec<LinearRgb> = seen.iter().map(|(k, _)| edition.patches()[*k]).collect();
        let weights: Vec<f32> = wanted.iter().map(|c| (c.luminance().max(0.0) + 0.02).powf(-4.0 / 3.0)).collect();
        let correction = fit(Form::Matrix, &colors, &wanted, &weights)?;
        let got: Vec<LinearRgb> = colors.iter().map(|c| correction.apply(*c)).collect();
        Some(difference(&got, &wanted)[0])
    });
    let off = off.fold(f32::INFINITY, f32::min);
    if off > MOST_ROUGH {
        return None;
    }
    let pairs: Vec<([f64; 2], [f64; 2])> =
        seen.iter().map(|(k, blob)| ([(k % COLUMNS) as f64 + 0.5, (k / COLUMNS) as f64 + 0.5], blob.at)).collect();
    let photo_from_cell = plane_grid(&pairs)?;
    let [columns, rows] = [COLUMNS as f64, ROWS as f64];
    let corners = [[0.0, 0.0], [columns, 0.0], [columns, rows], [0.0, rows]].map(|c| photo_from_cell.at(c).map(|v| v as f32));
    Some(Candidate { corners, off })
}

/// Photo places of a grid's places by least squares on the projective equations, last factor 1; `None` when bent.
fn plane_grid(pairs: &[([f64; 2], [f64; 2])]) -> Option<Homography> {
    const N: usize = 8;
    // Both sides about 1 in size, else the normal equations lose half their digits.
    let mean = [0, 1].map(|c: usize| pairs.iter().map(|(_, p)| p[c]).sum::<f64>() / pairs.len() as f64);
    let size = pairs.iter().map(|(_, p)| (p[0] - mean[0]).hypot(p[1] - mean[1])).fold(1e-9, f64::max);
    let [half_columns, half_rows] = [0.5 * COLUMNS as f64, 0.5 * ROWS as f64];
    let (mut normal, mut right) = (vec![0.0; N * N], vec![0.0; N]);
    for (cell, place) in pairs {
        let [u, v] = [(cell[0] - half_columns) / half_columns, (cell[1] - half_rows) / half_columns];
        let [x, y] = [0, 1].map(|c: usize| (place[c] - mean[c]) / size);
        for (row, value) in [([u, v, 1.0, 0.0, 0.0, 0.0, -u * x, -v * x], x), ([0.0, 0.0, 0.0, u, v, 1.0, -u * y, -v * y], y)] {
            for i in 0..N {
                right[i] += row[i] * value;
                (0..N).for_each(|j| normal[i * N + j] += row[i] * row[j]);
            }
        }
    }
    let h = cholesky_solve(&cholesky(&normal, N)?, &right);
    let cell = 1.0 / half_columns;
    let unit = Homography([[h[0], h[1], h[2]], [h[3], h[4], h[5]], [h[6], h[7], 1.0]]);
    let photo = Homography([[size, 0.0, mean[0]], [0.0, size, mean[1]], [0.0, 0.0, 1.0]]);
    let grid = Homography([[cell, 0.0, -1.0], [0.0, cell, -half_rows * cell], [0.0, 0.0, 1.0]]);
    let map = photo.after(&unit).after(&grid);
    let off = pairs.iter().map(|(cell, place)| {
        let [x, y] = map.at(*cell);
        (x - place[0]).hypot(y - place[1]) / map.area_at(*cell).abs().sqrt().max(1e-9)
    });
    (off.sum::<f64>() / (pairs.len() as f64) < MOST_BENT).then_some(map)
}
