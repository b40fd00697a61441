//! Alpha by sampling: which mix of a cloth colour and a backing colour explains a pixel best?

use tatter_core::image::{Image, LinearRgb, Rect, Unit};
use tatter_core::kernel::bleed;
use tatter_core::rng::Rng;

use super::surface::BackingModel;

/// Cloth colours tried everywhere.
const COLORS: usize = 10;
/// Shades of the cloth nearby that are tried: threads have lit and shaded flanks.
const SHADES: [f32; 4] = [0.55, 0.8, 1.0, 1.2];

/// Sampled alpha and its confidence for the part of a photo at `part`; `trimap` (of the part's size) is 0 backing, 1 cloth.
pub(super) fn sample(
    color: &Image<LinearRgb>,
    part: Rect,
    trimap: &Image<Unit>,
    backing: &BackingModel,
    seed: u64,
) -> (Image<Unit>, Image<Unit>) {
    let known = |value: f32| trimap.map(|t| if t.0 == value { 1.0 } else { 0.0 });
    let (cloth, behind) = (bleed(color, &known(1.0)), bleed(color, &known(0.0)));
    let palette = palette(color, trimap, seed);
    let unexplained = (3.0 * backing.spread()).powi(2).max(1e-5);
    let found = Image::from_fn(part.width, part.height, |x, y| {
        let t = trimap.get(x, y);
        if t.0 <= 0.0 || t.0 >= 1.0 {
            return LinearRgb([t.0, 1.0, 0.0]);
        }
        let pixel = color.get(x, y).0;
        let near = cloth.get(x, y).0;
        let model = backing.at((part.x + x) as f32 + 0.5, (part.y + y) as f32 + 0.5).0;
        let mut best = (f32::INFINITY, 0.5);
        for b in [model, behind.get(x, y).0] {
            let shades = SHADES.iter().map(|s| near.map(|v| v * s));
            for f in shades.chain(palette.iter().copied()) {
                let (cost, alpha) = explain(pixel, f, b);
                if cost < best.0 {
                    best = (cost, alpha);
                }
            }
        }
        LinearRgb([best.1, (-best.0 / (4.0 * unexplained)).exp(), 0.0])
    });
    (found.map(|v| Unit(v.0[0])), found.map(|v| Unit(v.0[1])))
}

/// What is left of the pixel after the best mix, divided by how far the two colours lie apart; and the mix.
fn explain(pixel: [f32; 3], f: [f32; 3], b: [f32; 3]) -> (f32, f32) {
    let along: [f32; 3] = std::array::from_fn(|c| f[c] - b[c]);
    let apart = along.iter().map(|v| v * v).sum::<f32>().max(1e-6);
    let alpha = ((0..3).map(|c| (pixel[c] - b[c]) * along[c]).sum::<f32>() / apart).clamp(0.0, 1.0);
    let left: f32 = (0..3).map(|c| (pixel[c] - b[c] - alpha * along[c]).powi(2)).sum();
    ((left + 1e-6) / apart.sqrt(), alpha)
}

/// The cloth's main colours, by a few rounds of k-means on some thousand cloth pixels.
fn palette(color: &Image<LinearRgb>, trimap: &Image<Unit>, seed: u64) -> Vec<[f32; 3]> {
    let cloth: Vec<[f32; 3]> = color.texels().iter().zip(trimap.texels()).filter(|(_, t)| t.0 >= 1.0).map(|(c, _)| c.0).collect();
    if cloth.is_empty() {
        return Vec::new();
    }
    let mut rng = Rng::new(seed ^ 0x5A4D);
    let picked: Vec<[f32; 3]> = (0..3000).map(|_| cloth[rng.below(cloth.len())]).collect();
    let mut centers: Vec<[f32; 3]> = picked[..COLORS].to_vec();
    let gap = |a: &[f32; 3], b: &[f32; 3]| (0..3).map(|c| (a[c] - b[c]).powi(2)).sum::<f32>();
    for _ in 0..6 {
        let mut sums = [[0.0f32; 4]; COLORS];
        for p in &picked {
            let k = (0..COLORS).min_by(|&a, &b| gap(p, &centers[a]).total_cmp(&gap(p, &centers[b]))).unwrap_or(0);
            for c in 0..3 {
                sums[k][c] += p[c];
            }
            sums[k][3] += 1.0;
        }
        for (center, sum) in centers.iter_mut().zip(&sums) {
            if sum[3] > 0.0 {
                *center = std::array::from_fn(|c| sum[c] / sum[3]);
            }
        }
    }
    centers
}

#[cfg(test)]
mod tests {
    use super::explain;

    #[test]
    fn the_worked_mixes_of_the_triangulation_table() {
        // Smith, Blinn 1996: alpha 0.35 over (.85, .85, .83) with premultiplied colour (.035, .056, .1225).
        let (cost, alpha) = explain([0.5875, 0.6085, 0.662], [0.1, 0.16, 0.35], [0.85, 0.85, 0.83]);
        assert!((alpha - 0.35).abs() < 1e-4 && cost < 1e-5, "alpha {alpha}, cost {cost}");
    }
}
