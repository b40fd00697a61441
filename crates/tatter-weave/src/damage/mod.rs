//! What happens to cloth: cut, frayed, burnt, worn, mended.

mod injury;
mod loose;
mod mend;
mod shape;
mod wound;

use tatter_core::image::LinearRgb;

pub(crate) use injury::{Injury, Run, mark, near};
pub(crate) use loose::{Loose, fuzz, rotated, tuft, unit, wear_loose};
pub(crate) use mend::Mending;
pub(crate) use wound::Wound;

/// Number of the first thread of mending.
pub(crate) const MENDING: u32 = 1_000_000;

/// What happened.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Kind {
    /// Torn along the grain: threads across it are broken, threads along it may still span the opening.
    Rip,
    /// Caught on a nail: torn along the weft and along the warp from one corner, the flap curled.
    LTear,
    /// Bitten through by larvae: both systems cut, hardly any fraying.
    MothHole,
    /// Burnt through: charred, hardened rim.
    Burn,
    /// Worn through, as a knee is: warp gone in an oval, most picks still there, worn all around.
    WornThrough,
    /// An edge from which picks have come out: a fringe of ends.
    Hem,
    /// Crowns worn off, dye lost, fibres raised.
    Abrasion,
    /// A hole mended with threads woven back in.
    Darn,
    /// A piece of cloth sewn on, its edges folded under, with overcast stitches.
    Patch,
    /// A pick pulled out into a loop, the cloth drawn towards it.
    Snag,
    /// A spill that dried with a darker rim; no thread is hurt.
    Stain,
    /// All that is left of the cloth: a piece frayed all around.
    Scrap,
}

impl Kind {
    /// Every kind.
    pub const ALL: [Self; 12] = [
        Self::Rip,
        Self::LTear,
        Self::MothHole,
        Self::Burn,
        Self::WornThrough,
        Self::Hem,
        Self::Abrasion,
        Self::Darn,
        Self::Patch,
        Self::Snag,
        Self::Stain,
        Self::Scrap,
    ];

    /// The name on the command line.
    pub const fn name(self) -> &'static str {
        match self {
            Self::Rip => "rip",
            Self::LTear => "l-tear",
            Self::MothHole => "moth-hole",
            Self::Burn => "burn",
            Self::WornThrough => "worn-through",
            Self::Hem => "hem",
            Self::Abrasion => "abrasion",
            Self::Darn => "darn",
            Self::Patch => "patch",
            Self::Snag => "snag",
            Self::Stain => "stain",
            Self::Scrap => "scrap",
        }
    }

    /// What people read about it.
    pub const fn about(self) -> &'static str {
        match self {
            Self::Rip => "torn along the grain, some threads still span the opening",
            Self::LTear => "caught on a nail: torn both ways from a corner, the flap curled",
            Self::MothHole => "bitten through, both systems cut",
            Self::Burn => "burnt through, rim charred and hardened",
            Self::WornThrough => "worn through as a knee is: ends gone, picks still there",
            Self::Hem => "a frayed edge with a fringe",
            Self::Abrasion => "crowns worn off, dye lost, fibres raised",
            Self::Darn => "a hole mended with threads woven back in",
            Self::Patch => "a piece sewn on with overcast stitches",
            Self::Snag => "a pick pulled out into a loop",
            Self::Stain => "a spill that dried with a darker rim",
            Self::Scrap => "a piece frayed all around, nothing beyond it",
        }
    }

    /// The kind of that name.
    pub fn from_name(name: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|kind| kind.name() == name)
    }
}

/// Which threads a rip runs along.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Along {
    /// Across the cloth: ends are broken.
    Weft,
    /// Up the cloth: picks are broken.
    Warp,
}

/// One injury.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Damage {
    /// What happened.
    pub kind: Kind,
    /// Where, mm from the canvas centre, x along the weft, y up the warp.
    pub at: [f32; 2],
    /// Length of a rip or of an arm of an L-tear, diameter of a hole or a stain, depth of the fringe of a hem, width of a
    /// sewn-on patch or of a scrap, length of a snag's loop; mm.
    pub length: f32,
    /// Widest opening of a rip, height of a worn place, of a sewn-on patch or of a scrap; mm. Not used by round injuries.
    pub width: f32,
    /// Direction of a rip, or which threads stand out of a hem.
    pub along: Along,
    /// Share of the threads along a rip or in a worn place that still span it, 0..1.
    pub surviving: f32,
    /// 0 fresh, 1 long worn: ends recede, fray and fade, edges curl.
    pub age: f32,
    /// Colour of a sewn-on patch or of darning thread, linear light, `None` a shade off the cloth's own; or the share of light
    /// that a stain lets through, `None` that of tea.
    pub color: Option<LinearRgb>,
}

impl Damage {
    /// An injury of ordinary size in the middle of the canvas.
    pub const fn new(kind: Kind) -> Self {
        let (length, width, surviving, age) = match kind {
            Kind::Rip => (32.0, 9.0, 0.5, 0.45),
            Kind::LTear => (16.0, 6.0, 0.15, 0.3),
            Kind::MothHole => (7.0, 7.0, 0.0, 0.3),
            Kind::Burn => (10.0, 10.0, 0.0, 0.2),
            Kind::WornThrough => (30.0, 16.0, 0.75, 0.7),
            Kind::Hem => (8.0, 8.0, 0.0, 0.5),
            Kind::Abrasion => (20.0, 20.0, 0.0, 0.6),
            Kind::Darn => (9.0, 9.0, 0.0, 0.4),
            Kind::Patch => (28.0, 24.0, 0.0, 0.2),
            Kind::Snag => (7.0, 7.0, 0.0, 0.2),
            Kind::Stain => (18.0, 18.0, 0.0, 0.0),
            Kind::Scrap => (36.0, 28.0, 0.0, 0.5),
        };
        Self { kind, at: [0.0, 0.0], length, width, along: Along::Weft, surviving, age, color: None }
    }
}
