//! What can go wrong with profiles and handed-on files.

use std::io;
use std::path::PathBuf;

use tatter_core::explain::{Class, Explain};

use super::BUILT_IN;
use crate::text::{TextFault, nearest};

/// Why a profile cannot be used.
#[derive(Debug, thiserror::Error)]
pub enum ProfileError {
    /// Neither a name of ours nor a file.
    #[error("there is no profile '{name}', neither built in nor as a file")]
    Unknown {
        /// As asked for.
        name: String,
    },
    /// The text is wrong.
    #[error("{fault}: {}", path.display())]
    Text {
        /// The profile.
        path: PathBuf,
        /// What and on which line.
        fault: Box<TextFault>,
    },
    /// The disk refused.
    #[error("the profile can't be read ({source}): {}", path.display())]
    Disk {
        /// The system's answer.
        source: io::Error,
        /// The profile.
        path: PathBuf,
    },
}

impl Explain for ProfileError {
    fn next(&self) -> String {
        match self {
            Self::Unknown { name } => {
                let names: Vec<&str> = BUILT_IN.iter().map(|(name, _)| *name).collect();
                format!(
                    "Write `{}`, another of {}, or the path of a profile ending in .toml",
                    nearest(name, &names),
                    names.join(", ")
                )
            }
            Self::Text { fault, .. } => fault.next(),
            Self::Disk { .. } => "Allow reading the file, then try again".to_owned(),
        }
    }

    fn class(&self) -> Class {
        match self {
            Self::Unknown { .. } | Self::Text { .. } => Class::Request,
            Self::Disk { .. } => Class::Input,
        }
    }
}

/// Why nothing was handed on.
#[derive(Debug, thiserror::Error)]
pub enum GiveError {
    /// A file is there that Tatter did not write, or that was changed since.
    #[error("{count} file(s) would be overwritten that were not handed on from this job, or were changed since: {}", path.display())]
    Foreign {
        /// How many.
        count: usize,
        /// The first.
        path: PathBuf,
    },
    /// The disk refused.
    #[error("a file to hand on can't be written ({source}): {}", path.display())]
    Disk {
        /// The system's answer.
        source: io::Error,
        /// The file.
        path: PathBuf,
    },
}

impl Explain for GiveError {
    fn next(&self) -> String {
        match self {
            Self::Foreign { .. } => "Name another place with -o, or add --replace to overwrite what is there".to_owned(),
            Self::Disk { .. } => "Check free space and permissions, or name another place with -o".to_owned(),
        }
    }

    fn class(&self) -> Class {
        match self {
            Self::Foreign { .. } => Class::Request,
            Self::Disk { .. } => Class::Outside,
        }
    }
}
