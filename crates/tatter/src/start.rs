//! A new job for a garment. Its file never replaces one that is there.

use std::path::{Path, PathBuf};

use tatter_core::channel::Channel;
use tatter_core::explain::{Class, Explain};
use tatter_core::model::Job;
use tatter_core::task::Task;
use tatter_files::job::{ENDING, JobError, write_job};

use crate::garment::{GarmentError, GarmentReport, GarmentRequest, add_plain_maps, describe, start_job};
use crate::grain::{GrainSummary, measure_new};

pub use tatter_files::mesh::EXTENSIONS as MESH_EXTENSIONS;

/// Why no job was started.
#[derive(Debug, thiserror::Error)]
pub enum StartError {
    /// Starting over would lose its placements.
    #[error("there is a job already: {0}")]
    Exists(PathBuf),
    /// It cannot be written.
    #[error(transparent)]
    Job(#[from] JobError),
    /// The garment cannot be read.
    #[error(transparent)]
    Garment(#[from] GarmentError),
    /// Without textures there is nothing to lay a patch into.
    #[error("no textures were found for the mesh, neither in it nor in its folder: {0}")]
    NoTextures(PathBuf),
}

impl Explain for StartError {
    fn next(&self) -> String {
        match self {
            Self::Exists(_) => "Name another file, or delete this job if its placements are no longer wanted".to_owned(),
            Self::Job(error) => error.next(),
            Self::Garment(error) => error.next(),
            Self::NoTextures(_) => "Put its textures into the mesh's folder, named by what they hold, and begin again".to_owned(),
        }
    }

    fn class(&self) -> Class {
        match self {
            Self::Exists(_) | Self::NoTextures(_) => Class::Request,
            Self::Job(error) => error.class(),
            Self::Garment(error) => error.class(),
        }
    }
}

/// Refuse a file name where a job lies, before anything is made for the new one.
///
/// # Errors
/// When there is a file already.
pub fn refuse_taken(path: &Path) -> Result<(), StartError> {
    if path.exists() { Err(StartError::Exists(path.to_owned())) } else { Ok(()) }
}

/// Write a new job.
///
/// # Errors
/// When there is a file already, or it cannot be written.
pub fn write_new_job(path: &Path, job: &Job) -> Result<(), StartError> {
    refuse_taken(path)?;
    Ok(write_job(path, job)?)
}

/// Begin a job for a garment: plain textures of the channels `added` are made where it has none, the job is written, and the grain of the
/// islands measured where that is quick.
///
/// # Errors
/// When there is a job already, the garment cannot be read, or a file not be written.
pub fn begin(
    mut report: GarmentReport,
    added: &[Channel],
    path: &Path,
    task: &Task,
) -> Result<(GarmentReport, GrainSummary), StartError> {
    refuse_taken(path)?;
    add_plain_maps(&mut report, added, task)?;
    write_new_job(path, &start_job(&report, path))?;
    let grain = measure_new(path, task);
    Ok((report, grain))
}

/// The job file of a mesh when nobody names one: beside it, of its name.
pub fn job_beside(mesh: &Path) -> PathBuf {
    let name = mesh.file_stem().unwrap_or_default().to_string_lossy().into_owned();
    mesh.with_file_name(format!("{name}{ENDING}"))
}

/// Begin a job beside a mesh, with the textures that its materials name, that lie in its folder, or that lie in the mesh file itself: those are
/// taken out into a folder of their own, `NAME-textures`, so that they can be redelivered. Gives the job file.
///
/// # Errors
/// As [`begin`]; and when there are no textures.
pub fn begin_beside(mesh: &Path, task: &Task) -> Result<PathBuf, StartError> {
    let path = job_beside(mesh);
    refuse_taken(&path)?;
    let request = GarmentRequest { source: mesh.to_owned(), ..GarmentRequest::default() };
    // What it notes is of the second reading, when there is one.
    let first = task.aside();
    let mut report = describe(&request, &first)?;
    if report.maps.is_empty() && first.notes().iter().any(|note| note.code == "texture-embedded") {
        let name = mesh.file_stem().unwrap_or_default().to_string_lossy().into_owned();
        let unpack = Some(mesh.with_file_name(format!("{name}-textures")));
        report = describe(&GarmentRequest { unpack, ..request }, task)?;
    }
    if report.maps.is_empty() {
        return Err(StartError::NoTextures(mesh.to_owned()));
    }
    begin(report, &[], &path, task)?;
    Ok(path)
}
