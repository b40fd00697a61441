//! Made photos of cloth with known truth, thread by thread: for tests, for measuring how good a step is.
//!
//! Every yarn is an elliptic tube that rises and dips with the weave; damage cuts, frays and displaces tubes. One lamp
//! with shadows plus ambient light, then lens blur and sensor noise. The truth comes from the same samples as the photo.
//! The same seed under another light or over another backing shows the same cloth.

mod injury;
mod raster;
mod render;
mod strands;
mod structure;

use tatter_core::angle::Angle;
use tatter_core::image::{HeightMm, Image, LinearRgb, Normal, Unit};
use tatter_core::model::Subject;
use tatter_core::units::{Mm, MmPerTexel, PerCm};

pub use render::shoot;
pub use structure::{Hand, Weave};

/// What happened to the cloth.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Damage {
    /// Nothing.
    None,
    /// Ends are broken along a line across them; some picks still span the opening.
    RipAlongWeft {
        /// From tip to tip.
        length: Mm,
        /// Widest opening.
        opening: Mm,
        /// Share of picks that survive at the middle, 0..1.
        surviving: f32,
    },
    /// All threads eaten within a ragged blob.
    MothHole {
        /// Mean diameter.
        diameter: Mm,
    },
    /// Crowns worn off, dye lost, fibres raised; no opening.
    Abrasion {
        /// Mean diameter.
        diameter: Mm,
    },
    /// A dried spill with a darker rim; no thread is hurt.
    Stain {
        /// Mean diameter.
        diameter: Mm,
        /// Share of light left per channel where the stain is full.
        transmittance: LinearRgb,
    },
}

/// Everything that decides a made photo.
#[derive(Clone, Debug, PartialEq)]
pub struct SceneSpec {
    /// How ends and picks interlace.
    pub weave: Weave,
    /// Columns of the photo.
    pub width: usize,
    /// Rows of the photo.
    pub height: usize,
    /// Size of a pixel.
    pub scale: MmPerTexel,
    /// Warp threads per cm.
    pub ends_per_cm: PerCm,
    /// Weft threads per cm.
    pub picks_per_cm: PerCm,
    /// Warp direction, counter-clockwise from image right.
    pub grain: Angle,
    /// Unevenness of yarn and spacing: 0 a drawing, 1 ordinary cloth, 2 slubby.
    pub irregularity: f32,
    /// Breadth of a yarn as a share of its pitch: ends, picks. Above 1 neighbours touch.
    pub yarn_fill: [f32; 2],
    /// Thickness over breadth of a yarn: 1 round, 0.6 to 0.8 in ordinary finished cloth (common practice, no source),
    /// 0.3 and less calendered.
    pub flatness: f32,
    /// Colour of the warp.
    pub warp: LinearRgb,
    /// Colour of the weft.
    pub weft: LinearRgb,
    /// Colour of the heart of a yarn, which the dye did not reach; shows where it is frayed or worn.
    pub core: LinearRgb,
    /// What happened.
    pub damage: Damage,
    /// Where, in mm from the photo's centre, x right, y up.
    pub damage_at: [f32; 2],
    /// `Damage`: the cloth fills the photo. `Piece`: a frayed scrap lies on a card.
    pub subject: Subject,
    /// Colour of what lies behind.
    pub backing: LinearRgb,
    /// How far behind the cloth it lies.
    pub backing_distance: Mm,
    /// Direction the light comes from, counter-clockwise from image right.
    pub light_from: Angle,
    /// Elevation of the light above the cloth.
    pub light_elevation: Angle,
    /// Share of ambient light, 0..1.
    pub ambient: f32,
    /// How much darker the far side of the photo is, 0..1.
    pub falloff: f32,
    /// Lens blur, sigma in pixels.
    pub blur: f32,
    /// Sensor noise, deviation at mid grey in linear light.
    pub noise: f32,
    /// Density of loose surface fibres: 0 singed, 1 ordinary, 4 woollen.
    pub fuzz: f32,
    /// Everything random follows from it.
    pub seed: u64,
}

impl Default for SceneSpec {
    /// The ferryman's smock: ochre plain-weave canvas with a rip, under a window to the upper left.
    fn default() -> Self {
        Self {
            weave: Weave::Plain,
            width: 512,
            height: 512,
            scale: MmPerTexel(0.08),
            ends_per_cm: PerCm(12.0),
            picks_per_cm: PerCm(11.0),
            grain: Angle::degrees(90.0),
            irregularity: 1.0,
            yarn_fill: [0.92, 0.88],
            flatness: 0.62,
            warp: LinearRgb([0.42, 0.26, 0.10]),
            weft: LinearRgb([0.47, 0.31, 0.13]),
            core: LinearRgb([0.62, 0.54, 0.40]),
            damage: Damage::RipAlongWeft { length: Mm(24.0), opening: Mm(6.0), surviving: 0.4 },
            damage_at: [0.0, 0.0],
            subject: Subject::Damage,
            backing: LinearRgb([0.75, 0.76, 0.74]),
            backing_distance: Mm(2.0),
            light_from: Angle::degrees(125.0),
            light_elevation: Angle::degrees(48.0),
            ambient: 0.35,
            falloff: 0.12,
            blur: 0.6,
            noise: 0.006,
            fuzz: 1.0,
            seed: 1,
        }
    }
}

/// What the photo shows, known exactly. All images have the photo's size.
#[derive(Clone, Debug)]
pub struct Truth {
    /// The injured region, or the whole piece, with a soft rim about one pitch wide.
    pub cover: Image<Unit>,
    /// Share of each pixel covered by threads and fibres, from the supersamples, before lens blur.
    pub opacity: Image<Unit>,
    /// Mean height of the covered samples; where there are none, the lowest point of the weave.
    pub height: Image<HeightMm>,
    /// Mean direction of the covered samples; flat where there are none.
    pub normal: Image<Normal>,
    /// Mean dye of the covered samples, without light; the backing is left out. Black where nothing covers.
    pub base_color: Image<LinearRgb>,
    /// Where the cloth is injured; for a piece, where it is frayed past its last crossing.
    pub injured: Image<bool>,
}

/// A made photo and its truth.
#[derive(Clone, Debug)]
pub struct Scene {
    /// The photo, linear light.
    pub photo: Image<LinearRgb>,
    /// What it shows.
    pub truth: Truth,
    /// Size of a pixel.
    pub scale: MmPerTexel,
    /// Distance between neighbouring ends, in pixels, measured across them.
    pub warp_pitch_px: f32,
    /// Distance between neighbouring picks, in pixels, measured across them.
    pub weft_pitch_px: f32,
    /// Warp direction.
    pub grain: Angle,
}
