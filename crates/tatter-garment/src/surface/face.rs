//! One triangle of a surface and its frames.

use glam::{DMat2, DVec2, DVec3};
use tatter_core::mesh::Part;

/// A triangle in millimetres with its texture coordinates.
#[derive(Clone, Debug)]
pub struct Face {
    /// Which part it belongs to.
    pub part: usize,
    /// Corners, mm.
    pub corners: [DVec3; 3],
    /// Texture coordinates, v down, not wrapped.
    pub uvs: [DVec2; 3],
    /// Unit normals at the corners, outwards.
    pub corner_normals: [DVec3; 3],
    /// Unit normal of its plane, on the side of the corner normals; zero when the triangle has no area.
    pub normal: DVec3,
}

impl Face {
    /// From corners in mm.
    pub fn new(part: usize, corners: [DVec3; 3], uvs: [DVec2; 3], corner_normals: [DVec3; 3]) -> Self {
        let [a, b, c] = corners;
        let mut normal = (b - a).cross(c - a).normalize_or_zero();
        // What a renderer shades as outside is outside, whichever way the corners were wound.
        if normal.dot(corner_normals[0] + corner_normals[1] + corner_normals[2]) < 0.0 {
            normal = -normal;
        }
        Self { part, corners, uvs, corner_normals, normal }
    }

    pub(super) fn of_part(part: &Part, triangle: usize, index: usize, mm_per_unit: f64) -> Self {
        Self::new(
            index,
            part.corners(triangle).map(|p| p.as_dvec3() * mm_per_unit),
            part.corner_uvs(triangle).map(|uv| uv.as_dvec2()),
            part.corner_normals(triangle).map(|n| n.as_dvec3()),
        )
    }

    /// Mean of the corners in UV.
    pub fn uv_centre(&self) -> DVec2 {
        (self.uvs[0] + self.uvs[1] + self.uvs[2]) / 3.0
    }

    /// Twice the signed area in UV.
    pub fn uv_area2(&self) -> f64 {
        let [a, b, c] = self.uvs;
        (b - a).perp_dot(c - a)
    }

    /// How the surface runs with the texture: mm moved for one UV unit along u and along v. `None` when the triangle has no
    /// area in UV or in space.
    pub fn mm_per_uv(&self) -> Option<[DVec3; 2]> {
        let [a, b, c] = self.uvs;
        let (e1, e2) = (self.corners[1] - self.corners[0], self.corners[2] - self.corners[0]);
        let det = self.uv_area2();
        if det.abs() < 1e-14 || self.normal == DVec3::ZERO {
            return None;
        }
        let ((du1, dv1), (du2, dv2)) = ((b - a).into(), (c - a).into());
        Some([(e1 * dv2 - e2 * dv1) / det, (e2 * du1 - e1 * du2) / det])
    }

    /// The frame a normal map is read in: unit right (+u), unit up (-v side, square to right), as `MikkTSpace` builds it.
    pub fn tangents(&self) -> Option<[DVec3; 2]> {
        let [along_u, along_v] = self.mm_per_uv()?;
        let right = along_u.normalize_or_zero();
        let up = self.normal.cross(right);
        Some([right, if up.dot(along_v) > 0.0 { -up } else { up }])
    }

    /// Whether the texture shows on it reversed left to right, seen from outside. `None` as [`Face::mm_per_uv`].
    pub fn is_mirrored(&self) -> Option<bool> {
        let [right, up] = self.tangents()?;
        Some(right.cross(up).dot(self.normal) < 0.0)
    }

    /// How fast a value given at the corners changes along the surface, per mm.
    pub fn gradient(&self, at_corners: [f64; 3]) -> DVec3 {
        let (e1, e2) = (self.corners[1] - self.corners[0], self.corners[2] - self.corners[0]);
        let (g11, g12, g22) = (e1.dot(e1), e1.dot(e2), e2.dot(e2));
        let det = g11 * g22 - g12 * g12;
        if det <= 1e-18 * g11 * g22 {
            return DVec3::ZERO;
        }
        let (d1, d2) = (at_corners[1] - at_corners[0], at_corners[2] - at_corners[0]);
        (e1 * (g22 * d1 - g12 * d2) + e2 * (g11 * d2 - g12 * d1)) / det
    }

    /// The place with these weights of the corners.
    pub fn point(&self, weights: [f64; 3]) -> DVec3 {
        self.corners[0] * weights[0] + self.corners[1] * weights[1] + self.corners[2] * weights[2]
    }

    /// The shading normal with these weights of the corners.
    pub fn shading_normal(&self, weights: [f64; 3]) -> DVec3 {
        let n = self.corner_normals;
        let mixed = (n[0] * weights[0] + n[1] * weights[1] + n[2] * weights[2]).normalize_or_zero();
        if mixed == DVec3::ZERO { self.normal } else { mixed }
    }

    /// Corner weights of a UV place; negative outside. `None` when the triangle has no area in UV.
    pub fn weights_at_uv(&self, uv: DVec2) -> Option<[f64; 3]> {
        let [a, b, c] = self.uvs;
        if self.uv_area2().abs() < 1e-14 {
            return None;
        }
        let w = DMat2::from_cols(b - a, c - a).inverse() * (uv - a);
        Some([1.0 - w.x - w.y, w.x, w.y])
    }
}

/// Nearest place of a triangle to a point, as corner weights (Ericson, "Real-Time Collision Detection", 2005, 5.1.5).
pub(crate) fn nearest_weights(p: DVec3, [a, b, c]: [DVec3; 3]) -> [f64; 3] {
    let (ab, ac, ap) = (b - a, c - a, p - a);
    let (d1, d2) = (ab.dot(ap), ac.dot(ap));
    if d1 <= 0.0 && d2 <= 0.0 {
        return [1.0, 0.0, 0.0];
    }
    let bp = p - b;
    let (d3, d4) = (ab.dot(bp), ac.dot(bp));
    if d3 >= 0.0 && d4 <= d3 {
        return [0.0, 1.0, 0.0];
    }
    let vc = d1 * d4 - d3 * d2;
    if vc <= 0.0 && d1 >= 0.0 && d3 <= 0.0 {
        let t = d1 / (d1 - d3);
        return [1.0 - t, t, 0.0];
    }
    let cp = p - c;
    let (d5, d6) = (ab.dot(cp), ac.dot(cp));
    if d6 >= 0.0 && d5 <= d6 {
        return [0.0, 0.0, 1.0];
    }
    let vb = d5 * d2 - d1 * d6;
    if vb <= 0.0 && d2 >= 0.0 && d6 <= 0.0 {
        let t = d2 / (d2 - d6);
        return [1.0 - t, 0.0, t];
    }
    let va = d3 * d6 - d5 * d4;
    if va <= 0.0 && d4 >= d3 && d5 >= d6 {
        let t = (d4 - d3) / ((d4 - d3) + (d5 - d6));
        return [0.0, 1.0 - t, t];
    }
    let sum = va + vb + vc;
    if sum <= 0.0 { [1.0, 0.0, 0.0] } else { [va / sum, vb / sum, vc / sum] }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn face(p: [[f64; 3]; 3], uv: [[f64; 2]; 3]) -> Face {
        Face::new(0, p.map(DVec3::from), uv.map(DVec2::from), [DVec3::ZERO; 3])
    }

    /// Sander, Snyder, Gortler, Hoppe, "Texture Mapping Progressive Meshes", 2001, section 3: singular values of the map from
    /// UV to the surface, as computed by an independent script.
    #[test]
    fn stretch_of_known_triangles() {
        let unit = [[0.0, 0.0], [1.0, 0.0], [0.0, 1.0]];
        let cases = [
            ("uniform", [[0.0; 3], [50.0, 0.0, 0.0], [0.0, 50.0, 0.0]], [[0.0, 0.0], [0.1, 0.0], [0.0, 0.1]], 500.0, 500.0),
            ("stretched", [[0.0; 3], [2.0, 0.0, 0.0], [0.0, 1.0, 0.0]], unit, 2.0, 1.0),
            ("sheared", [[0.0; 3], [1.0, 0.0, 0.0], [0.5, 1.0, 0.0]], unit, 1.280_776_41, 0.780_776_41),
            ("mirrored", [[0.0; 3], [1.0, 0.0, 0.0], [0.0, 1.0, 0.0]], [[1.0, 0.0], [0.0, 0.0], [1.0, 1.0]], 1.0, 1.0),
            ("tilted", [[0.0; 3], [1.0, 0.0, 1.0], [0.0, 1.0, 0.0]], unit, std::f64::consts::SQRT_2, 1.0),
        ];
        for (name, p, uv, large, small) in cases {
            let [s, t] = face(p, uv).mm_per_uv().unwrap();
            let (a, b, c) = (s.dot(s), s.dot(t), t.dot(t));
            let root = ((a - c).powi(2) + 4.0 * b * b).sqrt();
            let got = (((a + c + root) / 2.0).sqrt(), ((a + c - root) / 2.0).max(0.0).sqrt());
            assert!((got.0 - large).abs() < 1e-6 * large && (got.1 - small).abs() < 1e-6 * large, "{name}: {got:?}");
        }
    }

    #[test]
    fn up_of_the_texture_is_up_on_mirrored_islands_too() {
        // Facing +Z, image up (decreasing v) is +Y in both; image right is +X in one and -X in the other.
        let p = [[0.0, 0.0, 0.0], [1.0, 0.0, 0.0], [0.0, 1.0, 0.0]];
        for (uv, right_x) in [([[0.0, 1.0], [1.0, 1.0], [0.0, 0.0]], 1.0), ([[1.0, 1.0], [0.0, 1.0], [1.0, 0.0]], -1.0)] {
            let [right, up] = face(p, uv).tangents().unwrap();
            assert!((right - DVec3::X * right_x).length() < 1e-9, "right {right}");
            assert!((up - DVec3::Y).length() < 1e-9, "up {up}");
        }
    }

    #[test]
    fn nearest_place_on_a_triangle() {
        let corners = [DVec3::ZERO, DVec3::X * 2.0, DVec3::Y * 2.0];
        let at = |p: [f64; 3]| {
            let w = nearest_weights(DVec3::from(p), corners);
            corners[0] * w[0] + corners[1] * w[1] + corners[2] * w[2]
        };
        assert!((at([0.5, 0.5, 3.0]) - DVec3::new(0.5, 0.5, 0.0)).length() < 1e-12, "above the inside");
        assert!((at([1.0, -1.0, 0.0]) - DVec3::X).length() < 1e-12, "beside an edge");
        assert!((at([2.0, 2.0, 0.0]) - DVec3::new(1.0, 1.0, 0.0)).length() < 1e-12, "beyond the long edge");
        assert!((at([-1.0, -1.0, 1.0])).length() < 1e-12, "beyond a corner");
    }
}
