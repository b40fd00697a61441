//! glTF 2.0 and GLB (Khronos Group, "glTF 2.0 Specification", 2021).

mod accessor;
mod json;
mod load;
mod material;
mod scene;
mod write;

use std::path::Path;

use tatter_core::task::Note;

use self::load::Loaded;
use super::finish::{finish, judge_size};
use super::{MeshError, MeshFile, UnitSource};
use crate::limits::Limits;

pub use write::{ImageRef, MaterialToWrite, write_glb, write_gltf};

/// Why a document cannot be used; the path is added by [`read`].
#[derive(Debug)]
enum Fault {
    /// Breaks the rules.
    Damaged(String),
    /// Not understood.
    Unsupported(String),
    /// Too many corners.
    Corners,
    /// Already complete.
    Whole(MeshError),
}

impl Fault {
    fn damaged(what: impl Into<String>) -> Self {
        Self::Damaged(what.into())
    }

    fn at(self, path: &Path) -> MeshError {
        let path = path.to_owned();
        match self {
            Self::Damaged(what) => MeshError::Damaged { what, path },
            Self::Unsupported(what) => MeshError::Unsupported { what, path },
            Self::Corners => MeshError::TooLarge { what: "corners", limit: super::finish::MAX_CORNERS, path },
            Self::Whole(error) => error,
        }
    }
}

/// Reads a document whose first bytes are at hand.
pub(super) fn read(path: &Path, bytes: Vec<u8>, limits: &Limits) -> Result<MeshFile, MeshError> {
    let mut notes: Vec<Note> = Vec::new();
    let loaded = Loaded::new(path, bytes, limits).map_err(|fault| fault.at(path))?;
    let (materials, names) = material::materials(&loaded, &mut notes).map_err(|fault| fault.at(path))?;
    let raw = scene::parts(&loaded, &materials, &names, &mut notes).map_err(|fault| fault.at(path))?;
    let mesh = finish(raw, &mut notes).map_err(|nothing| nothing.at(path))?;
    judge_size(&mesh, 1000.0, &mut notes);
    let mut used: Vec<super::Material> = Vec::new();
    for part in &mesh.parts {
        let material = materials.iter().find(|m| m.name == part.material && !used.contains(m));
        used.extend(material.cloned());
    }
    Ok(MeshFile { mesh, mm_per_unit: 1000.0, unit_source: UnitSource::Stated, materials: used, notes })
}
