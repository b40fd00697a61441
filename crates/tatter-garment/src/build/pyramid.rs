//! A patch made ready to be sampled at any density: all channels of a texel side by side, premultiplied by cover, shrunk
//! again and again, only the levels that are needed kept.

use std::borrow::Cow;
use std::collections::{BTreeMap, BTreeSet};
use std::sync::{Arc, Mutex, OnceLock, PoisonError};

use pulp::{Arch, NullaryFnOnce};
use rayon::prelude::*;
use tatter_core::channel::{Channel, Kind};
use tatter_core::image::{Image, LinearRgb, MapRow, Unit};
use tatter_core::model::{Patch, PatchMap};

use super::around::{away, near, ring};
use super::kernel::catmull_rom;
use crate::matching::{Dye, PatchCloth, injury};

/// Cover, then everything else times cover.
pub(super) type Texel = [f32; LANES];
/// A line of the processor's cache, and two of its wide registers; the last three lanes are empty.
pub(super) const LANES: usize = 16;
pub(super) const COVER: usize = 0;
/// Three lanes.
pub(super) const COLOR: usize = 1;
pub(super) const HEIGHT: usize = 4;
/// Slopes right and up: what may be averaged where normals may not.
pub(super) const SLOPE_X: usize = 5;
pub(super) const SLOPE_Y: usize = 6;
/// Roughness to the fourth: the variance of facets, which adds up (alpha = roughness², glTF 2.0 appendix B).
pub(super) const ROUGHNESS4: usize = 7;
pub(super) const METALLIC: usize = 8;
pub(super) const OCCLUSION: usize = 9;
pub(super) const OPACITY: usize = 10;
/// Luminance of fibre without dye: what re-dyeing leaves alone.
pub(super) const BARE: usize = 11;
pub(super) const TRANSLUCENCY: usize = 12;

/// Columns and rows of the coarse cover.
const COARSE: usize = 128;

/// Texels of the patch in one texel of a level: every second level halves, so that a footprint is never more than
/// 1.5 texels of its level broad, and half as many are read as with halvings alone.
pub(super) fn level_scale(level: usize) -> f64 {
    let halved = (1u64 << (level / 2)) as f64;
    if level.is_multiple_of(2) { halved } else { halved * std::f64::consts::SQRT_2 }
}

/// One density of a patch. A place in its texels is the place in the patch's own divided by [`level_scale`].
#[derive(Debug)]
pub(super) struct Level {
    pub(super) width: usize,
    pub(super) height: usize,
    pub(super) texels: Vec<Texel>,
}

/// A patch, ready.
#[derive(Debug)]
pub(super) struct Prepared {
    /// Where cover is above nothing, in patch texels: left, top, right, bottom; empty when nowhere.
    pub(super) cover_bounds: [f64; 4],
    /// Mean cover in at most 128² cells.
    pub(super) coarse: Image<f32>,
    /// The ring around it, in the same cells: one near the cover's edge, on its outer side.
    pub(super) ring: Image<f32>,
    /// The cover blurred over what lies near its edge, in the same cells.
    pub(super) near: Image<f32>,
    /// One at the cover's edge, falling off on both sides, in the same cells.
    pub(super) rim: Image<f32>,
    /// Cells to the nearest of it.
    pub(super) away: Image<f32>,
    /// Mean colours of the patch, in the same cells.
    pub(super) color: Option<Image<LinearRgb>>,
    /// Where the cloth is injured, in the same cells.
    pub(super) injury: Arc<Image<f32>>,
    /// Cells with cover in them or beside them.
    occupied: Image<bool>,
    /// Coarse cells in one patch texel, across and down.
    pub(super) cells_per_texel: [f64; 2],
    /// Its dye, once it was to be dyed anew.
    pub(super) dye: OnceLock<Option<Arc<Dye>>>,
    levels: Mutex<Arc<Levels>>,
    cloths: Mutex<Cloths>,
}

/// The patch's cloth as it was sampled, by texels a side and whether its bare fibre was told.
type Cloths = BTreeMap<(usize, bool), Option<Arc<PatchCloth>>>;

/// Densities of a patch, those that were asked for.
#[derive(Debug, Default)]
pub(super) struct Levels {
    all: Vec<Option<Level>>,
    /// Luminance of bare fibre is told.
    dyed: bool,
}

impl Levels {
    /// A level that was asked for.
    pub(super) fn level(&self, level: usize) -> Option<&Level> {
        self.all.get(level).and_then(Option::as_ref)
    }
}

/// The coarsest level that keeps four texels a side.
pub(super) fn last_level(width: usize, height: usize) -> usize {
    2 * (width.min(height) / 4).max(1).ilog2() as usize
}

impl Prepared {
    /// The cover side of a patch, before anybody knows which levels are needed.
    pub(super) fn new(patch: &Patch) -> Self {
        let size = patch.size();
        let cover = patch.map_of(Channel::Cover, Kind::Unit);
        let extents: Vec<std::ops::Range<usize>> =
            (0..size.height).into_par_iter().map(|y| covered(cover, y, size.width).0).collect();
        let (mut x0, mut y0, mut x1, mut y1) = (size.width, size.height, 0, 0);
        for (y, live) in extents.iter().enumerate().filter(|(_, live)| !live.is_empty()) {
            (x0, x1, y0, y1) = (x0.min(live.start), x1.max(live.end), y0.min(y), y + 1);
        }
        let (columns, rows) = (size.width.clamp(1, COARSE), size.height.clamp(1, COARSE));
        let cells = cover.and_then(|cover| cover.unit_cells(columns, rows));
        let coarse = cells.map_or_else(|| Image::filled(columns, rows, 1.0), |cells| cells.map(|c| c.0));
        let occupied = Image::from_fn(coarse.width(), coarse.height(), |x, y| {
            let near = (-1..=1isize).flat_map(|dy| (-1..=1isize).map(move |dx| (dx, dy)));
            near.into_iter().any(|(dx, dy)| coarse.get_clamped(x as isize + dx, y as isize + dy) > 0.0)
        });
        let cells_per_texel = [coarse.width() as f64 / size.width as f64, coarse.height() as f64 / size.height as f64];
        let cover_bounds = [x0 as f64, y0 as f64, x1 as f64, y1 as f64];
        let near = near(&coarse);
        let (ring, rim) = (ring(&coarse, &near), near.map(|near| 2.0 * near.min(1.0 - near)));
        let color = patch.maps[Channel::BaseColor].as_ref().and_then(|color| color.color_cells(columns, rows));
        let injury = Arc::new(injury(patch, color.as_ref(), &ring));
        Self {
            cover_bounds,
            coarse,
            near,
            ring,
            away: away(&rim),
            rim,
            color,
            injury,
            occupied,
            cells_per_texel,
            dye: OnceLock::new(),
            levels: Mutex::default(),
            cloths: Mutex::default(),
        }
    }

    /// The coarse cell of a place in patch texels; `None` beyond the canvas.
    pub(super) fn cell(&self, x: f64, y: f64) -> Option<[usize; 2]> {
        let (cx, cy) = (x * self.cells_per_texel[0], y * self.cells_per_texel[1]);
        let within = cx >= 0.0 && cy >= 0.0 && cx < self.coarse.width() as f64 && cy < self.coarse.height() as f64;
        within.then_some([cx as usize, cy as usize])
    }

    /// Whether any cover lies within one coarse cell of a place in patch texels.
    pub(super) fn may_cover(&self, x: f64, y: f64) -> bool {
        let at = |v: f64, n: usize| (v.max(0.0) as usize).min(n - 1);
        let (cx, cy) = (x * self.cells_per_texel[0], y * self.cells_per_texel[1]);
        self.occupied.get(at(cx, self.occupied.width()), at(cy, self.occupied.height()))
    }

    /// The levels that are needed, and coarser ones that were before. Level 0 of a 2048² patch takes 268 MB, level 2 67 MB; it is made only
    /// when asked for.
    pub(super) fn levels(&self, patch: &Patch, dye: Option<&Dye>, needed: &BTreeSet<usize>) -> Arc<Levels> {
        let mut known = self.levels.lock().unwrap_or_else(PoisonError::into_inner);
        let Some(&finest) = needed.first() else { return Arc::clone(&known) };
        let alike = known.dyed == dye.is_some();
        if !(alike && needed.iter().all(|&level| known.level(level).is_some())) {
            let before = (finest..known.all.len()).filter(|&level| alike && known.level(level).is_some());
            let wanted = needed.iter().copied().chain(before).collect();
            *known = Arc::new(Levels { all: make_levels(patch, dye, &wanted), dyed: dye.is_some() });
        }
        Arc::clone(&known)
    }

    /// Its cloth sampled at a density, if that was done before; otherwise as `sample` finds it.
    pub(super) fn cloth(&self, side: usize, dyed: bool, sample: impl FnOnce() -> Option<PatchCloth>) -> Option<Arc<PatchCloth>> {
        let known = || self.cloths.lock().unwrap_or_else(PoisonError::into_inner);
        if let Some(found) = known().get(&(side, dyed)) {
            return found.clone();
        }
        let found = sample().map(Arc::new);
        known().insert((side, dyed), found.clone());
        found
    }
}

fn make_levels(patch: &Patch, dye: Option<&Dye>, needed: &BTreeSet<usize>) -> Vec<Option<Level>> {
    let size = patch.size();
    let last = needed.last().map_or(0, |l| l + 1);
    let source = Source::new(patch, dye);
    let whole = |y: usize, row: &mut Vec<Texel>| source.row(y, row);
    let mut levels: Vec<Option<Level>> = Vec::new();
    for level in 0..last {
        // Halvings come from halvings, the levels between from the halving before them.
        let is_between = level % 2 == 1;
        let finer = if is_between { level.checked_sub(1) } else { level.checked_sub(2) };
        let factor = if is_between { std::f64::consts::SQRT_2 } else { 2.0 };
        let made = match finer {
            _ if is_between && !needed.contains(&level) => None,
            None => needed.contains(&0).then(|| copy(size.width, size.height, &whole)),
            Some(finer) => Some(match levels[finer].as_ref() {
                Some(finer) => shrink(finer.width, finer.height, factor, &|y, row| {
                    row.extend_from_slice(&finer.texels[y * finer.width..(y + 1) * finer.width]);
                }),
                None => shrink(size.width, size.height, factor, &whole),
            }),
        };
        levels.push(made);
        if let Some(old) = level.checked_sub(2).filter(|old| !is_between && !needed.contains(old)) {
            levels[old] = None;
        }
    }
    levels
}

/// Reads rows of a patch as premultiplied texels.
struct Source<'a> {
    width: usize,
    cover: Option<&'a PatchMap>,
    maps: Vec<(usize, Channel, &'a PatchMap)>,
    dye: Option<&'a Dye>,
}

impl<'a> Source<'a> {
    fn new(patch: &'a Patch, dye: Option<&'a Dye>) -> Self {
        let lanes = [
            (COLOR, Channel::BaseColor),
            (HEIGHT, Channel::Height),
            (SLOPE_X, Channel::Normal),
            (ROUGHNESS4, Channel::Roughness),
            (METALLIC, Channel::Metallic),
            (OCCLUSION, Channel::Occlusion),
            (OPACITY, Channel::Opacity),
            (TRANSLUCENCY, Channel::Translucency),
        ];
        let map = |(lane, channel): (usize, Channel)| patch.maps[channel].as_ref().map(|map| (lane, channel, map));
        let maps = lanes.into_iter().filter_map(map).collect();
        Self { width: patch.size().width, cover: patch.map_of(Channel::Cover, Kind::Unit), maps, dye }
    }

    /// Appends row `y`.
    fn row(&self, y: usize, row: &mut Vec<Texel>) {
        let start = row.len();
        row.resize(start + self.width, [0.0; LANES]);
        // Beyond the cover everything is nothing times something.
        let (live, cover) = covered(self.cover, y, self.width);
        let row = &mut row[start + live.start..start + live.end];
        match cover {
            Some(cover) => row.iter_mut().zip(&cover[live.clone()]).for_each(|(t, c)| t[COVER] = c.0.clamp(0.0, 1.0)),
            None => row.iter_mut().for_each(|t| t[COVER] = 1.0),
        }
        if !self.maps.iter().any(|(lane, ..)| *lane == OPACITY) {
            row.iter_mut().for_each(|t| t[OPACITY] = t[COVER]);
        }
        for &(lane, channel, map) in &self.maps {
            let each = row.iter_mut();
            match map.row(y, live.clone()) {
                MapRow::Color(values) => each.zip(values.iter()).for_each(|(t, c)| {
                    for i in 0..3 {
                        t[lane + i] = c.0[i] * t[COVER];
                    }
                    if let Some(dye) = self.dye.filter(|_| t[COVER] > 0.0) {
                        t[BARE] = dye.bare_luminance(*c) * t[COVER];
                    }
                }),
                MapRow::Height(values) => each.zip(values.iter()).for_each(|(t, h)| t[lane] = h.0 * t[COVER]),
                MapRow::Normal(values) => each.zip(values.iter()).for_each(|(t, n)| {
                    let (p, q) = n.slopes();
                    (t[lane], t[lane + 1]) = (p * t[COVER], q * t[COVER]);
                }),
                MapRow::Unit(values) if channel == Channel::Roughness => {
                    each.zip(values.iter()).for_each(|(t, r)| t[lane] = r.0.powi(4) * t[COVER]);
                }
                MapRow::Unit(values) => each.zip(values.iter()).for_each(|(t, v)| t[lane] = v.0 * t[COVER]),
            }
        }
    }
}

/// Columns of a row with cover in them, and the cover of the whole row; all columns of a patch without a cover.
fn covered(cover: Option<&PatchMap>, y: usize, width: usize) -> (std::ops::Range<usize>, Option<Cow<'_, [Unit]>>) {
    let row = cover.and_then(|cover| cover.row(y, 0..width).into_units());
    (row.as_ref().map_or(0..width, |row| extent(row, |c| c.0 > 0.0)), row)
}

/// From the first to behind the last that counts; empty when none does.
fn extent<T>(row: &[T], counts: impl Fn(&T) -> bool) -> std::ops::Range<usize> {
    let first = row.iter().position(&counts).unwrap_or(0);
    first..row.iter().rposition(counts).map_or(first, |last| last + 1)
}

type ReadRow<'a> = dyn Fn(usize, &mut Vec<Texel>) + Sync + 'a;

fn copy(width: usize, height: usize, read: &ReadRow<'_>) -> Level {
    let mut texels = vec![[0.0; LANES]; width * height];
    texels.par_chunks_mut(width).enumerate().for_each(|(y, row)| {
        let mut line = Vec::with_capacity(width);
        read(y, &mut line);
        row.copy_from_slice(&line);
    });
    Level { width, height, texels }
}

/// For each new texel the first old one it reads and the weights from there: Catmull-Rom stretched by the factor.
fn windows(old: usize, factor: f64) -> (usize, Vec<(isize, Vec<f32>)>) {
    let taps = (4.0 * factor).ceil() as usize;
    let new = (old as f64 / factor).ceil().max(1.0) as usize;
    let window = |i: usize| {
        let centre = (i as f64 + 0.5) * factor - 0.5;
        let first = (centre - 2.0 * factor).ceil();
        let weights: Vec<f64> = (0..taps).map(|k| catmull_rom((first + k as f64 - centre) / factor)).collect();
        let sum: f64 = weights.iter().sum();
        (first as isize, weights.iter().map(|w| (w / sum) as f32).collect())
    };
    (taps, (0..new).map(window).collect())
}

/// Smaller by a factor of at most two; outside the canvas lies nothing.
fn shrink(width: usize, height: usize, factor: f64, read: &ReadRow<'_>) -> Level {
    /// Output rows a thread makes at once: the rows of overlap are read twice for each.
    const BAND: usize = 32;
    let (taps, columns) = windows(width, factor);
    let (_, rows) = windows(height, factor);
    let (new_width, new_height) = (columns.len(), rows.len());
    let arch = Arch::new();
    let mut texels = vec![[0.0; LANES]; new_width * new_height];
    texels.par_chunks_mut(new_width * BAND).enumerate().for_each(|(band, out)| {
        let rows = &rows[band * BAND..band * BAND + out.len() / new_width];
        let (first, last) = (rows[0].0, rows[rows.len() - 1].0 + taps as isize);
        let mut line: Vec<Texel> = Vec::with_capacity(BEFORE + width + 2 * taps);
        let mut narrow = vec![[0.0f32; LANES]; new_width * (last - first) as usize];
        let mut filled = vec![0..0; (last - first) as usize];
        for ((y, target), filled) in (first..last).zip(narrow.chunks_exact_mut(new_width)).zip(&mut filled) {
            if y < 0 || y >= height as isize {
                continue;
            }
            line.clear();
            line.resize(BEFORE, [0.0; LANES]);
            read(y as usize, &mut line);
            line.resize(BEFORE + width + 2 * taps, [0.0; LANES]);
            // The filter rings below nothing, too.
            let live = extent(&line, |t| t[COVER] != 0.0);
            let begin = columns.partition_point(|(start, _)| (start + BEFORE as isize) as usize + taps <= live.start);
            let end = columns.partition_point(|(start, _)| ((start + BEFORE as isize) as usize) < live.end);
            *filled = begin..end.max(begin);
            let (windows, out) = (&columns[filled.clone()], &mut target[filled.clone()]);
            arch.dispatch(Narrowed { line: &line, windows, out });
        }
        // Fresh memory that is read first is mapped twice, and the second time stops every core.
        out.fill([0.0; LANES]);
        for (target, (start, weights)) in out.chunks_exact_mut(new_width).zip(rows) {
            let row = (start - first) as usize;
            let own = &filled[row..row + taps];
            let begin = own.iter().filter(|live| !live.is_empty()).map(|live| live.start).min().unwrap_or(0);
            let end = own.iter().map(|live| live.end).max().unwrap_or(0).max(begin);
            let rows = &narrow[row * new_width + begin..];
            arch.dispatch(Lowered { rows, width: new_width, weights, out: &mut target[begin..end] });
        }
    });
    Level { width: new_width, height: new_height, texels }
}

/// Texels of nothing before a row: the first window starts at most this far outside.
const BEFORE: usize = 4;

/// A row, [`BEFORE`] it nothing, made narrower: each texel from its window.
struct Narrowed<'a> {
    line: &'a [Texel],
    windows: &'a [(isize, Vec<f32>)],
    out: &'a mut [Texel],
}

impl NullaryFnOnce for Narrowed<'_> {
    type Output = ();

    #[inline(always)]
    fn call(self) {
        for (texel, (start, weights)) in self.out.iter_mut().zip(self.windows) {
            let from = (start + BEFORE as isize) as usize;
            let mut sum = [0.0; LANES];
            for (tap, &w) in self.line[from..from + weights.len()].iter().zip(weights) {
                add(&mut sum, tap, w);
            }
            *texel = sum;
        }
    }
}

/// Rows of `width` made one, each by its weight.
struct Lowered<'a> {
    rows: &'a [Texel],
    width: usize,
    weights: &'a [f32],
    out: &'a mut [Texel],
}

impl NullaryFnOnce for Lowered<'_> {
    type Output = ();

    #[inline(always)]
    fn call(self) {
        for (i, texel) in self.out.iter_mut().enumerate() {
            let mut sum = [0.0; LANES];
            for (k, &w) in self.weights.iter().enumerate() {
                add(&mut sum, &self.rows[k * self.width + i], w);
            }
            *texel = sum;
        }
    }
}

/// Add a texel by its weight.
#[inline(always)]
pub(super) fn add(sum: &mut Texel, texel: &Texel, weight: f32) {
    for i in 0..LANES {
        sum[i] += texel[i] * weight;
    }
}
