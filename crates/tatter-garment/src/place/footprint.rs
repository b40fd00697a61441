//! The walk from the spot outwards, and the projection along the spot's normal.

use glam::{DVec2, DVec3};
use tatter_core::angle::Angle;
use tatter_core::model::{Patch, Placement};

use super::{Footprint, FootprintFace};
use crate::surface::{LocateError, Surface};

/// How a patch meets a curved surface.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct PlaceSettings {
    /// Faces that turn further than this from the spot's normal are left out. More reaches further round a limb but stretches
    /// (1 / cos); 60 degrees at most doubles.
    pub most_turned: Angle,
}

impl Default for PlaceSettings {
    fn default() -> Self {
        Self { most_turned: Angle::degrees(60.0) }
    }
}

/// The patch's own axes on the tangent plane, and how they scale.
struct Projection {
    origin: DVec3,
    /// Patch mm (x right, y down) for one mm along the plane.
    right: DVec3,
    down: DVec3,
}

impl Projection {
    fn mm(&self, p: DVec3) -> DVec2 {
        let d = p - self.origin;
        DVec2::new(d.dot(self.right), d.dot(self.down))
    }
}

/// The faces a placement reaches: connected to the spot by walking across edges (so across UV seams and parts, never to a
/// layer behind or beside), facing as the spot does, within the patch's canvas. Planar projection: exact on flat cloth, within
/// 1 % while the patch's half size is below a seventh of the radius of curvature.
///
/// # Errors
/// [`LocateError`] when the spot is not on the cloth.
pub fn footprint(
    surface: &Surface,
    placement: &Placement,
    patch: &Patch,
    mm_per_unit: f32,
    settings: &PlaceSettings,
) -> Result<Footprint, LocateError> {
    let seed = surface.locate(&placement.spot, mm_per_unit)?;
    let own = patch.size_mm().map(|mm| f64::from(mm.get()).max(1e-9));
    let enlargement = placement.size.map_or(1.0, |size| f64::from(size.get()) / own[0].max(own[1]));
    let projection = project(placement, patch, &seed, enlargement);
    let reach = 0.5 * own[0].hypot(own[1]);
    let limit = f64::from(settings.most_turned.to_radians()).cos();
    let deepest = reach * enlargement;

    let mut state = vec![Visit::Unseen; surface.faces().len()];
    let mut stack = vec![seed.face];
    state[seed.face] = Visit::Taken;
    let (mut faces, mut turned_away) = (Vec::new(), 0);
    while let Some(index) = stack.pop() {
        let corners_mm = surface.faces()[index].corners.map(|p| projection.mm(p));
        faces.push(FootprintFace { face: index, corners_mm });
        for k in 0..3 {
            if distance_to_segment(corners_mm[k], corners_mm[(k + 1) % 3]) > reach {
                continue;
            }
            for next in surface.across(index, k) {
                if state[next] != Visit::Unseen {
                    continue;
                }
                let face = &surface.faces()[next];
                let centre = (face.corners[0] + face.corners[1] + face.corners[2]) / 3.0;
                let depth = (face.corners.map(|p| (p - seed.point).dot(seed.normal).abs())).into_iter().fold(f64::MAX, f64::min);
                // A face without area has no direction: it is walked through, not judged.
                let turned = face.normal != DVec3::ZERO && face.normal.dot(seed.normal) < limit;
                if turned || depth > deepest {
                    state[next] = Visit::TurnedAway;
                    turned_away += usize::from(projection.mm(centre).length() < reach);
                } else {
                    state[next] = Visit::Taken;
                    stack.push(next);
                }
            }
        }
    }
    faces.sort_unstable_by_key(|f| f.face);
    Ok(Footprint { seed, enlargement, faces, turned_away })
}

#[derive(Clone, Copy, PartialEq, Eq)]
enum Visit {
    Unseen,
    Taken,
    TurnedAway,
}

/// Patch grain on garment grain, turned counter-clockwise as seen from outside; a mirrored patch keeps its grain aligned.
fn project(placement: &Placement, patch: &Patch, seed: &crate::surface::Seed, enlargement: f64) -> Projection {
    let upright = std::f64::consts::FRAC_PI_2;
    let grain = patch.grain.map_or(upright, |grain| f64::from(grain.as_line().to_radians()));
    let grain = if placement.mirror { std::f64::consts::PI - grain } else { grain };
    let (sin, cos) = (upright + f64::from(placement.turn.to_radians()) - grain).sin_cos();
    let (up, right) = (seed.grain, seed.grain.cross(seed.normal));
    let patch_right = right * cos + up * sin;
    let patch_up = up * cos - right * sin;
    let flip = if placement.mirror { -1.0 } else { 1.0 };
    Projection { origin: seed.point, right: patch_right * flip / enlargement, down: -patch_up / enlargement }
}

/// From the origin to a segment.
fn distance_to_segment(a: DVec2, b: DVec2) -> f64 {
    let ab = b - a;
    let length2 = ab.length_squared();
    let t = if length2 > 0.0 { (-a.dot(ab) / length2).clamp(0.0, 1.0) } else { 0.0 };
    (a + ab * t).length()
}
