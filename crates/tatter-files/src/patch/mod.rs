//! The patch folder `NAME.patch/`: `patch.toml`, one picture a map, and pictures for people.
//!
//! Maps are ordinary PNG files any image program opens: base colour in 8-bit sRGB, height and normal in 16 bits, the rest
//! in 8 bits, data maps without colour tags. `patch.toml` says what they mean; its keys are those of [`KEYS`].

mod error;
mod read;
mod write;

pub use error::PatchError;
pub use read::{edited_maps, patches_in, read_description, read_patch};
pub use write::{PatchWritten, WrittenMap, write_patch};

use tatter_core::channel::{Channel, Kind};
use tatter_core::image::{Coding, Depth, HeightRange, Transfer};

/// The format this Tatter writes, and the newest it reads.
pub const FORMAT: i64 = 1;

/// Name of the text file in a patch folder.
pub const PATCH_TOML: &str = "patch.toml";

/// The keys of `patch.toml`, in the order they are written.
pub const KEYS: [&str; 17] = [
    "format",
    "name",
    "subject",
    "texels",
    "size_mm",
    "mm_per_texel",
    "scale_source",
    "scale_uncertainty_percent",
    "grain_deg",
    "ends_per_cm",
    "picks_per_cm",
    "weave",
    "height_range_mm",
    "cloth_color",
    "photo_from_patch",
    "map",
    "provenance",
];

/// The keys of `[map.CHANNEL]`.
pub const MAP_KEYS: [&str; 4] = ["file", "kind", "how", "blake3"];

/// How a channel lies in a patch's file.
fn coding(channel: Channel, height_range: HeightRange) -> Coding {
    let transfer = if channel.info().kind == Kind::Color { Transfer::Srgb } else { Transfer::Linear };
    Coding { transfer, height_range, ..Coding::default() }
}

/// Bits of a channel's file: 16 where 8 would show as steps in relief (256 levels over a millimetre are 4 µm apart, as
/// much as the crimp of fine cloth), else 8.
const fn depth(channel: Channel) -> Depth {
    match channel.info().kind {
        Kind::Height | Kind::Normal => Depth::Sixteen,
        Kind::Color | Kind::Unit => Depth::Eight,
    }
}

#[cfg(test)]
mod tests;
