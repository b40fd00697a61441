//! Laying placements into a garment's maps: pristine pictures in, changed pictures out.
//!
//! Only tiles of 128² that a placement reaches are looked at; every other texel keeps its bits. Same inputs, same bytes, on
//! any number of threads.

mod around;
mod colorway;
mod depth;
mod fit;
mod ground;
mod kernel;
mod meets;
mod notes;
mod owner;
mod plan;
mod planned;
mod pyramid;
mod record;
mod rim;
mod run;
mod sampler;
mod seam;
mod shrink;
mod tile;
mod wear;

use tatter_core::explain::{Class, Explain};
use tatter_core::task::{Cancelled, Note};

pub use colorway::dye_cloth;
pub use ground::Ground;
pub use meets::{RimDifference, build_and_compare, rim_differences};
pub use record::{BuildRecord, TileAt};
pub(crate) use run::set_of_face;
pub use run::{Again, BuildPlan, build};
pub(crate) use shrink::resized;
pub use shrink::shrink;
pub use wear::{Keeping, MarkReport, WearError, WearGround, WearInput, WearReport, check_wear, wear, wear_on, worn_most};

use crate::place::PlaceSettings;
use crate::surface::LocateError;

/// How placements are laid.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct BuildSettings {
    /// How a patch meets a curved surface.
    pub place: PlaceSettings,
    /// Texels beyond an island's edge that follow the island, so that filtering and smaller copies of the texture do not show
    /// its old border. More guards coarser copies; it never reaches another island's texels. 8 keeps three halvings clean.
    pub padding: usize,
    /// Side of the tiles that are worked on, texels. Smaller touches fewer texels, larger has less to do at tile edges.
    pub tile: usize,
}

impl Default for BuildSettings {
    fn default() -> Self {
        Self { place: PlaceSettings::default(), padding: 8, tile: 128 }
    }
}

/// What happened to one texture file.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct FileReport {
    /// Number of its map set.
    pub set: usize,
    /// Its number in the map set.
    pub file: usize,
    /// Texels of which at least one sample changed.
    pub texels_changed: usize,
    /// Tiles with such texels.
    pub tiles: usize,
}

/// What happened to one placement.
#[derive(Clone, Debug, PartialEq)]
pub struct PlacementReport {
    /// Its id.
    pub id: String,
    /// Faces it shows on.
    pub faces: usize,
    /// Largest factor by which cloth lengths differ from patch lengths where it has cover; 1 is none.
    pub worst_stretch: f32,
    /// Garment texels for one patch texel along a line, at the spot, in the garment's largest texture there: below 1 the
    /// patch has detail to spare.
    pub texels_per_patch_texel: f32,
    /// Garment texels from thread to thread, of the finer thread system; `None` when the patch has no thread count.
    pub thread_pitch_texels: Option<f32>,
    /// Texels written, in the garment's largest texture there.
    pub texels: usize,
    /// Texels whose height did not fit the garment's height range and was clipped.
    pub clamped_heights: usize,
    /// Texels that other places of the garment show as well.
    pub shared_texels: usize,
    /// Median CIEDE2000 between the patch's intact cloth as laid and the garment's cloth at the same places around it;
    /// `None` where no cloth was compared.
    pub rim_difference: Option<f32>,
    /// What the person should hear; also given to the task.
    pub notes: Vec<Note>,
}

/// What a build did.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct BuildReport {
    /// Every file of every map set, in order, also those that did not change.
    pub files: Vec<FileReport>,
    /// Every placement, in order.
    pub placements: Vec<PlacementReport>,
}

impl BuildReport {
    /// Texels that a file changed by; 0 for one that is not of the garment.
    pub fn texels_changed(&self, set: usize, file: usize) -> usize {
        self.files.iter().find(|own| own.set == set && own.file == file).map_or(0, |own| own.texels_changed)
    }
}

/// Why a build stopped. The pictures are unchanged unless it was [`BuildError::Cancelled`].
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum BuildError {
    /// Pictures and map sets do not belong together.
    #[error("the picture read for a texture is missing or has another size or too few components than its map set says: {path}")]
    Picture {
        /// The texture.
        path: String,
    },
    /// A spot is not on the cloth.
    #[error("placement '{id}': {source}")]
    Spot {
        /// Id of the placement.
        id: String,
        /// Why.
        source: LocateError,
    },
    /// The patch has no maps, or no size in millimetres.
    #[error("placement '{id}': the patch '{patch}' has no maps or no size")]
    EmptyPatch {
        /// Id of the placement.
        id: String,
        /// Name of the patch.
        patch: String,
    },
    /// The cloth at the spot has no textures.
    #[error("placement '{id}' lies on part '{part}', whose material '{material}' has no textures")]
    NoTextures {
        /// Id of the placement.
        id: String,
        /// The part.
        part: String,
        /// Its material.
        material: String,
    },
    /// The size asked for is not a length.
    #[error("placement '{id}': a size of {size_mm} mm is no size")]
    Size {
        /// Id of the placement.
        id: String,
        /// What was asked.
        size_mm: f32,
    },
    /// Stopped by the person; the pictures may be half changed.
    #[error(transparent)]
    Cancelled(#[from] Cancelled),
}

impl Explain for BuildError {
    fn next(&self) -> String {
        match self {
            Self::Picture { .. } => "read the garment again, its files have changed since it was described".into(),
            Self::Spot { source, .. } => source.next(),
            Self::EmptyPatch { .. } => "cut the patch again, with a scale".into(),
            Self::NoTextures { .. } => "place it on a part that has textures, or add the missing ones to the job".into(),
            Self::Size { .. } => "give a size above 0 mm, or leave it out for true size".into(),
            Self::Cancelled(_) => "build again when ready".into(),
        }
    }
    fn class(&self) -> Class {
        match self {
            Self::Picture { .. } | Self::EmptyPatch { .. } => Class::Input,
            _ => Class::Request,
        }
    }
}
