//! A cloth as a weaver states it.

use tatter_core::explain::{Class, Explain};
use tatter_core::units::PerCm;

use crate::draft::{Draft, DraftError};
use crate::yarn::Yarn;

/// Everything that decides a cloth.
#[derive(Clone, Debug, PartialEq)]
pub struct Cloth {
    /// What people call it.
    pub name: String,
    /// How ends and picks interlace.
    pub weave: Draft,
    /// The ends.
    pub warp: Yarn,
    /// The picks.
    pub weft: Yarn,
    /// Warp threads in a centimetre.
    pub ends_per_cm: PerCm,
    /// Weft threads in a centimetre.
    pub picks_per_cm: PerCm,
    /// Thickness over breadth of the yarns in the cloth: 1 round, 0.6 to 0.8 finished cloth (common practice, no source).
    pub flattening: f32,
    /// Crimp of the warp, as a share of the cloth's length; `None` shares the crimp by `warp_share`.
    pub warp_crimp: Option<f32>,
    /// Share of the crimp height that the warp takes, 0..1: half when both yarns are alike; less when the warp was woven
    /// tight. Moved into what the setting allows.
    pub warp_share: f32,
    /// What was done after weaving.
    pub finish: Finish,
    /// Unevenness of spacing, 0 a drawing, 1 ordinary, 2 hand-woven.
    pub unevenness: f32,
    /// Where the construction comes from.
    pub source: &'static str,
}

/// What was done after weaving.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Finish {
    /// As it left the loom, washed at most.
    Plain,
    /// Fibre ends burnt off the face.
    Singed,
    /// Pressed between rollers: flatter, smoother.
    Pressed,
    /// Fibres raised to a nap.
    Raised,
}

impl Finish {
    /// Every finish.
    pub const ALL: [Self; 4] = [Self::Plain, Self::Singed, Self::Pressed, Self::Raised];

    /// The name on the command line.
    pub const fn name(self) -> &'static str {
        match self {
            Self::Plain => "plain",
            Self::Singed => "singed",
            Self::Pressed => "pressed",
            Self::Raised => "raised",
        }
    }

    /// Times the yarn's own hairiness.
    pub(crate) const fn hair(self) -> f32 {
        match self {
            Self::Plain => 1.0,
            Self::Singed => 0.3,
            Self::Pressed => 0.5,
            Self::Raised => 2.5,
        }
    }
}

/// Why a cloth cannot be woven.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum ClothError {
    /// The threads do not fit beside each other.
    #[error("{ends} ends and {picks} picks per cm of these yarns jam (tightness {tightness:.2}, limit 1): {}", most([*ends, *picks], [*most_ends, *most_picks]))]
    Jammed {
        /// Ends per cm asked for.
        ends: f32,
        /// Picks per cm asked for.
        picks: f32,
        /// √(1 - (p1/D)²) + √(1 - (p2/D)²).
        tightness: f32,
        /// Most ends at these picks.
        most_ends: f32,
        /// Most picks at these ends.
        most_picks: f32,
    },
    /// The crimp does not fit the setting.
    #[error("a warp crimp of {:.1} % does not fit this setting, which allows {:.1} to {:.1} %", told * 100.0, least * 100.0, most * 100.0)]
    Crimp {
        /// Asked for.
        told: f32,
        /// Least possible.
        least: f32,
        /// Most possible.
        most: f32,
    },
    /// A number out of its range.
    #[error("{what} is {value}, which is not within {least} to {most}")]
    Range {
        /// What it is.
        what: &'static str,
        /// As told.
        value: f32,
        /// Least allowed.
        least: f32,
        /// Most allowed.
        most: f32,
    },
    /// The draft.
    #[error(transparent)]
    Draft(#[from] DraftError),
}

/// What would fit; a count of none is no way out.
fn most([ends, picks]: [f32; 2], [most_ends, most_picks]: [f32; 2]) -> String {
    let fits = [
        (most_picks, format!("with {ends} ends at most {most_picks} picks per cm")),
        (most_ends, format!("with {picks} picks at most {most_ends} ends per cm")),
    ];
    let ways: Vec<String> = fits.into_iter().filter(|(most, _)| *most > 0.0).map(|(_, way)| way).collect();
    if ways.is_empty() { "neither fits, with however few of the other".to_owned() } else { ways.join(", ") }
}

impl Explain for ClothError {
    fn next(&self) -> String {
        match self {
            Self::Jammed { .. } => "Take fewer threads, a finer yarn, or a weave with longer floats".to_owned(),
            Self::Crimp { .. } => "Name a crimp in that range, or leave it out".to_owned(),
            Self::Range { .. } => "Name a value in that range".to_owned(),
            Self::Draft(_) => "Name another weave".to_owned(),
        }
    }

    fn class(&self) -> Class {
        Class::Request
    }
}

impl Cloth {
    /// Numbers that mean nothing are found here, so that nothing later has to ask.
    pub(crate) fn check(&self) -> Result<(), ClothError> {
        let yarn = |y: &Yarn| {
            [
                ("the yarn's tex", y.tex(), 0.5, 5000.0),
                ("turns per metre", y.turns_per_m, 0.0, 5000.0),
                ("packing", y.packing, 0.2, 0.95),
                ("irregularity", y.irregularity, 0.0, 0.6),
                ("slubs per metre", y.slubs_per_m, 0.0, 100.0),
                ("hairiness", y.hairiness, 0.0, 40.0),
                ("blend of fibres", y.blend, 0.0, 4.0),
                ("depth of dye", y.dye.depth, 0.0, 1.0),
                ("plies", f32::from(y.ply), 1.0, 6.0),
            ]
        };
        let own = [
            ("ends per cm", self.ends_per_cm.get(), 1.0, 200.0),
            ("picks per cm", self.picks_per_cm.get(), 1.0, 200.0),
            ("flattening", self.flattening, 0.3, 1.0),
            ("warp share of the crimp", self.warp_share, 0.0, 1.0),
            ("unevenness", self.unevenness, 0.0, 4.0),
            ("warp crimp", self.warp_crimp.unwrap_or(0.0), 0.0, 1.0),
        ];
        for (what, value, least, most) in own.into_iter().chain(yarn(&self.warp)).chain(yarn(&self.weft)) {
            if !(value >= least && value <= most) {
                return Err(ClothError::Range { what, value, least, most });
            }
        }
        Ok(())
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_count_of_none_is_no_way_out() {
        assert_eq!(most([17.0, 60.0], [0.0, 13.7]), "with 17 ends at most 13.7 picks per cm", "what would fit");
        let both = most([17.0, 14.0], [16.5, 13.7]);
        assert_eq!(both, "with 17 ends at most 13.7 picks per cm, with 14 picks at most 16.5 ends per cm", "either way");
        assert!(!most([90.0, 90.0], [0.0, 0.0]).contains('0'), "no way at all");
    }
}
