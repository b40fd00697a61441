//! Colours as shade and tint, how often intact cloth shows each, and how noisy they are.

use tatter_core::image::{Image, LinearRgb, Pixel};
use tatter_core::stats::{quantile, stride};

/// A colour as `[ln Y, ln R/G, ln B/G]`: shade moves the first alone. What noise and leftover light add in the dark is kept
/// small by a floor under each channel.
pub(super) type Tint = LinearRgb;

/// From linear light to tints, and how noisy light is.
#[derive(Clone, Copy, Debug)]
pub(super) struct Scale {
    /// Added to each channel before its logarithm is taken.
    pub floor: f32,
    /// Variance of a channel's noise in the dark, and what a unit of light adds to it (photon noise).
    noise: [f32; 2],
}

/// Light at which noise is twice that in the dark, in variance: a share of mid grey that suits cameras in daylight.
const DARK: f32 = 0.03;

impl Scale {
    /// A first guess, from the evenest twentieth of the photo's texels: the same noise everywhere, too much in the dark.
    pub(super) fn guess(color: &Image<LinearRgb>) -> Self {
        let mut light: Vec<f32> = color.texels().iter().step_by(37).map(|c| c.luminance()).collect();
        let middle = quantile(&mut light, 0.5).max(1e-4);
        let rough = roughness(color, |_, _| true);
        let noise = quantile(&mut rough.into_iter().map(|(_, n)| n).collect::<Vec<_>>(), 0.25).min(0.03 * middle + 0.004);
        Self { floor: (2.0 * noise).max(0.03 * middle).max(5e-4), noise: [noise * noise, 0.0] }
    }

    /// From places known to be even; as it was where there are few.
    pub(super) fn refined(self, color: &Image<LinearRgb>, even: &Image<bool>) -> Self {
        let rough = roughness(color, |x, y| even.get(x, y));
        if rough.len() < 60 {
            return self;
        }
        // The median of squares is 0.455 of their mean for a Gaussian; blocks average four, which lifts it to 0.84.
        let rise = quantile(&mut rough.iter().map(|(l, n)| n * n / (DARK + l.max(0.0))).collect::<Vec<_>>(), 0.5);
        let still = DARK * rise;
        Self { floor: self.floor.max(2.0 * still.sqrt()), noise: [still, rise] }
    }

    pub(super) fn tint(self, color: LinearRgb) -> Tint {
        let [r, g, b] = color.0.map(|v| (v.max(0.0) + self.floor).ln());
        LinearRgb([(color.luminance().max(0.0) + self.floor).ln(), r - g, b - g])
    }

    /// Variance that noise gives to the light of a texel.
    pub(super) fn variance(self, light: f32) -> f32 {
        self.noise[0] + self.noise[1] * light.max(0.0)
    }

    /// Variances that noise gives to the tint of a colour, each of the three.
    pub(super) fn spread(self, color: LinearRgb) -> [f32; 3] {
        let noise = self.variance(color.luminance());
        let over = |v: f32| noise / (v.max(0.0) + self.floor).powi(2);
        let [r, g, b] = color.0.map(over);
        [over(color.luminance()), r + g, b + g]
    }
}

/// Light and deviation of the noise in blocks of 3 × 3 texels, from what a second derivative along both axes leaves
/// (Immerkaer, "Fast Noise Variance Estimation", 1996), averaged over four neighbours.
fn roughness(color: &Image<LinearRgb>, takes: impl Fn(usize, usize) -> bool) -> Vec<(f32, f32)> {
    let light = |x: usize, y: usize| color.get(x, y).0[1];
    let cross = |x: usize, y: usize| light(x - 1, y) + light(x + 1, y) + light(x, y - 1) + light(x, y + 1);
    let corner = |x: usize, y: usize| light(x - 1, y - 1) + light(x + 1, y - 1) + light(x - 1, y + 1) + light(x + 1, y + 1);
    let left = |x: usize, y: usize| (4.0 * light(x, y) - 2.0 * cross(x, y) + corner(x, y)).abs() / 6.0;
    let step = if color.size().area() > 1 << 18 { 5 } else { 3 };
    let mut found = Vec::new();
    for y in (2..color.height().saturating_sub(3)).step_by(step) {
        for x in (2..color.width().saturating_sub(3)).step_by(step) {
            if [(0, 0), (2, 0), (0, 2), (2, 2)].iter().all(|&(dx, dy)| takes(x + dx - 1, y + dy - 1)) {
                let sum = left(x, y) + left(x + 1, y) + left(x, y + 1) + left(x + 1, y + 1);
                found.push((light(x, y), std::f32::consts::FRAC_PI_2.sqrt() * sum / 4.0));
            }
        }
    }
    found
}

/// Bins of shade and of the two tints.
const BINS: [usize; 3] = [48, 32, 32];

/// How often intact cloth shows a tint, as a density over tints.
#[derive(Debug)]
pub(super) struct Palette {
    low: [f32; 3],
    width: [f32; 3],
    density: Vec<f32>,
}

impl Palette {
    /// From samples; none gives an even spread.
    pub(super) fn of(samples: &[Tint]) -> Self {
        let range = |i: usize| {
            let mut values: Vec<f32> = samples.iter().map(|s| s.0[i]).collect();
            let (a, b) = (quantile(&mut values, 0.002), quantile(&mut values, 0.998));
            let room = (0.15 * (b - a)).max([0.3, 0.1, 0.1][i]);
            (a - room, b + room)
        };
        let ranges = [range(0), range(1), range(2)];
        let low = ranges.map(|r| r.0);
        let width: [f32; 3] = std::array::from_fn(|i| (ranges[i].1 - ranges[i].0) / BINS[i] as f32);
        let mut counts = vec![0.0f32; BINS.iter().product()];
        let mut palette = Self { low, width, density: Vec::new() };
        for s in samples {
            if let Some(at) = palette.bin(*s) {
                counts[at] += 1.0;
            }
        }
        palette.density = softened(&counts);
        let each = 1.0 / (samples.len().max(1) as f32 * width.iter().product::<f32>());
        palette.density.iter_mut().for_each(|d| *d *= each);
        palette
    }

    fn bin(&self, tint: Tint) -> Option<usize> {
        let mut at = 0;
        for (i, bins) in BINS.into_iter().enumerate() {
            let place = ((tint.0[i] - self.low[i]) / self.width[i]).floor();
            if !(0.0..bins as f32).contains(&place) {
                return None;
            }
            at = at * bins + place as usize;
        }
        Some(at)
    }

    /// Density at a tint; 0 beyond what cloth shows.
    pub(super) fn density(&self, tint: Tint) -> f32 {
        self.bin(tint).map_or(0.0, |at| self.density[at])
    }
}

/// Counts spread over neighbouring bins: what 60 000 samples leave empty by chance is not impossible.
fn softened(counts: &[f32]) -> Vec<f32> {
    const TAPS: [f32; 5] = [0.06, 0.24, 0.40, 0.24, 0.06];
    let mut now = counts.to_vec();
    for (axis, step) in [BINS[1] * BINS[2], BINS[2], 1].into_iter().enumerate() {
        let before = now.clone();
        for (at, value) in now.iter_mut().enumerate() {
            let place = at / step % BINS[axis];
            *value = (0..5)
                .filter(|&k| (place + k).checked_sub(2).is_some_and(|p| p < BINS[axis]))
                .map(|k| TAPS[k] * before[at + k * step - 2 * step])
                .sum();
        }
    }
    now
}

/// Values on a regular grid of the places where the mask is set, at most some 60 000.
pub(super) fn pick<P: Pixel>(values: &Image<P>, mask: &Image<bool>) -> Vec<P> {
    let step = stride(mask.texels().iter().filter(|&&m| m).count());
    let places = (0..mask.height()).flat_map(|y| (y % step..mask.width()).step_by(step).map(move |x| (x, y)));
    places.filter(|&(x, y)| mask.get(x, y)).map(|(x, y)| values.get(x, y)).collect()
}
