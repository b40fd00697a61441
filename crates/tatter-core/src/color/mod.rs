//! Colour: the sRGB curve, CIELAB and CIEDE2000, OKLab.

mod difference;
mod lab;
mod srgb;

pub use difference::ciede2000;
pub use lab::{Lab, OkLab};
pub use srgb::{decode_srgb, encode_srgb};
