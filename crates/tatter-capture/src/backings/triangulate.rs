//! Triangulation matting: the one alpha and colour that explain a pixel over two known backings.

use tatter_core::image::LinearRgb;

/// What a pixel over two backings parts into.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct PixelMatte {
    /// Share of the backing's light that comes through, 1 − alpha; noise takes it below 0 and above 1.
    pub through: f32,
    /// Colour of what lies in front, premultiplied by alpha, linear light; noise may take it below 0.
    pub front: LinearRgb,
    /// What neither explains: how far the difference of the two shots is from the line between the backings, linear light.
    pub off: f32,
}

/// Part a pixel by least squares over red, green and blue: `1 − alpha = (I1 − I2)·(B1 − B2) / |B1 − B2|²`,
/// `alpha F` the mean over the shots of `I − (1 − alpha) B` (Smith, Blinn, "Blue Screen Matting", 1996, theorem 4).
///
/// Noise of `s` a channel in either shot makes the deviation of alpha `s √2 / |B1 − B2|`.
#[must_use]
pub fn triangulate(shots: [LinearRgb; 2], backings: [LinearRgb; 2]) -> PixelMatte {
    let apart: [f32; 3] = std::array::from_fn(|c| backings[0].0[c] - backings[1].0[c]);
    let seen: [f32; 3] = std::array::from_fn(|c| shots[0].0[c] - shots[1].0[c]);
    let square = apart.iter().map(|v| v * v).sum::<f32>().max(1e-12);
    let through = seen.iter().zip(apart).map(|(s, a)| s * a).sum::<f32>() / square;
    let off = (0..3).map(|c| (seen[c] - through * apart[c]).powi(2)).sum::<f32>().sqrt();
    PixelMatte { through, front: front(shots, backings, through), off }
}

/// Premultiplied colour of what lies in front when that share of the backings comes through.
#[must_use]
pub(super) fn front(shots: [LinearRgb; 2], backings: [LinearRgb; 2], through: f32) -> LinearRgb {
    let left = |k: usize, c: usize| shots[k].0[c] - through * backings[k].0[c];
    LinearRgb(std::array::from_fn(|c| 0.5 * (left(0, c) + left(1, c))))
}

#[cfg(test)]
mod tests {
    use super::*;

    /// `triangulation_matting.csv` of the project checks: B1, B2, I1, I2, alpha, alpha F, computed there by a script of its own.
    const WORKED: [[f32; 16]; 4] = [
        [0.85, 0.85, 0.83, 0.02, 0.02, 0.02, 0.5875, 0.6085, 0.662, 0.048, 0.069, 0.1355, 0.35, 0.035, 0.056, 0.1225],
        [0.9, 0.9, 0.9, 0.03, 0.03, 0.03, 0.6, 0.5, 0.4, 0.6, 0.5, 0.4, 1.0, 0.6, 0.5, 0.4],
        [0.9, 0.9, 0.9, 0.03, 0.03, 0.03, 0.9, 0.9, 0.9, 0.03, 0.03, 0.03, 0.0, 0.0, 0.0, 0.0],
        [0.85, 0.85, 0.83, 0.02, 0.02, 0.02, 0.186, 0.186, 0.182, 0.02, 0.02, 0.02, 0.8, 0.016, 0.016, 0.016],
    ];

    #[test]
    fn worked_examples_come_out_to_a_millionth() {
        for row in WORKED {
            let rgb = |at: usize| LinearRgb([row[at], row[at + 1], row[at + 2]]);
            let parted = triangulate([rgb(6), rgb(9)], [rgb(0), rgb(3)]);
            let alpha_off = (1.0 - parted.through - row[12]).abs();
            let front_off = (0..3).map(|c| (parted.front.0[c] - row[13 + c]).abs()).fold(0.0, f32::max);
            assert!(alpha_off < 1e-6 && front_off < 1e-6, "alpha {}: off {alpha_off}, colour off {front_off}", row[12]);
        }
    }

    /// The deviation of the paper's formula under noise, by propagation: s √2 / |B1 − B2|.
    #[test]
    fn noise_spreads_alpha_as_it_must() {
        let (cards, s) = ([LinearRgb([0.85; 3]), LinearRgb([0.02; 3])], 0.01f32);
        let mut squares = 0.0;
        let rounds = 20_000;
        for i in 0..rounds {
            // Twelve uniform numbers less six have the deviation 1 (central limit theorem).
            let noise = |k: u64| (0..12).map(|j| tatter_core::rng::hash_unit(k, i, j)).sum::<f32>() - 6.0;
            let shot = |k: u64, card: LinearRgb| LinearRgb([0, 1, 2].map(|c| card.0[c] + s * noise(10 * k + c as u64)));
            let through = triangulate([shot(1, cards[0]), shot(2, cards[1])], cards).through;
            squares += (through - 1.0).powi(2);
        }
        let (got, want) = ((squares / rounds as f32).sqrt(), s * 2.0f32.sqrt() / (3.0f32.sqrt() * 0.83));
        assert!((got / want - 1.0).abs() < 0.03, "deviation {got}, by the formula {want}");
    }
}
