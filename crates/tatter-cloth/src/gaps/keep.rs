//! Which openings are kept.

use tatter_core::image::Image;
use tatter_core::kernel::{Component, distance_to, label};
use tatter_core::stats::quantile;

/// Texels of an even place that make an opening sure.
const SEEDS: usize = 3;

/// Texels of a speck of backing as intact cloth shows it between its threads, one of the larger; 0 where the weave is tight.
pub(super) fn usual_speck(odds: &Image<f32>, reference: &Image<bool>) -> f32 {
    let (_, parts) = label(&odds.zip(reference, |o, r| r && o > 0.0));
    if parts.len() < 10 { 0.0 } else { quantile(&mut parts.iter().map(|p| p.area as f32).collect::<Vec<_>>(), 0.95) }
}

/// Close openings that hold no broad place, unless they lie beside one that does and are no mere speck: between the threads of
/// a loose weave a few texels of backing show everywhere, and the patch must not be more open than the cloth around.
pub(super) fn anchored(belief: &mut Image<f32>, broad: &Image<bool>, speck: f32, pitch: f32) {
    let (labels, parts) = label(&belief.map(|b| b > 0.0));
    let mut seeds = vec![0usize; parts.len()];
    for (&l, &e) in labels.texels().iter().zip(broad.texels()) {
        if l > 0 && e {
            seeds[l as usize - 1] += 1;
        }
    }
    let reach = distance_to(&labels.map(|l| l > 0 && seeds[l as usize - 1] >= SEEDS));
    let mut nearest = vec![f32::INFINITY; parts.len()];
    for (&l, &d) in labels.texels().iter().zip(reach.texels()) {
        if l > 0 {
            nearest[l as usize - 1] = nearest[l as usize - 1].min(d);
        }
    }
    let keeps: Vec<bool> =
        (0..parts.len()).map(|i| seeds[i] >= SEEDS || beside(&parts[i], nearest[i] / pitch, speck, pitch)).collect();
    *belief = belief.zip(&labels, |b, l| if l > 0 && !keeps[l as usize - 1] { -0.1 } else { b });
}

/// Whether an opening without a broad place counts, `away` thread spacings from one that has it.
fn beside(part: &Component, away: f32, speck: f32, pitch: f32) -> bool {
    let area = part.area as f32 / (pitch * pitch);
    let long = part.bounds.width.max(part.bounds.height) as f32 / pitch;
    let larger = part.area as f32 > 1.5 * speck;
    larger && ((away < 1.2 && (area >= 0.05 || long >= 0.6)) || (away < 4.0 && (area >= 0.15 || long >= 1.2)))
}
