//! Handing on a finished garment: profiles that say how, MaterialX documents, and writing files that may be replaced.
//!
//! glTF is written by [`crate::mesh::write_glb`] and [`crate::mesh::write_gltf`].

mod error;
mod give;
mod mtlx;
mod profile;

pub use error::{GiveError, ProfileError};
pub use give::{Given, give};
pub use mtlx::{MtlxImage, MtlxMaterial, write_mtlx};
pub use profile::{BUILT_IN, find_profile, parse_profile};

/// The format this Tatter reads profiles up to.
pub const FORMAT: i64 = 1;
