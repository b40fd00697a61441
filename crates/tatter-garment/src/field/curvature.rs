//! How cloth bends: the curvature tensor at every corner of the surface (Rusinkiewicz, "Estimating Curvatures and Their
//! Derivatives on Triangle Meshes", 2004), smoothed over a length.

use glam::{DMat3, DVec3};

use crate::surface::Surface;

/// Faces that meet at a sharper angle, cosine, are a fold: an edge, not a bend.
const FOLD: f64 = 0.5;
/// Most rounds of smoothing: each reaches one corner further.
const MOST_ROUNDS: usize = 64;

/// Largest and smallest curvature at every welded corner, 1/mm; positive where the cloth bulges outwards.
#[derive(Clone, Debug)]
pub(crate) struct Curvature {
    /// By welded corner.
    corners: Vec<[f32; 2]>,
}

impl Curvature {
    /// Smoothed over about `smooth_mm`. Linear in the faces, and in the square of `smooth_mm` over their size up to 64 rounds.
    pub(crate) fn new(surface: &Surface, smooth_mm: f64) -> Self {
        let count = (0..surface.faces().len()).flat_map(|face| surface.welded(face)).max().map_or(0, |most| most as usize + 1);
        let areas: Vec<f64> = surface
            .faces()
            .iter()
            .map(|f| 0.5 * (f.corners[1] - f.corners[0]).cross(f.corners[2] - f.corners[0]).length())
            .collect();
        let around = faces_around(surface, count);
        let mut sums = vec![(DMat3::ZERO, 0.0); count];
        for face in 0..surface.faces().len() {
            let Some(bend) = bend_of(surface, &areas, &around, face) else { continue };
            for corner in surface.welded(face) {
                let (sum, weight) = &mut sums[corner as usize];
                *sum += bend * areas[face];
                *weight += areas[face];
            }
        }
        let mut bends: Vec<DMat3> = sums.iter().map(|(sum, weight)| *sum * (1.0 / weight.max(1e-12))).collect();
        let edge = (2.3 * areas.iter().sum::<f64>() / areas.len().max(1) as f64).sqrt();
        let rounds = ((smooth_mm / edge.max(1e-9)).powi(2) * 3.0).round().clamp(1.0, MOST_ROUNDS as f64) as usize;
        for _ in 0..rounds {
            bends = spread(surface, &areas, &bends);
        }
        Self { corners: bends.iter().map(|bend| extremes(*bend).map(|v| v as f32)).collect() }
    }

    /// Largest and smallest at a place of a face.
    pub(crate) fn at(&self, surface: &Surface, face: usize, weights: [f64; 3]) -> [f64; 2] {
        let corners = surface.welded(face).map(|corner| self.corners[corner as usize]);
        [0, 1].map(|which| (0..3).map(|k| weights[k] * f64::from(corners[k][which])).sum())
    }
}

fn faces_around(surface: &Surface, corners: usize) -> Vec<Vec<u32>> {
    let mut around = vec![Vec::new(); corners];
    for face in 0..surface.faces().len() {
        for corner in surface.welded(face) {
            around[corner as usize].push(face as u32);
        }
    }
    around
}

/// The curvature tensor of a face in space: what the corner normals turn by along its edges, least squares.
fn bend_of(surface: &Surface, areas: &[f64], around: &[Vec<u32>], face: usize) -> Option<DMat3> {
    let own = &surface.faces()[face];
    // Corner normals of this side of any fold.
    let normals = surface.welded(face).map(|corner| {
        let near =
            around[corner as usize].iter().map(|&f| f as usize).filter(|&f| surface.faces()[f].normal.dot(own.normal) > FOLD);
        near.map(|f| surface.faces()[f].normal * areas[f]).sum::<DVec3>().normalize_or_zero()
    });
    let u = (own.corners[1] - own.corners[0]).normalize_or_zero();
    let v = own.normal.cross(u);
    let (mut matrix, mut right) = (DMat3::ZERO, DVec3::ZERO);
    for k in 0..3 {
        let edge = own.corners[(k + 1) % 3] - own.corners[k];
        let turn = normals[(k + 1) % 3] - normals[k];
        let rows =
            [(DVec3::new(edge.dot(u), edge.dot(v), 0.0), turn.dot(u)), (DVec3::new(0.0, edge.dot(u), edge.dot(v)), turn.dot(v))];
        for (row, value) in rows {
            matrix += DMat3::from_cols(row * row.x, row * row.y, row * row.z);
            right += row * value;
        }
    }
    let scale = areas[face].powi(3);
    if matrix.determinant().abs() <= 1e-9 * scale {
        return None;
    }
    let [uu, uv, vv] = (matrix.inverse() * right).to_array();
    let outer = |a: DVec3, b: DVec3| DMat3::from_cols(a * b.x, a * b.y, a * b.z);
    Some(outer(u, u) * uu + (outer(u, v) + outer(v, u)) * uv + outer(v, v) * vv)
}

/// One round: every corner becomes the mean over its faces of their corners' mean.
fn spread(surface: &Surface, areas: &[f64], bends: &[DMat3]) -> Vec<DMat3> {
    let mut sums = vec![(DMat3::ZERO, 0.0); bends.len()];
    for (face, &area) in areas.iter().enumerate() {
        let corners = surface.welded(face).map(|corner| corner as usize);
        let mean = (bends[corners[0]] + bends[corners[1]] + bends[corners[2]]) * (area / 3.0);
        for corner in corners {
            sums[corner].0 += mean;
            sums[corner].1 += area;
        }
    }
    sums.iter().zip(bends).map(|((sum, weight), own)| if *weight > 0.0 { *sum * (1.0 / weight) } else { *own }).collect()
}

/// Largest and smallest eigenvalue of a symmetric matrix (Smith, "Eigenvalues of a symmetric 3 × 3 matrix", 1961).
fn extremes(m: DMat3) -> [f64; 2] {
    let off = m.y_axis.x.powi(2) + m.z_axis.x.powi(2) + m.z_axis.y.powi(2);
    let mean = (m.x_axis.x + m.y_axis.y + m.z_axis.z) / 3.0;
    let p2 = (m.x_axis.x - mean).powi(2) + (m.y_axis.y - mean).powi(2) + (m.z_axis.z - mean).powi(2) + 2.0 * off;
    let p = (p2 / 6.0).sqrt();
    if p < 1e-15 {
        return [mean; 2];
    }
    let r = (((m - DMat3::IDENTITY * mean) * (1.0 / p)).determinant() / 2.0).clamp(-1.0, 1.0);
    let angle = r.acos() / 3.0;
    let third = std::f64::consts::TAU / 3.0;
    [mean + 2.0 * p * angle.cos(), mean + 2.0 * p * (angle + third).cos()]
}

#[cfg(test)]
mod tests {
    use super::*;
    use glam::{Vec2, Vec3};
    use tatter_core::mesh::{Mesh, Part};
    use tatter_core::model::Garment;

    /// A grid over `at(s, t)`, outwards along `normal(s, t)`.
    fn surface(at: impl Fn(f32, f32) -> Vec3, normal: impl Fn(Vec3) -> Vec3) -> Surface {
        const N: u32 = 40;
        let mut part = Part::default();
        for j in 0..=N {
            for i in 0..=N {
                let (s, t) = (i as f32 / N as f32, j as f32 / N as f32);
                part.positions.push(at(s, t));
                part.normals.push(normal(at(s, t)));
                part.uvs.push(Vec2::new(s, t));
                if i < N && j < N {
                    let a = j * (N + 1) + i;
                    part.triangles.extend([[a, a + N + 1, a + 1], [a + 1, a + N + 1, a + N + 2]]);
                }
            }
        }
        Surface::new(&Garment { mesh: Some(Mesh { parts: vec![part] }), mm_per_unit: 1.0, ..Garment::default() })
    }

    fn middle(surface: &Surface, smooth_mm: f64) -> [f64; 2] {
        let near = |f: &crate::surface::Face| f.uv_centre().distance(glam::DVec2::splat(0.5));
        let face = (0..surface.faces().len()).min_by(|&a, &b| near(&surface.faces()[a]).total_cmp(&near(&surface.faces()[b])));
        Curvature::new(surface, smooth_mm).at(surface, face.unwrap(), [1.0 / 3.0; 3])
    }

    /// do Carmo, "Differential Geometry of Curves and Surfaces", 3-3: principal curvatures of a sphere are 1/r and 1/r, of a
    /// cylinder 1/r and 0; both change sign with the side that is outside. The least eigenvalue of the tensor in space is 0 where
    /// both are positive: along the normal nothing bends.
    #[test]
    fn spheres_and_cylinders_have_their_known_curvature() {
        let turn = |s: f32| 1.2 * (s - 0.5);
        let sphere =
            |s: f32, t: f32| Vec3::new(turn(s).sin() * turn(t).cos(), turn(t).sin(), turn(s).cos() * turn(t).cos()) * 80.0;
        let cylinder = |s: f32, t: f32| Vec3::new(60.0 * turn(s).sin(), 100.0 * t, 60.0 * turn(s).cos());
        let out = |p: Vec3| p.normalize_or(Vec3::Z);
        let around = |p: Vec3| Vec3::new(p.x, 0.0, p.z).normalize_or(Vec3::Z);
        let cases = [
            ("sphere", middle(&surface(sphere, out), 4.0), [1.0 / 80.0, 0.0]),
            ("inside of a sphere", middle(&surface(sphere, |p| -out(p)), 4.0), [0.0, -1.0 / 80.0]),
            ("cylinder", middle(&surface(cylinder, around), 4.0), [1.0 / 60.0, 0.0]),
            ("inside of a cylinder", middle(&surface(cylinder, |p| -around(p)), 4.0), [0.0, -1.0 / 60.0]),
            ("flat", middle(&surface(|s, t| Vec3::new(50.0 * s, -50.0 * t, 0.0), |_| Vec3::Z), 4.0), [0.0, 0.0]),
        ];
        for (name, got, wanted) in cases {
            for (got, wanted) in got.into_iter().zip(wanted) {
                assert!((got - wanted).abs() < 0.03 / 60.0, "{name}: {got} for {wanted} per mm");
            }
        }
    }

    /// A saddle z = xy / 60 bends by 1/60 both ways at its middle (its shape operator is [[0, 1], [1, 0]] / 60 there).
    #[test]
    fn a_saddle_bends_both_ways() {
        let saddle = |s: f32, t: f32| {
            let (x, y) = (40.0 * (s - 0.5), -40.0 * (t - 0.5));
            Vec3::new(x, y, x * y / 60.0)
        };
        let [most, least] = middle(&surface(saddle, |_| Vec3::Z), 1.0);
        assert!((most - 1.0 / 60.0).abs() < 0.05 / 60.0 && (least + 1.0 / 60.0).abs() < 0.05 / 60.0, "{most} {least}");
    }
}
