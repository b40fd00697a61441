//! Where the garment's own surface lies around a patch: what the patch's heights are relative to.

use tatter_core::channel::Channel;
use tatter_core::image::Stored;
use tatter_core::model::MapRole;

use super::around::drawn;
use super::plan::Draw;
use super::pyramid::Prepared;

/// A plane over the patch, mm: what of the garment's height varies slowly under it.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub(super) struct LocalHeight {
    /// Height in the canvas centre, mm, then change over one canvas width and one canvas height.
    coefficients: [f64; 3],
}

impl LocalHeight {
    /// At a place in shares of the canvas.
    pub(super) fn at(&self, [u, v]: [f32; 2]) -> f32 {
        let [c, across, down] = self.coefficients;
        (c + across * (f64::from(u) - 0.5) + down * (f64::from(v) - 0.5)) as f32
    }
}

/// About this many texels of the garment are looked at.
const SAMPLES: f64 = 10_000.0;

/// Fit a plane to the garment's pristine height on the rim of the cover (where the patch fades and just outside it), each
/// texel weighted by how much rim it is. Falls back to the mean under the cover when the cover has no rim on the garment.
pub(super) fn local_height(
    draws: &[Draw],
    prepared: &Prepared,
    size: (f64, f64),
    stored: &Stored,
    role: &MapRole,
) -> LocalHeight {
    let ring = &prepared.ring;
    let area: f64 = draws.iter().map(|d| (d.bounds.x1 - d.bounds.x0) as f64 * (d.bounds.y1 - d.bounds.y0) as f64).sum();
    let share = SAMPLES / area.max(1.0);
    let (mut rim, mut under) = (Fit::default(), Fit::default());
    for draw in draws {
        for y in draw.bounds.y0..draw.bounds.y1 {
            for (x, _) in drawn(draw.triangle.columns(y, draw.bounds.x0, draw.bounds.x1), y, share) {
                let (px, py) = draw.patch_at(x, y);
                let Some([cx, cy]) = prepared.cell(px, py) else { continue };
                let mm = f64::from(height_at(stored, role, x as usize, y as usize));
                let (dx, dy) = (px / size.0 - 0.5, py / size.1 - 0.5);
                rim.add(f64::from(ring.get(cx, cy)), dx, dy, mm);
                under.add(f64::from(prepared.coarse.get(cx, cy)), dx, dy, mm);
            }
        }
    }
    if rim.weight() > 20.0 { rim.plane() } else { under.mean() }
}

/// Height of a texel, mm.
pub(super) fn height_at(stored: &Stored, role: &MapRole, x: usize, y: usize) -> f32 {
    let range = role.coding.height_range;
    range.low_mm + stored.unit_at(x, y, &role.coding) * range.span_mm()
}

/// Sums for weighted least squares on 1, x, y.
#[derive(Default)]
struct Fit {
    moments: [f64; 6],
    values: [f64; 3],
}

impl Fit {
    fn add(&mut self, w: f64, x: f64, y: f64, value: f64) {
        for (slot, v) in self.moments.iter_mut().zip([1.0, x, y, x * x, x * y, y * y]) {
            *slot += w * v;
        }
        for (slot, v) in self.values.iter_mut().zip([1.0, x, y]) {
            *slot += w * v * value;
        }
    }

    const fn weight(&self) -> f64 {
        self.moments[0]
    }

    fn mean(&self) -> LocalHeight {
        let c = if self.weight() > 1e-9 { self.values[0] / self.weight() } else { 0.0 };
        LocalHeight { coefficients: [c, 0.0, 0.0] }
    }

    fn plane(&self) -> LocalHeight {
        let [n, x, y, xx, xy, yy] = self.moments;
        // A ring that lies on one side only cannot tell a slope: a little weight pulls it to level.
        let ridge = 1e-3 * n;
        let m = glam::DMat3::from_cols_array(&[n, x, y, x, xx + ridge, xy, y, xy, yy + ridge]);
        if m.determinant().abs() < 1e-12 * n.powi(3) {
            return self.mean();
        }
        LocalHeight { coefficients: (m.inverse() * glam::DVec3::from(self.values)).to_array() }
    }
}

/// The height file of a target with its role.
pub(super) fn height_role(roles: &[MapRole]) -> Option<&MapRole> {
    roles.iter().find(|role| role.channel == Channel::Height)
}
