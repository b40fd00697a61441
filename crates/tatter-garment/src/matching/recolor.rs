//! What becomes of one colour of a placement.

use tatter_core::color::{Cdl, OkLab};
use tatter_core::image::LinearRgb;

use super::{OntoCloth, Shown};

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
    /// The colours to lay, in place.
    pub(crate) fn apply_all(&self, shown: &mut [Shown], grade: Option<&Cdl>) {
        if let Self::Onto(onto) = self {
            onto.apply_all(shown);
        }
        if let Some(grade) = grade {
            shown.iter_mut().for_each(|shown| shown.color = grade.apply(shown.color));
        }
        // What is graded is the mark itself: a ratio above 1 is no colour, and a grade would clip it.
        if let Self::Mark { cloth, strength } = self {
            let own = cloth.0.map(|v| 1.0 - strength + strength * v.max(1e-3));
            for shown in shown {
                shown.color = LinearRgb(std::array::from_fn(|i| (shown.color.0[i] / own[i]).clamp(0.0, BRIGHTEST_MARK)));
            }
        }
    }
}

/// The light of a colour, or of one with as much of its chroma as fits: lightness and hue stay.
#[inline]
pub(super) fn in_gamut(lab: OkLab, light: LinearRgb) -> LinearRgb {
    let fits = |c: LinearRgb| c.0.iter().all(|v| (-1e-4..=1.0).contains(v));
    if fits(light) {
        return LinearRgb(light.0.map(|v| v.max(0.0)));
    }
    let shown = |chroma: f32| LinearRgb::from(OkLab { l: lab.l, a: lab.a * chroma, b: lab.b * chroma });
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

    fn one(mark: &Recolor, color: LinearRgb, grade: Option<&Cdl>) -> LinearRgb {
        let mut one = [Shown { color, bare_luminance: 0.0, at: MIDDLE }];
        mark.apply_all(&mut one, grade);
        one[0].color
    }

    #[test]
    fn a_mark_is_what_it_does_to_its_own_cloth() {
        let cloth = LinearRgb([0.5, 0.4, 0.2]);
        let mark = Recolor::Mark { cloth, strength: 1.0 };
        assert_eq!(one(&mark, LinearRgb([0.25, 0.2, 0.2]), None), LinearRgb([0.5, 0.5, 1.0]), "half the light, blue untouched");
        assert_eq!(one(&mark, LinearRgb([0.9; 3]), None).0[2], BRIGHTEST_MARK, "a lit thread is bounded");
        let lit = LinearRgb([0.6, 0.4, 0.2]);
        assert_eq!(one(&mark, lit, Some(&Cdl::default())), one(&mark, lit, None), "a grade of nothing changes nothing");
        let none = Recolor::Mark { cloth, strength: 0.0 };
        assert_eq!(one(&none, lit, None), lit, "at strength 0 the patch as it is");
    }
}
