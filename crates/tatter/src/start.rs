//! A new job file, which never replaces one that is there.

use std::path::{Path, PathBuf};

use tatter_core::explain::{Class, Explain};
use tatter_core::model::Job;
use tatter_files::job::{JobError, write_job};

/// Why no job was started.
#[derive(Debug, thiserror::Error)]
pub enum StartError {
    /// Starting over would lose its placements.
    #[error("there is a job already: {0}")]
    Exists(PathBuf),
    /// It cannot be written.
    #[error(transparent)]
    Job(#[from] JobError),
}

impl Explain for StartError {
    fn next(&self) -> String {
        match self {
            Self::Exists(_) => "Name another file, or delete this job if its placements are no longer wanted".to_owned(),
            Self::Job(error) => error.next(),
        }
    }

    fn class(&self) -> Class {
        match self {
            Self::Exists(_) => Class::Request,
            Self::Job(error) => error.class(),
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
