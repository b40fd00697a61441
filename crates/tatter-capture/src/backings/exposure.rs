//! The exposure tie: what one shot is to be multiplied by so that opaque cloth looks the same in both.

use tatter_core::image::{Image, LinearRgb};
use tatter_core::stats::stride;

use super::Shots;
use super::cards::greatest;

/// Share of the greatest difference between the shots below which a pixel may be opaque cloth: a first guess may be
/// mistaken by a quarter of full light.
const FIRST: f32 = 0.25;
/// The same once the exposures are tied: thin cloth is left out.
const TIED: f32 = 0.08;
/// Darker than this, linear light, a ratio is noise.
const DARK: f32 = 0.01;
/// Fewer opaque pixels than this share of the picture tie nothing.
const LEAST: f32 = 0.01;

/// Factors, one a channel, that bring the dark shot to the light one on opaque cloth, and the share of the picture that is
/// opaque; `None` where too little is.
///
/// The commonest ratio counts, not the mean one: pores and thin places all pull one way.
pub(super) fn tie(shots: &Shots<'_>, greatest: f32) -> Option<([f32; 3], f32)> {
    let mut gain = [1.0; 3];
    let mut share = 0.0;
    for limit in [FIRST, TIED, TIED] {
        let ratios = ratios(shots, gain, limit * greatest);
        share = ratios.1;
        if share < LEAST {
            return None;
        }
        gain = ratios.0.map(|mut r| commonest(&mut r).exp());
    }
    Some((gain, share))
}

/// Logs of light over dark for pixels that differ by less than `limit`, and their share.
fn ratios(shots: &Shots<'_>, gain: [f32; 3], limit: f32) -> ([Vec<f32>; 3], f32) {
    let (light, dark) = (shots.light, shots.dark);
    let step = stride(light.size().area());
    let mut logs: [Vec<f32>; 3] = Default::default();
    let (mut asked, mut taken) = (0u32, 0u32);
    for y in (step / 2..light.height()).step_by(step) {
        for x in (step / 2..light.width()).step_by(step).filter(|&x| shots.both.get(x, y)) {
            asked += 1;
            let (l, d) = (light.get(x, y).0, dark.get(x, y).0);
            let off = (0..3).map(|c| (l[c] - gain[c] * d[c]).powi(2)).sum::<f32>().sqrt();
            if off > limit {
                continue;
            }
            taken += 1;
            for (logs, (l, d)) in logs.iter_mut().zip(l.into_iter().zip(d)) {
                if l > DARK && d > DARK {
                    logs.push((l / d).ln());
                }
            }
        }
    }
    (logs, taken as f32 / asked.max(1) as f32)
}

/// Half-sample mode (Bickel, Frühwirth, "On a Fast, Robust Estimator of the Mode", 2006); 0 of none.
fn commonest(values: &mut [f32]) -> f32 {
    values.sort_by(f32::total_cmp);
    let mut part = &*values;
    // Below some hundreds the shortest half jumps about; their mean is steadier.
    while part.len() > 400 {
        let half = part.len().div_ceil(2);
        let start = (0..=part.len() - half)
            .min_by(|a, b| (part[a + half - 1] - part[*a]).total_cmp(&(part[b + half - 1] - part[*b])))
            .unwrap_or(0);
        part = &part[start..start + half];
    }
    part.iter().sum::<f32>() / part.len().max(1) as f32
}

/// The dark shot at the light one's exposure where they can be tied, and the greatest difference of the shots as they came.
pub(super) fn evened(shots: &Shots<'_>) -> (Image<LinearRgb>, f32) {
    let greatest = greatest(shots);
    (exposed(shots.dark, gain(shots, greatest)), greatest)
}

/// What the dark shot is to be multiplied by, 1 where they can't be tied.
pub(super) fn gain(shots: &Shots<'_>, greatest: f32) -> [f32; 3] {
    tie(shots, greatest).map_or([1.0; 3], |(gain, _)| gain)
}

/// The dark shot at the light one's exposure.
pub(super) fn exposed(dark: &Image<LinearRgb>, gain: [f32; 3]) -> Image<LinearRgb> {
    dark.map(|c| LinearRgb([0, 1, 2].map(|i| c.0[i] * gain[i])))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn pores_do_not_move_the_tie() {
        let mut values: Vec<f32> = (0..4000u32)
            .map(|i| {
                let spread = 0.02 * (tatter_core::rng::hash_unit(5, i, 0) + tatter_core::rng::hash_unit(5, i, 1) - 1.0);
                if i % 3 == 0 { 0.1 + 0.4 * tatter_core::rng::hash_unit(5, i, 2) } else { -0.2 + spread }
            })
            .collect();
        let got = commonest(&mut values);
        assert!((got + 0.2).abs() < 0.004, "a third of pores leaves the mode at −0.2: {got}");
    }
}
