//! `wear`: marks of wear in a job, and their laying into its pristine textures.

use std::path::{Path, PathBuf};

use tatter_core::explain::{Class, Explain};
use tatter_core::image::{Image, Stored, Unit};
use tatter_core::model::{Density, Job, Spot, Wear, WearKind};
use tatter_core::task::Task;
use tatter_core::units::Mm;
use tatter_files::job::{JobError, read_job, write_job};
use tatter_files::picture::PictureError;
use tatter_garment::build::{BuildSettings, WearError, WearGround, WearInput, check_wear, wear};
pub use tatter_garment::build::{MarkReport, WearReport};
use tatter_garment::check::{Fault, check_marks};
use tatter_garment::surface::Surface;

use crate::place::{PlaceError, placeable, unused};
use crate::scatter::{by_picture, picture};
use crate::session::{Session, SessionError};

/// A mark to make or to change.
#[derive(Clone, Debug, Default)]
pub struct WearRequest {
    /// The job file.
    pub job: PathBuf,
    /// The mark to change; a new one without.
    pub change: Option<String>,
    /// Name of a new mark; none: that of its kind.
    pub id: Option<String>,
    /// A grey picture that says where there is more; none: as it was.
    pub picture: Option<PathBuf>,
}

/// Why no mark was made or laid; the job is as it was.
#[derive(Debug, thiserror::Error)]
pub enum WearFailed {
    /// The job file.
    #[error(transparent)]
    Job(#[from] JobError),
    /// The garment.
    #[error(transparent)]
    Session(#[from] SessionError),
    /// The job cannot name the picture.
    #[error(transparent)]
    Place(#[from] PlaceError),
    /// The picture.
    #[error(transparent)]
    Picture(#[from] PictureError),
    /// The mark itself.
    #[error("{0}: {1}")]
    Wear(WearError, PathBuf),
    /// Nothing of that name.
    #[error("there is no wear '{id}' in {job}")]
    NoSuchWear {
        /// The id asked for.
        id: String,
        /// The job file.
        job: PathBuf,
    },
    /// The name is in use.
    #[error("there is wear '{id}' already in {job}")]
    Taken {
        /// The id asked for.
        id: String,
        /// The job file.
        job: PathBuf,
    },
}

impl Explain for WearFailed {
    fn next(&self) -> String {
        match self {
            Self::Job(error) => error.next(),
            Self::Session(error) => error.next(),
            Self::Place(error) => error.next(),
            Self::Picture(error) => error.next(),
            Self::Wear(error, _) => error.next(),
            Self::NoSuchWear { .. } => "Use `tatter wear JOB --list` to see the wear of the job".to_owned(),
            Self::Taken { .. } => "Give another --id, or change that one with --change".to_owned(),
        }
    }

    fn class(&self) -> Class {
        match self {
            Self::Job(error) => error.class(),
            Self::Session(error) => error.class(),
            Self::Place(error) => error.class(),
            Self::Picture(error) => error.class(),
            Self::Wear(error, _) => error.class(),
            Self::NoSuchWear { .. } | Self::Taken { .. } => Class::Request,
        }
    }
}

/// Add a mark to the job, or change one, and return it. It is tried on the garment first, so that a job never holds wear that
/// lies nowhere.
///
/// # Errors
/// When the job, its garment or the picture cannot be read, the mark lies nowhere, or the job cannot be written.
pub fn wear_job(request: &WearRequest, edit: impl FnOnce(&mut Wear), task: &Task) -> Result<Wear, WearFailed> {
    let mut job = read_job(&request.job)?;
    let folder = request.job.parent().unwrap_or(Path::new(""));
    let mut mark = match &request.change {
        Some(id) => find(&job, id, &request.job)?.clone(),
        None => Wear::default(),
    };
    if let Some(path) = &request.picture {
        by_picture(&mut mark.density, folder, path)?;
    }
    edit(&mut mark);
    if request.change.is_none() {
        mark.id = match &request.id {
            Some(id) if job.wear.iter().any(|known| known.id == *id) => {
                return Err(WearFailed::Taken { id: id.clone(), job: request.job.clone() });
            }
            Some(id) => id.clone(),
            None => free_id(&job, mark.kind),
        };
    }
    let garment = task.stage("mesh", || placeable(&job, &request.job))?;
    let pictures = pictures(&mark, folder)?;
    check_wear(&garment, &WearInput { wear: &mark, pictures: &pictures })
        .map_err(|error| WearFailed::Wear(error, request.job.clone()))?;
    put(&mut job, mark.clone());
    write_job(&request.job, &job)?;
    Ok(mark)
}

/// Take a mark away.
///
/// # Errors
/// When there is no such mark, or the job cannot be read or written.
pub fn remove_wear(job_path: &Path, id: &str) -> Result<(), WearFailed> {
    let mut job = read_job(job_path)?;
    remove_in(&mut job, id, job_path)?;
    write_job(job_path, &job)?;
    Ok(())
}

/// As [`remove_wear`], of a job in memory.
pub(crate) fn remove_in(job: &mut Job, id: &str, path: &Path) -> Result<(), WearFailed> {
    find(job, id, path)?;
    job.wear.retain(|mark| mark.id != id);
    job.forget_missing();
    Ok(())
}

/// Put a mark into a job: in the place of the one of its name, or as the last; whether there was one.
pub(crate) fn put(job: &mut Job, mark: Wear) -> bool {
    match job.wear.iter_mut().find(|known| known.id == mark.id) {
        Some(known) => {
            *known = mark;
            true
        }
        None => {
            job.wear.push(mark);
            false
        }
    }
}

/// A mark to begin with: rubbed hems, soiled hollows, faded all over; where a crease lies must be told.
pub fn proposed(job: &Job, kind: WearKind) -> Wear {
    let density = match kind {
        // A finger's breadth of a hem, and folds as round as a sleeve's.
        WearKind::Abrasion => vec![Density::Edges(Mm(9.0))],
        WearKind::Grime => vec![Density::Hollows(Mm(40.0))],
        WearKind::Fade | WearKind::Crease => Vec::new(),
    };
    Wear { id: free_id(job, kind), kind, density, ..Wear::default() }
}

/// The wear of a job, in order.
///
/// # Errors
/// When the job cannot be read.
pub fn all_wear(job_path: &Path) -> Result<Vec<Wear>, WearFailed> {
    Ok(read_job(job_path)?.wear)
}

fn find<'a>(job: &'a Job, id: &str, path: &Path) -> Result<&'a Wear, WearFailed> {
    let missing = || WearFailed::NoSuchWear { id: id.to_owned(), job: path.to_owned() };
    job.wear.iter().find(|mark| mark.id == id).ok_or_else(missing)
}

fn free_id(job: &Job, kind: WearKind) -> String {
    unused(kind.name(), |id| job.wear.iter().any(|mark| mark.id == id))
}

fn pictures(mark: &Wear, folder: &Path) -> Result<Vec<Option<Image<Unit>>>, PictureError> {
    mark.density.iter().map(|density| picture(density, folder)).collect()
}

/// Wear pristine pictures as a job says, which may be a variation of the session's.
pub(crate) fn apply(
    session: &Session,
    job: &Job,
    pictures: &mut [Vec<Stored>],
    path: &Path,
    task: &Task,
) -> Result<WearReport, WearFailed> {
    let read = all_pictures(job, path)?;
    let marks = inputs(job, &read);
    wear(&session.garment, pictures, &marks, &BuildSettings::default(), task)
        .map_err(|error| WearFailed::Wear(error, path.to_owned()))
}

/// As [`apply`] of the session's own job, on the garment's surface that was made before.
pub(crate) fn apply_on(
    (ground, surface): (&WearGround, &Surface),
    session: &Session,
    pictures: &mut [Vec<Stored>],
    path: &Path,
    task: &Task,
) -> Result<WearReport, WearFailed> {
    let read = all_pictures(&session.job, path)?;
    let marks = inputs(&session.job, &read);
    ground.wear(surface, &session.garment, pictures, &marks, task).map_err(|error| WearFailed::Wear(error, path.to_owned()))
}

/// Where a mark of a job shows most, the most worn first.
pub(crate) fn worn_most(session: &Session, path: &Path, id: &str, most: usize, apart_mm: f64) -> Result<Vec<Spot>, WearFailed> {
    let wear = find(&session.job, id, path)?;
    let pictures = pictures(wear, session.folder())?;
    tatter_garment::build::worn_most(&session.garment, &WearInput { wear, pictures: &pictures }, most, apart_mm)
        .map_err(|error| WearFailed::Wear(error, path.to_owned()))
}

/// Everything wrong with the wear of a job.
pub(crate) fn faults(session: &Session, path: &Path) -> Result<Vec<Fault>, PictureError> {
    let read = all_pictures(&session.job, path)?;
    Ok(check_marks(&session.garment, &inputs(&session.job, &read)))
}

type Pictures = Vec<Option<Image<Unit>>>;

fn all_pictures(job: &Job, path: &Path) -> Result<Vec<Pictures>, PictureError> {
    let folder = path.parent().unwrap_or(Path::new(""));
    job.wear.iter().map(|mark| pictures(mark, folder)).collect()
}

fn inputs<'a>(job: &'a Job, read: &'a [Pictures]) -> Vec<WearInput<'a>> {
    job.wear.iter().zip(read).map(|(wear, pictures)| WearInput { wear, pictures }).collect()
}
