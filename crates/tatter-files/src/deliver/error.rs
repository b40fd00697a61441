//! What can stop a delivery.

use std::io;
use std::path::PathBuf;

use tatter_core::explain::{Class, Explain};

use crate::store::StoreError;

/// Why a delivery did not happen. Unless it says otherwise, every target is as it was.
#[derive(Debug, thiserror::Error)]
pub enum DeliverError {
    /// The store could not do its part.
    #[error(transparent)]
    Store(#[from] StoreError),
    /// Somebody else changed targets since Tatter last saw them.
    #[error("somebody else changed {}", targets.join(", "))]
    Changed {
        /// Relative to the job file.
        targets: Vec<String>,
    },
    /// Somebody else changed targets after the delivery that is to be undone.
    #[error("since the delivery somebody else changed {}", targets.join(", "))]
    ChangedSince {
        /// Relative to the job file.
        targets: Vec<String>,
    },
    /// A target was changed while the delivery was being prepared.
    #[error("somebody is changing the file right now: {}", path.display())]
    ChangedMeanwhile {
        /// The target.
        path: PathBuf,
    },
    /// A file that was taken to be what was last written is not.
    #[error("a file is not what was last written there")]
    NotAsAssumed,
    /// Two targets lead to the same file.
    #[error("two maps of the job lead to one file: {}", path.display())]
    Twice {
        /// The file.
        path: PathBuf,
    },
    /// A target is a folder or a device.
    #[error("this is not a file that can be replaced: {}", path.display())]
    NotAFile {
        /// The target.
        path: PathBuf,
    },
    /// A target is marked read-only, which says that it must not be changed.
    #[error("the file is read-only: {}", path.display())]
    ReadOnly {
        /// The target.
        path: PathBuf,
    },
    /// Another delivery of the job is under way.
    #[error("another delivery of this job is under way: {}", folder.display())]
    Busy {
        /// The store.
        folder: PathBuf,
    },
    /// No delivery is left to undo.
    #[error("nothing was delivered that could be undone: {}", folder.display())]
    NothingToUndo {
        /// The store.
        folder: PathBuf,
    },
    /// The person stopped it.
    #[error("the delivery was stopped before anything was replaced")]
    Cancelled,
    /// The disk refused.
    #[error("{doing} failed, no file was changed ({source}): {}", path.display())]
    Disk {
        /// What was being done.
        doing: &'static str,
        /// The system's answer.
        source: io::Error,
        /// To what.
        path: PathBuf,
    },
    /// The disk refused half way, and also refused the way back.
    #[error("the delivery was cut off half way ({source}): {}", path.display())]
    CutOff {
        /// The system's answer.
        source: io::Error,
        /// At which file.
        path: PathBuf,
    },
}

impl Explain for DeliverError {
    fn next(&self) -> String {
        match self {
            Self::Store(error) => error.next(),
            Self::Changed { .. } => {
                "repeat with --adopt to take the files as they are for the new pristine ones, or with --leave to leave them out"
                    .to_owned()
            }
            Self::ChangedSince { .. } => {
                "repeat with --leave to undo only the other files, or move the changed files away".to_owned()
            }
            Self::ChangedMeanwhile { .. } => "finish saving it in the other program, then deliver again".to_owned(),
            Self::NotAsAssumed => "deliver again".to_owned(),
            Self::Twice { .. } => "correct the paths in the job file".to_owned(),
            Self::NotAFile { .. } => "move it away, or correct the path in the job file".to_owned(),
            Self::ReadOnly { .. } => "check it out or make it writable, then deliver again".to_owned(),
            Self::Busy { .. } => "wait until the other run has ended".to_owned(),
            Self::NothingToUndo { .. } => "deliver first".to_owned(),
            Self::Cancelled => "deliver again when ready".to_owned(),
            Self::Disk { .. } => "make room or allow writing there, then try again".to_owned(),
            Self::CutOff { .. } => "make room or allow writing there, then deliver again: it will first be completed".to_owned(),
        }
    }

    fn class(&self) -> Class {
        match self {
            Self::Store(error) => error.class(),
            Self::Changed { .. }
            | Self::ChangedSince { .. }
            | Self::Twice { .. }
            | Self::NotAFile { .. }
            | Self::NothingToUndo { .. }
            | Self::Cancelled => Class::Request,
            Self::ChangedMeanwhile { .. }
            | Self::NotAsAssumed
            | Self::ReadOnly { .. }
            | Self::Busy { .. }
            | Self::Disk { .. }
            | Self::CutOff { .. } => Class::Outside,
        }
    }
}
