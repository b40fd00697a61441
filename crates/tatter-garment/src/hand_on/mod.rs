//! A finished garment as others want it: textures packed and sized otherwise, parts that each show one set of textures.

mod opacity;
mod parts;
mod texture;

pub use opacity::{Openness, openness};
pub use parts::{TexturedPart, parts_by_set, udim};
pub use texture::texture;
