//! How strongly a photo is grained.

use tatter_core::image::{Image, LinearRgb};
use tatter_core::stats::quantile;

/// Sensor noise that grows with light as photon noise does: variance = `gain` × (light + [`FLOOR`]), linear light.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Noise {
    gain: f32,
}

/// Light at which read-out noise equals photon noise.
const FLOOR: f32 = 0.01;
/// The quietest photo believed: deviation 0.002 at light 0.2, about what 8 bits leave.
const LEAST_GAIN: f32 = 2e-5;
/// The grainiest photo believed: deviation 0.02 at light 0.2. Texture of the cloth itself reads as noise.
const MOST_GAIN: f32 = 2e-3;

impl Noise {
    /// From second differences in both directions (Immerkaer, "Fast Noise Variance Estimation", 1996), of which the quietest
    /// fifth shows no texture.
    pub(super) fn of(color: &Image<LinearRgb>) -> Self {
        let (width, height) = (color.width(), color.height());
        let step = (width * height / 20_000).max(1);
        let mut quiet: Vec<f32> = (0..width * height)
            .step_by(step)
            .map(|i| (i % width, i / width))
            .filter(|&(x, y)| x > 0 && y > 0 && x + 1 < width && y + 1 < height)
            .map(|(x, y)| {
                let at = |dx: usize, dy: usize| color.get(x + dx - 1, y + dy - 1).0[1];
                let corners = at(0, 0) + at(2, 0) + at(0, 2) + at(2, 2);
                let edges = at(1, 0) + at(0, 1) + at(2, 1) + at(1, 2);
                (corners - 2.0 * edges + 4.0 * at(1, 1)).abs() / (6.0 * (at(1, 1).max(0.0) + FLOOR).sqrt())
            })
            .collect();
        // A fifth of a normal distribution lies within 0.2533 deviations.
        let deviation = if quiet.is_empty() { 0.0 } else { quantile(&mut quiet, 0.2) / 0.2533 };
        Self { gain: (deviation * deviation).clamp(LEAST_GAIN, MOST_GAIN) }
    }

    /// Variance of a channel that shows this much light.
    pub(super) fn variance(self, light: f32) -> f32 {
        self.gain * (light.max(0.0) + FLOOR)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use tatter_core::rng::hash_unit;

    #[test]
    fn uniform_grain_is_measured() {
        // A uniform distribution of width w has variance w^2 / 12; the mask's sum of nine is nearly normal.
        let wide = 0.04;
        let grain = |x: usize, y: usize, c: u64| wide * (hash_unit(c, x as u32, y as u32) - 0.5);
        let color = Image::from_fn(200, 200, |x, y| LinearRgb([0, 1, 2].map(|c| 0.3 + 0.001 * x as f32 + grain(x, y, c))));
        let got = Noise::of(&color).variance(0.4) / (wide * wide / 12.0);
        assert!((got - 1.0).abs() < 0.15, "the measured variance is {got} times the true one");
    }
}
