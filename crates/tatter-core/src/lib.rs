//! The words of Tatter as types, and the kernels that work on images and meshes.
//!
//! What it is not: it opens no file, no window and no socket, and knows no codec.
//!
//! # Conventions
//! Linear light, `f32`, Rec.709 primaries, D65 white. Lengths in millimetres ([`units::Mm`]), angles in radians
//! ([`angle::Angle`]) counter-clockwise from image right *as seen*. Image origin top-left, `(x, y)`, x right, y down; the
//! centre of the first texel lies at (0.5, 0.5). UV origin as glTF: top-left, v down. Normals in tangent space,
//! +X right, +Y up, unit length. Heights in millimetres above the mid plane of the cloth. Colour is never premultiplied
//! in storage.
//!
//! Start at [`channel::Channel`] and [`rule::Rule`] (the two tables), then [`image::Image`] and [`image::Stored`].
//!
//! ```
//! use tatter_core::image::{Image, Unit};
//! let cover = Image::from_fn(4, 2, |x, _| Unit(if x < 2 { 1.0 } else { 0.0 }));
//! assert_eq!(cover.get(3, 1), Unit(0.0));
//! ```

pub mod angle;
pub mod channel;
pub mod color;
pub mod explain;
pub mod image;
pub mod kernel;
pub mod linear;
pub mod mesh;
pub mod model;
pub mod rng;
pub mod rule;
pub mod stats;
pub mod task;
pub mod units;
