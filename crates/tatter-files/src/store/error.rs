//! What can go wrong with what a job keeps.

use std::io;
use std::path::PathBuf;

use tatter_core::explain::{Class, Explain};

use crate::picture::PictureError;

/// Why the store of a job could not do its part.
#[derive(Debug, thiserror::Error)]
pub enum StoreError {
    /// A map of the garment is not there.
    #[error("the map is not there: {}", path.display())]
    TargetMissing {
        /// The map.
        path: PathBuf,
    },
    /// The pristine state of a map was never kept.
    #[error("it is not known how this map was before Tatter touched it: {target}")]
    Unknown {
        /// The map, relative to the job file.
        target: String,
    },
    /// A kept file was changed or cannot be understood.
    #[error("what the job keeps is damaged, {why}: {}", path.display())]
    Damaged {
        /// How.
        why: String,
        /// The kept file.
        path: PathBuf,
    },
    /// Kept by a newer Tatter.
    #[error("what the job keeps was written by a newer Tatter: {}", path.display())]
    Newer {
        /// The books.
        path: PathBuf,
    },
    /// The disk refused.
    #[error("{doing} failed ({source}): {}", path.display())]
    Disk {
        /// What was being done.
        doing: &'static str,
        /// The system's answer.
        source: io::Error,
        /// To what.
        path: PathBuf,
    },
    /// What was kept is whole, but no picture that can be read.
    #[error(transparent)]
    Picture(#[from] PictureError),
}

impl Explain for StoreError {
    fn next(&self) -> String {
        match self {
            Self::TargetMissing { .. } => "put the file back, or correct its path in the job file".to_owned(),
            Self::Unknown { .. } => "build the job once while the map is as it should be".to_owned(),
            Self::Damaged { .. } => "bring it back from your own backup, or adopt the maps as they are with --adopt".to_owned(),
            Self::Picture(error) => error.next(),
            Self::Newer { .. } => "use a newer Tatter for this job".to_owned(),
            Self::Disk { .. } => "make room or allow reading and writing there, then try again".to_owned(),
        }
    }

    fn class(&self) -> Class {
        match self {
            Self::TargetMissing { .. } | Self::Damaged { .. } | Self::Newer { .. } => Class::Input,
            Self::Picture(error) => error.class(),
            Self::Unknown { .. } => Class::Request,
            Self::Disk { .. } => Class::Outside,
        }
    }
}
