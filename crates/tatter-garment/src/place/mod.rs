//! Where a placement lies: from a spot, a turn and a size to the faces it reaches, each with its corners in patch millimetres.

mod footprint;
mod found;
mod outline;
mod spot;
mod unfold;

use glam::DVec2;
use tatter_core::model::{MatchMode, Patch, Placement, Subject};

pub use footprint::{Canvas, PlaceSettings, footprint, footprint_of};
pub use found::Footprints;
pub use outline::Spread;
pub use spot::{FAR_MM, SpotError, find_spot};
pub(crate) use unfold::unfold;

use crate::surface::Seed;

/// A placement with the patch it lays.
#[derive(Clone, Copy, Debug)]
pub struct Placed<'a> {
    /// Where and how.
    pub placement: &'a Placement,
    /// What.
    pub patch: &'a Patch,
}

impl Placed<'_> {
    /// What of its colour is fitted: as asked, else a damage takes the dye of the cloth and a piece stays as it is.
    pub fn match_mode(&self) -> MatchMode {
        self.placement.matching.mode.unwrap_or(match self.patch.subject {
            Subject::Damage => MatchMode::Redye,
            Subject::Piece => MatchMode::None,
        })
    }
}

/// One face a placement reaches.
#[derive(Clone, Debug)]
pub struct FootprintFace {
    /// Number of the face on the surface.
    pub face: usize,
    /// The face's corners in the patch's own millimetres: from the canvas centre, x right, y down.
    pub corners_mm: [DVec2; 3],
}

/// Everything a placement reaches on the surface.
#[derive(Clone, Debug)]
pub struct Footprint {
    /// Where it was seeded.
    pub seed: Seed,
    /// Millimetres of cloth for one millimetre of the patch: 1 at true size.
    pub enlargement: f64,
    /// The faces, ascending.
    pub faces: Vec<FootprintFace>,
    /// Faces within reach that are left out: behind a fold, or too curved to be laid flat.
    pub left_out: usize,
}
