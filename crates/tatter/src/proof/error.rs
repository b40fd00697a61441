//! Why there is no proof.

use std::path::PathBuf;

use tatter_core::explain::{Class, Explain};
use tatter_files::picture::PictureError;
use tatter_garment::surface::LocateError;
use tatter_proof::{AdapterError, RenderError};

use crate::build::BuildFailed;
use crate::session::SessionError;
use crate::variation::VariationError;

/// Why there is no proof.
#[derive(Debug, thiserror::Error)]
pub enum ProofError {
    /// The job could not be opened.
    #[error(transparent)]
    Session(#[from] SessionError),
    /// The build.
    #[error(transparent)]
    Build(#[from] BuildFailed),
    /// No such variation.
    #[error(transparent)]
    Variation(#[from] VariationError),
    /// Nothing to draw with.
    #[error(transparent)]
    Adapter(#[from] AdapterError),
    /// Drawing failed.
    #[error(transparent)]
    Render(#[from] RenderError),
    /// A placement lies nowhere.
    #[error("placement '{1}': {0}")]
    Spot(LocateError, String),
    /// No view of that name.
    #[error("there is no view or placement '{name}' in {job}")]
    NoView {
        /// What was asked.
        name: String,
        /// What there is.
        known: String,
        /// The job file.
        job: PathBuf,
    },
    /// No placement to be seen close up.
    #[error("nothing is placed that could be seen close up: {0}")]
    Nothing(PathBuf),
    /// The garment has no triangles.
    #[error("the garment has nothing to draw: {0}")]
    Empty(PathBuf),
    /// Surroundings that cannot be read.
    #[error(transparent)]
    Picture(#[from] PictureError),
    /// Surroundings of the wrong shape.
    #[error("surroundings are a picture twice as wide as high, this one is {0} x {1}: {2}")]
    Surroundings(usize, usize, PathBuf),
    /// A picture too large for the adapter.
    #[error("a picture of {0} x {1} is more than the 16384 to a side that a proof can have")]
    Large(u32, u32),
    /// The output.
    #[error("the proof can't be written ({0}): {1}")]
    Write(std::io::Error, PathBuf),
}

impl Explain for ProofError {
    fn next(&self) -> String {
        match self {
            Self::Session(error) => error.next(),
            Self::Build(error) => error.next(),
            Self::Variation(error) => error.next(),
            Self::Adapter(error) => error.next(),
            Self::Render(error) => error.next(),
            Self::Spot(error, _) => error.next(),
            Self::NoView { known, .. } => format!("Ask for one of: {known}"),
            Self::Nothing(_) => "Place a patch first: tatter place JOB --patch NAME.patch --at U,V".to_owned(),
            Self::Empty(_) => "Give the job a mesh with faces, or textures".to_owned(),
            Self::Picture(error) => error.next(),
            Self::Surroundings(..) => "Give an equirectangular picture, such as 1024 x 512".to_owned(),
            Self::Large(..) => "Ask for a smaller --size".to_owned(),
            Self::Write(..) => "Check free space and permissions, or choose another place with -o".to_owned(),
        }
    }

    fn class(&self) -> Class {
        match self {
            Self::Session(error) => error.class(),
            Self::Build(error) => error.class(),
            Self::Variation(error) => error.class(),
            Self::Adapter(error) => error.class(),
            Self::Render(error) => error.class(),
            Self::Picture(error) => error.class(),
            Self::Spot(..) | Self::NoView { .. } | Self::Nothing(_) | Self::Large(..) => Class::Request,
            Self::Empty(_) | Self::Surroundings(..) => Class::Input,
            Self::Write(..) => Class::Outside,
        }
    }
}
