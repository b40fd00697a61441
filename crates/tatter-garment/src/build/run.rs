//! The build, the whole chain in one screen.

use std::collections::{BTreeMap, BTreeSet};
use std::sync::Arc;

use rayon::prelude::*;
use tatter_core::channel::Channel;
use tatter_core::image::{Rect, Stored};
use tatter_core::model::{ChannelRule, Garment, Patch};
use tatter_core::task::Task;

use super::around::REACH;
use super::fit::{Dyes, Fit, FitContext, dyes};
use super::ground::{Ground, Lain};
use super::notes::{Told, notes};
use super::plan::{Assignment, Bounds, Draw, DrawContext, OwnedFaces, Target};
use super::planned::Planned;
use super::pyramid::{Levels, Prepared};
use super::record::{BuildRecord, FitRecord, Share, TileAt, TileRecord, tile_rect};
use super::sampler::stretches;
use super::tile::{Layer, LayerCount, RuleOf, TileJob, TileResult, is_effective};
use super::{BuildError, BuildReport, BuildSettings, FileReport, PlacementReport};
use crate::place::{Canvas, Footprint, Placed};
use crate::surface::Surface;

/// Lay `placements`, in order, into the pristine `pictures` of a garment (per map set, per file, as `garment.sets` lists them).
///
/// Costs time in proportion to the texels covered. Beside the pictures and patches it holds, per patch, the levels that are
/// needed (level 0 of a 2048² patch 268 MB, only when it is enlarged or nearly so; level 2 67 MB) and at most 64 tiles.
///
/// # Errors
/// [`BuildError`]; the pictures are unchanged then, except after `Cancelled`.
pub fn build(
    garment: &Garment,
    pictures: &mut [Vec<Stored>],
    placements: &[Placed<'_>],
    settings: &BuildSettings,
    task: &Task,
) -> Result<BuildReport, BuildError> {
    let plan = BuildPlan::new(garment, placements, settings, task)?;
    Ok(plan.lay(pictures, None, task)?.0)
}

/// What a build will do, known before any picture is read: which placement shows in which tile.
#[derive(Debug)]
pub struct BuildPlan<'a> {
    pub(super) planned: Planned<'a>,
    pub(super) patches: Vec<(&'a Patch, Arc<Prepared>)>,
    /// By target and placement.
    pub(super) draws: Vec<Vec<Arc<Vec<Draw>>>>,
    /// Placements keep the fit they had, where one is known.
    keeps_match: bool,
}

/// A build of before, and the tiles in which the next one differs from it.
#[derive(Clone, Copy, Debug)]
pub struct Again<'a> {
    /// What it remembers.
    pub record: &'a BuildRecord,
    /// Tiles to lay anew; everywhere else the result of before stands.
    pub tiles: &'a BTreeSet<TileAt>,
}

/// What a build did: to the textures, in each tile, and to each placement before it was laid.
pub(super) type Fitted = (BuildReport, BTreeMap<TileAt, TileRecord>, Vec<Arc<Fit>>);

impl<'a> BuildPlan<'a> {
    /// Find the places of all placements. Linear in the faces for each.
    ///
    /// # Errors
    /// [`BuildError`].
    pub fn new(
        garment: &'a Garment,
        placements: &'a [Placed<'a>],
        settings: &BuildSettings,
        task: &Task,
    ) -> Result<Self, BuildError> {
        let ground = task.stage("surface", || Ground::new(Arc::new(Surface::new(garment)), garment, settings));
        Self::on(Arc::new(ground), garment, placements, task)
    }

    /// As [`BuildPlan::new`], with what builds before left at hand: of placements that lie where they lay nothing is found anew. The
    /// garment must be the one that the ground was made of.
    ///
    /// # Errors
    /// [`BuildError`].
    pub fn on(ground: Arc<Ground>, garment: &'a Garment, placements: &'a [Placed<'a>], task: &Task) -> Result<Self, BuildError> {
        check_placements(placements)?;
        let (patches, patch_of) = task.stage("patches", || prepare(placements, &ground));
        let lain = task.stage("place", || find_places(garment, &ground, placements, &patches, &patch_of))?;
        let footprints = lain.iter().map(|lain| Arc::clone(&lain.footprint)).collect();
        let draws = (0..ground.targets.len()).map(|t| lain.iter().map(|lain| Arc::clone(&lain.draws[t])).collect()).collect();
        let planned = Planned { garment, placements, ground, footprints, patch_of };
        Ok(Self { planned, patches, draws, keeps_match: false })
    }

    /// Placements that were laid on this ground before keep the match they had, though they lie elsewhere now; others borrow that of one
    /// like them, and where there is none one of them is matched: for a quick look.
    #[must_use]
    pub fn keeping_match(self) -> Self {
        Self { keeps_match: true, ..self }
    }

    fn side(&self) -> i64 {
        self.planned.ground.side()
    }

    /// Tiles that some placements reach.
    pub fn tiles_of(&self, ids: &BTreeSet<String>) -> BTreeSet<TileAt> {
        let mut found = BTreeSet::new();
        for (target, draws) in self.draws.iter().enumerate() {
            let own = self.planned.placements.iter().zip(draws).filter(|(placed, _)| ids.contains(&placed.placement.id));
            for (_, draws) in own {
                let under = draws.iter().flat_map(|draw| draw.bounds.tiles(self.side()));
                found.extend(under.map(|(row, column)| TileAt { target, row, column }));
            }
        }
        found
    }

    /// The tile that a texel of a file lies in.
    pub fn tile_at(&self, set: usize, file: usize, [x, y]: [usize; 2]) -> Option<TileAt> {
        let own = |target: &Target| target.set == set && target.files.contains(&file);
        let target = self.planned.ground.targets.iter().position(own)?;
        Some(TileAt { target, row: y as i64 / self.side(), column: x as i64 / self.side() })
    }

    /// Tiles that any placement reaches: no other is changed.
    pub fn tiles(&self) -> BTreeSet<TileAt> {
        self.tiles_of(&self.planned.placements.iter().map(|placed| placed.placement.id.clone()).collect())
    }

    /// For each placement whether it reaches one of some tiles.
    fn reaching(&self, tiles: &BTreeSet<TileAt>) -> Vec<bool> {
        let reaches = |k: usize| {
            self.draws.iter().enumerate().any(|(target, draws)| {
                let mut under = draws[k].iter().flat_map(|draw| draw.bounds.tiles(self.side()));
                under.any(|(row, column)| tiles.contains(&TileAt { target, row, column }))
            })
        };
        (0..self.planned.placements.len()).map(reaches).collect()
    }

    /// The parts of a file that some tiles cover.
    pub fn parts(&self, tiles: &BTreeSet<TileAt>, set: usize, file: usize) -> Vec<Rect> {
        let own = tiles.iter().filter(|at| {
            let target = &self.planned.ground.targets[at.target];
            target.set == set && target.files.contains(&file)
        });
        own.map(|&at| tile_rect(at, self.side() as usize, self.planned.ground.targets[at.target].size)).collect()
    }

    /// Rows of each file, by set and file, that laying these tiles anew reads: the tiles, and the cloth around every placement
    /// that reaches one.
    pub fn rows(&self, tiles: &BTreeSet<TileAt>) -> Vec<Vec<Vec<std::ops::Range<usize>>>> {
        let sets = &self.planned.garment.sets;
        let mut rows: Vec<Vec<Vec<std::ops::Range<usize>>>> = sets.iter().map(|set| vec![Vec::new(); set.files.len()]).collect();
        let mut need = |target: &Target, low: i64, high: i64| {
            for (file, own) in rows[target.set].iter_mut().enumerate() {
                // A file of another size shows the same places in other rows.
                let height = sets[target.set].files[file].size.height;
                let scaled = |row: i64| row as f64 * height as f64 / target.size.height.max(1) as f64;
                let (low, high) = ((scaled(low).floor() as usize).saturating_sub(2), scaled(high).ceil() as usize + 2);
                own.push(low.min(height)..high.min(height));
            }
        };
        for at in tiles {
            need(&self.planned.ground.targets[at.target], at.row * self.side(), (at.row + 1) * self.side());
        }
        for (k, _) in self.reaching(tiles).iter().enumerate().filter(|(_, reaches)| **reaches) {
            let part = self.planned.ground.surface.faces()[self.planned.footprints[k].seed.face].part;
            for (target, draws) in self.planned.ground.targets.iter().zip(&self.draws) {
                let around = self.planned.context(target, k, &self.patches[self.planned.patch_of[k]].1, 0).around(part, REACH);
                for bounds in draws[k].iter().chain(&around).map(|draw| draw.bounds) {
                    need(target, bounds.y0, bounds.y1);
                }
            }
        }
        rows.iter_mut().flatten().for_each(joined);
        rows
    }

    /// Lay everything, or what differs from a build of before: then only the tiles named are laid, and of `pictures` only
    /// [`BuildPlan::rows`] are looked at. The report is that of the whole either way.
    ///
    /// # Errors
    /// [`BuildError`]; the pictures are unchanged then, except after `Cancelled`.
    pub fn lay(
        mut self,
        pictures: &mut [Vec<Stored>],
        again: Option<Again<'_>>,
        task: &Task,
    ) -> Result<(BuildReport, BuildRecord), BuildError> {
        let (report, tiles, fits) = self.lay_fitted(pictures, again, task)?;
        let of_fit = |fit: &Fit| FitRecord {
            rim_difference: fit.rim_difference,
            told: fit.told.iter().map(|(code, text)| ((*code).to_owned(), text.clone())).collect(),
        };
        let placements = self.planned.placements;
        let fits = placements.iter().zip(&fits).map(|(placed, fit)| (placed.placement.id.clone(), of_fit(fit))).collect();
        Ok((report, BuildRecord { tiles: tiles.into_iter().collect(), fits }))
    }

    /// [`BuildPlan::lay`] with all that it found.
    pub(super) fn lay_fitted(
        &mut self,
        pictures: &mut [Vec<Stored>],
        again: Option<Again<'_>>,
        task: &Task,
    ) -> Result<Fitted, BuildError> {
        let placements = self.planned.placements;
        check_pictures(self.planned.garment, pictures)?;
        let chosen = again.map_or_else(|| vec![true; placements.len()], |again| self.reaching(again.tiles));
        let known_fit =
            |(placed, chosen): (&Placed<'_>, &bool)| self.planned.ground.fit(placed).filter(|_| self.keeps_match && *chosen);
        let kept: Vec<Option<Arc<Fit>>> = placements.iter().zip(&chosen).map(known_fit).collect();
        let dyes = task.stage("match", || dyes(placements, &self.patches, &self.planned.patch_of));
        let levels = task.stage("patches", || self.levels(&dyes, &chosen));
        task.check()?;
        let (planned, draws) = (&self.planned, &self.draws);
        let context = FitContext { planned, pictures, patches: &self.patches, draws, dyes: &dyes };
        let known = again.map(|again| &again.record.fits);
        // Where nothing is known yet one of each manner is matched, and lends the others its match.
        let lends = |k: usize| self.keeps_match && chosen[k] && kept[k].is_none();
        let lender = planned.ground.alike(placements, lends);
        let matched: Vec<bool> = (0..placements.len()).map(|k| chosen[k] && lender[k] == k).collect();
        let mut fits: Vec<Arc<Fit>> = task.stage("match", || context.fits(&matched, &kept, known));
        for k in (0..placements.len()).filter(|&k| lender[k] != k) {
            fits[k] = fits[lender[k]].with(&placements[k].placement.matching);
        }
        // What was borrowed is nobody's own.
        let own: Vec<bool> = matched.iter().zip(&kept).map(|(matched, kept)| *matched && kept.is_none()).collect();
        self.planned.ground.keep_fits(placements, &fits, &own);
        let mut tiles: BTreeMap<TileAt, TileRecord> =
            task.stage("lay", || self.lay_all(pictures, (&chosen, &levels), &fits, again, task))?;
        let laid = |at: &TileAt| again.is_none_or(|again| again.tiles.contains(at));
        for (at, record) in again.iter().flat_map(|again| &again.record.tiles).filter(|(at, _)| !laid(at)) {
            tiles.insert(*at, record.clone());
        }
        let report = self.report(&tiles, &fits, task);
        Ok((report, tiles, fits))
    }

    /// Of each patch the levels that its placements read.
    fn levels(&self, dyes: &Dyes, chosen: &[bool]) -> Vec<Arc<Levels>> {
        let mut needed = vec![BTreeSet::new(); self.patches.len()];
        for (k, &patch) in self.planned.patch_of.iter().enumerate().filter(|(k, _)| chosen[*k]) {
            needed[patch].extend(self.draws.iter().flat_map(|d| d[k].iter().map(|draw| draw.filter.level)));
        }
        let all = self.patches.iter().zip(&needed).enumerate();
        all.map(|(number, ((patch, prepared), needed))| prepared.levels(patch, dyes.get(&number).map(Arc::as_ref), needed))
            .collect()
    }

    fn lay_all(
        &self,
        pictures: &mut [Vec<Stored>],
        (chosen, levels): (&[bool], &[Arc<Levels>]),
        fits: &[Arc<Fit>],
        again: Option<Again<'_>>,
        task: &Task,
    ) -> Result<BTreeMap<TileAt, TileRecord>, BuildError> {
        let planned = &self.planned;
        let mut tiles = BTreeMap::new();
        for (number, (target, draws)) in planned.ground.targets.iter().zip(&self.draws).enumerate() {
            let layers: Vec<Layer<'_>> = (0..planned.placements.len())
                .into_par_iter()
                .map(|k| {
                    // Those that lie elsewhere have nothing to draw.
                    let own: &[Draw] = if chosen[k] { &draws[k] } else { &[] };
                    let patch = planned.patch_of[k];
                    planned.layer(pictures, target, k, (&self.patches[patch].1, &levels[patch]), own, &fits[k])
                })
                .collect();
            let faces = planned.ground.faces(planned.garment, number);
            let wanted =
                |row: i64, column: i64| again.is_none_or(|again| again.tiles.contains(&TileAt { target: number, row, column }));
            let own = self.lay_target(pictures, target, &layers, faces, &wanted, task)?;
            tiles.extend(own.into_iter().map(|((row, column), record)| (TileAt { target: number, row, column }, record)));
        }
        Ok(tiles)
    }

    fn report(&self, tiles: &BTreeMap<TileAt, TileRecord>, fits: &[Arc<Fit>], task: &Task) -> BuildReport {
        let planned = &self.planned;
        let mut report = BuildReport { files: every_file(planned.garment), placements: Vec::new() };
        let place: BTreeMap<&str, usize> =
            planned.placements.iter().enumerate().map(|(k, placed)| (placed.placement.id.as_str(), k)).collect();
        let count = |layer: usize| LayerCount { layer, ..LayerCount::default() };
        let mut counts: Vec<LayerCount> = (0..planned.placements.len()).map(count).collect();
        for (number, target) in planned.ground.targets.iter().enumerate() {
            let mut own = Vec::new();
            for (_, record) in tiles.iter().filter(|(at, _)| at.target == number) {
                own.extend(record.shares.iter().filter_map(|share| Some(share.count(*place.get(share.id.as_str())?))));
                for &(file, changed) in &record.changed {
                    count_tile(&mut report.files, target.set, file, changed);
                }
            }
            // Texels are counted in the largest texture a placement reaches.
            for mut count in summed(own, planned.placements.len()) {
                let all = &mut counts[count.layer];
                all.texels = all.texels.max(count.texels);
                all.clamped += count.clamped;
                all.shared = all.shared.max(count.shared);
                all.shown_by.append(&mut count.shown_by);
            }
        }
        for k in 0..planned.placements.len() {
            let own = tell(planned, k, &self.draws, &fits[k], &counts[k]);
            own.notes.iter().for_each(|note| task.note(note.code, note.text.clone()));
            report.placements.push(own);
        }
        report
    }
}

/// Ranges that touch become one.
fn joined(ranges: &mut Vec<std::ops::Range<usize>>) {
    ranges.sort_unstable_by_key(|range| range.start);
    let mut all: Vec<std::ops::Range<usize>> = Vec::new();
    for range in ranges.drain(..).filter(|range| !range.is_empty()) {
        match all.last_mut().filter(|last| range.start <= last.end) {
            Some(last) => last.end = last.end.max(range.end),
            None => all.push(range),
        }
    }
    *ranges = all;
}

/// Per face, the number of the map set it shows; `None` when its material has no textures.
pub(crate) fn set_of_face(surface: &Surface, sets: &[tatter_core::model::MapSet]) -> Vec<Option<usize>> {
    Assignment::new(surface, sets).set
}

fn check_pictures(garment: &Garment, pictures: &[Vec<Stored>]) -> Result<(), BuildError> {
    for (s, set) in garment.sets.iter().enumerate() {
        for (f, file) in set.files.iter().enumerate() {
            let fits = pictures.get(s).and_then(|p| p.get(f)).is_some_and(|picture| {
                picture.size == file.size && file.roles.iter().all(|role| role.coding.component < picture.layout.components())
            });
            if !fits {
                return Err(BuildError::Picture { path: file.path.clone() });
            }
        }
    }
    Ok(())
}

fn check_placements(placements: &[Placed<'_>]) -> Result<(), BuildError> {
    for Placed { placement, patch } in placements {
        let id = placement.id.clone();
        if patch.size().area() == 0 || !(patch.scale.get() > 0.0 && patch.scale.get().is_finite()) {
            return Err(BuildError::EmptyPatch { id, patch: patch.name.clone() });
        }
        if let Some(size) = placement.size.filter(|size| !(size.get() > 0.0 && size.get().is_finite())) {
            return Err(BuildError::Size { id, size_mm: size.get() });
        }
    }
    Ok(())
}

/// Where placements lie, those that moved found anew.
fn find_places(
    garment: &Garment,
    ground: &Ground,
    placements: &[Placed<'_>],
    patches: &[(&Patch, Arc<Prepared>)],
    patch_of: &[usize],
) -> Result<Vec<Lain>, BuildError> {
    let found: Vec<Result<Lain, BuildError>> = placements
        .par_iter()
        .zip(patch_of)
        .map(|(placed, &patch)| match ground.lain(placed) {
            Some(lain) => Ok(lain),
            None => find_place(garment, ground, placed, &patches[patch].1),
        })
        .collect();
    let found: Vec<Lain> = found.into_iter().collect::<Result<_, _>>()?;
    ground.keep(placements, &found);
    Ok(found)
}

fn find_place(garment: &Garment, ground: &Ground, placed: &Placed<'_>, prepared: &Prepared) -> Result<Lain, BuildError> {
    let Placed { placement, patch } = placed;
    let Ground { surface, assignment, settings, .. } = ground;
    let id = || placement.id.clone();
    let canvas = Canvas { size_mm: patch.size_mm(), grain: patch.grain };
    let footprint = ground.footprints.of(surface, placement, &canvas, garment.mm_per_unit, &settings.place);
    let footprint = footprint.map_err(|source| BuildError::Spot { id: id(), source })?;
    if assignment.set[footprint.seed.face].is_none() {
        let part = &surface.parts()[surface.faces()[footprint.seed.face].part];
        return Err(BuildError::NoTextures { id: id(), part: part.name.clone(), material: part.material.clone() });
    }
    let draws = |target: &Target| {
        let (footprint, sets, padding) = (footprint.as_ref(), &garment.sets, settings.padding as i64);
        Arc::new(DrawContext { surface, assignment, sets, target, footprint, patch, prepared, padding }.draws())
    };
    let draws = ground.targets.iter().map(draws).collect();
    Ok(Lain { footprint, draws })
}

/// Each patch once, and which one each placement uses.
fn prepare<'a>(placements: &[Placed<'a>], ground: &Ground) -> (Vec<(&'a Patch, Arc<Prepared>)>, Vec<usize>) {
    let mut patches: Vec<&Patch> = Vec::new();
    let patch_of = placements
        .iter()
        .map(|placed| {
            patches.iter().position(|known| std::ptr::eq(*known, placed.patch)).unwrap_or_else(|| {
                patches.push(placed.patch);
                patches.len() - 1
            })
        })
        .collect();
    (patches.into_iter().map(|patch| (patch, ground.prepared(patch))).collect(), patch_of)
}

pub(super) fn every_file(garment: &Garment) -> Vec<FileReport> {
    let files = garment.sets.iter().enumerate().flat_map(|(set, maps)| (0..maps.files.len()).map(move |file| (set, file)));
    files.map(|(set, file)| FileReport { set, file, texels_changed: 0, tiles: 0 }).collect()
}

/// Note a tile of a file that changed.
pub(super) fn count_tile(files: &mut [FileReport], set: usize, file: usize, changed: usize) {
    if let Some(own) = files.iter_mut().find(|own| own.set == set && own.file == file) {
        own.texels_changed += changed;
        own.tiles += 1;
    }
}

impl RuleOf for Placed<'_> {
    fn rule_of(&self, channel: Channel) -> Option<ChannelRule> {
        let rule = self.placement.rule(channel);
        (self.patch.has(channel) && is_effective(channel.info().kind, rule)).then_some(rule)
    }
}

/// By row and column: layers with their draws, ascending.
type TileList = BTreeMap<(i64, i64), Vec<(usize, Vec<usize>)>>;

/// Tiles in order, each with the layers and draws that reach it.
fn tiles(layers: &[Layer<'_>], side: i64) -> TileList {
    let mut tiles = TileList::new();
    for (number, layer) in layers.iter().enumerate() {
        for (d, draw) in layer.draws.iter().enumerate() {
            for at in draw.bounds.tiles(side) {
                let own = tiles.entry(at).or_default();
                match own.last_mut().filter(|(last, _)| *last == number) {
                    Some((_, draws)) => draws.push(d),
                    None => own.push((number, vec![d])),
                }
            }
        }
    }
    tiles
}

impl BuildPlan<'_> {
    /// Lay the wanted tiles of a target; by row and column what happened in each.
    fn lay_target(
        &self,
        pictures: &mut [Vec<Stored>],
        target: &Target,
        layers: &[Layer<'_>],
        faces: Option<&OwnedFaces>,
        wanted: &dyn Fn(i64, i64) -> bool,
        task: &Task,
    ) -> Result<BTreeMap<(i64, i64), TileRecord>, BuildError> {
        /// Tiles whose results wait to be written: bounds memory.
        const AT_ONCE: usize = 64;
        let side = self.side();
        let tiles: Vec<_> = tiles(layers, side).into_iter().filter(|((row, column), _)| wanted(*row, *column)).collect();
        let mut records = BTreeMap::new();
        for (done, some) in tiles.chunks(AT_ONCE).enumerate() {
            task.check()?;
            task.progress("lay", (done * AT_ONCE) as f32 / tiles.len() as f32);
            let source: &[Vec<Stored>] = pictures;
            let results: Vec<TileResult> = some
                .par_iter()
                .map(|(at, own)| {
                    let rect = Bounds::tile(at.0, at.1, side);
                    let showing = own.iter().flat_map(|(l, draws)| draws.iter().map(|&d| layers[*l].showing[d].intersect(rect)));
                    let reach = showing.filter(|part| !part.is_empty()).reduce(Bounds::union);
                    let set = &self.planned.garment.sets[target.set];
                    TileJob {
                        rect: reach.unwrap_or(Bounds { x1: rect.x0, ..rect }),
                        layers: own.clone(),
                        faces: faces.map(|all| all.of_tile(*at).collect()),
                        padding: self.planned.ground.settings.padding as i64,
                        files: target.files.iter().map(|&f| (f, &source[target.set][f], set.files[f].roles.as_slice())).collect(),
                        size: target.size,
                    }
                    .run(layers)
                })
                .collect();
            pictures[target.set].par_iter_mut().enumerate().for_each(|(number, picture)| {
                for result in &results {
                    result
                        .files
                        .iter()
                        .filter(|own| own.file == number)
                        .for_each(|own| picture.paste(&own.part, result.x, result.y));
                }
            });
            for ((at, _), result) in some.iter().zip(results) {
                let changed = result.files.iter().map(|own| (own.file, own.changed)).collect();
                let mut record = TileRecord { changed, ..TileRecord::default() };
                let id = |count: &LayerCount| &self.planned.placements[count.layer].placement.id;
                record.shares = result.counts.iter().map(|count| Share::new(id(count), count)).collect();
                records.insert(*at, record);
            }
        }
        Ok(records)
    }
}

fn summed(counts: Vec<LayerCount>, layers: usize) -> Vec<LayerCount> {
    let mut sums: Vec<LayerCount> = (0..layers).map(|layer| LayerCount { layer, ..LayerCount::default() }).collect();
    for mut count in counts {
        let sum = &mut sums[count.layer];
        sum.texels += count.texels;
        sum.clamped += count.clamped;
        sum.shared += count.shared;
        sum.shown_by.append(&mut count.shown_by);
    }
    sums
}

/// The numbers of one placement, and what a person should hear.
fn tell(planned: &Planned<'_>, k: usize, draws: &[Vec<Arc<Vec<Draw>>>], fit: &Fit, count: &LayerCount) -> PlacementReport {
    let (placed, footprint) = (&planned.placements[k], &planned.footprints[k]);
    let mut own = describe(placed, footprint, draws.iter().map(|d| d[k].as_slice()), count);
    own.rim_difference = fit.rim_difference;
    let set = planned.ground.assignment.set[footprint.seed.face].unwrap_or_default();
    let told = Told {
        placed: *placed,
        footprint,
        surface: &planned.ground.surface,
        set: &planned.garment.sets[set],
        repeats: planned.ground.assignment.repeats[set],
        shown_by: &count.shown_by,
        fit,
    };
    own.notes = notes(&own, &told);
    own
}

/// The numbers of one placement.
fn describe<'a>(
    placed: &Placed<'_>,
    footprint: &Footprint,
    draws: impl Iterator<Item = &'a [Draw]>,
    count: &LayerCount,
) -> PlacementReport {
    let all: Vec<&Draw> = draws.flatten().collect();
    let density = |d: &Draw| {
        let [u, v] = d.patch_from_texel;
        let (long, short, _) = stretches([[u[0], u[1]], [v[0], v[1]]]);
        1.0 / (long * short).sqrt().max(1e-12)
    };
    let at_spot = all.iter().filter(|d| d.face == footprint.seed.face).map(|d| density(d)).reduce(f64::max);
    let texels_per_patch_texel = at_spot.or_else(|| all.iter().map(|d| density(d)).reduce(f64::max)).unwrap_or(0.0) as f32;
    let covered = || all.iter().filter(|d| d.covered);
    let stretch = covered().map(|d| d.stretch.0.max(1.0 / d.stretch.1.max(1e-6))).fold(1.0, f64::max);
    let faces: BTreeSet<usize> = covered().map(|d| d.face).collect();
    let finest = placed
        .patch
        .ends_per_cm
        .into_iter()
        .chain(placed.patch.picks_per_cm)
        .map(tatter_core::units::PerCm::get)
        .reduce(f32::max);
    let pitch_texels = |per_cm: f32| 10.0 / per_cm / placed.patch.scale.get() * texels_per_patch_texel;
    PlacementReport {
        id: placed.placement.id.clone(),
        faces: faces.len(),
        worst_stretch: stretch as f32,
        texels_per_patch_texel,
        thread_pitch_texels: finest.filter(|&f| f > 0.0).map(pitch_texels),
        texels: count.texels,
        clamped_heights: count.clamped,
        shared_texels: count.shared,
        rim_difference: None,
        notes: Vec::new(),
    }
}
