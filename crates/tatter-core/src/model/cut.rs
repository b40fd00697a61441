//! What a person may say about a cut.

use crate::angle::Angle;
use crate::model::KnownSize;
use crate::units::{Mm, MmPerTexel, PerCm};

/// What is cut from a photo.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Subject {
    /// An injured region inside intact cloth.
    Damage,
    /// A thing lying on a backing.
    Piece,
}

impl Subject {
    /// The name in files and on the command line.
    pub const fn name(self) -> &'static str {
        match self {
            Self::Damage => "damage",
            Self::Piece => "piece",
        }
    }
}

/// What the person says the subject is.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum SubjectChoice {
    /// Decide from the photo.
    #[default]
    Auto,
    /// As told.
    Told(Subject),
}

/// How large the photographed cloth is.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub enum Scale {
    /// Nobody knows: a scale is assumed, said aloud and recorded as assumed.
    #[default]
    Unknown,
    /// Millimetres per photo pixel.
    MmPerPixel(MmPerTexel),
    /// The whole photo is this wide.
    Width(Mm),
    /// Ends per centimetre of the cloth, as counted.
    EndsPerCm(PerCm),
    /// Two photo points (pixels, first pixel's centre at 0.5, 0.5) this far apart.
    Ruler {
        /// One end.
        from: [f32; 2],
        /// The other end.
        to: [f32; 2],
        /// Length between them.
        length: Mm,
    },
    /// A ruler with millimetres lies on the cloth; its marks are found.
    FoundRuler,
    /// A flat rectangle of known size lies on the cloth; perspective is taken out by it.
    Rectangle {
        /// What it is.
        size: KnownSize,
        /// Its corners in order around it (pixels, first pixel's centre at 0.5, 0.5), as marked by hand; found when absent.
        corners: Option<[[f32; 2]; 4]>,
    },
}

/// What a stroke says about the photo beneath it.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum StrokeKind {
    /// Intact cloth (damage) or the piece itself (piece).
    Cloth,
    /// Backing.
    Backing,
    /// Belongs to the injured region.
    Damage,
    /// An opening one sees through.
    Gap,
}

/// A stroke over the photo.
#[derive(Clone, Debug, PartialEq)]
pub struct Stroke {
    /// What it says.
    pub kind: StrokeKind,
    /// The line, in photo pixels (first pixel's centre at 0.5, 0.5); one point is a dab.
    pub points: Vec<[f32; 2]>,
    /// Half its breadth in pixels.
    pub radius: f32,
}

/// Everything a person may say about a cut; all the rest is found in the photo.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct CutRecipe {
    /// Damage, piece, or decide.
    pub subject: SubjectChoice,
    /// Roughly where: centre x, y and radius in photo pixels.
    pub around: Option<[f32; 3]>,
    /// Corrections.
    pub strokes: Vec<Stroke>,
    /// Quadrilaterals by their corners in order around them, photo pixels, that show neither cloth nor backing: a colour chart.
    pub aside: Vec<[[f32; 2]; 4]>,
    /// How large the cloth is.
    pub scale: Scale,
    /// Known picks per centimetre, to check or to complete the scale.
    pub picks_per_cm: Option<PerCm>,
    /// Turn the canvas so that the grain runs upright.
    pub upright: bool,
    /// Grain as told, in the photo; measured when absent.
    pub grain: Option<Angle>,
    /// Direction the light came *from*, counter-clockwise from image right, when one lamp or the sun lit the cloth.
    pub light_from: Option<Angle>,
    /// Elevation of that light above the cloth.
    pub light_elevation: Option<Angle>,
    /// Side of the square canvas in texels; by default as many as the photo shows.
    pub canvas: Option<usize>,
    /// Seed of everything random.
    pub seed: u64,
}
