//! `scatter`: many placements from a rule, kept in the job so that it can be changed and run again.

mod settle;
mod throw;

use std::path::{Path, PathBuf};

use tatter_core::angle::Angle;
use tatter_core::explain::{Class, Explain};
use tatter_core::model::{Density, Job, PatchRef, Placement, Scatter, Share};
use tatter_core::task::Task;
use tatter_core::units::Mm;
use tatter_files::job::{JobError, read_job, write_job};
use tatter_files::patch::PatchError;
use tatter_files::picture::PictureError;
use tatter_garment::scatter::{ScatterError, ScatterGround};
use tatter_garment::surface::Surface;

use crate::grain::compare_many;
use crate::paths::relative;
use crate::place::{PlaceError, patch_name, placeable, unused};
use crate::session::SessionError;

pub use settle::standing;
pub(crate) use settle::what_changes;
pub use throw::{Draft, Yielded};
pub(crate) use throw::{Known, picture, read_patches, throw};

/// A rule to make or to change.
#[derive(Clone, Debug, Default)]
pub struct ScatterRequest {
    /// The job file.
    pub job: PathBuf,
    /// The scatter to run again; a new one without.
    pub again: Option<String>,
    /// Patch folders with their weights; none: as they were.
    pub patches: Vec<(PathBuf, f32)>,
    /// A grey picture that says where there are more; none: as it was.
    pub picture: Option<PathBuf>,
}

/// What a scatter did.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct ScatterSummary {
    /// Its id.
    pub id: String,
    /// Its placements that lie on the garment now, in the order of their numbers.
    pub ids: Vec<String>,
    /// How many of them a person changed, which stayed as they were.
    pub kept: usize,
}

/// How the placements of a scatter stand.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Standing {
    /// How many lie on the garment.
    pub lie: usize,
    /// How many of those a person changed.
    pub by_hand: usize,
    /// How many a person took away.
    pub taken_away: usize,
}

/// Why nothing was scattered; the job is as it was.
#[derive(Debug, thiserror::Error)]
pub enum ScatterFailed {
    /// The job file.
    #[error(transparent)]
    Job(#[from] JobError),
    /// The garment.
    #[error(transparent)]
    Session(#[from] SessionError),
    /// A patch.
    #[error(transparent)]
    Patch(#[from] PatchError),
    /// The job cannot name a patch.
    #[error(transparent)]
    Place(#[from] PlaceError),
    /// The picture.
    #[error(transparent)]
    Picture(#[from] PictureError),
    /// The rule yields nothing.
    #[error("{0}: {1}")]
    Rule(ScatterError, PathBuf),
    /// Nothing of that name.
    #[error("there is no scatter '{id}' in {job}")]
    NoSuchScatter {
        /// The id asked for.
        id: String,
        /// The job file.
        job: PathBuf,
    },
}

impl Explain for ScatterFailed {
    fn next(&self) -> String {
        match self {
            Self::Job(error) => error.next(),
            Self::Session(error) => error.next(),
            Self::Patch(error) => error.next(),
            Self::Place(error) => error.next(),
            Self::Picture(error) => error.next(),
            Self::Rule(error, _) => error.next(),
            Self::NoSuchScatter { .. } => "Use `tatter scatter JOB --list` to see the scatters of the job".to_owned(),
        }
    }

    fn class(&self) -> Class {
        match self {
            Self::Job(error) => error.class(),
            Self::Session(error) => error.class(),
            Self::Patch(error) => error.class(),
            Self::Place(error) => error.class(),
            Self::Picture(error) => error.class(),
            Self::Rule(error, _) => error.class(),
            Self::NoSuchScatter { .. } => Class::Request,
        }
    }
}

/// Make a scatter, or change one with `edit` and run it again: placements that a person moved or changed stay as they are, and
/// those that a person took away stay away.
///
/// # Errors
/// When the job, its garment, a patch or the picture cannot be read, the rule yields nothing, or the job cannot be written.
pub fn scatter_job(
    request: &ScatterRequest,
    edit: impl FnOnce(&mut Scatter),
    task: &Task,
) -> Result<ScatterSummary, ScatterFailed> {
    let mut job = read_job(&request.job)?;
    let before = request.again.as_ref().map(|id| find(&job, id, &request.job).cloned()).transpose()?;
    let mut rule = before.clone().unwrap_or_else(|| Scatter { id: free_id(&job), ..Scatter::default() });
    if !request.patches.is_empty() {
        rule.patches.clear();
        for (path, weight) in &request.patches {
            let patch = patch_name(&mut job, &request.job, path)?;
            rule.patches.push(Share { patch, weight: *weight });
        }
    }
    let folder = request.job.parent().unwrap_or(Path::new(""));
    if let Some(picture) = &request.picture {
        by_picture(&mut rule.density, folder, picture)?;
    }
    edit(&mut rule);
    let draft = Draft::of(&job, &rule);
    let garment = task.stage("mesh", || placeable(&job, &request.job))?;
    let mut known = Known::new();
    task.stage("patches", || read_patches(&mut known, &draft, folder))?;
    let surface = task.stage("surface", || Surface::new(&garment));
    let placements =
        task.stage("scatter", || throw(&ScatterGround::default(), &surface, &garment, &known, &draft, &request.job, task))?;
    let patch_of = |placement: &Placement| {
        let patch = draft.patches.iter().find(|patch| patch.name == placement.patch)?;
        known.get(&patch.path)
    };
    let placed: Vec<_> = placements.iter().filter_map(|(_, p)| Some((p, patch_of(p)?))).collect();
    task.stage("weave", || compare_many(&garment, &placed, task));
    let summary = Yielded { draft, placements }.bring_into(&mut job, task);
    write_job(&request.job, &job)?;
    Ok(summary)
}

/// A grey picture says where there is more, in the place of another one.
///
/// # Errors
/// When no relative path leads from the job's folder to it.
pub fn by_picture(density: &mut Vec<Density>, folder: &Path, picture: &Path) -> Result<(), PlaceError> {
    let path = relative(folder, picture).ok_or_else(|| PlaceError::Apart(picture.to_owned()))?;
    density.retain(|density| !matches!(density, Density::Picture(_)));
    density.insert(0, Density::Picture(path));
    Ok(())
}

/// Take a scatter away with the placements it made, except those a person changed.
///
/// # Errors
/// As [`scatter_job`].
pub fn remove_scatter(job_path: &Path, id: &str) -> Result<ScatterSummary, ScatterFailed> {
    let mut job = read_job(job_path)?;
    let summary = remove_in(&mut job, id, job_path)?;
    write_job(job_path, &job)?;
    Ok(summary)
}

/// As [`remove_scatter`], of a job in memory.
pub(crate) fn remove_in(job: &mut Job, id: &str, path: &Path) -> Result<ScatterSummary, ScatterFailed> {
    let rule = find(job, id, path)?.clone();
    Ok(settle::take_away(job, rule))
}

/// How a job names a patch folder, or would if it took it up.
///
/// # Errors
/// When no relative path leads there, or the folder has no name.
pub fn named(job: &Job, path: &Path, patch: &Path) -> Result<PatchRef, PlaceError> {
    let mut job = Job { patches: job.patches.clone(), ..Job::default() };
    let name = patch_name(&mut job, path, patch)?;
    let found = job.patches.into_iter().find(|known| known.name == name);
    found.ok_or_else(|| PlaceError::Nameless(patch.to_owned()))
}

/// A scatter to begin with, of one patch: a dozen anywhere on the garment, turned anyhow, off the seams.
pub fn proposed(job: &Job, patch: PatchRef) -> Draft {
    let rule = Scatter {
        id: free_id(job),
        patches: vec![Share { patch: patch.name.clone(), weight: 1.0 }],
        count: 12,
        margin: Mm(5.0),
        turn: [Angle::degrees(-180.0), Angle::degrees(180.0)],
        ..Scatter::default()
    };
    Draft { rule, patches: vec![patch] }
}

/// The scatters of a job.
///
/// # Errors
/// When the job cannot be read.
pub fn scatters(job_path: &Path) -> Result<Vec<Scatter>, ScatterFailed> {
    Ok(read_job(job_path)?.scatters)
}

fn find<'a>(job: &'a Job, id: &str, path: &Path) -> Result<&'a Scatter, ScatterFailed> {
    let missing = || ScatterFailed::NoSuchScatter { id: id.to_owned(), job: path.to_owned() };
    job.scatters.iter().find(|scatter| scatter.id == id).ok_or_else(missing)
}

fn free_id(job: &Job) -> String {
    let taken = |id: &str| {
        let placement = |p: &Placement| p.id.strip_prefix(id).is_some_and(|rest| rest.starts_with('-'));
        job.scatters.iter().any(|scatter| scatter.id == id) || job.placements.iter().any(placement)
    };
    unused("scatter", taken)
}
