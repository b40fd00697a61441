//! What becomes of one colour of a placement.

use glam::DVec3;
use tatter_core::color::{Cdl, OkLab};
use tatter_core::image::LinearRgb;

use super::OntoCloth;

/// How the colours of a placement change before they are laid.
#[derive(Clone, Debug)]
pub(crate) enum Recolor {
    /// Not at all.
    Keep,
    /// As the cloth it lies on.
    Onto(Box<OntoCloth>),
    /// Divided by the patch's own cloth: what a mark does to any cloth.
    Mark {
        /// The cloth's colour.
        cloth: LinearRgb,
        /// Share of the division, 0..1.
        strength: f32,
    },
}

/// A mark lightens threads by no more than this: its weave is in the ratio, and its lit threads are not bleach.
const BRIGHTEST_MARK: f32 = 2.0;

impl Recolor {
    /// The colour to lay at a place in shares of the canvas; `bare_luminance` is that of fibre without dye in it.
    #[inline]
    pub(crate) fn apply(&self, color: LinearRgb, bare_luminance: f32, at: [f32; 2], grade: Option<&Cdl>) -> LinearRgb {
        let matched = match self {
            Self::Keep => color,
            Self::Onto(onto) => onto.apply(color, bare_luminance, at),
            // What is graded is the mark itself: a ratio above 1 is no colour, and a grade would clip it.
            Self::Mark { cloth, strength } => {
                let graded = grade.map_or(color, |grade| grade.apply(color));
                let own = |i: usize| 1.0 - strength + strength * cloth.0[i].max(1e-3);
                return LinearRgb(std::array::from_fn(|i| (graded.0[i] / own(i)).clamp(0.0, BRIGHTEST_MARK)));
            }
        };
        grade.map_or(matched, |grade| grade.apply(matched))
    }
}

/// The colour itself, or with as much of its chroma as fits: lightness and hue stay.
pub(super) fn in_gamut(lab: DVec3) -> LinearRgb {
    let shown =
        |chroma: f64| LinearRgb::from(OkLab { l: lab.x.max(0.0) as f32, a: (lab.y * chroma) as f32, b: (lab.z * chroma) as f32 });
    let fits = |c: LinearRgb| c.0.iter().all(|v| (-1e-4..=1.0).contains(v));
    let whole = shown(1.0);
    if fits(whole) {
        return LinearRgb(whole.0.map(|v| v.max(0.0)));
    }
    let (mut low, mut high) = (0.0, 1.0);
    for _ in 0..8 {
        let middle = 0.5 * (low + high);
        if fits(shown(middle)) { low = middle } else { high = middle }
    }
    LinearRgb(shown(low).0.map(|v| v.clamp(0.0, 1.0)))
}

#[cfg(test)]
mod tests {
    use super::*;

    const MIDDLE: [f32; 2] = [0.5; 2];

    #[test]
    fn a_mark_is_what_it_does_to_its_own_cloth() {
        let cloth = LinearRgb([0.5, 0.4, 0.2]);
        let mark = Recolor::Mark { cloth, strength: 1.0 };
        assert_eq!(
            mark.apply(LinearRgb([0.25, 0.2, 0.2]), 0.0, MIDDLE, None),
            LinearRgb([0.5, 0.5, 1.0]),
            "half the light, blue untouched"
        );
        assert_eq!(mark.apply(LinearRgb([0.9; 3]), 0.0, MIDDLE, None).0[2], BRIGHTEST_MARK, "a lit thread is bounded");
        let lit = LinearRgb([0.6, 0.4, 0.2]);
        assert_eq!(
            mark.apply(lit, 0.0, MIDDLE, Some(&Cdl::default())),
            mark.apply(lit, 0.0, MIDDLE, None),
            "a grade of nothing changes nothing"
        );
        let none = Recolor::Mark { cloth, strength: 0.0 };
        assert_eq!(none.apply(lit, 0.0, MIDDLE, None), lit, "at strength 0 the patch as it is");
    }
}
