//! From the patch's cloth to the cloth it lies on: intact cloth as a whole, injured cloth by its dye, both place by place.

use std::sync::Arc;

use tatter_core::color::ColorMap;
use tatter_core::image::{Image, LinearRgb};

use super::recolor::in_gamut;
use super::swatch::place;
use super::{Field, Redye, injured_at};

/// How the colours of a placement become those of the cloth around it.
///
/// Intact cloth is moved in OKLab as the patch's cloth moves onto the garment's, contrast and all: pale weft or fuzz that the
/// garment does not show would else stand around the injury as a grey island. Injured cloth is dyed anew, so that bare fibre stays white.
#[derive(Clone, Debug)]
pub(crate) struct OntoCloth {
    /// Of intact cloth.
    pub(crate) map: ColorMap,
    /// Of injured cloth, and where that is; `None`: all as intact cloth.
    pub(crate) injured: Option<(Redye, Arc<Image<f32>>)>,
    /// Added in OKLab, after either: what varies around the placement.
    pub(crate) varies: Field<3>,
    /// Share of all of it, 0..1.
    pub(crate) strength: f32,
}

impl OntoCloth {
    /// The colour to lay at a place in shares of the canvas.
    #[inline]
    pub(crate) fn apply(&self, color: LinearRgb, bare_luminance: f32, at: [f32; 2]) -> LinearRgb {
        if self.strength <= 0.0 {
            return color;
        }
        let own = place(color);
        let (mut moved, mut share) = (own, 1.0);
        let injured = self.injured.as_ref().map_or(0.0, |(_, injury)| injured_at(injury, at));
        if injured < 1.0 {
            moved = self.map.apply(own);
        }
        if let Some((redye, _)) = self.injured.as_ref().filter(|_| injured > 0.0) {
            moved = moved.lerp(place(redye.apply(color, bare_luminance)), injured.into());
            // Light and fade around the placement are the dye's, not the bare fibre's.
            share -= injured * (bare_luminance / color.luminance().max(1e-6)).clamp(0.0, 1.0);
        }
        let varies = self.varies.at(at);
        moved += f64::from(share) * glam::Vec3::from(varies).as_dvec3();
        in_gamut(own.lerp(moved, self.strength.into()))
    }
}

#[cfg(test)]
mod tests {
    use std::collections::BTreeMap;

    use glam::{DMat3, DVec3};
    use tatter_core::color::OkLab;

    use super::*;

    fn onto(offset: DVec3, strength: f32) -> OntoCloth {
        OntoCloth { map: ColorMap { matrix: DMat3::IDENTITY, offset }, injured: None, varies: Field::none(), strength }
    }

    #[test]
    fn lightness_moves_and_hue_stays_at_the_edge_of_what_can_be_shown() {
        let grey = LinearRgb([0.2; 3]);
        let own = OkLab::from(grey);
        let got = OkLab::from(onto(DVec3::new(0.0, 0.3, 0.0), 1.0).apply(grey, 0.0, [0.5; 2]));
        assert!((got.l - own.l).abs() < 2e-3, "lightness stays: {got:?}");
        assert!(got.a > 0.1 && got.b.abs() < 0.01, "the hue asked for, as far as it can be shown: {got:?}");
        let half = onto(DVec3::X * 0.1, 0.5).apply(grey, 0.0, [0.5; 2]);
        assert!((OkLab::from(half).l - own.l - 0.05).abs() < 1e-4, "half the way");
        assert_eq!(onto(DVec3::X, 0.0).apply(grey, 0.0, [0.5; 2]), grey, "strength 0 keeps every bit");
    }

    #[test]
    fn what_varies_is_added_where_it_lies() {
        let known = BTreeMap::from([(16 * 32, ([0.1, 0.0, 0.0], 1e6)), (16 * 32 + 31, ([-0.1, 0.0, 0.0], 1e6))]);
        let onto = OntoCloth { varies: Field::through(&known), ..onto(DVec3::ZERO, 1.0) };
        let light = |u: f32| OkLab::from(onto.apply(LinearRgb([0.2; 3]), 0.0, [u, 16.5 / 32.0])).l;
        assert!((light(0.5 / 32.0) - light(31.5 / 32.0) - 0.2).abs() < 1e-3, "{} {}", light(0.0), light(1.0));
    }
}
