//! `place`: edit the placements of a job.

use std::path::{Path, PathBuf};

use tatter_core::angle::Angle;
use tatter_core::channel::PerChannel;
use tatter_core::explain::{Class, Explain};
use tatter_core::model::{ChannelRule, Garment, Job, Match, PatchRef, Placement, Spot};
use tatter_core::task::Task;
use tatter_core::units::Mm;
use tatter_files::job::{JobError, read_job, write_job};
use tatter_files::limits::Limits;
use tatter_files::patch::{PatchError, read_patch};
use tatter_files::picture::probe;
use tatter_garment::place::{FAR_MM, SpotError, find_spot};
use tatter_garment::surface::Seed;

use crate::grain::{Lie, compare, local_weave};
use crate::paths::relative;
use crate::session::{SessionError, garment};

/// How large the patch lies on the cloth.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub enum SizeChoice {
    /// As it was measured.
    #[default]
    Own,
    /// The side of its canvas.
    Side(Mm),
    /// Times its own size.
    Times(f32),
}

/// One placement to add.
#[derive(Clone, Debug)]
pub struct PlaceRequest {
    /// The job file.
    pub job: PathBuf,
    /// The patch folder.
    pub patch: PathBuf,
    /// Where.
    pub spot: Spot,
    /// Turn from the garment's grain.
    pub turn: Angle,
    /// How large.
    pub size: SizeChoice,
    /// Mirrored left to right.
    pub mirror: bool,
    /// Rules that differ from the defaults.
    pub rules: PerChannel<Option<ChannelRule>>,
    /// How it is fitted to the cloth.
    pub matching: Match,
}

/// Why the placements were not changed.
#[derive(Debug, thiserror::Error)]
pub enum PlaceError {
    /// The job file.
    #[error(transparent)]
    Job(#[from] JobError),
    /// The patch.
    #[error(transparent)]
    Patch(#[from] PatchError),
    /// The garment.
    #[error(transparent)]
    Session(#[from] SessionError),
    /// No cloth there to lay a patch on.
    #[error("{0}: {1}")]
    Spot(SpotError, PathBuf),
    /// A size that nothing can come of.
    #[error("the patch would be {size} across, and {why}: {job}")]
    Size {
        /// Side of its canvas on the cloth.
        size: Mm,
        /// What is wrong with it.
        why: String,
        /// The job file.
        job: PathBuf,
    },
    /// A patch on another drive cannot be named from the job.
    #[error("no relative path leads from the job to the patch {0}")]
    Apart(PathBuf),
    /// Nothing of that name lies on the garment.
    #[error("there is no placement '{id}' in {job}")]
    NoSuchPlacement {
        /// The id asked for.
        id: String,
        /// The job file.
        job: PathBuf,
    },
    /// A folder without a name.
    #[error("the patch folder has no name: {0}")]
    Nameless(PathBuf),
}

impl Explain for PlaceError {
    fn next(&self) -> String {
        match self {
            Self::Job(error) => error.next(),
            Self::Patch(error) => error.next(),
            Self::Session(error) => error.next(),
            Self::Spot(error, _) => error.next(),
            Self::Size { .. } => "Give another --size-mm or --scale".to_owned(),
            Self::Apart(_) => "Copy the patch folder beside the job".to_owned(),
            Self::NoSuchPlacement { .. } => "Use `tatter place JOB --list` to see what lies there".to_owned(),
            Self::Nameless(_) => "Name a folder like rope-burn.patch".to_owned(),
        }
    }

    fn class(&self) -> Class {
        match self {
            Self::Job(error) => error.class(),
            Self::Patch(error) => error.class(),
            Self::Session(error) => error.class(),
            Self::Spot(error, _) => error.class(),
            Self::Size { .. } | Self::Apart(_) | Self::NoSuchPlacement { .. } | Self::Nameless(_) => Class::Request,
        }
    }
}

/// Add a placement to the job and return its id. The patch and the garment are read first, so that a job never names what
/// cannot be used, nor a spot where no cloth lies.
///
/// # Errors
/// When the job, its garment or the patch cannot be read, no textured cloth lies at the spot, the size is larger than the garment
/// or too small to be seen, or the job cannot be written.
pub fn place(request: &PlaceRequest, task: &Task) -> Result<String, PlaceError> {
    let mut job = read_job(&request.job)?;
    let patch = read_patch(&request.patch, &Limits::default())?;
    let own = patch.size_mm()[0];
    let size = match request.size {
        SizeChoice::Own => None,
        SizeChoice::Side(side) => Some(side),
        SizeChoice::Times(factor) => Some(Mm(own.get() * factor)),
    };
    if patch.scale_source == tatter_core::model::ScaleSource::Assumed && size.is_none() {
        task.note(
            "size-assumed",
            format!("The size of {} was assumed when it was cut ({own}): give --size-mm if it is wrong.", patch.name),
        );
    }
    let (garment, seed, set) = check_spot(&job, request, task)?;
    check_size(&garment, size.unwrap_or(own), &request.job)?;
    let enlargement = size.map_or(1.0, |size| size.get() / own.get());
    if let Some(there) = task.stage("weave", || local_weave(&garment, set, &request.job, &request.spot, &seed)) {
        compare(&patch, &Lie { enlargement, turn: request.turn, mirror: request.mirror }, &there, task);
    }
    let id = add(&mut job, request, size)?;
    write_job(&request.job, &job)?;
    Ok(id)
}

/// Add a placement to a job in memory and return its id; `size` is the side of its canvas, `None` its own. Nothing is read or checked.
pub(crate) fn add(job: &mut Job, request: &PlaceRequest, size: Option<Mm>) -> Result<String, PlaceError> {
    let name = patch_name(job, &request.job, &request.patch)?;
    let id = free_id(job, &name);
    job.placements.push(Placement {
        id: id.clone(),
        patch: name,
        spot: request.spot.clone(),
        turn: request.turn,
        size,
        mirror: request.mirror,
        rules: request.rules,
        matching: request.matching,
    });
    Ok(id)
}

/// The garment, the place and the map set at the spot, when cloth with textures lies there.
fn check_spot(job: &Job, request: &PlaceRequest, task: &Task) -> Result<(Garment, Seed, usize), PlaceError> {
    let garment = task.stage("mesh", || placeable(job, &request.job))?;
    let (seed, set) = find_spot(&garment, &request.spot).map_err(|error| PlaceError::Spot(error, request.job.clone()))?;
    if seed.distance_mm > FAR_MM {
        task.note("spot-far", format!("The point lies {:.0} mm off the cloth; the nearest place was taken.", seed.distance_mm));
    }
    Ok((garment, seed, set))
}

/// Whether a patch of this size can be anything but a mistake.
fn check_size(garment: &Garment, size: Mm, job: &Path) -> Result<(), PlaceError> {
    let [least, most] = sizes(garment);
    let why = if size > most {
        format!("the garment is {:.0} mm from end to end", most.get())
    } else if size < least {
        format!("nothing smaller than {least} can be seen on cloth")
    } else {
        return Ok(());
    };
    Err(PlaceError::Size { size, why, job: job.to_owned() })
}

/// The smallest and the largest side a patch can have on a garment.
pub(crate) fn sizes(garment: &Garment) -> [Mm; 2] {
    /// A thread of fine cloth; the finest textures of whole garments have texels of a tenth of it.
    const LEAST: Mm = Mm(0.2);
    let extent = garment.mesh.as_ref().map_or(garment.mm_per_uv.get(), |mesh| {
        let (low, high) = mesh.bounds();
        (high - low).length() * garment.mm_per_unit
    });
    [LEAST, Mm(extent)]
}

/// The garment of a job with as much as it takes to find a spot on it; no texture is read.
pub(crate) fn placeable(job: &Job, path: &Path) -> Result<Garment, SessionError> {
    let folder = path.parent().unwrap_or(Path::new(""));
    let mut garment = garment(job, folder, path)?;
    if garment.mesh.is_none() {
        for file in garment.sets.iter_mut().filter_map(|set| set.files.first_mut()) {
            file.size = probe(&folder.join(&file.path), &Limits::default())?.size;
        }
    }
    Ok(garment)
}

/// Take a placement away; patches no longer used stay in the job for the next one.
///
/// # Errors
/// When there is no such placement, or the job cannot be read or written.
pub fn remove(job_path: &Path, id: &str) -> Result<(), PlaceError> {
    let mut job = read_job(job_path)?;
    let before = job.placements.len();
    job.placements.retain(|placement| placement.id != id);
    if job.placements.len() == before {
        return Err(PlaceError::NoSuchPlacement { id: id.to_owned(), job: job_path.to_owned() });
    }
    job.forget_missing();
    write_job(job_path, &job)?;
    Ok(())
}

/// Change how placements are fitted to their cloth; returns them as they are then.
///
/// # Errors
/// When there is no such placement (none is changed then), or the job cannot be read or written.
pub fn rematch(job_path: &Path, ids: &[String], change: impl Fn(&mut Match)) -> Result<Vec<Placement>, PlaceError> {
    let mut job = read_job(job_path)?;
    for id in ids {
        let found = job.placements.iter_mut().find(|placement| placement.id == *id);
        let placement = found.ok_or_else(|| PlaceError::NoSuchPlacement { id: id.clone(), job: job_path.to_owned() })?;
        change(&mut placement.matching);
    }
    write_job(job_path, &job)?;
    job.placements.retain(|placement| ids.contains(&placement.id));
    Ok(job.placements)
}

/// What lies on the garment, in order.
///
/// # Errors
/// When the job cannot be read.
pub fn list(job_path: &Path) -> Result<Vec<Placement>, PlaceError> {
    Ok(read_job(job_path)?.placements)
}

/// The name of the patch in the job, adding it when it is new.
pub(crate) fn patch_name(job: &mut Job, job_path: &Path, patch: &Path) -> Result<String, PlaceError> {
    let path = relative(job_path.parent().unwrap_or(Path::new("")), patch).ok_or_else(|| PlaceError::Apart(patch.to_owned()))?;
    if let Some(known) = job.patches.iter().find(|patch| patch.path == path) {
        return Ok(known.name.clone());
    }
    let file_name = patch.file_name().and_then(|name| name.to_str()).ok_or_else(|| PlaceError::Nameless(patch.to_owned()))?;
    let stem = file_name.strip_suffix(".patch").unwrap_or(file_name);
    let name = unused(stem, |name| job.patches.iter().any(|patch| patch.name == name));
    job.patches.push(PatchRef { name: name.clone(), path });
    Ok(name)
}

/// `rope-burn-1`, `rope-burn-2`, …: counts on from the highest, so that an id is not given twice while it may be remembered.
fn free_id(job: &Job, patch: &str) -> String {
    let highest = job.placements.iter().filter_map(|p| p.id.strip_prefix(patch)?.strip_prefix('-')?.parse::<u64>().ok()).max();
    let id = format!("{patch}-{}", highest.unwrap_or(0) + 1);
    unused(&id, |id| job.placements.iter().any(|p| p.id == id))
}

pub(crate) fn unused(wanted: &str, taken: impl Fn(&str) -> bool) -> String {
    if !taken(wanted) {
        return wanted.to_owned();
    }
    (2u64..).map(|n| format!("{wanted}-{n}")).find(|name| !taken(name)).unwrap_or_default()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn ids_are_not_given_twice() {
        let mut job = Job::default();
        let placement = |id: &str| Placement {
            id: id.to_owned(),
            patch: "rip".to_owned(),
            spot: Spot::Point([0.0; 3]),
            turn: Angle::ZERO,
            size: None,
            mirror: false,
            rules: PerChannel::default(),
            matching: Match::default(),
        };
        job.placements = vec![placement("rip-1"), placement("rip-7"), placement("elbow")];
        assert_eq!(free_id(&job, "rip"), "rip-8", "one more than the highest");
        assert_eq!(free_id(&job, "moth"), "moth-1", "the first of its kind");
    }
}
