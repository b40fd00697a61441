//! Keeping a job that is edited in memory: reading it, saving it, and a draft of what is not saved yet.

use std::path::{Path, PathBuf};

use tatter_core::explain::{Class, Explain};
use tatter_core::model::Job;
use tatter_files::job::{JobError, forget_draft, job_text, read_draft, read_job, write_draft, write_job};

/// Why a job could not be kept.
#[derive(Debug, thiserror::Error)]
pub enum KeepError {
    /// The job file.
    #[error(transparent)]
    Job(#[from] JobError),
    /// Somebody else wrote the file.
    #[error("the job file was changed by somebody else since it was read: {0}")]
    ChangedOutside(PathBuf),
}

impl Explain for KeepError {
    fn next(&self) -> String {
        match self {
            Self::Job(error) => error.next(),
            Self::ChangedOutside(_) => "Read it anew, or save over it".to_owned(),
        }
    }

    fn class(&self) -> Class {
        match self {
            Self::Job(error) => error.class(),
            Self::ChangedOutside(_) => Class::Request,
        }
    }
}

/// A job file as it was when it was last read or saved.
#[derive(Clone, Debug)]
pub struct Kept {
    path: PathBuf,
    text: String,
}

impl Kept {
    /// Read a job. Gives what a crash left unsaved, too, if it did.
    ///
    /// # Errors
    /// When the job file cannot be read.
    pub fn open(path: &Path) -> Result<(Self, Job, Option<Job>), KeepError> {
        let job = read_job(path)?;
        let draft = read_draft(path)?;
        Ok((Self { path: path.to_owned(), text: job_text(path)? }, job, draft))
    }

    /// The job file.
    pub fn path(&self) -> &Path {
        &self.path
    }

    /// Whether somebody else changed the file, or took it away.
    pub fn changed_outside(&self) -> bool {
        job_text(&self.path).map_or(true, |text| text != self.text)
    }

    /// Write the job into its file, as the command line would, and forget the draft. A file that somebody else changed is left alone
    /// unless `over` says otherwise.
    ///
    /// # Errors
    /// [`KeepError`]; the file is then as it was.
    pub fn save(&mut self, job: &Job, over: Over) -> Result<(), KeepError> {
        if over == Over::Nothing && self.changed_outside() {
            return Err(KeepError::ChangedOutside(self.path.clone()));
        }
        write_job(&self.path, job)?;
        self.text = job_text(&self.path)?;
        Ok(forget_draft(&self.path)?)
    }

    /// Keep what is not saved yet beside the job.
    ///
    /// # Errors
    /// [`KeepError`] when it cannot be written.
    pub fn draft(&self, job: &Job) -> Result<(), KeepError> {
        Ok(write_draft(&self.path, job)?)
    }

    /// Nothing is unsaved any more.
    ///
    /// # Errors
    /// [`KeepError`] when the draft cannot be removed.
    pub fn forget(&self) -> Result<(), KeepError> {
        Ok(forget_draft(&self.path)?)
    }
}

/// What saving may write over.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Over {
    /// Only the file as it was read.
    Nothing,
    /// Also what somebody else wrote since.
    Changes,
}
