//! Single fibres: thinner than a texel, so they are laid on by exact coverage, not by samples.

use tatter_core::image::LinearRgb;

/// Share of a hair's height that shows in the relief of the thread beneath; all of it made dark scratches when lit.
pub(crate) const RELIEF_OF_HAIR: f32 = 0.3;
/// The same of nap, which lies so close that it is the surface.
pub(crate) const RELIEF_OF_NAP: f32 = 0.55;

/// A fibre as a chain of points.
#[derive(Clone, Debug)]
pub(crate) struct Fibre {
    /// x right, y down, z up, mm.
    pub(crate) points: Vec<[f32; 3]>,
    /// Diameter, mm.
    pub(crate) width: f32,
    /// Colour without light.
    pub(crate) color: LinearRgb,
    /// Number of the thread it belongs to.
    pub(crate) id: u32,
    /// Share of its height that shows in the relief of what it crosses.
    pub(crate) relief: f32,
}

impl Fibre {
    /// Left, top, right, bottom, mm.
    pub(crate) fn bounds(&self) -> [f32; 4] {
        let mut out = [f32::MAX, f32::MAX, f32::MIN, f32::MIN];
        for p in &self.points {
            out = [out[0].min(p[0]), out[1].min(p[1]), out[2].max(p[0]), out[3].max(p[1])];
        }
        [out[0] - self.width, out[1] - self.width, out[2] + self.width, out[3] + self.width]
    }
}

/// Share of a texel, at distance `d` from the middle of a line `w` wide (both in texels), that the line covers: exact for
/// lines along the grid, within some percent for others.
pub(super) fn coverage(d: f32, w: f32) -> f32 {
    let (low, high) = ((d - 0.5).max(-0.5 * w), (d + 0.5).min(0.5 * w));
    (high - low).clamp(0.0, 1.0)
}

#[cfg(test)]
mod tests {
    use super::coverage;

    #[test]
    fn coverage_sums_to_the_width() {
        for w in [0.1f32, 0.5, 0.9, 1.7] {
            for shift in [0.0f32, 0.3, 0.5] {
                let sum: f32 = (-5..=5).map(|k| coverage(k as f32 + shift, w)).sum();
                assert!((sum - w).abs() < 1e-5, "a line {w} wide, shifted {shift}, covers {sum}");
            }
        }
    }
}
