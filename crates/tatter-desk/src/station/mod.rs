//! The stations, one a file.

pub(crate) mod delivery;
pub(crate) mod garment;
pub(crate) mod loom;
pub(crate) mod patch;
pub(crate) mod photo;
pub(crate) mod start;
