//! Uses patches: finds where they lie on the surface, lays them into the maps, checks the result.
//!
//! What it is not: it reads no file and makes no patch.

pub mod build;
pub mod check;
mod field;
pub mod hand_on;
mod matching;
pub mod place;
pub mod recognise;
pub mod scatter;
pub mod surface;
pub mod view;
