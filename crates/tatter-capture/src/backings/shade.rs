//! Shadow of the cloth on its backing: an opening that lies in the shade is an opening still.
//!
//! A shadow dims both backings alike, so their difference alone cannot tell it from cloth. What is left when the backing is
//! taken away can: cloth leaves its own light, a shadow leaves none.

use std::f32::consts::FRAC_1_SQRT_2;

use tatter_core::image::{Image, LinearRgb};
use tatter_core::kernel::{bleed, dilate, soft, weighted};
use tatter_core::stats::{quantile, sample};

use super::triangulate::PixelMatte;

/// Pixels over which shade is the same.
const REACH: f32 = 2.0;
/// Pixels over which the cloth's own colour is looked for.
const CLOTH: f32 = 12.0;
/// Share of bare backing around a place from which its shade is seen there.
const SEEN: f32 = 0.1;
/// Less of a backing's light than this, or than so many deviations of noise, is too little to tell shade by.
const DEEPEST: (f32, f32) = (0.04, 5.0);
/// Deep shade reaches so many pixels from where it was seen; beyond, shade is no deeper than the second. The shade of a pore would
/// else run along the dark groove between two threads, whose noise it would raise to an opening.
const DEEP: (f32, f32) = (4.0, 0.3);
/// Share of the cloth's light that an opening may seem to have.
const OWN: f32 = 0.04;
/// Brightest and dimmest that whole cloth is, against that around it, at least and at most: crowns of threads in full light, fibres in the shade of
/// others. Cloth of several dyes has more of both.
const BRIGHTEST: f32 = 1.6;
const DIMMEST: f32 = 0.3;
const DARKEST: f32 = 0.05;
/// What comes through of a backing up to which cloth is whole.
const WHOLE: f32 = 0.03;
/// Deviation of how bright cloth is against that around it, at least.
const UNEVEN: f32 = 0.35;
/// Share of the cloth's light that noise may be for the cloth's light to tell anything.
const TOLD: f32 = 0.25;

/// The shade a backing lies in.
#[derive(Clone, Debug)]
pub(super) struct Shade {
    /// Share of its full light that the backing has at each pixel, 0..1.2, smooth.
    pub(super) level: Image<f32>,
    /// How far that was seen there, 0..1: on bare backing near by.
    pub(super) seen: Image<f32>,
    /// How bright a pixel is without the backing against the cloth around: alpha but for the cloth's own shading.
    pub(super) own: Image<f32>,
    /// Deviation of `own` by noise.
    pub(super) spread: Image<f32>,
    /// Deviation of `own` at whole cloth by its threads and dyes.
    pub(super) uneven: f32,
    /// Least and most that is open of a pixel, by the light of the cloth itself.
    pub(super) open: [Image<f32>; 2],
    /// Whether the cloth's light stands out from the noise. If not, the brightest places of an opening count as bare, and `own`
    /// is 0.
    pub(super) told: bool,
}

/// Find it. `noise` is the deviation of what comes through, `apart` the distance of the backings.
pub(super) fn shade(parted: &Image<PixelMatte>, noise: f32, apart: f32) -> Shade {
    let deepest = DEEPEST.0.max(DEEPEST.1 * noise);
    // Over a dark backing the front is all but the dark shot, so it has the noise of one shot, where the difference has that of two.
    let noise = noise * apart * FRAC_1_SQRT_2;
    let through = parted.map(|p| p.through);
    let cloth = parted.map(|p| if p.through < 0.15 { 1.0 } else { 0.0 });
    let usual = mean(parted, &cloth);
    let dye = weighted(&parted.map(|p| p.front), &cloth, CLOTH, usual);
    let strength = |c: LinearRgb| c.0.iter().map(|v| v * v).sum::<f32>().sqrt().max(1e-4);
    let told = noise < TOLD * strength(usual);
    let own = parted.zip(
        &dye,
        |p, f| {
            if told { (0..3).map(|c| p.front.0[c] * f.0[c]).sum::<f32>() / strength(f).powi(2) } else { 0.0 }
        },
    );
    let spread = dye.map(|dye| if told { noise / strength(dye) } else { 1.0 });
    let [dimmest, low, high, brightest] = of_cloth(&own, &through);
    let (dimmest, brightest, uneven) =
        (dimmest.clamp(DARKEST, DIMMEST), brightest.max(BRIGHTEST), (0.5 * (high - low)).max(UNEVEN));
    let open = own
        .zip(&spread, |own, s| [1.0 - own / dimmest - 2.0 * s, 1.0 - own / brightest + 2.0 * s].map(|open| open.clamp(0.0, 1.0)));
    let open = [0, 1].map(|end| open.map(|open| open[end]));
    let bare = if told {
        let limit = own.zip(&dye, |o, f| o < OWN + noise / strength(f));
        through.zip(&limit, |t, dim| if t > deepest && dim { 1.0 } else { 0.0 })
    } else {
        // The eighth power picks the brightest of a neighbourhood, smoothly.
        through.map(|t| if t > 0.5 { t.min(1.2).powi(8) } else { 0.0 })
    };
    let (light, count) = (soft(&through.zip(&bare, |t, b| t * b), REACH), soft(&bare, REACH));
    let level = light.zip(&count, |l, c| if c > 1e-5 { (l / c).clamp(0.03, 1.2) } else { 0.0 });
    let near = dilate(&bare.map(|b| b > 0.0), DEEP.0);
    let level = bleed(&level, &count.map(|c| (c / 0.05).min(1.0)));
    let seen = count.map(|c| (c / SEEN).min(1.0));
    let level = level.zip(&near, |l, near| if near { l } else { l.max(DEEP.1) });
    Shade { level, seen, own, spread, uneven, open, told }
}

/// How bright whole cloth is against that around it: that which a fiftieth is dimmer than, a sixth, five sixths, and all but a fiftieth.
fn of_cloth(own: &Image<f32>, through: &Image<f32>) -> [f32; 4] {
    let mut cloth = sample(own, &through.map(|t| if t < WHOLE { 1.0 } else { 0.0 }));
    [0.02, 0.16, 0.84, 0.98].map(|share| quantile(&mut cloth, share))
}

/// Mean colour of what has weight.
fn mean(parted: &Image<PixelMatte>, weight: &Image<f32>) -> LinearRgb {
    let mut sum = [0.0f64; 4];
    for (p, w) in parted.texels().iter().zip(weight.texels()) {
        for (total, value) in sum.iter_mut().zip(p.front.0) {
            *total += f64::from(value * w);
        }
        sum[3] += f64::from(*w);
    }
    LinearRgb([0, 1, 2].map(|c| (sum[c] / sum[3].max(1.0)) as f32))
}
