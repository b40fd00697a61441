//! Whether normals and heights tell of one surface.

use tatter_core::image::{HeightMm, Image, Normal};

/// Sums for two correlations: slopes as the normals say against slopes as the heights say, across and up.
#[derive(Clone, Copy, Debug, Default)]
pub(super) struct Agreement {
    across: Sums,
    up: Sums,
}

#[derive(Clone, Copy, Debug, Default)]
struct Sums {
    n: f64,
    x: f64,
    y: f64,
    xx: f64,
    yy: f64,
    xy: f64,
}

impl Sums {
    fn add(&mut self, x: f64, y: f64) {
        self.n += 1.0;
        self.x += x;
        self.y += y;
        self.xx += x * x;
        self.yy += y * y;
        self.xy += x * y;
    }

    /// Pearson's correlation; `None` when one side does not vary.
    fn correlation(&self) -> Option<f64> {
        let n = self.n.max(1.0);
        let (vx, vy) = (self.xx / n - (self.x / n).powi(2), self.yy / n - (self.y / n).powi(2));
        let varies = |v: f64, square: f64| v > 1e-12 && v > 1e-9 * square / n;
        (self.n > 100.0 && varies(vx, self.xx) && varies(vy, self.yy))
            .then(|| (self.xy / n - self.x * self.y / (n * n)) / (vx * vy).sqrt())
    }
}

/// What the correlations mean.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) enum Verdict {
    /// One surface, or too flat to tell.
    Agree,
    /// Green points the wrong way.
    WrongY,
    /// Red points the wrong way.
    WrongX,
    /// Two different surfaces.
    Differ(f64),
}

impl Agreement {
    /// Add a window where `counts` says which texels count. `scale` is mm a texel, or anything constant.
    pub(super) fn add(&mut self, height: &Image<HeightMm>, normal: &Image<Normal>, counts: impl Fn(usize, usize) -> bool) {
        for y in 1..height.height().saturating_sub(1) {
            for x in 1..height.width().saturating_sub(1) {
                if !counts(x, y) {
                    continue;
                }
                let (p, q) = normal.get(x, y).slopes();
                let h = |x: usize, y: usize| f64::from(height.get(x, y).0);
                // Slopes beyond 76 degrees would decide alone.
                let bounded = |v: f32| f64::from(v.clamp(-4.0, 4.0));
                self.across.add(bounded(p), h(x + 1, y) - h(x - 1, y));
                self.up.add(bounded(q), h(x, y - 1) - h(x, y + 1));
            }
        }
    }

    /// Correlation below -0.25 is a sign turned round, between that and 0.25 no relation. A height and a normal made from it
    /// measure above 0.7 even when stored in 8 bits or filtered differently (tried on three scanned cloths: 0.75 to 0.95).
    pub(super) fn verdict(&self) -> Verdict {
        let (Some(across), Some(up)) = (self.across.correlation(), self.up.correlation()) else { return Verdict::Agree };
        match (across, up) {
            (a, u) if a > 0.25 && u < -0.25 => Verdict::WrongY,
            (a, u) if a < -0.25 && u > 0.25 => Verdict::WrongX,
            (a, u) if a.min(u) < 0.25 => Verdict::Differ(a.min(u)),
            _ => Verdict::Agree,
        }
    }
}
