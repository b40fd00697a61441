//! How deep the relief of a placement is beside that of the cloth it lies on.

use tatter_core::channel::{Channel, Kind};
use tatter_core::image::{Map, Rect};

use super::around::Near;
use super::fit::{FitContext, same_place};
use super::plan::Target;
use super::rim::height_at;
use crate::matching::{PatchCloth, Seen, stray};

/// What becomes of the heights and slopes of a placement.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Depth {
    /// Factor of heights.
    height: f32,
    /// Factor of slopes: a normal map need not be as strong as the height map beside it.
    slope: f32,
    /// Nothing lies deeper than this, mm of the patch.
    floor_mm: f32,
}

/// Relief is changed by these factors at most: beyond them one of both maps is no relief of threads.
const GAIN: (f64, f64) = (0.25, 4.0);
/// A cloth is as thick as this many times what its face rises and falls: a face shows the upper of two layers of yarn (plain
/// weave is two yarn diameters thick; Peirce, "The geometry of cloth structure", 1937, from memory).
const LAYERS: f32 = 2.0;
/// Heights that stray less than this share of what the file can hold, and slopes less than this, are a map without threads.
const FLAT: (f64, f64) = (1.0 / 512.0, 0.005);
/// One of so many places around it is looked at for slopes: a normal costs more to read than a number.
const SPARSE: usize = 2;

impl Depth {
    /// As the patch has it.
    pub(super) const KEEP: Self = Self { height: 1.0, slope: 1.0, floor_mm: f32::NEG_INFINITY };

    /// With so much of it, 0..1.
    pub(super) fn in_part(&self, share: f32) -> Self {
        let of = |gain: f32| gain.powf(share);
        let floor_mm = if share > 0.0 { self.floor_mm } else { f32::NEG_INFINITY };
        Self { height: of(self.height), slope: of(self.slope), floor_mm }
    }

    /// A height of the patch as it is laid, mm.
    #[inline]
    pub(super) fn height(&self, mm: f32) -> f32 {
        mm.max(self.floor_mm) * self.height
    }

    /// A slope of the patch as it is laid.
    #[inline]
    pub(super) fn slope(&self, slope: f32) -> f32 {
        slope * self.slope
    }
}

/// What the garment's relief strays by around a placement, seen place by place.
#[derive(Debug, Default)]
pub(super) struct AroundRelief {
    heights: Seen<1>,
    slopes: Seen<2>,
    /// Largest span of a height file, mm.
    span_mm: f64,
}

impl FitContext<'_> {
    /// Adds what a target shows.
    pub(super) fn add_relief(&self, target: &Target, near: &[Near], seen: &mut AroundRelief) {
        if let Some((stored, role)) = self.role(target, Channel::Height) {
            seen.span_mm = seen.span_mm.max(f64::from(role.coding.height_range.span_mm()).abs());
            seen.heights.extend(near.iter().map(|n| {
                let [x, y] = same_place(n, target, stored);
                (n.at, [height_at(stored, role, x, y)])
            }));
        }
        if let Some((stored, role)) = self.role(target, Channel::Normal) {
            seen.slopes.extend(near.iter().step_by(SPARSE).filter_map(|n| {
                let [x, y] = same_place(n, target, stored);
                let Map::Normal(one) = stored.decode(Kind::Normal, &role.coding, Rect::new(x, y, 1, 1)) else { return None };
                let (right, up) = one.get(0, 0).slopes();
                Some((n.at, [right, up]))
            }));
        }
    }
}

/// The patch's relief, `enlargement` times as large as in the patch, as deep as the garment's around it: the threads of both stray as far
/// from the middle of their neighbourhood. A garment whose maps show no threads leaves the amplitude, not the floor.
pub(super) fn depth(cloth: &PatchCloth, around: &AroundRelief, enlargement: f64) -> Depth {
    let gain = |own: Option<f64>, there: Option<f64>, flat: f64| {
        let (own, there) = (own.filter(|own| *own > 0.0)?, there.filter(|there| *there > flat)?);
        Some((there / own).clamp(GAIN.0, GAIN.1) as f32)
    };
    let height = gain(
        cloth.heights.as_deref().and_then(stray).map(|mm| mm * enlargement),
        stray(&around.heights),
        FLAT.0 * around.span_mm,
    );
    let slope = gain(cloth.slopes.as_deref().and_then(stray), stray(&around.slopes), FLAT.1);
    let floor_mm = cloth.face_mm.map_or(f32::NEG_INFINITY, |[low, high]| high - LAYERS * (high - low));
    Depth { height: height.unwrap_or(1.0), slope: slope.or(height).unwrap_or(1.0), floor_mm }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_hole_ends_where_the_cloth_ends() {
        // A face from -0.1 to 0.1 mm: the back lies 0.4 mm below the crests, worked by hand.
        let depth = Depth { height: 2.0, slope: 2.0, floor_mm: 0.1 - LAYERS * 0.2 };
        assert!((depth.height(-1.5) + 0.6).abs() < 1e-6 && (depth.height(0.1) - 0.2).abs() < 1e-6, "{depth:?}");
        assert_eq!((Depth::KEEP.height(-1.5), Depth::KEEP.slope(0.3)), (-1.5, 0.3), "kept as it is");
    }
}
