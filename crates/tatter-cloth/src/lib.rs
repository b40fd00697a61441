//! Makes patches from photos, and measures cloth.
//!
//! What it is not: it reads no file and knows no garment.

pub mod clean;
pub mod cut;
pub mod gaps;
pub mod isolate;
pub mod measure;
pub mod relief;
