//! What can go wrong between a file and a picture.

use std::io;
use std::path::{Path, PathBuf};

use tatter_core::explain::{Class, Explain};

use super::PictureFormat;

/// Why a picture could not be read or written.
#[derive(Debug, thiserror::Error)]
pub enum PictureError {
    /// The file cannot be opened or read.
    #[error("the picture can't be opened ({source}): {}", path.display())]
    Open {
        /// The file.
        path: PathBuf,
        /// What the system said.
        source: io::Error,
    },
    /// It is a folder.
    #[error("this is a folder, not a picture: {}", path.display())]
    Folder {
        /// The folder.
        path: PathBuf,
    },
    /// It holds no bytes.
    #[error("the file is empty: {}", path.display())]
    Empty {
        /// The file.
        path: PathBuf,
    },
    /// Its bytes are no picture format known here.
    #[error("this is no picture known here: {}", path.display())]
    Unknown {
        /// The file.
        path: PathBuf,
    },
    /// It breaks the rules of its format.
    #[error("the {format} picture is damaged, {what}: {}", path.display())]
    Damaged {
        /// What the file is by its content.
        format: PictureFormat,
        /// What is wrong with it.
        what: String,
        /// The file.
        path: PathBuf,
    },
    /// It asks for more than the limits allow.
    #[error("the picture needs {asked} {what} and {allowed} are allowed: {}", path.display())]
    TooLarge {
        /// Texels, bytes decoded, or bytes of the file.
        what: &'static str,
        /// How many it needs.
        asked: u64,
        /// How many the limits allow.
        allowed: u64,
        /// The file.
        path: PathBuf,
    },
    /// A legal feature of the format that is not read or written here.
    #[error("{what} in {format} is not handled here: {}", path.display())]
    Unsupported {
        /// What the file is by its content.
        format: PictureFormat,
        /// Which feature.
        what: String,
        /// The file.
        path: PathBuf,
    },
    /// The samples do not fit the format asked for.
    #[error("{what} can't be written as {format}")]
    Unwritable {
        /// The format asked for.
        format: PictureFormat,
        /// What does not fit.
        what: String,
    },
}

impl Explain for PictureError {
    fn next(&self) -> String {
        match self {
            Self::Open { source, .. } if source.kind() == io::ErrorKind::NotFound => "Check the name and the folder".into(),
            Self::Open { .. } => "Check that the file may be read and its disk is there".into(),
            Self::Folder { .. } => "Name one picture in it".into(),
            Self::Empty { .. } => "Copy the picture again from the camera or the store it came from".into(),
            Self::Unknown { .. } => format!("Save it as one of {}", PictureFormat::names()),
            Self::Damaged { .. } => "Copy or export the picture again from its source".into(),
            Self::TooLarge { .. } => "Crop the picture to what is needed, or make it smaller".into(),
            Self::Unsupported { .. } => "Save the picture as an 8 or 16-bit PNG or TIFF".into(),
            Self::Unwritable { format: PictureFormat::Jpeg | PictureFormat::WebP | PictureFormat::Tga, .. } => {
                "Deliver this map as PNG, which keeps every untouched texel as it was".into()
            }
            Self::Unwritable { .. } => "Write whole numbers as PNG or TIFF, floats as OpenEXR".into(),
        }
    }

    fn class(&self) -> Class {
        match self {
            Self::Open { source, .. } if source.kind() == io::ErrorKind::NotFound => Class::Input,
            Self::Open { .. } => Class::Outside,
            Self::Folder { .. } | Self::Empty { .. } | Self::Unknown { .. } => Class::Input,
            Self::Damaged { .. } | Self::TooLarge { .. } | Self::Unsupported { .. } => Class::Input,
            Self::Unwritable { .. } => Class::Request,
        }
    }
}

/// What a reader of one format finds; the path and the format are added at the border.
#[derive(Debug)]
pub(super) enum Fault {
    Damaged(String),
    TooLarge { what: &'static str, asked: u64, allowed: u64 },
    Unsupported(String),
}

impl Fault {
    pub(super) fn damaged(what: impl std::fmt::Display) -> Self {
        Self::Damaged(what.to_string())
    }

    pub(super) fn unsupported(what: impl std::fmt::Display) -> Self {
        Self::Unsupported(what.to_string())
    }

    pub(super) fn at(self, path: &Path, format: PictureFormat) -> PictureError {
        let path = path.to_path_buf();
        match self {
            Self::Damaged(what) => PictureError::Damaged { format, what, path },
            Self::TooLarge { what, asked, allowed } => PictureError::TooLarge { what, asked, allowed, path },
            Self::Unsupported(what) => PictureError::Unsupported { format, what, path },
        }
    }

    /// The same where a picture was to be packed.
    pub(super) fn at_write(self, format: PictureFormat) -> PictureError {
        match self {
            Self::Damaged(what) | Self::Unsupported(what) => PictureError::Unwritable { format, what },
            Self::TooLarge { what, asked, allowed } => {
                PictureError::Unwritable { format, what: format!("{asked} {what} where {allowed} are the most") }
            }
        }
    }
}
