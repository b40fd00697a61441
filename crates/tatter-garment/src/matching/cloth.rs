//! From the patch's cloth to the cloth it lies on: intact cloth as a whole, injured cloth by its dye, both place by place.

use std::sync::Arc;

use pulp::{Arch, NullaryFnOnce};
use tatter_core::color::{ColorMap, OkLab, linear_of_many, oklab_of_many};
use tatter_core::image::{Image, LinearRgb};

use super::recolor::in_gamut;
use super::{Field, Lightened, Redye, injured_at};

/// How the colours of a placement become those of the cloth around it.
///
/// Intact cloth is moved in OKLab as the patch's cloth moves onto the garment's, contrast and all: pale weft or fuzz that the
/// garment does not show would else stand around the injury as a grey island. Injured cloth is dyed anew, so that bare fibre stays white.
#[derive(Clone, Debug)]
pub(crate) struct OntoCloth {
    /// Of intact cloth.
    pub(crate) map: ColorMap,
    /// What becomes of injured cloth; `None`: the same as of intact cloth.
    pub(crate) injured: Option<Injured>,
    /// Added in OKLab, after either: what varies around the placement.
    pub(crate) varies: Field<3>,
    /// Share of all of it, 0..1.
    pub(crate) strength: f32,
}

/// Cloth that shows its bare fibre.
#[derive(Clone, Debug)]
pub(crate) struct Injured {
    /// Its new dye.
    pub(crate) redye: Redye,
    /// Where it lies, 0..1 over the canvas.
    pub(crate) injury: Arc<Image<f32>>,
    /// What is done instead on much lighter cloth, or one of another hue.
    pub(crate) lightened: Option<Lightened>,
    /// From this lightness in OKLab on a texel is no intact cloth, and from that on none of it, wherever it lies: tufts and broken ends.
    pub(crate) pale: [f32; 2],
}

/// How many deviations lighter than the mean of a cloth its palest threads are, and what is surely none of them.
const PALEST: (f64, f64) = (2.5, 4.0);
/// Least that a cloth's lightness is taken to stray by, OKLab.
const EVEN: f64 = 0.01;

/// Of a cloth's mean and variance of lightness, [`Injured::pale`].
pub(crate) fn pale(mean: f64, variance: f64) -> [f32; 2] {
    let strays = variance.max(0.0).sqrt().max(EVEN);
    [PALEST.0, PALEST.1].map(|times| (mean + times * strays) as f32)
}

/// A colour of a patch.
#[derive(Clone, Copy, Debug, Default)]
pub(crate) struct Shown {
    pub(crate) color: LinearRgb,
    /// Of fibre without dye in it.
    pub(crate) bare_luminance: f32,
    /// Where, in shares of the canvas.
    pub(crate) at: [f32; 2],
}

/// Colours moved together: two of the widest registers of many processors.
pub(super) const TOGETHER: usize = 16;
/// So many of one axis.
pub(super) type Axis = [f32; TOGETHER];

/// Some colours to be moved. A type, since a closure would be compiled for itself, for registers that every processor has.
struct Together<'a> {
    onto: &'a OntoCloth,
    shown: &'a mut [Shown],
}

impl NullaryFnOnce for Together<'_> {
    type Output = ();

    #[inline(always)]
    fn call(self) {
        self.onto.apply_some(self.shown);
    }
}

impl OntoCloth {
    /// The colours to lay, in place.
    pub(crate) fn apply_all(&self, shown: &mut [Shown]) {
        if self.strength <= 0.0 {
            return;
        }
        let arch = Arch::new();
        shown.chunks_mut(TOGETHER).for_each(|shown| arch.dispatch(Together { onto: self, shown }));
    }

    /// At most [`TOGETHER`] of them, axis by axis.
    #[inline(always)]
    fn apply_some(&self, shown: &mut [Shown]) {
        let mut colors = [[0.0f32; TOGETHER]; 3];
        for (i, s) in shown.iter().enumerate() {
            (0..3).for_each(|k| colors[k][i] = s.color.0[k]);
        }
        let own = oklab_of_many(&colors);
        let mut moved = mapped(&self.map, &own);
        let mut share: Axis = [1.0; TOGETHER];
        if let Some(Injured { redye, injury, lightened, pale: [first, last] }) = &self.injured {
            let mut injured: Axis = own[0].map(|l| ((l - first) / (last - first)).clamp(0.0, 1.0));
            injured.iter_mut().zip(&*shown).for_each(|(injured, s)| *injured = injured.max(injured_at(injury, s.at)));
            if injured.iter().any(|&injured| injured > 0.0) {
                let mut bare: Axis = [0.0; TOGETHER];
                for (i, s) in shown.iter().enumerate().filter(|(i, _)| injured[*i] > 0.0) {
                    let dyed = redye.apply(s.color, s.bare_luminance);
                    (0..3).for_each(|k| colors[k][i] = dyed.0[k]);
                    bare[i] = (s.bare_luminance / s.color.luminance().max(1e-6)).clamp(0.0, 1.0);
                }
                let mut dyed = oklab_of_many(&colors);
                if let Some(lightened) = lightened {
                    let mut cloth = own;
                    let fibre = lightened.take_fibre(&bare, &mut cloth);
                    let mut lighter = mapped(&self.map, &cloth);
                    lightened.give_fibre(&fibre, &cloth, &mut lighter);
                    for (dyed, lighter) in dyed.iter_mut().zip(&lighter) {
                        (0..TOGETHER).for_each(|i| dyed[i] += lightened.share * (lighter[i] - dyed[i]));
                    }
                    (0..TOGETHER).for_each(|i| bare[i] += lightened.share * (fibre[i] - bare[i]));
                }
                // Light and fade around the placement are the dye's, not the bare fibre's.
                (0..TOGETHER).for_each(|i| share[i] -= injured[i] * bare[i]);
                for (moved, dyed) in moved.iter_mut().zip(&dyed) {
                    (0..TOGETHER).for_each(|i| moved[i] += injured[i] * (dyed[i] - moved[i]));
                }
            }
        }
        let mut varies = [[0.0f32; TOGETHER]; 3];
        for (i, s) in shown.iter().enumerate() {
            let at = self.varies.at(s.at);
            (0..3).for_each(|k| varies[k][i] = at[k]);
        }
        for k in 0..3 {
            for i in 0..TOGETHER {
                moved[k][i] = own[k][i] + self.strength * (moved[k][i] + share[i] * varies[k][i] - own[k][i]);
            }
        }
        moved[0].iter_mut().for_each(|l| *l = l.max(0.0));
        let light = linear_of_many(&moved);
        for (i, s) in shown.iter_mut().enumerate() {
            let [l, a, b] = moved.map(|axis| axis[i]);
            s.color = in_gamut(OkLab { l, a, b }, LinearRgb(light.map(|channel| channel[i])));
        }
    }
}

/// Where a map takes places in OKLab.
#[inline(always)]
fn mapped(map: &ColorMap, own: &[Axis; 3]) -> [Axis; 3] {
    let (matrix, offset) = (map.matrix.as_mat3().to_cols_array_2d(), map.offset.as_vec3().to_array());
    let mut mapped = [[0.0; TOGETHER]; 3];
    for (k, mapped) in mapped.iter_mut().enumerate() {
        for (i, mapped) in mapped.iter_mut().enumerate() {
            *mapped = matrix[0][k] * own[0][i] + matrix[1][k] * own[1][i] + matrix[2][k] * own[2][i] + offset[k];
        }
    }
    mapped
}

#[cfg(test)]
mod tests {
    use std::collections::BTreeMap;

    use glam::{DMat3, DVec3};

    use super::*;

    fn one(onto: &OntoCloth, color: LinearRgb, at: [f32; 2]) -> LinearRgb {
        let mut one = [Shown { color, bare_luminance: 0.0, at }];
        onto.apply_all(&mut one);
        one[0].color
    }

    fn onto(offset: DVec3, strength: f32) -> OntoCloth {
        OntoCloth { map: ColorMap { matrix: DMat3::IDENTITY, offset }, injured: None, varies: Field::none(), strength }
    }

    #[test]
    fn lightness_moves_and_hue_stays_at_the_edge_of_what_can_be_shown() {
        let grey = LinearRgb([0.2; 3]);
        let own = OkLab::from(grey);
        let got = OkLab::from(one(&onto(DVec3::new(0.0, 0.3, 0.0), 1.0), grey, [0.5; 2]));
        assert!((got.l - own.l).abs() < 2e-3, "lightness stays: {got:?}");
        assert!(got.a > 0.1 && got.b.abs() < 0.01, "the hue asked for, as far as it can be shown: {got:?}");
        let half = one(&onto(DVec3::X * 0.1, 0.5), grey, [0.5; 2]);
        assert!((OkLab::from(half).l - own.l - 0.05).abs() < 1e-4, "half the way");
        assert_eq!(one(&onto(DVec3::X, 0.0), grey, [0.5; 2]), grey, "strength 0 keeps every bit");
    }

    #[test]
    fn what_varies_is_added_where_it_lies() {
        let known = BTreeMap::from([(16 * 32, ([0.1, 0.0, 0.0], 1e6)), (16 * 32 + 31, ([-0.1, 0.0, 0.0], 1e6))]);
        let onto = OntoCloth { varies: Field::through(&known), ..onto(DVec3::ZERO, 1.0) };
        let light = |u: f32| OkLab::from(one(&onto, LinearRgb([0.2; 3]), [u, 16.5 / 32.0])).l;
        assert!((light(0.5 / 32.0) - light(31.5 / 32.0) - 0.2).abs() < 1e-3, "{} {}", light(0.0), light(1.0));
    }
}
