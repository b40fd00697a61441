//! The border of a placement's canvas as it lies on the cloth, and single places of the canvas: for people to see and to take hold of.

use glam::{DVec2, DVec3};

use super::Footprint;
use crate::surface::Surface;

/// A place of a canvas on the cloth.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Spread {
    /// The face it lies on.
    pub face: usize,
    /// On the surface, mm.
    pub point: DVec3,
    /// In the texture, v down, not wrapped.
    pub uv: DVec2,
}

impl Footprint {
    /// The place of the cloth under a place of the patch (mm from the canvas centre, x right, y down). Where no cloth lies, the plane
    /// of the cloth at the spot goes on. `None` only when the footprint has no face.
    pub fn place(&self, surface: &Surface, patch_mm: DVec2) -> Option<Spread> {
        let inside = self.faces.iter().find_map(|reached| {
            let weights = weights(reached.corners_mm, patch_mm)?;
            weights.iter().all(|w| *w >= -1e-9).then_some((reached.face, weights))
        });
        let (face, weights) = inside.or_else(|| {
            let own = self.faces.iter().find(|reached| reached.face == self.seed.face).or(self.faces.first())?;
            Some((own.face, weights(own.corners_mm, patch_mm)?))
        })?;
        Some(spread(surface, face, weights))
    }

    /// The border of a canvas of `size_mm` (the patch's own millimetres) where it lies on cloth, as straight pieces, one for each face
    /// it crosses. Linear in the faces of the footprint.
    pub fn border(&self, surface: &Surface, size_mm: DVec2) -> Vec<[Spread; 2]> {
        let half = 0.5 * size_mm;
        let corners = [-half, DVec2::new(half.x, -half.y), half, DVec2::new(-half.x, half.y)];
        let sides = [0, 1, 2, 3].map(|i| [corners[i], corners[(i + 1) % 4]]);
        let mut pieces = Vec::new();
        for reached in &self.faces {
            for [from, to] in sides {
                let ends = [from, to].map(|p| weights(reached.corners_mm, p));
                let [Some(from), Some(to)] = ends else { continue };
                let Some((enter, leave)) = within(from, to) else { continue };
                let at = |t: f64| spread(surface, reached.face, [0, 1, 2].map(|i| from[i] + (to[i] - from[i]) * t));
                pieces.push([at(enter), at(leave)]);
            }
        }
        pieces
    }
}

fn spread(surface: &Surface, face: usize, w: [f64; 3]) -> Spread {
    let own = &surface.faces()[face];
    Spread { face, point: own.point(w), uv: own.uvs[0] * w[0] + own.uvs[1] * w[1] + own.uvs[2] * w[2] }
}

/// Corner weights of a place; negative outside. `None` for a triangle without area.
fn weights([a, b, c]: [DVec2; 3], p: DVec2) -> Option<[f64; 3]> {
    let area = (b - a).perp_dot(c - a);
    if area.abs() < 1e-12 {
        return None;
    }
    let w = [(b - p).perp_dot(c - p) / area, (c - p).perp_dot(a - p) / area];
    Some([w[0], w[1], 1.0 - w[0] - w[1]])
}

/// Where a straight way between two places, both as corner weights, enters and leaves the triangle (0 at the first, 1 at the
/// second): each weight must not be negative (Cyrus and Beck 1978).
fn within(from: [f64; 3], to: [f64; 3]) -> Option<(f64, f64)> {
    let (mut enter, mut leave) = (0.0_f64, 1.0_f64);
    for (from, to) in from.into_iter().zip(to) {
        let change = to - from;
        if change.abs() < 1e-15 {
            if from < 0.0 {
                return None;
            }
        } else if change > 0.0 {
            enter = enter.max(-from / change);
        } else {
            leave = leave.min(-from / change);
        }
    }
    (enter < leave).then_some((enter, leave))
}

#[cfg(test)]
mod tests {
    use glam::{Vec2, Vec3};
    use tatter_core::angle::Angle;
    use tatter_core::channel::PerChannel;
    use tatter_core::mesh::{Mesh, Part};
    use tatter_core::model::{Garment, Match, Placement, Spot};
    use tatter_core::units::Mm;

    use super::*;
    use crate::place::{Canvas, PlaceSettings, footprint_of};

    /// Corners of a mesh are 32-bit numbers of metres: a ten-thousandth of a millimetre, share of a texture alike.
    const ROUNDING: f64 = 1e-4;

    /// A square sheet of 200 mm, four triangles around its middle, texture up is world up.
    fn sheet() -> Surface {
        let corner = |x: f32, y: f32| Vec3::new(x, y, 0.0);
        let positions = vec![corner(0.0, 0.0), corner(0.2, 0.0), corner(0.2, 0.2), corner(0.0, 0.2), corner(0.1, 0.1)];
        let uvs = positions.iter().map(|p| Vec2::new(p.x / 0.2, 1.0 - p.y / 0.2)).collect();
        let triangles = vec![[0, 1, 4], [1, 2, 4], [2, 3, 4], [3, 0, 4]];
        let part = Part { positions, normals: vec![Vec3::Z; 5], uvs, triangles, ..Part::default() };
        Surface::new(&Garment { mesh: Some(Mesh { parts: vec![part] }), mm_per_unit: 1000.0, ..Garment::default() })
    }

    fn lay(turn: f32, at: [f32; 2]) -> (Surface, Footprint) {
        let placement = Placement {
            id: "rip-1".into(),
            patch: "rip".into(),
            spot: Spot::Uv { at, part: None },
            turn: Angle::degrees(turn),
            size: None,
            mirror: false,
            rules: PerChannel::default(),
            matching: Match::default(),
        };
        let canvas = Canvas { size_mm: [Mm(60.0), Mm(60.0)], grain: None };
        let surface = sheet();
        let found = footprint_of(&surface, &placement, &canvas, 1000.0, &PlaceSettings::default()).unwrap();
        (surface, found)
    }

    #[test]
    fn a_whole_border_is_as_long_as_the_canvas_is_round() {
        for turn in [0.0, 20.0, 45.0] {
            let (surface, found) = lay(turn, [0.5, 0.5]);
            let pieces = found.border(&surface, DVec2::splat(60.0));
            let length: f64 = pieces.iter().map(|[a, b]| a.point.distance(b.point)).sum();
            assert!((length - 240.0).abs() < ROUNDING, "turned by {turn}: {length} mm");
            let on_texture: f64 = pieces.iter().map(|[a, b]| a.uv.distance(b.uv)).sum();
            assert!((on_texture - 1.2).abs() < ROUNDING / 200.0, "240 of 200 mm a side: {on_texture}");
        }
    }

    #[test]
    fn a_border_ends_where_the_cloth_ends() {
        let (surface, found) = lay(0.0, [0.5, 0.95]);
        let length: f64 = found.border(&surface, DVec2::splat(60.0)).iter().map(|[a, b]| a.point.distance(b.point)).sum();
        assert!((length - (60.0 + 2.0 * 40.0)).abs() < ROUNDING, "top and 40 mm of both sides: {length}");
        let below = found.place(&surface, DVec2::new(0.0, 30.0)).unwrap();
        assert!((below.point - DVec3::new(100.0, -20.0, 0.0)).length() < ROUNDING, "the plane goes on to {}", below.point);
    }

    #[test]
    fn turned_counter_clockwise_its_top_goes_to_the_left() {
        let (surface, found) = lay(90.0, [0.5, 0.5]);
        let top = found.place(&surface, DVec2::new(0.0, -30.0)).unwrap();
        assert!((top.point - DVec3::new(70.0, 100.0, 0.0)).length() < ROUNDING, "it lies at {}", top.point);
    }
}
