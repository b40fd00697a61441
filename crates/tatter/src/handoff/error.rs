//! Why nothing was handed on.

use std::path::PathBuf;

use tatter_core::explain::{Class, Explain};
use tatter_files::handoff::{GiveError, ProfileError};
use tatter_files::mesh::MeshError;
use tatter_files::picture::PictureError;

use crate::build::BuildFailed;
use crate::session::SessionError;

/// Why nothing was handed on.
#[derive(Debug, thiserror::Error)]
pub enum HandoffFailed {
    /// An ending that nothing is written as.
    #[error("a garment is not handed on as .{0}: {1}")]
    Kind(String, PathBuf),
    /// The profile.
    #[error(transparent)]
    Profile(#[from] ProfileError),
    /// glTF has one way for green.
    #[error("glTF reads normal maps with +Y up, so normal Y down can't be handed on in it")]
    NormalDown,
    /// The job or its build.
    #[error(transparent)]
    Build(#[from] BuildFailed),
    /// The mesh as its file has it.
    #[error(transparent)]
    Mesh(#[from] MeshError),
    /// A bare map set.
    #[error("the job has no mesh, which a glTF file needs: {0}")]
    NoMesh(PathBuf),
    /// The place belongs to the garment.
    #[error("{what} of the job lie there, and handing on never writes among them: {folder}")]
    OwnFolder {
        /// What lies there.
        what: &'static str,
        /// The folder.
        folder: PathBuf,
    },
    /// Two textures would have one name.
    #[error("two textures would both be named {0}")]
    SameName(String),
    /// Nothing that the profile asks for.
    #[error("the garment has none of the channels that profile '{0}' hands on")]
    Nothing(String),
    /// A GLB counts its bytes in 32 bits.
    #[error("the file would have {0} bytes, more than the 4 GiB that a GLB can hold")]
    TooLarge(u64),
    /// A texture can't be written in its format.
    #[error("texture {1}: {0}")]
    Encode(PictureError, String),
    /// The files.
    #[error(transparent)]
    Give(#[from] GiveError),
}

impl From<SessionError> for HandoffFailed {
    fn from(error: SessionError) -> Self {
        Self::Build(error.into())
    }
}

impl Explain for HandoffFailed {
    fn next(&self) -> String {
        match self {
            Self::Kind(..) => "Name a file ending in .glb, .gltf or .mtlx, or a folder for maps".to_owned(),
            Self::Profile(error) => error.next(),
            Self::NormalDown => "Leave --normal-y out, or hand on maps into a folder".to_owned(),
            Self::Build(error) => error.next(),
            Self::Mesh(error) => error.next(),
            Self::NoMesh(_) => "Hand on maps into a folder".to_owned(),
            Self::OwnFolder { .. } => "Name another folder with -o".to_owned(),
            Self::SameName(_) => "Put {material} and {udim} into `file` of the profile".to_owned(),
            Self::Nothing(_) => "Choose another profile, or add channels with `tatter garment --add`".to_owned(),
            Self::TooLarge(_) => "Make it smaller with --max-texels, or hand on a .gltf with textures beside it".to_owned(),
            Self::Encode(error, _) => error.next(),
            Self::Give(error) => error.next(),
        }
    }

    fn class(&self) -> Class {
        match self {
            Self::Profile(error) => error.class(),
            Self::Build(error) => error.class(),
            Self::Mesh(error) => error.class(),
            Self::Give(error) => error.class(),
            Self::Encode(error, _) => error.class(),
            Self::Kind(..)
            | Self::NormalDown
            | Self::NoMesh(_)
            | Self::OwnFolder { .. }
            | Self::SameName(_)
            | Self::Nothing(_)
            | Self::TooLarge(_) => Class::Request,
        }
    }
}
