//! `grain`: which way the warp runs in the islands of a job's garment.

mod compare;
mod error;
mod islands;
mod reading;

use std::path::Path;

use glam::Vec2;
use tatter_core::angle::Angle;
use tatter_core::model::{Garment, GrainSource, IslandGrain, Job, Spot, Weave};
use tatter_core::task::Task;
use tatter_files::job::{read_job, write_job};
use tatter_files::limits::Limits;
use tatter_files::picture::probe;
use tatter_garment::surface::islands::{SurfaceIslands, islands};
use tatter_garment::surface::{Seed, Surface};

pub(crate) use compare::{Lie, compare, compare_many, local_weave};
pub use error::GrainError;
use islands::{Effort, measure_islands};
pub use islands::{IslandReport, Unread};
use reading::Colors;

use crate::place::placeable;

/// What a change of grain did.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct GrainSummary {
    /// The islands that were looked at.
    pub islands: Vec<IslandReport>,
    /// The grain of the job's islands now.
    pub grain: Vec<IslandGrain>,
    /// Placements that lie turned by it, and by how much, counter-clockwise as seen from outside.
    pub turned: Vec<(String, Angle)>,
}

/// The direction a person gives.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Arrow {
    /// Turn from the texture's upright, counter-clockwise as seen from outside.
    Turn(Angle),
    /// To another place in the texture.
    To([f32; 2]),
}

/// Pieces and pixels of texture that are measured without being asked to: some ten seconds on two cores.
const QUICK: (usize, usize) = (40, 4 * 4096 * 4096);

/// Measure the grain of every island where threads can be counted, and keep it in the job. Arrows stay. With `only_quick`
/// nothing is done, and a note says so, where it would take long.
///
/// # Errors
/// When the job or its garment cannot be read, or the job not written. A texture that cannot be read is told of its islands.
pub fn measure_grain(path: &Path, only_quick: bool, task: &Task) -> Result<GrainSummary, GrainError> {
    let mut job = read_job(path)?;
    let garment = task.stage("mesh", || placeable(&job, path))?;
    let mut colors = Colors::new(&Garment { grain: Vec::new(), ..garment.clone() }, path);
    let places: Vec<Vec<_>> = colors.garment.sets.iter().map(|s| s.files.iter().map(|f| colors.path(f)).collect()).collect();
    for (set, places) in colors.garment.sets.iter_mut().zip(places) {
        for (file, place) in set.files.iter_mut().zip(places) {
            // One that cannot be read is told of when it is measured.
            file.size = probe(&place, &Limits::default()).map_or(file.size, |found| found.size);
        }
    }
    let arrows: Vec<IslandGrain> = job.garment.grain.iter().filter(|g| g.source == GrainSource::Arrow).cloned().collect();
    let fits = |effort: &Effort| !only_quick || effort.pieces <= QUICK.0 && effort.pixels <= QUICK.1;
    let Some(islands) = task.stage("weave", || measure_islands(&colors, &arrows, fits, task))? else {
        task.note(
            "grain-later",
            "The grain of the islands was not measured, for it would take long: `tatter grain JOB` does it.",
        );
        return Ok(GrainSummary::default());
    };
    let before = std::mem::replace(&mut job.garment.grain, arrows);
    job.garment.grain.extend(islands.iter().filter_map(|island| island.found.as_ref().ok()).map(|(grain, _)| grain.clone()));
    Ok(GrainSummary { islands, ..keep(path, &job, garment, before)? })
}

/// Measure the grain of a job that was just started, where that is quick. What cannot be read is told and does no harm.
pub fn measure_new(path: &Path, task: &Task) -> GrainSummary {
    measure_grain(path, true, task).unwrap_or_else(|error| {
        task.note("grain-later", format!("The grain of the islands was not measured: {error}"));
        GrainSummary::default()
    })
}

/// Set the grain of the island at a place by hand.
///
/// # Errors
/// As [`measure_grain`]; no cloth lies there; an arrow without length, or one that leaves its island.
pub fn set_grain(path: &Path, at: [f32; 2], part: Option<&str>, arrow: Arrow, task: &Task) -> Result<GrainSummary, GrainError> {
    let mut job = read_job(path)?;
    let garment = task.stage("mesh", || placeable(&job, path))?;
    let plain = Surface::new(&Garment { grain: Vec::new(), ..garment.clone() });
    let all = islands(&garment, &plain);
    let seed = locate(&plain, at, part, path)?;
    let turn = match arrow {
        Arrow::Turn(turn) => turn,
        Arrow::To(end) => {
            let other = locate(&plain, end, part, path)?;
            if islands_of(&all, &seed).iter().all(|island| !islands_of(&all, &other).contains(island)) {
                return Err(GrainError::Leaves { from: at, to: end, job: path.to_owned() });
            }
            direction(&plain, &seed, at, end).ok_or_else(|| GrainError::Point { at, job: path.to_owned() })?
        }
    };
    let bare = IslandGrain {
        at,
        part: part.map(str::to_owned),
        turn,
        source: GrainSource::Arrow,
        ends_per_cm: None,
        picks_per_cm: None,
        weave: Weave::Unknown,
    };
    let before = job.garment.grain.clone();
    let known =
        take(&mut job, &plain, &all, &seed).map(|known| IslandGrain { at, part: bare.part.clone(), ..known.with_arrow(turn) });
    job.garment.grain.push(known.unwrap_or(bare));
    keep(path, &job, garment, before)
}

/// Forget the grain of the island at a place, or of all: the pattern convention holds again.
///
/// # Errors
/// As [`measure_grain`]; no grain is known there.
pub fn forget_grain(path: &Path, at: Option<[f32; 2]>, part: Option<&str>, task: &Task) -> Result<GrainSummary, GrainError> {
    let mut job = read_job(path)?;
    let garment = task.stage("mesh", || placeable(&job, path))?;
    let before = job.garment.grain.clone();
    match at {
        None => job.garment.grain.clear(),
        Some(at) => {
            let plain = Surface::new(&Garment { grain: Vec::new(), ..garment.clone() });
            let seed = locate(&plain, at, part, path)?;
            if take(&mut job, &plain, &islands(&garment, &plain), &seed).is_none() {
                return Err(GrainError::NothingKnown { at, job: path.to_owned() });
            }
        }
    }
    keep(path, &job, garment, before)
}

/// The grain of the islands as the job has it.
///
/// # Errors
/// When the job cannot be read.
pub fn list_grain(path: &Path) -> Result<Vec<IslandGrain>, GrainError> {
    Ok(read_job(path)?.garment.grain)
}

fn locate(surface: &Surface, at: [f32; 2], part: Option<&str>, job: &Path) -> Result<Seed, GrainError> {
    let spot = Spot::Uv { at, part: part.map(str::to_owned) };
    surface.locate(&spot, 1.0).map_err(|error| GrainError::Spot(error, job.to_owned()))
}

/// The islands a place shows: several where they share the texture.
fn islands_of(all: &SurfaceIslands, seed: &Seed) -> Vec<u32> {
    std::iter::once(seed.face).chain(seed.shared_with.iter().copied()).map(|face| all.of_face[face]).collect()
}

/// From the texture's upright at a place to where another lies.
fn direction(surface: &Surface, seed: &Seed, from: [f32; 2], to: [f32; 2]) -> Option<Angle> {
    let [along_u, along_v] = surface.faces()[seed.face].mm_per_uv()?;
    let way = (Vec2::from(to) - Vec2::from(from)).as_dvec2();
    let way = along_u * way.x + along_v * way.y;
    let left = seed.normal.cross(seed.grain);
    let (ahead, aside) = (way.dot(seed.grain), way.dot(left));
    // Rounded as people write degrees, so that the file keeps it to the bit.
    let degrees = (aside.atan2(ahead).to_degrees() * 100.0).round() / 100.0;
    (ahead.hypot(aside) > 0.0).then(|| Angle::degrees(degrees as f32))
}

/// Take the entries of the islands at a place out of the job; the one that held last, if any.
fn take(job: &mut Job, surface: &Surface, all: &SurfaceIslands, seed: &Seed) -> Option<IslandGrain> {
    let here = islands_of(all, seed);
    let mut held = None;
    job.garment.grain.retain(|entry| {
        let there = surface.at_entry(entry).map(|seed| islands_of(all, &seed)).unwrap_or_default();
        let same = there.iter().any(|island| here.contains(island));
        if same {
            held = Some(entry.clone());
        }
        !same
    });
    held
}

/// Write the job and say what lies turned now.
fn keep(path: &Path, job: &Job, garment: Garment, before: Vec<IslandGrain>) -> Result<GrainSummary, GrainError> {
    write_job(path, job)?;
    let grain = job.garment.grain.clone();
    let old = Surface::new(&Garment { grain: before, ..garment.clone() });
    let new = Surface::new(&Garment { grain: grain.clone(), ..garment.clone() });
    let turned = |placement: &tatter_core::model::Placement| {
        let [old, new] = [&old, &new].map(|surface| surface.locate(&placement.spot, garment.mm_per_unit).ok());
        let (old, new) = (old?, new?);
        let left = old.normal.cross(old.grain);
        let by = new.grain.dot(left).atan2(new.grain.dot(old.grain)).to_degrees();
        (by.abs() >= 0.05).then(|| (placement.id.clone(), Angle::degrees(by as f32)))
    };
    Ok(GrainSummary { islands: Vec::new(), turned: job.placements.iter().filter_map(turned).collect(), grain })
}
