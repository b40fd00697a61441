//! What can go wrong when a garment is described.

use std::path::PathBuf;

use tatter_core::channel::Channel;
use tatter_core::explain::{Class, Explain};
use tatter_core::task::Cancelled;
use tatter_files::mesh::MeshError;

/// What can go wrong when a garment is described.
#[derive(Debug, thiserror::Error)]
pub enum GarmentError {
    /// The mesh.
    #[error(transparent)]
    Mesh(#[from] MeshError),
    /// A folder cannot be listed.
    #[error("cannot list the folder: {reason}: {}", path.display())]
    Folder {
        /// What the system said.
        reason: String,
        /// The folder.
        path: PathBuf,
    },
    /// Neither mesh nor textures.
    #[error("neither a mesh nor textures are in the folder: {}", path.display())]
    Nothing {
        /// The folder.
        path: PathBuf,
    },
    /// Several meshes.
    #[error("the folder holds several meshes ({}): {}", names.join(", "), path.display())]
    SeveralMeshes {
        /// Their file names.
        names: Vec<String>,
        /// The folder.
        path: PathBuf,
    },
    /// A scale that is no size.
    #[error("{option} must be a number above zero, not {value}")]
    Scale {
        /// The option.
        option: &'static str,
        /// What was given.
        value: f32,
    },
    /// Textures cannot be unpacked.
    #[error("cannot unpack the textures inside the mesh: {reason}: {}", path.display())]
    Unpack {
        /// What the system said.
        reason: String,
        /// The folder.
        path: PathBuf,
    },
    /// A plain texture would replace one that is there.
    #[error("the texture to add is there already: {}", path.display())]
    Exists {
        /// The file.
        path: PathBuf,
    },
    /// No texture of this channel says nothing.
    #[error("no plain {channel} texture can be added: only the cloth itself knows its {channel}")]
    NotPlain {
        /// Which one.
        channel: Channel,
    },
    /// A plain texture cannot be written.
    #[error("cannot add the texture: {reason}: {}", path.display())]
    Add {
        /// What the system said.
        reason: String,
        /// The file.
        path: PathBuf,
    },
    /// Stopped by the person.
    #[error(transparent)]
    Cancelled(#[from] Cancelled),
}

impl Explain for GarmentError {
    fn next(&self) -> String {
        match self {
            Self::Mesh(error) => error.next(),
            Self::Folder { .. } => "Check that the folder is there and may be read".into(),
            Self::Nothing { .. } => "Give the mesh file itself, or the folder of the textures".into(),
            Self::SeveralMeshes { .. } => "Give the mesh file itself".into(),
            Self::Scale { option, .. } => format!("Give {option} in millimetres, such as {option} 1000"),
            Self::Unpack { .. } => "Choose an empty folder that may be written".into(),
            Self::Exists { .. } => "Leave it out of --add and name it in the job, or move the file away".into(),
            Self::NotPlain { .. } => "Add height, normal, metallic, occlusion or opacity".into(),
            Self::Add { .. } => "Check free space and permissions of the textures' folder".into(),
            Self::Cancelled(_) => "Start it again when you are ready".into(),
        }
    }

    fn class(&self) -> Class {
        match self {
            Self::Mesh(error) => error.class(),
            Self::Folder { .. } | Self::Nothing { .. } => Class::Input,
            Self::Exists { .. } | Self::NotPlain { .. } => Class::Request,
            Self::Add { .. } => Class::Outside,
            Self::SeveralMeshes { .. } | Self::Scale { .. } | Self::Cancelled(_) => Class::Request,
            Self::Unpack { .. } => Class::Outside,
        }
    }
}
