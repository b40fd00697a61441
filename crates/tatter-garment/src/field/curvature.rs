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
