//! What can go wrong with a job file.

use std::io;
use std::path::PathBuf;

use tatter_core::explain::{Class, Explain};

use crate::text::TextFault;

/// Why a job could not be read or written.
#[derive(Debug, thiserror::Error)]
pub enum JobError {
    /// No such file.
    #[error("there is no job file: {}", path.display())]
    Missing {
        /// The job file.
        path: PathBuf,
    },
    /// The text is wrong.
    #[error("{fault}: {}", path.display())]
    Text {
        /// The job file.
        path: PathBuf,
        /// What and on which line.
        fault: Box<TextFault>,
    },
    /// The job to be written could not be read back.
    #[error("the job cannot be kept, since {fault}: {}", path.display())]
    Unkeepable {
        /// The job file.
        path: PathBuf,
        /// What reading it would say.
        fault: Box<TextFault>,
    },
    /// The disk refused.
    #[error("{doing} the job failed ({source}): {}", path.display())]
    Disk {
        /// Reading or writing.
        doing: &'static str,
        /// The system's answer.
        source: io::Error,
        /// The job file.
        path: PathBuf,
    },
}

impl Explain for JobError {
    fn next(&self) -> String {
        match self {
            Self::Missing { .. } => "give the path of a job, or start one with `tatter garment`".to_owned(),
            Self::Text { fault, .. } => fault.next(),
            Self::Unkeepable { .. } => "change what was asked for; the job file was left as it was".to_owned(),
            Self::Disk { doing: "reading", .. } => "allow reading the file, then try again".to_owned(),
            Self::Disk { .. } => "make room or allow writing there, then try again".to_owned(),
        }
    }

    fn class(&self) -> Class {
        match self {
            Self::Missing { .. } | Self::Text { .. } | Self::Unkeepable { .. } => Class::Request,
            Self::Disk { .. } => Class::Outside,
        }
    }
}
