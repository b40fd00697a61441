//! How large the texture lies on the cloth: stretch of a triangle, millimetres a UV unit.

use glam::{Vec2, Vec3};
use tatter_core::image::Size;
use tatter_core::mesh::Part;
use tatter_core::units::MmPerUv;

/// How a triangle's texture is stretched onto the surface (Sander, Snyder, Gortler, Hoppe, "Texture Mapping Progressive
/// Meshes", 2001, section 3).
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Stretch {
    /// Largest length on the surface that one UV unit spans, mesh units.
    pub largest: f32,
    /// Smallest such length.
    pub smallest: f32,
    /// Area in the texture, UV units squared, without sign.
    pub uv_area: f32,
    /// Whether the texture shows on it reversed left to right (v down).
    pub mirrored: bool,
}

/// Stretch of a triangle, or `None` when it has no area in the texture.
pub fn stretch(corners: [Vec3; 3], uvs: [Vec2; 3]) -> Option<Stretch> {
    let (e1, e2) = (corners[1] - corners[0], corners[2] - corners[0]);
    let (d1, d2) = (uvs[1] - uvs[0], uvs[2] - uvs[0]);
    let double = d1.perp_dot(d2);
    if double.abs() <= f32::MIN_POSITIVE || !double.is_finite() {
        return None;
    }
    let along_u = (e1 * d2.y - e2 * d1.y) / double;
    let along_v = (e2 * d1.x - e1 * d2.x) / double;
    let (a, b, c) = (along_u.length_squared(), along_u.dot(along_v), along_v.length_squared());
    let root = ((a - c) * (a - c) + 4.0 * b * b).sqrt();
    Some(Stretch {
        largest: (0.5 * (a + c + root)).sqrt(),
        smallest: (0.5 * (a + c - root)).max(0.0).sqrt(),
        uv_area: 0.5 * double.abs(),
        // v runs down, so an ordinary triangle runs clockwise in (u, v).
        mirrored: double > 0.0,
    })
}

/// How large the texture lies on a surface, weighted by area of cloth.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Density {
    /// Half of the cloth has less, half more.
    pub median: MmPerUv,
    /// One twentieth of the cloth has less.
    pub low: MmPerUv,
    /// One twentieth of the cloth has more.
    pub high: MmPerUv,
}

/// Millimetres a UV unit over some parts: of every triangle the root of its area on the cloth over its area in the
/// texture. `None` when no triangle has both.
pub fn density(parts: &[&Part], mm_per_unit: f32) -> Option<Density> {
    let mut all: Vec<(f32, f64)> = Vec::new();
    for part in parts {
        for triangle in 0..part.triangles.len() {
            let Some(stretch) = stretch(part.corners(triangle), part.corner_uvs(triangle)) else { continue };
            let scale = (stretch.largest * stretch.smallest).sqrt() * mm_per_unit;
            if scale.is_finite() && scale > 0.0 {
                all.push((scale, f64::from(scale) * f64::from(scale) * f64::from(stretch.uv_area)));
            }
        }
    }
    all.sort_by(|a, b| a.0.total_cmp(&b.0));
    let total: f64 = all.iter().map(|(_, area)| area).sum();
    let at = |share: f64| {
        let mut below = 0.0;
        all.iter().find(|(_, area)| {
            below += area;
            below >= share * total
        })
    };
    let value = |share| at(share).or(all.last()).map(|&(scale, _)| MmPerUv(scale));
    Some(Density { median: value(0.5)?, low: value(0.05)?, high: value(0.95)? })
}

/// Texels of a map on one millimetre of cloth, geometric mean of both directions.
pub fn texels_per_mm(map: Size, scale: MmPerUv) -> f32 {
    (map.width as f32 * map.height as f32).sqrt() / scale.get()
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A triangle's corners, its texture coordinates with v up, signed UV area, largest and smallest stretch.
    type Row = ([[f32; 3]; 3], [[f32; 2]; 3], f32, f32, f32);

    /// Sander et al. 2001, computed by an independent script in an array library; v up.
    const ROWS: &[Row] = &[
        ([[0.0; 3], [1.0, 0.0, 0.0], [0.0, 1.0, 0.0]], [[0.0, 0.0], [1.0, 0.0], [0.0, 1.0]], 0.5, 1.0, 1.0),
        ([[0.0; 3], [50.0, 0.0, 0.0], [0.0, 50.0, 0.0]], [[0.0, 0.0], [0.1, 0.0], [0.0, 0.1]], 0.005, 500.0, 500.0),
        ([[0.0; 3], [2.0, 0.0, 0.0], [0.0, 1.0, 0.0]], [[0.0, 0.0], [1.0, 0.0], [0.0, 1.0]], 0.5, 2.0, 1.0),
        ([[0.0; 3], [1.0, 0.0, 0.0], [0.5, 1.0, 0.0]], [[0.0, 0.0], [1.0, 0.0], [0.0, 1.0]], 0.5, 1.280_776_4, 0.780_776_4),
        ([[0.0; 3], [1.0, 0.0, 0.0], [0.0, 1.0, 0.0]], [[1.0, 0.0], [0.0, 0.0], [1.0, 1.0]], -0.5, 1.0, 1.0),
        ([[0.0; 3], [1.0, 0.0, 1.0], [0.0, 1.0, 0.0]], [[0.0, 0.0], [1.0, 0.0], [0.0, 1.0]], 0.5, std::f32::consts::SQRT_2, 1.0),
    ];

    #[test]
    fn stretch_agrees_with_the_published_formula() {
        for &(corners, uvs, area, largest, smallest) in ROWS {
            let found = stretch(corners.map(Vec3::from), uvs.map(|[u, v]| Vec2::new(u, 1.0 - v))).expect("it has area");
            let near = |a: f32, b: f32| (a - b).abs() < 1e-5 * b.abs().max(1.0);
            assert!(near(found.largest, largest) && near(found.smallest, smallest), "{corners:?}: {found:?}");
            assert!((found.uv_area - area.abs()).abs() < 1e-6, "{corners:?}: {found:?}");
            assert_eq!(found.mirrored, area < 0.0, "{corners:?}: {found:?}");
        }
        assert_eq!(stretch([Vec3::ZERO, Vec3::X, Vec3::Y], [Vec2::ZERO; 3]), None, "no area in the texture");
    }

    #[test]
    fn half_of_the_cloth_decides() {
        // Cloth of 50 mm on 0.1 UV (500 mm a unit), twice, and a tenth as large at ten times the density.
        let mut part = Part::default();
        for (at, side, uv) in [(0.0, 50.0, 0.1), (100.0, 50.0, 0.1), (200.0, 5.0, 0.1)] {
            let first = part.positions.len() as u32;
            part.positions.extend([[at, 0.0, 0.0], [at + side, 0.0, 0.0], [at, side, 0.0]].map(Vec3::from));
            part.uvs.extend([[0.0, 0.0], [uv, 0.0], [0.0, uv]].map(Vec2::from));
            part.triangles.push([first, first + 1, first + 2]);
        }
        let found = density(&[&part], 1.0).expect("it has area");
        assert!((found.median.get() - 500.0).abs() < 0.1, "{found:?}");
        assert!((texels_per_mm(Size::new(2048, 2048), found.median) - 4.096).abs() < 1e-3, "2048 texels over 500 mm");
        assert_eq!(density(&[], 1.0), None, "nothing, nothing");
    }
}
