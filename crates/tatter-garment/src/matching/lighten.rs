//! From dark cloth to light, and from one hue to another. A dye is made many times lighter then, or what little of it shows in one channel
//! is told by another, and with it grows every error of telling how much of it a colour holds: pale threads come out lighter than any fibre,
//! or more colourful than the cloth. What is sure is that cloth becomes cloth and bare fibre bare fibre; colours between the two stay between
//! them.

use glam::Vec3;
use tatter_core::color::OkLab;
use tatter_core::image::LinearRgb;

use super::cloth::{Axis, TOGETHER};

/// Cloth as many times as light as the patch's in any channel, or than in another channel, from which on this is done in part, and altogether.
const LIGHTER: (f32, f32) = (1.5, 3.0);
/// Where bare fibre lies so many times as far from the new cloth as from the patch's, light on a thread begins to pass for bare fibre, and does
/// altogether: then hue alone is no reason. From pale cloth to dark.
const FARTHER: (f32, f32) = (1.5, 1.8);
/// What is darker counts as no darker than this.
const DARK: f32 = 0.01;
/// Fibre nearer than this to its cloth, OKLab, tells nothing.
const APART: f32 = 0.05;

/// Places in OKLab.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Lightened {
    own: Vec3,
    new: Vec3,
    /// From the patch's cloth to its bare fibre, and from the new cloth to its own.
    fibre: Vec3,
    new_fibre: Vec3,
    /// How much of it is done, 0..1.
    pub(super) share: f32,
}

impl Lightened {
    /// From one cloth to another; `fibres`: the bare fibre of both. `None` where the new cloth is
    /// neither lighter nor of another hue, or no bare fibre is known.
    pub(crate) fn new(own: LinearRgb, new: LinearRgb, fibres: Option<[LinearRgb; 2]>) -> Option<Self> {
        let times = [0, 1, 2].map(|i| new.0[i].max(DARK) / own.0[i].max(DARK));
        let [least, most] = [times.into_iter().fold(1.0, f32::min), times.into_iter().fold(0.0, f32::max)];
        let share = |times: f32| ((times / LIGHTER.0).ln() / (LIGHTER.1 / LIGHTER.0).ln()).clamp(0.0, 1.0);
        let [before, after] = fibres?;
        let (own, new) = (place(own), place(new));
        let (fibre, new_fibre) = (place(before) - own, place(after) - new);
        let told = 1.0 - ((new_fibre.length() / fibre.length().max(1e-6) - FARTHER.0) / (FARTHER.1 - FARTHER.0)).clamp(0.0, 1.0);
        let share = share(most).max(told * share(most / least));
        (share > 0.0 && fibre.length() > APART).then_some(Self { own, new, fibre, new_fibre, share })
    }

    /// Shares of bare fibre in some colours, which are taken out of them; as much as is `bare` by its hue at least, since fibre in shade
    /// is no dyed fibre.
    #[inline(always)]
    pub(super) fn take_fibre(&self, bare: &Axis, colors: &mut [Axis; 3]) -> Axis {
        let axis = self.fibre / self.fibre.length_squared();
        let mut shares = *bare;
        for (i, share) in shares.iter_mut().enumerate() {
            let color = Vec3::new(colors[0][i], colors[1][i], colors[2][i]);
            *share = (color - self.own).dot(axis).max(*share).min(1.0);
            let left = color - *share * self.fibre;
            (0..3).for_each(|k| colors[k][i] = left[k]);
        }
        shares
    }

    /// The new cloth's bare fibre put into what became of the rest, by those shares; light and shade of fibre, in what was `left`, stay, and
    /// no hue of the old dye does.
    #[inline(always)]
    pub(super) fn give_fibre(&self, shares: &Axis, left: &[Axis; 3], colors: &mut [Axis; 3]) {
        for (k, axis) in colors.iter_mut().enumerate() {
            for i in 0..TOGETHER {
                let shade = if k == 0 { left[0][i] - self.own.x } else { 0.0 };
                let fibre = self.new[k] + self.new_fibre[k] + shade;
                axis[i] += shares[i] * (fibre - axis[i]);
            }
        }
    }
}

fn place(color: LinearRgb) -> Vec3 {
    let OkLab { l, a, b } = OkLab::from(color);
    Vec3::new(l, a, b)
}

#[cfg(test)]
mod tests {
    use super::*;

    const NAVY: LinearRgb = LinearRgb([0.09, 0.11, 0.14]);
    const TAN: LinearRgb = LinearRgb([0.62, 0.39, 0.17]);

    fn moved(lightened: &Lightened, color: LinearRgb) -> Vec3 {
        let one = place(color);
        let mut left = [0, 1, 2].map(|k| [one[k]; TOGETHER]);
        let shares = lightened.take_fibre(&[0.0; TOGETHER], &mut left);
        // Intact cloth moves from the one to the other.
        let mut colors = [0, 1, 2].map(|k| left[k].map(|v| v + lightened.new[k] - lightened.own[k]));
        lightened.give_fibre(&shares, &left, &mut colors);
        Vec3::new(colors[0][0], colors[1][0], colors[2][0])
    }

    /// What covers a place in part is never lighter or darker than its parts (Murray 1936, "Monochrome reproduction in photoengraving":
    /// reflectances add by area): between dyed cloth and bare fibre nothing outshines both.
    #[test]
    fn mixtures_stay_between_cloth_and_fibre() {
        let (old, new) = (LinearRgb([0.45, 0.455, 0.43]), LinearRgb([0.62, 0.63, 0.59]));
        let lightened = Lightened::new(NAVY, TAN, Some([old, new])).unwrap();
        assert!((lightened.share - 1.0).abs() < 1e-6, "six times as light in red");
        assert!((moved(&lightened, NAVY) - place(TAN)).length() < 1e-5, "cloth becomes cloth");
        assert!((moved(&lightened, old) - place(new)).length() < 1e-5, "and fibre fibre");
        for step in 0..=10 {
            let by_area = |i: usize| NAVY.0[i] + (old.0[i] - NAVY.0[i]) * step as f32 / 10.0;
            let mixed = moved(&lightened, LinearRgb([0, 1, 2].map(by_area)));
            let (low, high) = (place(TAN).min(place(new)), place(TAN).max(place(new)));
            let out = (low - mixed).max(mixed - high).max(Vec3::ZERO).length();
            assert!(out < 0.02, "{step} tenths bare: {mixed}, {out} beyond its parts (the eye sees 0.02)");
        }
    }

    /// A dye's tints lie between it and its undyed fibre in hue; pale threads of a blue cloth that turn a green one's yellow do not (the
    /// tints of subtractive dyes: Murray as above, for bare and dyed fibre side by side).
    #[test]
    fn half_bare_blue_thread_is_half_bare_green_thread() {
        let (blue, green) = (LinearRgb([0.093, 0.109, 0.143]), LinearRgb([0.102, 0.156, 0.061]));
        let (old, new) = (LinearRgb([0.45, 0.455, 0.43]), LinearRgb([0.45, 0.455, 0.43]));
        let lightened = Lightened::new(blue, green, Some([old, new])).unwrap();
        assert!(lightened.share > 0.95, "as light, but of another hue: {}", lightened.share);
        let half = LinearRgb([0, 1, 2].map(|i| 0.5 * (blue.0[i] + old.0[i])));
        let chroma = |v: Vec3| v.y.hypot(v.z);
        let got = moved(&lightened, half);
        assert!(chroma(got) < 0.6 * chroma(place(green)), "{got}, the cloth {}", place(green));
        let ochre = LinearRgb([0.42, 0.26, 0.1]);
        let white = LinearRgb([0.75, 0.72, 0.66]);
        assert!(
            Lightened::new(ochre, LinearRgb([0.05, 0.05, 0.09]), Some([white, white])).is_none(),
            "lit ochre is not bare fibre"
        );
    }

    #[test]
    fn darker_cloth_and_unknown_fibre_are_left_to_the_dye() {
        let white = LinearRgb([0.7; 3]);
        assert!(Lightened::new(TAN, NAVY, Some([white, white])).is_none(), "darker in every channel");
        assert!(Lightened::new(NAVY, TAN, None).is_none(), "no fibre is known");
        assert!(Lightened::new(white, LinearRgb([0.9; 3]), Some([white, white])).is_none(), "its fibre is as its cloth");
    }
}
