//! `check`: faults in patches, textures and jobs.

use std::path::{Path, PathBuf};

use tatter_core::channel::Channel;
use tatter_core::explain::{Class, Explain};
use tatter_core::image::Stored;
use tatter_core::model::{Origin, ScaleSource};
use tatter_core::task::Task;
use tatter_files::job::read_job;
use tatter_files::limits::Limits;
use tatter_files::patch::{PatchError, read_patch};
use tatter_files::picture::PictureError;
pub use tatter_garment::build::RimDifference;
use tatter_garment::build::{BuildError, BuildReport, build_and_compare};
pub use tatter_garment::check::Fault;
use tatter_garment::check::Severity;
use tatter_garment::check::{check_job, check_map_set, check_patch, check_rim, check_variations};

use crate::garment::{GarmentError, GarmentRequest, describe};
use crate::session::{Session, SessionError};

/// Why a thing could not be checked at all.
#[derive(Debug, thiserror::Error)]
pub enum CheckError {
    /// A patch that cannot be read.
    #[error(transparent)]
    Patch(#[from] PatchError),
    /// A job that cannot be opened.
    #[error(transparent)]
    Session(#[from] SessionError),
    /// A mesh or texture folder that cannot be read.
    #[error(transparent)]
    Garment(#[from] GarmentError),
    /// A texture that cannot be read.
    #[error(transparent)]
    Picture(#[from] PictureError),
    /// The wear of the cloth.
    #[error(transparent)]
    Wear(#[from] crate::wear::WearFailed),
    /// The placements.
    #[error(transparent)]
    Build(#[from] BuildError),
}

impl Explain for CheckError {
    fn next(&self) -> String {
        match self {
            Self::Patch(error) => error.next(),
            Self::Session(error) => error.next(),
            Self::Garment(error) => error.next(),
            Self::Picture(error) => error.next(),
            Self::Wear(error) => error.next(),
            Self::Build(error) => error.next(),
        }
    }

    fn class(&self) -> Class {
        match self {
            Self::Patch(error) => error.class(),
            Self::Session(error) => error.class(),
            Self::Garment(error) => error.class(),
            Self::Picture(error) => error.class(),
            Self::Wear(error) => error.class(),
            Self::Build(error) => error.class(),
        }
    }
}

/// The faults of one thing.
#[derive(Clone, Debug)]
pub struct Checked {
    /// The patch folder, texture folder, mesh or job file.
    pub thing: PathBuf,
    /// Its faults; empty when it is sound.
    pub faults: Vec<Fault>,
    /// Of a job: each placement whose rim could be compared with the cloth around it, by id.
    pub rims: Vec<(String, RimDifference)>,
    /// Of a patch: whether each map was measured, derived or estimated.
    pub origins: Vec<(Channel, Origin)>,
    /// Of a patch: where its scale came from, and its standard deviation as a share of it where that is known.
    pub scale: Option<(ScaleSource, Option<f32>)>,
    /// Of a patch: how its colours were corrected, one line.
    pub color: Option<String>,
}

/// Check patches, job files, meshes and texture folders.
///
/// # Errors
/// When a thing cannot be read at all; a job whose files are missing has faults.
pub fn check(things: &[PathBuf], task: &Task) -> Result<Vec<Checked>, CheckError> {
    things.iter().map(|thing| checked(thing, task)).collect()
}

fn checked(thing: &Path, task: &Task) -> Result<Checked, CheckError> {
    let mut checked =
        Checked { thing: thing.to_owned(), faults: Vec::new(), rims: Vec::new(), origins: Vec::new(), scale: None, color: None };
    let name = thing.file_name().map(|name| name.to_string_lossy().into_owned()).unwrap_or_default();
    if name.ends_with(".patch") {
        let patch = read_patch(thing, &Limits::default())?;
        checked.faults = check_patch(&patch);
        let told = patch.provenance.iter().find(|(key, _)| key == crate::color::KEY);
        checked.color = told.map(|(_, text)| text.clone());
        checked.scale = Some((patch.scale_source, patch.scale_uncertainty));
        checked.origins = patch.maps.iter().filter_map(|(channel, map)| Some((channel, map.as_ref()?.origin))).collect();
    } else if name.ends_with(".toml") {
        let opened = Session::look(thing, task).and_then(|mut session| Ok((session.load(task)?, session)));
        let (mut pictures, session) = match opened {
            Ok(opened) => opened,
            Err(error) => {
                checked.faults = gone(thing);
                return if checked.faults.is_empty() { Err(error.into()) } else { Ok(checked) };
            }
        };
        let found = look_over(&session, thing, &mut pictures, task)?;
        (checked.faults, checked.rims) = (found.faults, found.rims);
    } else {
        checked.faults = texture_faults(thing, task)?;
    }
    Ok(checked)
}

/// Files that a job names and that are not there, all of them; none of a job that cannot be read.
fn gone(job_path: &Path) -> Vec<Fault> {
    let Ok(job) = read_job(job_path) else { return Vec::new() };
    let folder = job_path.parent().unwrap_or(Path::new(""));
    let textures = job.garment.sets.iter().flat_map(|set| &set.files).map(|file| (file.path.as_str(), "this texture"));
    let patches = job.patches.iter().map(|patch| (patch.path.as_str(), "this patch"));
    let named = job.garment.mesh.iter().map(|mesh| (mesh.as_str(), "the mesh")).chain(textures).chain(patches);
    let missing = named.filter(|(path, _)| !folder.join(path).exists());
    let fault = |(path, what): (&str, &str)| Fault {
        code: "file-missing",
        place: path.to_owned(),
        what: format!("{what} is not there"),
        remedy: "put it back, or correct its path in the job; paths count from the job's own folder".to_owned(),
        severity: Severity::Error,
    };
    missing.map(fault).collect()
}

fn texture_faults(thing: &Path, task: &Task) -> Result<Vec<Fault>, CheckError> {
    let report = describe(&GarmentRequest { source: thing.to_owned(), ..GarmentRequest::default() }, task)?;
    let folder = if thing.is_dir() { thing } else { thing.parent().unwrap_or(Path::new("")) };
    let mut faults = Vec::new();
    for set in &report.job.sets {
        let pictures = set
            .files
            .iter()
            .map(|file| tatter_files::picture::read_stored(&folder.join(&file.path), &Limits::default()))
            .collect::<Result<Vec<_>, _>>()?;
        faults.extend(check_map_set(set, &pictures));
    }
    Ok(faults)
}

/// What was found out about a job.
pub(crate) struct LookedOver {
    pub(crate) faults: Vec<Fault>,
    /// Each placement whose rim could be compared with the cloth around it, by id.
    pub(crate) rims: Vec<(String, RimDifference)>,
    /// What a build did; `None` where a fault leaves nothing to build.
    pub(crate) report: Option<BuildReport>,
}

/// What is wrong with a job that is open; `pictures` are its textures as they were, and as the job makes them afterwards.
pub(crate) fn look_over(
    session: &Session,
    path: &Path,
    pictures: &mut [Vec<Stored>],
    task: &Task,
) -> Result<LookedOver, CheckError> {
    let mut faults = file_faults(session, pictures);
    faults.extend(check_job(&session.garment, &session.placed()));
    faults.extend(crate::wear::faults(session, path)?);
    faults.extend(check_variations(&session.garment, &session.job.variations));
    // What cannot be built has been told; what can is looked at as it will be.
    if faults.iter().any(|fault| fault.severity == Severity::Error) {
        return Ok(LookedOver { faults, rims: Vec::new(), report: None });
    }
    let (report, rims) = built_rims(session, path, pictures, task)?;
    faults.extend(rims.iter().flat_map(|(id, rim)| check_rim(id, rim)));
    Ok(LookedOver { faults, rims, report: Some(report) })
}

/// What is wrong with a job's patches and textures themselves; `pictures` are the textures as they were.
pub(crate) fn file_faults(session: &Session, pictures: &[Vec<Stored>]) -> Vec<Fault> {
    let of_sets = session.garment.sets.iter().zip(pictures).flat_map(|(set, files)| check_map_set(set, files));
    session.patches.values().flat_map(check_patch).chain(of_sets).collect()
}

fn built_rims(
    session: &Session,
    path: &Path,
    pictures: &mut [Vec<Stored>],
    task: &Task,
) -> Result<(BuildReport, Vec<(String, RimDifference)>), CheckError> {
    let placed = session.placed();
    // Notes of a build are those of the build proper.
    let aside = task.aside();
    crate::wear::apply(session, &session.job, pictures, path, &aside)?;
    let (report, found) = task.stage("build", || build_and_compare(&session.garment, pictures, &placed, &aside))?;
    let rims = placed.iter().zip(found).filter_map(|(placed, rim)| Some((placed.placement.id.clone(), rim?)));
    Ok((report, rims.collect()))
}
