//! cut
pub mod canvas;
