//! The stations, one a file.

pub(crate) mod delivery;
pub(crate) mod garment;
pub(crate) mod patch;
pub(crate) mod photo;
