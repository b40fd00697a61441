//! A garment's surface in millimetres.

pub mod density;
