//! Everything on disk: pictures, meshes, patches, jobs, the pristine store, delivery.
//!
//! What it is not: it computes no map. All mess of file formats is resolved here into the types of `tatter-core`.

pub mod deliver;
mod disk;
pub mod handoff;
pub mod job;
pub mod lights;
pub mod limits;
pub mod mesh;
pub mod patch;
pub mod picture;
pub mod pieces;
pub mod recent;
pub mod store;
pub mod text;
pub mod told;
pub mod watch;
pub mod write;
