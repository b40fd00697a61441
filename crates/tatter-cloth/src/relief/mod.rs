//! From a photo of cloth to its relief: height in millimetres, normal, colour without shading, occlusion, roughness.
//!
//! Brightness is not height. Uneven light is taken out, and what remains becomes height and shading through a small net that
//! learned from woven scenes (`net.rs`) where the threads were counted; elsewhere, and for threads finer than it knows, through a
//! gain for each wave, learned from swatches that are woven in memory at the photo's spacing and lit as it was. No thread stands higher than the geometry of cloth allows (Peirce, "The Geometry of
//! Cloth Structure", 1937), since one photo cannot give millimetres.

mod finish;
mod gain;
mod integrate;
mod light;
mod lit;
mod net;
mod one_photo;
mod planes;
mod shading;
mod spectrum;
mod woven;

pub use integrate::{Integration, integrate, integrate_trusted};
pub use light::Light;
pub use lit::{Lit, lit_relief};
pub use one_photo::{Lesson, lesson, relief};

use tatter_core::angle::Angle;
use tatter_core::channel::Channel;
use tatter_core::explain::{Class, Explain};
use tatter_core::image::{HeightMm, HeightRange, Image, LinearRgb, Map, Normal, Size, Unit};
use tatter_core::model::{Origin, PatchMap};
use tatter_core::task::Cancelled;
use tatter_core::units::MmPerTexel;

/// What is known of the photo besides its colours; all images have its size.
#[derive(Clone, Copy, Debug)]
pub struct ReliefInput<'a> {
    /// Where the patch lies.
    pub cover: &'a Image<Unit>,
    /// 1 cloth, 0 see-through.
    pub opacity: &'a Image<Unit>,
    /// Intact cloth: the reference for light and strength. Without it, all that is opaque.
    pub intact: Option<&'a Image<bool>>,
    /// Millimetres a texel.
    pub scale: MmPerTexel,
    /// Spacing of ends and of picks in texels, as measured; assumed when absent.
    pub pitch_px: Option<[f32; 2]>,
    /// Lines the warp and the weft run along.
    pub thread_dirs: Option<[Angle; 2]>,
    /// Where the light came from on this canvas, counter-clockwise from image right; estimated when absent.
    pub light_from: Option<Angle>,
    /// Elevation of that light above the cloth; 45 degrees when absent.
    pub light_elevation: Option<Angle>,
}

impl<'a> ReliefInput<'a> {
    /// The least that must be known.
    pub const fn new(cover: &'a Image<Unit>, opacity: &'a Image<Unit>, scale: MmPerTexel) -> Self {
        let (intact, pitch_px, thread_dirs, light_from, light_elevation) = (None, None, None, None, None);
        Self { cover, opacity, intact, scale, pitch_px, thread_dirs, light_from, light_elevation }
    }
}

/// How each map was made, a line each for people.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct ReliefHow {
    /// Of the height.
    pub height: String,
    /// Of the normal.
    pub normal: String,
    /// Of the base colour.
    pub base_color: String,
    /// Of the roughness.
    pub roughness: String,
}

/// The relief of a patch. From one photo the normal is exactly that of the height; under several lights its fine slopes stay as they
/// were measured.
#[derive(Clone, Debug)]
pub struct Relief {
    /// Millimetres above the mid plane.
    pub height: Image<HeightMm>,
    /// From the height, or as measured.
    pub normal: Image<Normal>,
    /// Linear light, shading and uneven light taken out, dye and print kept. Neither cleaned of a backing nor bled.
    pub base_color: Image<LinearRgb>,
    /// From the height, 1 open.
    pub occlusion: Image<Unit>,
    /// Estimated: a cloth prior, rougher where fibres stand out.
    pub roughness: Image<Unit>,
    /// Least and greatest height, mm.
    pub height_range: HeightRange,
    /// 0..1: how far to trust the height.
    pub confidence: f32,
    /// The light that was told or found.
    pub light: Light,
    /// How each map was made.
    pub how: ReliefHow,
    /// Colour, height and normal were measured under several lights.
    pub measured: bool,
}

impl Relief {
    /// The maps with their origins, and a metallic map of 0: cloth is no metal.
    #[must_use]
    pub fn into_maps(self) -> Vec<(Channel, PatchMap)> {
        let size = self.height.size();
        let made = |map: Map, origin: Origin, how: &str| PatchMap::new(map, origin, how);
        let or_measured = |origin| if self.measured { Origin::Measured } else { origin };
        vec![
            (Channel::BaseColor, made(Map::Color(self.base_color), or_measured(Origin::Derived), &self.how.base_color)),
            (Channel::Height, made(Map::Height(self.height), or_measured(Origin::Estimated), &self.how.height)),
            (Channel::Normal, made(Map::Normal(self.normal), or_measured(Origin::Derived), &self.how.normal)),
            (Channel::Roughness, made(Map::Unit(self.roughness), Origin::Estimated, &self.how.roughness)),
            (
                Channel::Metallic,
                made(Map::Unit(Image::filled(size.width, size.height, Unit(0.0))), Origin::Estimated, "cloth is no metal"),
            ),
            (Channel::Occlusion, made(Map::Unit(self.occlusion), Origin::Derived, "horizons of the height")),
        ]
    }
}

/// Why no relief was made.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum ReliefError {
    /// Images that belong together differ in size.
    #[error("the {what} is {found}, the photo {wanted}")]
    Size {
        /// Which one.
        what: &'static str,
        /// Its size.
        found: Size,
        /// The photo's.
        wanted: Size,
    },
    /// Nothing to work on.
    #[error("the photo has no texels")]
    Empty,
    /// A scale that is no length.
    #[error("{0} millimetres a texel is no scale")]
    Scale(f32),
    /// The person stopped it.
    #[error(transparent)]
    Cancelled(#[from] Cancelled),
}

impl Explain for ReliefError {
    fn next(&self) -> String {
        match self {
            Self::Size { .. } => "hand in masks of the photo's size".to_owned(),
            Self::Empty => "choose a photo with a picture in it".to_owned(),
            Self::Scale(_) => "give a scale above 0, or leave it out to have one assumed".to_owned(),
            Self::Cancelled(_) => "start again when ready".to_owned(),
        }
    }

    fn class(&self) -> Class {
        match self {
            Self::Empty => Class::Input,
            _ => Class::Request,
        }
    }
}
