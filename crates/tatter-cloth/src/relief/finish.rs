//! From a height of the threads to all maps: openings, colour, roughness.

use tatter_core::image::{HeightMm, Image, LinearRgb, Pixel as _, Unit};
use tatter_core::kernel::{distance_to, soft, weighted};
use tatter_core::stats::{quantile, sample};

/// Heights with openings let in: the threads' rims round off into the opening as a yarn does, `yarn_mm` deep at most.
pub(super) fn with_openings(threads: &Image<f32>, opacity: &Image<Unit>, yarn_mm: f32, yarn_px: f32) -> Image<HeightMm> {
    if opacity.texels().iter().all(|o| o.0 >= 0.5) {
        return threads.map(HeightMm);
    }
    let cloth = opacity.map(|o| if o.0 >= 0.5 { 1.0 } else { 0.0 });
    let held = weighted(threads, &cloth, (0.3 * yarn_px).max(1.0), -0.5 * yarn_mm);
    let away = distance_to(&opacity.map(|o| o.0 >= 0.5));
    let run = (0.75 * yarn_px).max(2.0);
    let size = (threads.width(), threads.height());
    let open = Image::from_fn(size.0, size.1, |x, y| {
        let t = (away.get(x, y) / run).min(1.0);
        let drop = t * t * (3.0 - 2.0 * t);
        if t <= 0.0 { threads.get(x, y) } else { held.get(x, y) * (1.0 - drop) - yarn_mm * drop }
    });
    // Half a texel of softness joins the two without a step.
    let joined = soft(&open, 0.8);
    let near = soft(&cloth, 1.2);
    Image::from_fn(size.0, size.1, |x, y| {
        let rim = (4.0 * near.get(x, y) * (1.0 - near.get(x, y))).clamp(0.0, 1.0);
        HeightMm(open.get(x, y) + (joined.get(x, y) - open.get(x, y)) * rim)
    })
}

/// How much of the relief's own shading, as far as it is no dye, leaves the colour. Over 80 made photos all of it gave
/// CIEDE2000 3.0 to the true dye, seven tenths 3.1: most of it, since what is left of a hollow's dark looks like cloth.
const UNSHADE: f32 = 0.9;

/// Colour without uneven light and without most of the relief's shading. Never more than 2.5 times brighter.
pub(super) fn unshaded(color: &Image<LinearRgb>, shade: &Image<f32>, slow: &Image<f32>, intact: &Image<f32>) -> Image<LinearRgb> {
    // Threads are as bright as their well-lit crowns: shading counts from there.
    let crown = 0.5 * quantile(&mut sample(shade, intact), 0.85);
    Image::from_fn(color.width(), color.height(), |x, y| {
        let gain = (UNSHADE * (crown - shade.get(x, y))).clamp(-0.6, 0.9) - slow.get(x, y);
        color.get(x, y).map_channels(|c| (c * gain.exp()).clamp(0.0, 1.0))
    })
}

trait MapChannels {
    fn map_channels(self, f: impl Fn(f32) -> f32) -> Self;
}

impl MapChannels for LinearRgb {
    fn map_channels(self, f: impl Fn(f32) -> f32) -> Self {
        Self(self.0.map(f))
    }
}

/// Roughness of plain cotton, linen or wool (common practice, no source); one photo cannot measure it.
const CLOTH: f32 = 0.84;

/// The cloth prior, up to 0.1 rougher where fibres stand out (texture finer than a thread is busier than on intact cloth).
pub(super) fn roughness(shade: &Image<f32>, weight: &Image<f32>, intact: &Image<f32>, pitch: f32) -> Image<Unit> {
    // Detail is how far a texel lies off its neighbours, gathered in cells of a sixth of a spacing.
    let (width, height) = (shade.width(), shade.height());
    let step = (0.1 * pitch).round().max(1.0) as isize;
    let cell = (pitch / 6.0).floor().max(1.0) as usize;
    let cells = Image::from_fn(width.div_ceil(cell), height.div_ceil(cell), |cx, cy| {
        let mut sum = LinearRgb([0.0; 3]);
        for y in cy * cell..((cy + 1) * cell).min(height) {
            for x in cx * cell..((cx + 1) * cell).min(width) {
                let (u, v) = (x as isize, y as isize);
                let around = [(step, 0), (-step, 0), (0, step), (0, -step)];
                let mean = 0.25 * around.iter().map(|(dx, dy)| shade.get_clamped(u + dx, v + dy)).sum::<f32>();
                let w = weight.get(x, y);
                sum = sum.plus(LinearRgb([(shade.get(x, y) - mean).abs(), 1.0, 0.0]), w);
            }
        }
        sum
    });
    let near = soft(&cells, 0.5 * pitch / cell as f32);
    let per_cell = 1.0 / cell as f32;
    let energy = Image::from_fn(width, height, |x, y| {
        let LinearRgb([sum, w, _]) = near.bilinear((x as f32 + 0.5) * per_cell, (y as f32 + 0.5) * per_cell);
        if w > 1e-4 { sum / w } else { 0.0 }
    });
    let usual = quantile(&mut sample(&energy, intact), 0.5).max(1e-4);
    energy.map(|e| Unit((CLOTH + 0.05 * (e / usual).max(0.05).ln()).clamp(CLOTH - 0.04, CLOTH + 0.1)))
}
