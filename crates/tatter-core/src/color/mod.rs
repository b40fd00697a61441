//! Colour: the sRGB curve, CIELAB and CIEDE2000, OKLab; dye in fibre, colours as Gaussians, the manual grade.

mod cdl;
mod difference;
mod dye;
mod gaussian;
mod lab;
mod srgb;

pub use cdl::Cdl;
pub use difference::ciede2000;
pub use dye::{absorption, reflectance};
pub use gaussian::{ColorGaussian, ColorMap};
pub use lab::{Lab, OkLab, linear_of_many, oklab_of_many};
pub use srgb::{codes_of, codes_text, decode_srgb, encode_srgb, srgb_code};
