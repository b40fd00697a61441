//! How a finished garment is handed on: which textures, packed how, named how, how large.

use crate::channel::Channel;
use crate::image::{HeightRange, Layout, NormalY};

/// What one component of a handed-on texture holds.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Source {
    /// A channel of the garment; where it has none, the channel's neutral value.
    Channel {
        /// Which.
        channel: Channel,
        /// One minus the value: glossiness from roughness, transparency from opacity.
        inverted: bool,
    },
    /// The same number everywhere, 0..1.
    Value(f32),
}

/// One component, or three from `at` for colour and normals.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Component {
    /// 0 red or grey, 1 green, 2 blue, 3 alpha.
    pub at: usize,
    /// What it holds.
    pub source: Source,
}

/// The file a texture is written to.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum HandoffPicture {
    /// PNG of 8 or 16 bits.
    Png,
    /// JPEG of that quality; for opaque colour only.
    Jpeg(u8),
    /// TIFF of 8 or 16 bits.
    Tiff,
    /// `OpenEXR`, half (16) or float (32); colour is linear in it.
    Exr,
}

impl HandoffPicture {
    /// Ending of its files.
    pub const fn extension(self) -> &'static str {
        match self {
            Self::Png => "png",
            Self::Jpeg(_) => "jpg",
            Self::Tiff => "tif",
            Self::Exr => "exr",
        }
    }

    /// Whether samples are floats, and colour therefore linear.
    pub const fn is_float(self) -> bool {
        matches!(self, Self::Exr)
    }
}

/// One texture of each material and UV tile.
#[derive(Clone, Debug, PartialEq)]
pub struct TextureRecipe {
    /// Its name, which fills `{channel}`.
    pub name: String,
    /// What its components hold, by component.
    pub components: Vec<Component>,
    /// Which components it has.
    pub layout: Layout,
    /// The file.
    pub picture: HandoffPicture,
    /// Bits a sample: 8 or 16; 16 or 32 in `OpenEXR`.
    pub bits: u8,
    /// Longest side in texels; `None`: as the profile says.
    pub max_texels: Option<usize>,
}

impl TextureRecipe {
    /// The channels it holds, in component order.
    pub fn channels(&self) -> impl Iterator<Item = Channel> {
        self.components.iter().filter_map(|component| match component.source {
            Source::Channel { channel, .. } => Some(channel),
            Source::Value(_) => None,
        })
    }

    /// The component a channel begins in.
    pub fn component_of(&self, wanted: Channel) -> Option<&Component> {
        self.components.iter().find(|component| matches!(component.source, Source::Channel { channel, .. } if channel == wanted))
    }
}

/// How a renderer is told to treat opacity.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum AlphaChoice {
    /// Opaque where nothing is see-through, masked where opacity is nearly always all or nothing, else blended.
    #[default]
    Auto,
    /// No opacity.
    Opaque,
    /// All or nothing, at the cutoff.
    Mask,
    /// By degrees.
    Blend,
}

/// The sheen of raised fibres (`KHR_materials_sheen`; fuzz in `OpenPBR`).
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Sheen {
    /// Colour, sRGB codes.
    pub color: [u8; 3],
    /// 0..1, as the extension's `sheenRoughnessFactor`.
    pub roughness: f32,
}

/// How a garment is handed on.
#[derive(Clone, Debug, PartialEq)]
pub struct HandoffProfile {
    /// Its name, for people.
    pub name: String,
    /// Pattern of file names, without ending: `{garment}`, `{material}`, `{channel}`, `{udim}`. What is empty goes with the
    /// sign before it.
    pub file: String,
    /// The textures of each material and tile.
    pub textures: Vec<TextureRecipe>,
    /// Longest side in texels; `None`: as the garment's.
    pub max_texels: Option<usize>,
    /// Which way green points in normal maps.
    pub normal_y: NormalY,
    /// Millimetres at code 0 and full code; `None`: as the garment's own height map.
    pub height_range: Option<HeightRange>,
    /// `{udim}` is filled also where a garment has one tile.
    pub always_udim: bool,
    /// Opacity.
    pub alpha: AlphaChoice,
    /// What is at or above it is cloth, where opacity is masked.
    pub alpha_cutoff: f32,
    /// Fibres that stand out; `None`: none.
    pub sheen: Option<Sheen>,
    /// Let smaller textures be rougher where the normals that they average differ.
    pub rougher_when_smaller: bool,
}

impl HandoffProfile {
    /// The longest side of a texture, of all that bounds it.
    pub fn most_texels(&self, texture: &TextureRecipe) -> Option<usize> {
        self.max_texels.into_iter().chain(texture.max_texels).min()
    }
}
