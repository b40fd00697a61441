//! The table of rules: how a channel of a placement meets what lies beneath.

use crate::channel::Kind;
use crate::image::{HeightMm, LinearRgb, Normal, Unit};

/// How a channel of a placement meets what lies beneath.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Rule {
    /// The patch takes the place of what was there.
    Replace,
    /// The patch's normals ride on those beneath (reoriented normal mapping).
    Combine,
    /// The patch is added (heights in millimetres).
    Add,
    /// What was there is multiplied by the patch.
    Multiply,
    /// What was there stays.
    Keep,
}

impl Rule {
    /// Every rule.
    pub const ALL: [Self; 5] = [Self::Replace, Self::Combine, Self::Add, Self::Multiply, Self::Keep];

    /// The name in job files and on the command line.
    pub const fn name(self) -> &'static str {
        match self {
            Self::Replace => "replace",
            Self::Combine => "combine",
            Self::Add => "add",
            Self::Multiply => "multiply",
            Self::Keep => "keep",
        }
    }

    /// The rule of that name.
    pub fn from_name(name: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|rule| rule.name() == name)
    }

    /// Whether the rule means anything for such texels.
    pub const fn fits(self, kind: Kind) -> bool {
        match self {
            Self::Replace | Self::Keep => true,
            Self::Combine => matches!(kind, Kind::Normal),
            Self::Add => matches!(kind, Kind::Height | Kind::Normal),
            Self::Multiply => matches!(kind, Kind::Color | Kind::Unit),
        }
    }

    /// `below` after `above` was laid on it with `weight` = cover × strength, 0..1.
    ///
    /// Weight 0 returns `below` bit for bit. Height `above` is already relative to the surface the patch sits in.
    pub fn apply<P: Ruled>(self, below: P, above: P, weight: f32) -> P {
        if weight <= 0.0 || self == Self::Keep {
            return below;
        }
        P::ruled(self, below, above, weight)
    }
}

impl std::fmt::Display for Rule {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.write_str(self.name())
    }
}

/// Texels that rules can be applied to.
pub trait Ruled: Copy {
    /// The arithmetic of `rule`; `weight` is above 0, `rule` fits the kind and is not `Keep`.
    fn ruled(rule: Rule, below: Self, above: Self, weight: f32) -> Self;
}

fn mix(below: f32, above: f32, weight: f32) -> f32 {
    below + (above - below) * weight
}

impl Ruled for LinearRgb {
    fn ruled(rule: Rule, below: Self, above: Self, weight: f32) -> Self {
        Self(std::array::from_fn(|i| match rule {
            // A mark is a transmittance: half its strength is its square root (Beer-Lambert), not half way to black.
            Rule::Multiply => below.0[i] * above.0[i].max(0.0).powf(weight),
            _ => mix(below.0[i], above.0[i], weight),
        }))
    }
}

impl Ruled for Unit {
    fn ruled(rule: Rule, below: Self, above: Self, weight: f32) -> Self {
        Self(match rule {
            Rule::Multiply => below.0 * mix(1.0, above.0, weight),
            _ => mix(below.0, above.0, weight),
        })
    }
}

impl Ruled for HeightMm {
    fn ruled(rule: Rule, below: Self, above: Self, weight: f32) -> Self {
        Self(match rule {
            Rule::Add => below.0 + above.0 * weight,
            _ => mix(below.0, above.0, weight),
        })
    }
}

impl Ruled for Normal {
    /// `Replace` mixes slopes, not directions, so that a half-covered texel is the surface half way between.
    fn ruled(rule: Rule, below: Self, above: Self, weight: f32) -> Self {
        match rule {
            Rule::Combine => below.reoriented(above.with_strength(weight)),
            Rule::Add => {
                let ((bp, bq), (ap, aq)) = (below.slopes(), above.slopes());
                Self::from_slopes(bp + ap * weight, bq + aq * weight)
            }
            _ => {
                let ((bp, bq), (ap, aq)) = (below.slopes(), above.slopes());
                Self::from_slopes(mix(bp, ap, weight), mix(bq, aq, weight))
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn weight_nothing_touches_nothing() {
        let odd = Normal([0.6, 0.0, 0.8]);
        for rule in Rule::ALL {
            assert_eq!(rule.apply(odd, Normal::FLAT, 0.0), odd, "{rule}");
        }
    }

    #[test]
    fn half_a_stain_is_its_square_root() {
        let got = Rule::Multiply.apply(LinearRgb([1.0; 3]), LinearRgb([0.25; 3]), 0.5);
        assert!((got.0[0] - 0.5).abs() < 1e-6, "{got:?}");
    }

    #[test]
    fn opacity_multiplies_only_under_cover() {
        let got = Rule::Multiply.apply(Unit(0.8), Unit(0.0), 0.5);
        assert!((got.0 - 0.4).abs() < 1e-6, "{got:?}");
    }
}
