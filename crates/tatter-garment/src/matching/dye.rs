//! The dye of a patch: its fibre without dye, its cloth with, and how much dye any of its colours shows.

use tatter_core::color::{OkLab, absorption, reflectance};
use tatter_core::image::LinearRgb;

/// Cotton that was neither bleached nor dyed, where a patch shows no fibre without dye: CIELAB about 84, 1, 14 (common
/// practice, no source).
pub(crate) const ECRU: LinearRgb = LinearRgb([0.70, 0.63, 0.50]);

/// Darkest and lightest reflectance: keeps K/S between 0.0002 and 250.
const DARKEST: f32 = 0.002;
pub(super) const LIGHTEST: f32 = 0.98;

/// The most dye a colour is taken to hold, in the cloth's own measure; what is darker still is shade.
pub(super) const MOST: f32 = 1.5;

/// How far a colour strays from fibre and dye by grain, noise and other dyes, in the logarithm of reflectance.
const NOISE: f32 = 0.12;
/// How far light and shade differ between threads, likewise.
const SHADE: f32 = 0.35;
/// How far the amount of dye strays from the cloth's: what decides where colour cannot tell, as on cloth hardly dyed.
const AMOUNT: f32 = 0.6;

/// Nodes along each axis of the table of amounts, which are even steps of the root of reflectance.
const NODES: usize = 33;
/// Steps of dye tried for each node.
const STEPS: usize = 31;

/// A texel of bare fibre at amount 0, none of it from this amount on: what lies between is noise, or the edge of a thread.
const BARE: f32 = 0.4;

/// A fibre and a dye, as K/S of each channel, with the amount of dye in every colour tabled.
#[derive(Clone, Debug)]
pub(crate) struct Dye {
    /// Fibre without dye.
    pub(super) undyed: [f32; 3],
    /// The cloth: fibre with dye in the amount 1.
    pub(super) dyed: [f32; 3],
    amounts: Vec<f32>,
    /// Colour of bare fibre for a luminance of one, and its luminance; `None` when the patch shows none.
    bare: Option<([f32; 3], f32)>,
}

/// A colour as the light of bare fibre and of dyed fibre, side by side in one texel.
#[derive(Clone, Copy, Debug)]
pub(super) struct Parts {
    pub(super) bare: [f32; 3],
    /// What is left, as bright as it is.
    pub(super) dyed: [f32; 3],
    /// How much dye that holds.
    pub(super) amount: f32,
}

/// K/S of a reflectance, bounded for the very dark and the white.
pub(crate) fn bounded(r: f32) -> f32 {
    absorption(r.clamp(DARKEST, LIGHTEST))
}

impl Dye {
    /// Of a cloth and the fibre seen in it that took no dye; without such a fibre it is taken for [`ECRU`]. 36 000 nodes,
    /// about 5 ms.
    pub(crate) fn new(cloth: LinearRgb, seen: Option<LinearRgb>) -> Self {
        let bare = seen.map(|c| (c.0.map(|v| v / c.luminance()), c.luminance()));
        let undyed = seen.unwrap_or(ECRU);
        let dyed = cloth.0.map(bounded);
        // No dye makes a fibre lighter.
        let undyed = std::array::from_fn(|i| bounded(undyed.0[i]).min(dyed[i]));
        let step = |s: usize| MOST * s as f32 / (STEPS - 1) as f32;
        let tints: Vec<(f32, [f32; 3])> = (0..STEPS).map(|s| (step(s), mixed(undyed, dyed, step(s)).map(f32::ln))).collect();
        let light = |i: usize| (i as f32 / (NODES - 1) as f32).powi(2).max(DARKEST).ln();
        let lights: Vec<f32> = (0..NODES).map(light).collect();
        let mut amounts = Vec::with_capacity(NODES * NODES * NODES);
        for b in &lights {
            for g in &lights {
                amounts.extend(lights.iter().map(|r| explain([*r, *g, *b], &tints)));
            }
        }
        Self { undyed, dyed, amounts, bare }
    }

    /// The luminance in a texel of the patch that comes from bare fibre. It is found texel by texel before any are averaged:
    /// a white thread beside a blue one is not a thread dyed half.
    #[inline]
    pub(crate) fn bare_luminance(&self, color: LinearRgb) -> f32 {
        match self.bare {
            None => 0.0,
            Some(_) => color.luminance() * (1.0 - self.amount(color) / BARE).clamp(0.0, 1.0),
        }
    }

    /// Colour of bare fibre, if the patch shows any.
    pub(super) fn fibre(&self) -> Option<[f32; 3]> {
        self.bare.map(|(tint, luminance)| tint.map(|v| v * luminance))
    }

    /// Share of an area that bare fibre of that luminance covers.
    #[inline]
    pub(super) fn bare_area(&self, bare_luminance: f32) -> f32 {
        self.bare.map_or(0.0, |(_, full)| (bare_luminance / full).clamp(0.0, 1.0))
    }

    /// A colour, averaged over texels, taken apart by the luminance of bare fibre in it.
    #[inline]
    pub(super) fn parts(&self, color: LinearRgb, bare_luminance: f32) -> Parts {
        let Some((tint, _)) = self.bare.filter(|_| bare_luminance > 0.0) else {
            return Parts { bare: [0.0; 3], dyed: color.0, amount: self.amount(color) };
        };
        let bare = std::array::from_fn(|i| (tint[i] * bare_luminance).min(color.0[i]));
        let dyed: [f32; 3] = std::array::from_fn(|i| color.0[i] - bare[i]);
        // The rest of the texel, by area; where hardly any is left its amount does not matter.
        let area = (1.0 - self.bare_area(bare_luminance)).max(0.05);
        Parts { bare, dyed, amount: self.amount(LinearRgb(dyed.map(|v| v / area))) }
    }

    /// How much dye a colour shows: 0 none, 1 as the cloth; the rest of the colour is shade.
    #[inline]
    pub(crate) fn amount(&self, color: LinearRgb) -> f32 {
        let at = color.0.map(|v| v.clamp(0.0, 1.0).sqrt() * (NODES - 1) as f32);
        let first = at.map(|v| (v as usize).min(NODES - 2));
        let [x, y, z]: [f32; 3] = std::array::from_fn(|i| at[i] - first[i] as f32);
        let start = (first[2] * NODES + first[1]) * NODES + first[0];
        let row = |offset: usize| {
            let i = start + offset;
            self.amounts[i] + (self.amounts[i + 1] - self.amounts[i]) * x
        };
        let plane = |offset: usize| {
            let (a, b) = (row(offset), row(offset + NODES));
            a + (b - a) * y
        };
        let (near, far) = (plane(0), plane(NODES * NODES));
        near + (far - near) * z
    }
}

/// What fibre with an amount of dye reflects.
#[inline]
pub(super) fn mixed(undyed: [f32; 3], dyed: [f32; 3], amount: f32) -> [f32; 3] {
    std::array::from_fn(|i| reflectance(undyed[i] + amount * (dyed[i] - undyed[i])))
}

/// The amount of dye that explains a colour best, its channels' logarithms given: least squares over fibre, dye and one
/// common shade, each as likely as its spread above says.
fn explain(color: [f32; 3], tints: &[(f32, [f32; 3])]) -> f32 {
    let cost = |(amount, tint): &(f32, [f32; 3])| {
        let off: [f32; 3] = std::array::from_fn(|i| color[i] - tint[i]);
        let (sum, squares) = (off[0] + off[1] + off[2], off.iter().map(|v| v * v).sum::<f32>());
        // The best shade put in, the rest is its cost.
        let unexplained = squares - sum * sum / (3.0 + (NOISE / SHADE).powi(2));
        unexplained / (NOISE * NOISE) + ((amount - 1.0) / AMOUNT).powi(2)
    };
    let costs: Vec<f32> = tints.iter().map(cost).collect();
    let best = (0..costs.len()).min_by(|&a, &b| costs[a].total_cmp(&costs[b])).unwrap_or_default();
    if best == 0 || best + 1 == costs.len() {
        return tints[best].0;
    }
    // The lowest point of the parabola through the three around it.
    let (left, middle, right) = (costs[best - 1], costs[best], costs[best + 1]);
    let bend = left - 2.0 * middle + right;
    let shift = if bend > 1e-9 { 0.5 * (left - right) / bend } else { 0.0 };
    tints[best].0 + shift * (tints[1].0 - tints[0].0)
}

/// Of an injury's colours, the fibre that took no dye: much lighter than the cloth and nearly without colour. `None` when
/// hardly any is seen.
pub(crate) fn undyed(injury: &[LinearRgb], cloth: LinearRgb) -> Option<LinearRgb> {
    /// Share of the injury that must be such fibre.
    const SEEN: f64 = 0.004;
    /// It holds at most this share of the cloth's K/S, in the geometric mean of the channels.
    const LIGHTER: f32 = 0.25;
    let chroma = |c: LinearRgb| {
        let lab = OkLab::from(c);
        lab.a.hypot(lab.b)
    };
    let limit = (0.6 * chroma(cloth)).max(0.04);
    let log = |c: LinearRgb| c.0.map(|v| bounded(v).max(1e-3).ln()).iter().sum::<f32>() / 3.0;
    let most = log(cloth) + LIGHTER.ln();
    let mut bare: Vec<LinearRgb> = injury.iter().copied().filter(|&c| chroma(c) < limit && log(c) < most).collect();
    if (bare.len() as f64) < (SEEN * injury.len() as f64).max(3.0) {
        return None;
    }
    // The lighter half: the others lie in shade or between dyed neighbours.
    bare.sort_by(|a, b| b.luminance().total_cmp(&a.luminance()));
    bare.truncate(bare.len().div_ceil(2));
    let n = bare.len() as f64;
    let mean = LinearRgb(std::array::from_fn(|i| (bare.iter().map(|c| f64::from(c.0[i])).sum::<f64>() / n) as f32));
    // Fibre as it grew or was bleached is white, grey or yellowish: what is blue of it is dye (common practice, no source).
    let lab = OkLab::from(mean);
    let LinearRgb(own) = LinearRgb::from(OkLab { b: lab.b.max(0.0), ..lab });
    Some(LinearRgb(own.map(|v| v.max(0.0))))
}

#[cfg(test)]
mod tests {
    use super::*;

    const WHITE: LinearRgb = LinearRgb([0.75, 0.72, 0.66]);
    const INDIGO: LinearRgb = LinearRgb([0.04, 0.07, 0.18]);

    /// Natural cotton and linen are yellowish, bleached ones neutral (common practice, no source).
    #[test]
    fn what_is_blue_of_bare_fibre_is_dye() {
        let pale = LinearRgb([0.40, 0.43, 0.52]);
        let injury: Vec<LinearRgb> = (0..200).map(|i| if i % 4 == 0 { pale } else { INDIGO }).collect();
        let lab = OkLab::from(undyed(&injury, INDIGO).unwrap());
        assert!(lab.b.abs() < 1e-3 && (lab.l - OkLab::from(pale).l).abs() < 1e-3, "as light, without its blue: {lab:?}");
        let ecru = LinearRgb([0.60, 0.55, 0.45]);
        let injury: Vec<LinearRgb> = (0..200).map(|i| if i % 4 == 0 { ecru } else { INDIGO }).collect();
        let kept = undyed(&injury, INDIGO).unwrap();
        assert!((0..3).all(|i| (kept.0[i] - ecru.0[i]).abs() < 1e-3), "yellow is the fibre's own: {kept:?}");
    }

    #[test]
    fn the_amount_of_dye_put_in_is_found_in_shade_and_light() {
        let dye = Dye::new(INDIGO, Some(WHITE));
        for amount in [0.0, 0.05, 0.2, 0.5, 1.0, 1.4] {
            for shade in [0.8, 1.0, 1.15] {
                let color = LinearRgb(mixed(dye.undyed, dye.dyed, amount).map(|v| v * shade));
                let got = dye.amount(color);
                // Where dye saturates, shade and amount look alike: a quarter of the amount is left open.
                assert!((got - amount).abs() < 0.05 + 0.25 * amount, "amount {amount} in shade {shade}: {got}");
            }
        }
        assert!((dye.amount(INDIGO) - 1.0).abs() < 0.02, "the cloth holds one: {}", dye.amount(INDIGO));
    }

    #[test]
    fn a_white_thread_beside_a_blue_one_is_two_parts() {
        let dye = Dye::new(INDIGO, Some(WHITE));
        let half = |a: LinearRgb, b: LinearRgb| LinearRgb(std::array::from_fn(|i| 0.5 * (a.0[i] + b.0[i])));
        let bare = 0.5 * (dye.bare_luminance(WHITE) + dye.bare_luminance(INDIGO));
        let Parts { bare, dyed, amount } = dye.parts(half(WHITE, INDIGO), bare);
        for i in 0..3 {
            assert!((bare[i] - 0.5 * WHITE.0[i]).abs() < 0.02, "half white: {bare:?}");
            assert!((dyed[i] - 0.5 * INDIGO.0[i]).abs() < 0.02, "half blue: {dyed:?}");
        }
        assert!((amount - 1.0).abs() < 0.2, "the blue thread is dyed through: {amount}");
        assert_eq!(Dye::new(INDIGO, None).bare_luminance(WHITE), 0.0, "no bare fibre where none is known");
    }

    #[test]
    fn black_and_white_cloth_are_bounded() {
        for (cloth, fibre) in [([0.0; 3], Some(WHITE)), ([1.0; 3], Some(WHITE)), ([0.9, 0.9, 0.88], None)] {
            let dye = Dye::new(LinearRgb(cloth), fibre);
            assert!(dye.amounts.iter().all(|a| (-0.05..=MOST + 0.05).contains(a)), "{cloth:?}: an amount is out of bounds");
            assert!(dye.dyed.iter().chain(&dye.undyed).all(|k| (0.0..300.0).contains(k)), "{cloth:?}: {:?}", dye.dyed);
        }
    }

    #[test]
    fn bare_fibre_is_told_from_lit_cloth() {
        let lit = |factor: f32| LinearRgb(INDIGO.0.map(|v| v * factor));
        let mut injury: Vec<LinearRgb> = (0..500).map(|i| lit(0.6 + 0.0015 * i as f32)).collect();
        assert_eq!(undyed(&injury, INDIGO), None, "lit blue cloth is no bare fibre");
        injury.extend((0..30).map(|i| LinearRgb(WHITE.0.map(|v| v * (0.9 + 0.004 * i as f32)))));
        let found = undyed(&injury, INDIGO).expect("thirty bare threads");
        assert!((0..3).all(|i| (found.0[i] - WHITE.0[i]).abs() < 0.05), "{found:?}");
        let beige = LinearRgb([0.45, 0.38, 0.28]);
        let injury: Vec<LinearRgb> = (0..500).map(|i| LinearRgb(beige.0.map(|v| v * (0.7 + 0.0013 * i as f32)))).collect();
        assert_eq!(undyed(&injury, beige), None, "the lit side of beige threads is no bare fibre");
    }
}
