//! The grain of a garment's UV islands.

use crate::angle::Angle;
use crate::model::Weave;
use crate::units::PerCm;

/// How the grain of an island became known.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum GrainSource {
    /// Counted in the garment's own textures.
    Measured,
    /// A person drew an arrow; measuring never changes it.
    #[default]
    Arrow,
}

impl GrainSource {
    /// The name in files.
    pub const fn name(self) -> &'static str {
        match self {
            Self::Measured => "measured",
            Self::Arrow => "arrow",
        }
    }

    /// The source of that name.
    pub fn from_name(name: &str) -> Option<Self> {
        [Self::Measured, Self::Arrow].into_iter().find(|source| source.name() == name)
    }
}

/// Which way the warp runs in one UV island, and what else is known of its cloth. An island without one follows the pattern
/// convention: grain up the texture.
#[derive(Clone, Debug, PartialEq)]
pub struct IslandGrain {
    /// A place in the island: UV, v down.
    pub at: [f32; 2],
    /// The part of the mesh it belongs to, when islands of several lie there.
    pub part: Option<String>,
    /// From the texture's upright (decreasing v) to the warp, counter-clockwise as the cloth is seen from outside.
    pub turn: Angle,
    /// How it became known.
    pub source: GrainSource,
    /// Ends on a centimetre of the cloth, when counted.
    pub ends_per_cm: Option<PerCm>,
    /// Picks on a centimetre of the cloth, when counted.
    pub picks_per_cm: Option<PerCm>,
    /// How they interlace, as the cloth is seen from outside.
    pub weave: Weave,
}

impl IslandGrain {
    /// The same cloth with an arrow in another direction. Where that is nearer to the weft, warp and weft change their names.
    #[must_use]
    pub fn with_arrow(self, turn: Angle) -> Self {
        let across = (turn - self.turn).as_line().to_degrees();
        let new = Self { turn, source: GrainSource::Arrow, ..self };
        if (45.0..135.0).contains(&across) { new.with_families_exchanged() } else { new }
    }

    /// The counts and the weave with weft and warp exchanged; the turn stays.
    #[must_use]
    pub fn with_families_exchanged(self) -> Self {
        Self {
            ends_per_cm: self.picks_per_cm,
            picks_per_cm: self.ends_per_cm,
            weave: self.weave.with_families_exchanged(),
            ..self
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::model::Hand;

    #[test]
    fn an_arrow_across_makes_the_weft_the_warp() {
        let cloth = IslandGrain {
            at: [0.5; 2],
            part: None,
            turn: Angle::degrees(-10.0),
            source: GrainSource::Measured,
            ends_per_cm: Some(PerCm(26.0)),
            picks_per_cm: Some(PerCm(18.0)),
            weave: Weave::Twill { over: 3, under: 1, hand: Hand::Z },
        };
        let along = cloth.clone().with_arrow(Angle::degrees(160.0));
        assert_eq!((along.ends_per_cm, along.source), (Some(PerCm(26.0)), GrainSource::Arrow), "10 degrees off, pointing down");
        let across = cloth.with_arrow(Angle::degrees(75.0));
        assert_eq!([across.ends_per_cm, across.picks_per_cm], [Some(PerCm(18.0)), Some(PerCm(26.0))], "85 degrees off");
        assert_eq!(across.weave.hand(), Some(Hand::S), "its lines lean the other way from there");
    }
}
