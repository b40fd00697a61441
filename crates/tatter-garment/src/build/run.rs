//! The build, the whole chain in one screen.

use std::collections::{BTreeMap, BTreeSet};
use std::sync::Arc;

use rayon::prelude::*;
use tatter_core::channel::Channel;
use tatter_core::image::Stored;
use tatter_core::model::{ChannelRule, Garment, Patch};
use tatter_core::task::Task;

use super::fit::{Dyes, Fit, FitContext, dyes};
use super::notes::{Told, notes};
use super::plan::{Assignment, Bounds, Draw, Target, Triangle, targets};
use super::planned::Planned;
use super::pyramid::Prepared;
use super::sampler::stretches;
use super::tile::{Layer, LayerCount, RuleOf, TileFile, TileJob, TileResult, is_effective};
use super::{BuildError, BuildReport, BuildSettings, FileReport, PlacementReport};
use crate::place::{Footprint, Placed, footprint};
use crate::surface::Surface;

/// Lay `placements`, in order, into the pristine `pictures` of a garment (per map set, per file, as `garment.sets` lists them).
///
/// Costs time in proportion to the texels covered. Beside the pictures and patches it holds, per patch, the levels that are
/// needed (level 0 of a 2048² patch 200 MB, only when it is enlarged or nearly so; level 2 50 MB) and at most 64 tiles.
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
    check_request(garment, pictures, placements)?;
    let surface = task.stage("surface", || Surface::new(garment));
    let assignment = Assignment::new(&surface, &garment.sets);
    let footprints = task.stage("place", || find_footprints(garment, &surface, placements, settings, &assignment))?;
    let (mut patches, patch_of) = task.stage("patches", || prepare(placements));
    let targets = targets(garment);
    let planned = Planned { garment, placements, surface, assignment, footprints, targets, patch_of };
    let draws = task.stage("place", || planned.draws(&patches, settings.padding as i64));
    let dyes = task.stage("match", || dyes(placements, &patches, &planned.patch_of));
    task.stage("patches", || make_levels(&mut patches, &planned.patch_of, &draws, &dyes));
    task.check()?;
    let context = FitContext { planned: &planned, pictures, patches: &patches, draws: &draws, dyes: &dyes };
    let fits: Vec<Fit> = task.stage("match", || context.fits());
    let mut report = BuildReport { files: every_file(garment), placements: Vec::new() };
    let mut counts: Vec<LayerCount> = (0..placements.len()).map(|layer| LayerCount { layer, ..LayerCount::default() }).collect();
    task.stage("lay", || {
        for (target, draws) in planned.targets.iter().zip(&draws) {
            let layers: Vec<Layer<'_>> = (0..placements.len())
                .into_par_iter()
                .map(|k| planned.layer(pictures, target, k, &patches[planned.patch_of[k]].1, &draws[k], &fits[k]))
                .collect();
            let faces = (!planned.assignment.repeats[target.set]).then(|| faces_of(&planned, target, settings.padding as i64));
            let mut own = lay_target(garment, pictures, target, &layers, faces.as_deref(), settings, &mut report.files, task)?;
            // Texels are counted in the largest texture a placement reaches.
            for count in &mut own {
                let all = &mut counts[count.layer];
                all.texels = all.texels.max(count.texels);
                all.clamped += count.clamped;
                all.shared = all.shared.max(count.shared);
                all.shown_by.append(&mut count.shown_by);
            }
        }
        Ok::<(), BuildError>(())
    })?;
    for k in 0..placements.len() {
        let own = tell(&planned, k, &draws, &fits[k], &counts[k]);
        own.notes.iter().for_each(|note| task.note(note.code, note.text.clone()));
        report.placements.push(own);
    }
    Ok(report)
}

/// Per face, the number of the map set it shows; `None` when its material has no textures.
pub(crate) fn set_of_face(surface: &Surface, sets: &[tatter_core::model::MapSet]) -> Vec<Option<usize>> {
    Assignment::new(surface, sets).set
}

fn check_request(garment: &Garment, pictures: &[Vec<Stored>], placements: &[Placed<'_>]) -> Result<(), BuildError> {
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

fn find_footprints(
    garment: &Garment,
    surface: &Surface,
    placements: &[Placed<'_>],
    settings: &BuildSettings,
    assignment: &Assignment,
) -> Result<Vec<Footprint>, BuildError> {
    let found: Vec<Result<Footprint, BuildError>> = placements
        .par_iter()
        .map(|Placed { placement, patch }| {
            let id = || placement.id.clone();
            let found = footprint(surface, placement, patch, garment.mm_per_unit, &settings.place)
                .map_err(|source| BuildError::Spot { id: id(), source })?;
            if assignment.set[found.seed.face].is_none() {
                let part = &surface.parts()[surface.faces()[found.seed.face].part];
                return Err(BuildError::NoTextures { id: id(), part: part.name.clone(), material: part.material.clone() });
            }
            Ok(found)
        })
        .collect();
    found.into_iter().collect()
}

/// Each patch once, and which one each placement uses.
fn prepare<'a>(placements: &[Placed<'a>]) -> (Vec<(&'a Patch, Prepared)>, Vec<usize>) {
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
    (patches.into_iter().map(|patch| (patch, Prepared::new(patch))).collect(), patch_of)
}

fn make_levels(patches: &mut [(&Patch, Prepared)], patch_of: &[usize], draws: &[Vec<Vec<Draw>>], dyes: &Dyes) {
    let mut needed = vec![BTreeSet::new(); patches.len()];
    for (k, &patch) in patch_of.iter().enumerate() {
        needed[patch].extend(draws.iter().flat_map(|d| d[k].iter().map(|draw| draw.filter.level)));
    }
    for (number, ((patch, prepared), needed)) in patches.iter_mut().zip(&needed).enumerate() {
        prepared.make_levels(patch, dyes.get(&number).map(Arc::as_ref), needed);
    }
}

fn every_file(garment: &Garment) -> Vec<FileReport> {
    let files = garment.sets.iter().enumerate().flat_map(|(set, maps)| (0..maps.files.len()).map(move |file| (set, file)));
    files.map(|(set, file)| FileReport { set, file, texels_changed: 0, tiles: 0 }).collect()
}

impl RuleOf for Placed<'_> {
    fn rule_of(&self, channel: Channel) -> Option<ChannelRule> {
        self.patch.map(channel)?;
        let rule = self.placement.rule(channel);
        is_effective(channel.info().kind, rule).then_some(rule)
    }
}

type OwnedFace = (u32, Triangle, Bounds);

/// Every face that shows the target, with the texels it can own.
fn faces_of(planned: &Planned<'_>, target: &Target, padding: i64) -> Vec<OwnedFace> {
    let Planned { garment, surface, assignment, .. } = planned;
    let all = surface.faces().iter().enumerate().filter(|(i, _)| assignment.set[*i] == Some(target.set));
    all.filter_map(|(i, face)| {
        let corners = assignment.texel_corners(face, target.set, &garment.sets, target.size);
        // The margin lets a face be found from every tile whose gutter it may own.
        let bounds = Bounds::around(&corners, padding, target.size);
        Some((i as u32, Triangle::new(corners)?, bounds))
    })
    .collect()
}

/// By row and column: layers with their draws, ascending.
type TileList = BTreeMap<(i64, i64), Vec<(usize, Vec<usize>)>>;

/// Tiles in order, each with the layers and draws that reach it.
fn tiles(layers: &[Layer<'_>], side: i64) -> TileList {
    let mut tiles = TileList::new();
    for (number, layer) in layers.iter().enumerate() {
        for (d, draw) in layer.draws.iter().enumerate() {
            for (x, y) in tiles_under(draw.bounds, side) {
                let own = tiles.entry((y, x)).or_default();
                match own.last_mut().filter(|(last, _)| *last == number) {
                    Some((_, draws)) => draws.push(d),
                    None => own.push((number, vec![d])),
                }
            }
        }
    }
    tiles
}

fn tiles_under(b: Bounds, side: i64) -> impl Iterator<Item = (i64, i64)> {
    (b.y0 / side..=(b.y1 - 1) / side).flat_map(move |y| (b.x0 / side..=(b.x1 - 1) / side).map(move |x| (x, y)))
}

#[expect(clippy::too_many_arguments, reason = "one call, from the chain above; a struct would only rename them")]
fn lay_target(
    garment: &Garment,
    pictures: &mut [Vec<Stored>],
    target: &Target,
    layers: &[Layer<'_>],
    faces: Option<&[OwnedFace]>,
    settings: &BuildSettings,
    reports: &mut [FileReport],
    task: &Task,
) -> Result<Vec<LayerCount>, BuildError> {
    /// Tiles whose results wait to be written: bounds memory.
    const AT_ONCE: usize = 64;
    let side = settings.tile.max(16) as i64;
    let tiles: Vec<_> = tiles(layers, side).into_iter().collect();
    let mut faces_in: BTreeMap<(i64, i64), Vec<usize>> = tiles.iter().map(|(at, _)| (*at, Vec::new())).collect();
    for (i, (_, _, bounds)) in faces.unwrap_or_default().iter().enumerate().filter(|(_, f)| !f.2.is_empty()) {
        for (x, y) in tiles_under(*bounds, side) {
            if let Some(list) = faces_in.get_mut(&(y, x)) {
                list.push(i);
            }
        }
    }
    let mut counts = Vec::new();
    for (done, some) in tiles.chunks(AT_ONCE).enumerate() {
        task.check()?;
        task.progress("lay", (done * AT_ONCE) as f32 / tiles.len() as f32);
        let source: &[Vec<Stored>] = pictures;
        let results: Vec<TileResult> = some
            .par_iter()
            .map(|(at, own)| {
                let reach =
                    own.iter().flat_map(|(l, draws)| draws.iter().map(|&d| layers[*l].draws[d].bounds)).reduce(Bounds::union);
                let rect = Bounds { x0: at.1 * side, y0: at.0 * side, x1: (at.1 + 1) * side, y1: (at.0 + 1) * side };
                let set = &garment.sets[target.set];
                TileJob {
                    rect: reach.map_or(rect, |reach| rect.intersect(reach)),
                    layers: own.clone(),
                    faces: faces.map(|all| faces_in[at].iter().map(|&i| all[i]).collect()),
                    padding: settings.padding as i64,
                    files: target.files.iter().map(|&f| (f, &source[target.set][f], set.files[f].roles.as_slice())).collect(),
                    size: target.size,
                }
                .run(layers)
            })
            .collect();
        for result in results {
            for TileFile { file, part, changed } in result.files {
                pictures[target.set][file].paste(&part, result.x, result.y);
                if let Some(report) = reports.iter_mut().find(|r| r.set == target.set && r.file == file) {
                    report.texels_changed += changed;
                    report.tiles += 1;
                }
            }
            counts.extend(result.counts);
        }
    }
    Ok(summed(counts, layers.len()))
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
fn tell(planned: &Planned<'_>, k: usize, draws: &[Vec<Vec<Draw>>], fit: &Fit, count: &LayerCount) -> PlacementReport {
    let (placed, footprint) = (&planned.placements[k], &planned.footprints[k]);
    let mut own = describe(placed, footprint, draws.iter().map(|d| d[k].as_slice()), count);
    own.rim_difference = fit.rim_difference;
    let set = planned.assignment.set[footprint.seed.face].unwrap_or_default();
    let told = Told {
        placed: *placed,
        footprint,
        surface: &planned.surface,
        set: &planned.garment.sets[set],
        repeats: planned.assignment.repeats[set],
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
