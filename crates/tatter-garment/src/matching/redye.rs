//! From one dye to another: what lacks dye stays, what is dyed takes the new dye in the same amount, light and shade stay.

use std::sync::Arc;

use tatter_core::color::reflectance;
use tatter_core::image::LinearRgb;

use super::dye::{Dye, LIGHTEST, MOST, Parts, bounded, mixed};

/// Steps of the table of gains.
const STEPS: usize = 64;

/// A patch's dye and, for every amount of it, the factor of each channel.
#[derive(Clone, Debug)]
pub(crate) struct Redye {
    dye: Arc<Dye>,
    gains: Vec<[f32; 3]>,
    /// How much lighter bare fibre becomes.
    bleached: f32,
}

/// One sample of the patch's cloth: its bare fibre, its dye, and what of its colour is shade.
struct Sample {
    bare: [f32; 3],
    amount: f32,
    shade: [f32; 3],
}

impl Redye {
    /// So that the patch's own cloth (colours and the luminance of bare fibre in each) has the mean colour `target`. The dye is
    /// found channel by channel: the mean falls steadily as dye is added.
    ///
    /// `shown` is the share of the cloth's bare fibre that the target shows too: of a target without any, dyed fibre alone has the
    /// mean colour. Cloth that is lighter than the patch's fibre in any channel was made of lighter fibre: the bare threads become as light.
    pub(crate) fn new(dye: Arc<Dye>, samples: &[(LinearRgb, f32)], target: LinearRgb, shown: f32) -> Self {
        let fibre = dye.fibre();
        let lighter = |fibre: [f32; 3]| {
            let most = (0..3).map(|i| target.0[i] / fibre[i].max(1e-3)).fold(1.0, f32::max);
            most.min(LIGHTEST / fibre.into_iter().fold(1e-3, f32::max)).max(1.0)
        };
        let bleached = fibre.map_or(1.0, lighter);
        let undyed = fibre.filter(|_| bleached > 1.0).map_or(dye.undyed, |fibre| fibre.map(|v| bounded(v * bleached)));
        let seen: Vec<Sample> = samples
            .iter()
            .map(|&(color, bare)| {
                let area = dye.bare_area(bare);
                let Parts { bare, dyed, amount } = dye.parts(color, bare);
                let own = mixed(dye.undyed, dye.dyed, amount);
                // Where bare fibre is not shown, dyed fibre lies in its place.
                let more = 1.0 + (1.0 - shown) * area / (1.0 - area).max(0.05);
                Sample {
                    bare: bare.map(|v| shown * bleached * v),
                    amount,
                    shade: std::array::from_fn(|i| more * dyed[i] / own[i]),
                }
            })
            .collect();
        let new: [f32; 3] = std::array::from_fn(|i| solve(&seen, i, undyed[i], target.0[i]));
        let gains = (0..STEPS)
            .map(|s| {
                let amount = MOST * s as f32 / (STEPS - 1) as f32;
                let own = mixed(dye.undyed, dye.dyed, amount);
                std::array::from_fn(|i| dyed(undyed[i], new[i], amount) / own[i])
            })
            .collect();
        Self { dye, gains, bleached }
    }

    /// Bare fibre as the patch shows it, and as the new cloth has it.
    pub(crate) fn fibres(&self) -> Option<[LinearRgb; 2]> {
        let own = self.dye.fibre()?;
        Some([LinearRgb(own), LinearRgb(own.map(|v| lit(v, self.bleached)))])
    }

    /// The colour in the new dye; `bare_luminance` is that of the bare fibre in it.
    #[inline]
    pub(crate) fn apply(&self, color: LinearRgb, bare_luminance: f32) -> LinearRgb {
        let Parts { bare, dyed, amount } = self.dye.parts(color, bare_luminance);
        let at = amount.clamp(0.0, MOST) * ((STEPS - 1) as f32 / MOST);
        let first = (at as usize).min(STEPS - 2);
        let (low, high, f) = (&self.gains[first], &self.gains[first + 1], at - first as f32);
        LinearRgb(std::array::from_fn(|i| lit(bare[i], self.bleached) + lit(dyed[i], low[i] + (high[i] - low[i]) * f)))
    }
}

/// A gain never makes white whiter.
#[inline]
fn lit(value: f32, gain: f32) -> f32 {
    if gain > 1.0 { (value * gain).min(value.max(1.0)) } else { value * gain }
}

/// What a fibre reflects with an amount of a dye whose cloth has K/S `dye`; cloth lighter than the fibre was bleached, and its
/// fibre with it.
fn dyed(undyed: f32, dye: f32, amount: f32) -> f32 {
    let undyed = undyed.min(dye);
    reflectance(undyed + amount * (dye - undyed))
}

/// K/S of the dye that gives the samples the mean `target`, by halving in reflectance.
fn solve(samples: &[Sample], channel: usize, undyed: f32, target: f32) -> f32 {
    let mean = |dye: f32| {
        let sum: f64 =
            samples.iter().map(|s| f64::from((s.bare[channel] + dyed(undyed, dye, s.amount) * s.shade[channel]).min(1.0))).sum();
        (sum / samples.len().max(1) as f64) as f32
    };
    let (mut dark, mut light) = (0.0f32, 1.0f32);
    for _ in 0..22 {
        let middle = 0.5 * (dark + light);
        if mean(bounded(middle)) < target { dark = middle } else { light = middle }
    }
    bounded(0.5 * (dark + light))
}

#[cfg(test)]
mod tests {
    use tatter_core::color::{Lab, ciede2000};
    use tatter_core::rng::Rng;

    use super::super::dye::ECRU;
    use super::*;

    const WHITE: LinearRgb = LinearRgb([0.75, 0.72, 0.66]);
    const INDIGO: LinearRgb = LinearRgb([0.04, 0.07, 0.18]);
    const MADDER: LinearRgb = LinearRgb([0.35, 0.05, 0.035]);

    fn cloth(mean: LinearRgb) -> Vec<LinearRgb> {
        let mut rng = Rng::new(4);
        let lit: Vec<f32> = (0..800).map(|_| (0.25 * rng.normal()).exp()).collect();
        let middle = lit.iter().sum::<f32>() / lit.len() as f32;
        lit.into_iter().map(|l| LinearRgb(mean.0.map(|v| (v * l / middle).min(1.0)))).collect()
    }

    fn redyed(dye: &Arc<Dye>, cloth: &[LinearRgb], target: LinearRgb) -> Redye {
        let samples: Vec<(LinearRgb, f32)> = cloth.iter().map(|&c| (c, dye.bare_luminance(c))).collect();
        Redye::new(dye.clone(), &samples, target, 1.0)
    }

    fn laid(redye: &Redye, color: LinearRgb) -> LinearRgb {
        redye.apply(color, redye.dye.bare_luminance(color))
    }

    fn mean(colors: impl Iterator<Item = LinearRgb>) -> LinearRgb {
        let all: Vec<LinearRgb> = colors.collect();
        LinearRgb(std::array::from_fn(|i| all.iter().map(|c| c.0[i]).sum::<f32>() / all.len() as f32))
    }

    fn far(a: LinearRgb, b: LinearRgb) -> f32 {
        ciede2000(Lab::from(a), Lab::from(b))
    }

    #[test]
    fn blue_turns_red_and_bare_cores_stay_white() {
        let dye = Arc::new(Dye::new(INDIGO, Some(WHITE)));
        let cloth = cloth(INDIGO);
        let redye = redyed(&dye, &cloth, MADDER);
        let shown = mean(cloth.iter().map(|&c| laid(&redye, c)));
        assert!(far(shown, MADDER) < 0.3, "the cloth is madder: {shown:?}, ΔE {}", far(shown, MADDER));
        let core = laid(&redye, WHITE);
        assert!(far(core, WHITE) < 1.5, "bare fibre stays white: {core:?}, ΔE {}", far(core, WHITE));
        let half = redye.apply(LinearRgb([0.23, 0.29, 0.40]), 0.0);
        assert!(half.0[0] > 1.3 * half.0[1] && half.0[1] > 0.15, "a half-worn thread turns pink: {half:?}");
    }

    #[test]
    fn its_own_colour_changes_nothing() {
        for own in [INDIGO, MADDER, WHITE, ECRU, LinearRgb([0.012, 0.011, 0.012])] {
            let cloth = cloth(own);
            let redye = redyed(&Arc::new(Dye::new(own, None)), &cloth, mean(cloth.iter().copied()));
            for &color in &cloth {
                let off = (0..3).map(|i| (laid(&redye, color).0[i] / color.0[i] - 1.0).abs()).fold(0.0, f32::max);
                assert!(off < 2e-3, "{own:?}: {color:?} changed by {off}");
            }
        }
    }

    #[test]
    fn black_white_and_beige_reach_every_cloth() {
        let all = [
            INDIGO,
            MADDER,
            WHITE,
            LinearRgb([0.45, 0.38, 0.28]),
            LinearRgb([0.02, 0.02, 0.022]),
            LinearRgb([0.85, 0.85, 0.84]),
            LinearRgb([0.005, 0.004, 0.005]),
        ];
        for own in all {
            let cloth = cloth(own);
            let dye = Arc::new(Dye::new(own, None));
            for target in all {
                let redye = redyed(&dye, &cloth, target);
                let shown: Vec<LinearRgb> = cloth.iter().map(|&c| laid(&redye, c)).collect();
                assert!(shown.iter().all(|c| c.0.iter().all(|v| (0.0..=1.001).contains(v))), "{own:?} to {target:?} leaves 0..1");
                let off = far(mean(shown.into_iter()), target);
                assert!(off < 1.5, "{own:?} to {target:?}: ΔE {off} (goal 1.5)");
            }
        }
    }
}
