//! Why the grain of a job stays as it was.

use std::path::PathBuf;

use tatter_core::explain::{Class, Explain};
use tatter_core::task::Cancelled;
use tatter_files::job::JobError;
use tatter_garment::surface::LocateError;

use crate::session::SessionError;

/// Why the grain was not changed; the job is as it was.
#[derive(Debug, thiserror::Error)]
pub enum GrainError {
    /// The job file.
    #[error(transparent)]
    Job(#[from] JobError),
    /// The garment.
    #[error(transparent)]
    Session(#[from] SessionError),
    /// No cloth lies there.
    #[error("{0}: {1}")]
    Spot(LocateError, PathBuf),
    /// An arrow from one island into another.
    #[error("the arrow from u {}, v {} to u {}, v {} leaves its island: {job}", .from[0], .from[1], .to[0], .to[1])]
    Leaves {
        /// Where it begins.
        from: [f32; 2],
        /// Where it ends.
        to: [f32; 2],
        /// The job file.
        job: PathBuf,
    },
    /// An arrow without length.
    #[error("the arrow at u {}, v {} has no length: {job}", .at[0], .at[1])]
    Point {
        /// Where it is.
        at: [f32; 2],
        /// The job file.
        job: PathBuf,
    },
    /// Nothing to forget.
    #[error("no grain is known of the island at u {}, v {}: {job}", .at[0], .at[1])]
    NothingKnown {
        /// The place asked for.
        at: [f32; 2],
        /// The job file.
        job: PathBuf,
    },
    /// Stopped by the person.
    #[error(transparent)]
    Cancelled(#[from] Cancelled),
}

impl Explain for GrainError {
    fn next(&self) -> String {
        match self {
            Self::Job(error) => error.next(),
            Self::Session(error) => error.next(),
            Self::Spot(error, _) => error.next(),
            Self::Leaves { .. } => "draw it between two places of one island".to_owned(),
            Self::Point { .. } => "give two places, the first where the warp comes from, the second where it goes".to_owned(),
            Self::NothingKnown { .. } => "use `tatter grain JOB --list` to see what is known".to_owned(),
            Self::Cancelled(_) => "start again when ready".to_owned(),
        }
    }

    fn class(&self) -> Class {
        match self {
            Self::Job(error) => error.class(),
            Self::Session(error) => error.class(),
            Self::Spot(error, _) => error.class(),
            Self::Leaves { .. } | Self::Point { .. } | Self::NothingKnown { .. } | Self::Cancelled(_) => Class::Request,
        }
    }
}
