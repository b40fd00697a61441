//! The reusable result: maps, size, grain, thread count, provenance.

use crate::angle::Angle;
use crate::channel::{Channel, Kind, PerChannel};
use crate::image::{HeightRange, LinearRgb, Map, Size};
use crate::model::{PatchMap, Subject, Weave};
use crate::units::{Mm, MmPerTexel, PerCm};

/// How much a map can be trusted.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Origin {
    /// From calibrated shots.
    Measured,
    /// Computed from a map that is in the patch, or from the photo by a stated formula.
    Derived,
    /// A reasoned guess.
    Estimated,
}

impl Origin {
    /// The name in files.
    pub const fn name(self) -> &'static str {
        match self {
            Self::Measured => "measured",
            Self::Derived => "derived",
            Self::Estimated => "estimated",
        }
    }

    /// The origin of that name.
    pub fn from_name(name: &str) -> Option<Self> {
        [Self::Measured, Self::Derived, Self::Estimated].into_iter().find(|origin| origin.name() == name)
    }
}

/// Where the scale came from.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum ScaleSource {
    /// Millimetres per pixel were given.
    MmPerPixel,
    /// The photo's width was given.
    Width,
    /// The thread count was given and measured.
    ThreadCount,
    /// A ruler line was given.
    Ruler,
    /// A card of known size was found in the photo.
    Card,
    /// A sheet of paper of known size was found in the photo.
    Sheet,
    /// The four corners of a rectangle of known size were marked.
    Corners,
    /// Nobody knew: assumed.
    Assumed,
}

impl ScaleSource {
    /// All of them.
    pub const ALL: [Self; 8] =
        [Self::MmPerPixel, Self::Width, Self::ThreadCount, Self::Ruler, Self::Card, Self::Sheet, Self::Corners, Self::Assumed];

    /// The name in files and reports.
    pub const fn name(self) -> &'static str {
        match self {
            Self::MmPerPixel => "mm-per-pixel",
            Self::Width => "width",
            Self::ThreadCount => "thread-count",
            Self::Ruler => "ruler",
            Self::Card => "card",
            Self::Sheet => "sheet",
            Self::Corners => "corners",
            Self::Assumed => "assumed",
        }
    }

    /// The source of that name.
    pub fn from_name(name: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|s| s.name() == name)
    }
}

/// The reusable result of a cut or a weave. All maps have one size.
#[derive(Clone, Debug)]
pub struct Patch {
    /// Name without extension.
    pub name: String,
    /// The maps; a channel may be missing.
    pub maps: PerChannel<Option<PatchMap>>,
    /// Damage or piece.
    pub subject: Subject,
    /// Millimetres a texel.
    pub scale: MmPerTexel,
    /// Where the scale came from.
    pub scale_source: ScaleSource,
    /// Standard deviation of the scale as a share of it, where that is known.
    pub scale_uncertainty: Option<f32>,
    /// Warp direction in the patch, a line; `None` when no weave was found.
    pub grain: Option<Angle>,
    /// Ends (warp threads) per cm, when known.
    pub ends_per_cm: Option<PerCm>,
    /// Picks (weft threads) per cm, when known.
    pub picks_per_cm: Option<PerCm>,
    /// How they interlace, with the grain upright.
    pub weave: Weave,
    /// The millimetres that the height file's first and last code stand for.
    pub height_range: HeightRange,
    /// Mean colour of the intact cloth around a damage, as measured.
    pub cloth_color: Option<LinearRgb>,
    /// Photo pixel from patch texel, row major 2 × 3, both with the first centre at (0.5, 0.5); `None` for woven patches.
    pub photo_from_patch: Option<[[f32; 3]; 2]>,
    /// Settings and source of the patch as key and value lines, for people and for repeating the work.
    pub provenance: Vec<(String, String)>,
}

impl Patch {
    /// Columns and rows of its maps; zero when it has none.
    pub fn size(&self) -> Size {
        self.maps.iter().find_map(|(_, map)| map.as_ref().map(PatchMap::size)).unwrap_or_default()
    }

    /// Width and height of the canvas in millimetres.
    pub fn size_mm(&self) -> [Mm; 2] {
        let size = self.size();
        [Mm(size.width as f32 * self.scale.get()), Mm(size.height as f32 * self.scale.get())]
    }

    /// Whether it has a map.
    pub fn has(&self, channel: Channel) -> bool {
        self.maps[channel].is_some()
    }

    /// One map whole, if the patch has it; one that was read from a file is decoded for it, so whoever reads each row once asks for rows.
    pub fn map(&self, channel: Channel) -> Option<&Map> {
        self.maps[channel].as_ref().map(PatchMap::map)
    }

    /// One map of a kind, row by row or whole, if the patch has it.
    pub fn map_of(&self, channel: Channel, kind: Kind) -> Option<&PatchMap> {
        self.maps[channel].as_ref().filter(|map| map.kind() == kind)
    }
}
