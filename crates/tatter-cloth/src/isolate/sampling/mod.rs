//! Alpha by sampling: is a pixel cloth in some shade, backing lit or in shadow, or a mix of the two?
//!
//! The candidates are known colours nearby (as in Gastal, Oliveira, "Shared Sampling for Real-Time Alpha Matting", 2010) and
//! the model of the backing; each explanation is weighed by how far it misses the pixel in deviations of the noise. Pixels
//! between what was found pure are then looked at again with the colours right beside them. What remains undecided has a low
//! confidence and is left to the Laplacian.

mod explain;
mod near;
mod noise;
mod rim;

use explain::{Behind, Expected, Judge, Verdict};
use near::Nearby;
use noise::Noise;
use tatter_capture::surface::BackingModel;
use tatter_core::image::{Image, LinearRgb, Rect, Unit};

/// Known cloth colours tried for a pixel.
const CLOTH: usize = 6;
/// Known backing colours tried for a pixel, beside the model.
const BACKING: usize = 4;
/// Undecidedness (variance of alpha) at which confidence is one half.
const UNDECIDED: f32 = 0.01;
/// Cost of the best explanation at which confidence has fallen to a third, squared deviations.
const UNEXPLAINED: f32 = 40.0;

/// Sampled alpha and its confidence for the part of a photo at `part`; `trimap` (of the part's size) is 0 backing, 1 cloth.
pub(super) fn sample(
    color: &Image<LinearRgb>,
    part: Rect,
    trimap: &Image<Unit>,
    backing: &BackingModel,
    seed: u64,
) -> (Image<Unit>, Image<Unit>) {
    let cloth = Nearby::<CLOTH>::new(color, |i| trimap.texels()[i].0 >= 1.0, seed);
    let behind = Nearby::<BACKING>::new(color, |i| trimap.texels()[i].0 <= 0.0, seed ^ 1);
    let judge = Judge::new(Noise::of(color), backing.spread());
    let found = Image::from_fn(part.width, part.height, |x, y| {
        let t = trimap.get(x, y);
        if t.0 <= 0.0 || t.0 >= 1.0 {
            return Verdict { alpha: t.0, variance: 0.0, cost: 0.0 };
        }
        let model = backing.at((part.x + x) as f32 + 0.5, (part.y + y) as f32 + 0.5).0;
        let behind = Behind { near: behind.colors(x, y), model: Some(model) };
        judge.explain(color.get(x, y).0, cloth.colors(x, y), behind, Expected::ANYWHERE)
    });
    let found = rim::again(color, trimap, &judge, &found);
    (found.map(|v| Unit(v.alpha)), found.map(|v| Unit(confidence(v))))
}

fn confidence(verdict: Verdict) -> f32 {
    UNDECIDED / (UNDECIDED + verdict.variance) * (-verdict.cost / UNEXPLAINED).exp()
}
