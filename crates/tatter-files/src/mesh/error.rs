//! What can go wrong with a mesh file.

use std::path::PathBuf;

use tatter_core::explain::{Class, Explain};

/// What can go wrong when a mesh is read.
#[derive(Debug, thiserror::Error)]
pub enum MeshError {
    /// The file, or one it needs, cannot be opened.
    #[error("cannot read the mesh file: {reason}: {}", path.display())]
    Unreadable {
        /// What the system said.
        reason: String,
        /// The file.
        path: PathBuf,
    },
    /// A file with the mesh's data is missing.
    #[error("the mesh needs the file \"{file}\", which cannot be read ({reason}): {}", path.display())]
    MissingData {
        /// As the mesh names it.
        file: String,
        /// What the system said.
        reason: String,
        /// The mesh file.
        path: PathBuf,
    },
    /// Not a format that is read.
    #[error("not a mesh file that can be read: {}", path.display())]
    UnknownFormat {
        /// The file.
        path: PathBuf,
    },
    /// Larger than allowed.
    #[error("the mesh has more {what} than the limit of {limit}: {}", path.display())]
    TooLarge {
        /// Bytes, corners, …
        what: &'static str,
        /// The most allowed.
        limit: u64,
        /// The file.
        path: PathBuf,
    },
    /// The content breaks its format's rules.
    #[error("the mesh file is damaged: {what}: {}", path.display())]
    Damaged {
        /// What is wrong, and where in the file.
        what: String,
        /// The file.
        path: PathBuf,
    },
    /// Legal, but needs something that is not understood.
    #[error("the mesh uses {what}, which is not understood: {}", path.display())]
    Unsupported {
        /// What it uses.
        what: String,
        /// The file.
        path: PathBuf,
    },
    /// Nothing to lay patches on.
    #[error("the mesh has no triangles: {}", path.display())]
    NoTriangles {
        /// The file.
        path: PathBuf,
    },
    /// No part has texture coordinates.
    #[error("part \"{part}\" has no texture coordinates, and no other part has: {}", path.display())]
    NoUvs {
        /// The first such part.
        part: String,
        /// The file.
        path: PathBuf,
    },
}

impl Explain for MeshError {
    fn next(&self) -> String {
        match self {
            Self::Unreadable { .. } => "Check that the file is there and may be read".into(),
            Self::MissingData { .. } => {
                "Put the missing file where the mesh expects it, or export the mesh as one GLB file".into()
            }
            Self::UnknownFormat { .. } => "Give a .gltf, .glb, .obj or .fbx file".into(),
            Self::TooLarge { .. } => "Export the garment alone, without the rest of its scene".into(),
            Self::Damaged { .. } => {
                "Export the mesh again, best as .glb; a glTF file can be examined with a glTF validator".into()
            }
            Self::Unsupported { .. } => "Export the mesh again without it".into(),
            Self::NoTriangles { .. } => "Export the garment as a surface of polygons".into(),
            Self::NoUvs { .. } => "Unwrap the garment's texture coordinates and export it with them".into(),
        }
    }

    fn class(&self) -> Class {
        Class::Input
    }
}
