//! From a photo of damaged cloth to its opacity: what one sees through.
//!
//! A backing is found where the injury is even and unlike the cloth; a shadow dims it and leaves its tint, so each texel is asked
//! whether some shade of the backing explains it better than the palette of intact cloth does; neighbours of like colour then
//! agree; specks in the weave are dropped; rims get fractions. Without any of that, a cloth may still be open in every mesh.

mod backing;
mod bare;
mod crossed;
mod even;
mod fibres;
mod find;
mod keep;
mod mesh;
mod odds;
mod palette;
mod piece;
mod rim;
mod scorch;
mod slit;

pub use find::gaps;
pub use piece::piece_gaps;

use tatter_core::angle::Angle;
use tatter_core::explain::{Class, Explain};
use tatter_core::image::{Image, LinearRgb, Size, Unit};
use tatter_core::model::Origin;
use tatter_core::task::Cancelled;

/// What is known of the photo besides its colours; all images have its size.
#[derive(Clone, Copy, Debug)]
pub struct GapInput<'a> {
    /// Where the patch lies; openings are looked for inside only.
    pub cover: &'a Image<Unit>,
    /// 1 where a matte saw the backing, when there is one.
    pub see_through: Option<&'a Image<Unit>>,
    /// Intact cloth; without it what lies outside the cover, and failing that the commonest colours.
    pub intact: Option<&'a Image<bool>>,
    /// Spacing of ends and of picks in texels; assumed when absent.
    pub pitch_px: Option<[f32; 2]>,
    /// The lines that warp and weft run along, when they were measured.
    pub thread_dirs: Option<[Angle; 2]>,
    /// Strokes that say: here one sees through.
    pub gap_strokes: Option<&'a Image<bool>>,
    /// Strokes that say: here is cloth.
    pub cloth_strokes: Option<&'a Image<bool>>,
}

impl<'a> GapInput<'a> {
    /// The least that must be known.
    pub const fn new(cover: &'a Image<Unit>) -> Self {
        let (see_through, intact, pitch_px, thread_dirs) = (None, None, None, None);
        Self { cover, see_through, intact, pitch_px, thread_dirs, gap_strokes: None, cloth_strokes: None }
    }
}

/// Where one sees through.
#[derive(Clone, Debug)]
pub struct Gaps {
    /// 1 cloth, 0 see-through, fractional at edges; 1 outside the cover.
    pub opacity: Image<Unit>,
    /// How sure it is that a texel's colour is the cloth's own, 0..1: low where the backing, lit or in shade, is likelier, also
    /// in openings too small to be kept. 1 outside the cover's surroundings.
    pub own_color: Image<Unit>,
    /// Scorched cloth around a hole that shows something black: its colours are its own, however like that in shade.
    pub scorched: Option<Image<bool>>,
    /// Separate openings.
    pub openings: usize,
    /// Their share of the cover, 0..1.
    pub share: f32,
    /// Mean colour of what shows behind, when openings were found by it.
    pub backing: Option<LinearRgb>,
    /// 0..1: how clearly the colours of cloth and backing part, times how firmly open and fractional texels were decided; with
    /// nothing open, less the more of the cover is unlike intact cloth.
    pub confidence: f32,
    /// How they were found, one line for people.
    pub how: String,
    /// How far to trust it.
    pub origin: Origin,
}

/// Why no openings were looked for.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum GapError {
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
    /// The person stopped it.
    #[error(transparent)]
    Cancelled(#[from] Cancelled),
}

impl Explain for GapError {
    fn next(&self) -> String {
        match self {
            Self::Size { .. } => "hand in masks of the photo's size".to_owned(),
            Self::Empty => "choose a photo with a picture in it".to_owned(),
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
