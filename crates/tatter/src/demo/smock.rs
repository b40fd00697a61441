//! The ferryman's canvas smock: a surface made by code, with four cloth pieces as a cutter would lay them.

use glam::{Vec2, Vec3};
use tatter_core::mesh::{Mesh, Part};

/// Millimetres of cloth in one UV unit: front and back side by side, sleeves below.
pub(super) const MM_PER_UV: f32 = 1400.0;
/// Columns and rows of quads in a piece.
const GRID: (usize, usize) = (48, 56);

/// The smock in metres, glTF axes (y up, front towards +z), one part.
pub(super) fn smock() -> Mesh {
    let mut part = Part { name: "smock".to_owned(), material: "canvas".to_owned(), ..Part::default() };
    // Front and back: half of a flared tube each, seams at the sides.
    let half = |from: f32| move |s: f32, t: f32| body(from + s * std::f32::consts::PI, t);
    piece(&mut part, Vec2::new(0.0, 0.0), &half(std::f32::consts::PI), &GRID);
    piece(&mut part, Vec2::new(0.5, 0.0), &half(0.0), &GRID);
    piece(&mut part, Vec2::new(0.0, 0.62), &|s, t| sleeve(-1.0, s, t), &GRID);
    piece(&mut part, Vec2::new(0.5, 0.62), &|s, t| sleeve(1.0, s, t), &GRID);
    Mesh { parts: vec![part] }
}

/// A point of the body: `angle` counter-clockwise seen from above (0 at the wearer's left, π behind the right side),
/// `t` from neck (0) to hem (1). Metres.
fn body(angle: f32, t: f32) -> Vec3 {
    let y = 1.44 - 0.72 * t;
    let shoulder = smooth((t - 0.0) / 0.16);
    let (rx, rz) = (0.085 + 0.125 * shoulder + 0.035 * t, 0.075 + 0.05 * shoulder + 0.045 * t);
    // Soft upright folds that grow towards the hem, no two alike.
    let fold = 1.0 + t * t * (0.035 * (7.0 * angle).sin() + 0.018 * (11.0 * angle + 1.3).sin());
    Vec3::new(
        rx * fold * angle.cos(),
        y - 0.05 * shoulder * (1.0 - smooth(t / 0.3)) * angle.cos().abs(),
        -rz * fold * angle.sin(),
    )
}

/// A point of a sleeve: `side` -1 right, 1 left; `s` around, `t` from shoulder to cuff. Metres.
fn sleeve(side: f32, s: f32, t: f32) -> Vec3 {
    let turn = std::f32::consts::TAU * (side * s + 0.25);
    // It begins within the body, so that the armhole closes on it.
    let (from, to) = (Vec3::new(side * 0.11, 1.27, 0.0), Vec3::new(side * 0.48, 0.99, 0.05));
    let axis = from.lerp(to, t);
    let along = (to - from).normalize_or(Vec3::X);
    let (across, out) = (Vec3::Z, along.cross(Vec3::Z).normalize_or(Vec3::Y));
    let radius = 0.086 - 0.024 * t;
    // Creases in the crook of the elbow, where the arm bends.
    let elbow = (-((t - 0.55) / 0.16).powi(2)).exp() * (0.5 - 0.5 * turn.cos());
    let creases = 0.03 * (9.0 * t).sin() + 0.06 * elbow * (38.0 * t + 1.5 * turn.sin()).sin();
    axis + (across * turn.sin() + out * turn.cos()) * radius * (1.0 + creases)
}

fn smooth(t: f32) -> f32 {
    let t = t.clamp(0.0, 1.0);
    t * t * (3.0 - 2.0 * t)
}

/// One cloth piece: a grid over `surface(s, t)`, laid into UV space at true size with its upper left corner at `corner`.
fn piece(part: &mut Part, corner: Vec2, surface: &dyn Fn(f32, f32) -> Vec3, grid: &(usize, usize)) {
    let (columns, rows) = *grid;
    let first = part.positions.len() as u32;
    let at = |i: usize, j: usize| surface(i as f32 / columns as f32, j as f32 / rows as f32);
    // Rows are laid flat at their own length, columns at the length of the middle one, as a cutter unrolls cloth.
    let mut v = 0.0;
    for j in 0..=rows {
        if j > 0 {
            v += at(columns / 2, j).distance(at(columns / 2, j - 1)) * 1000.0 / MM_PER_UV;
        }
        let length: f32 = (0..columns).map(|i| at(i, j).distance(at(i + 1, j))).sum::<f32>() * 1000.0 / MM_PER_UV;
        for i in 0..=columns {
            let (s, t) = (i as f32 / columns as f32, j as f32 / rows as f32);
            part.positions.push(at(i, j));
            part.normals.push(normal(surface, s, t));
            part.uvs.push(corner + Vec2::new(0.25 + (s - 0.5) * length, 0.01 + v));
        }
    }
    let stride = columns as u32 + 1;
    for j in 0..rows as u32 {
        for i in 0..columns as u32 {
            let a = first + j * stride + i;
            part.triangles.push([a, a + stride, a + 1]);
            part.triangles.push([a + 1, a + stride, a + stride + 1]);
        }
    }
}

/// The outward normal: right along `s`, down along `t`.
fn normal(surface: &dyn Fn(f32, f32) -> Vec3, s: f32, t: f32) -> Vec3 {
    const STEP: f32 = 1e-3;
    let along_s = surface(s + STEP, t) - surface(s - STEP, t);
    let along_t = surface(s, t + STEP) - surface(s, t - STEP);
    along_t.cross(along_s).normalize_or(Vec3::Z)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn pieces_face_outwards_at_true_size_without_overlap() {
        let mesh = smock();
        let part = &mesh.parts[0];
        let mut scales = Vec::new();
        for i in 0..part.triangles.len() {
            let [a, b, c] = part.corners(i);
            let [ua, ub, uc] = part.corner_uvs(i);
            let face = (b - a).cross(c - a);
            let mean: Vec3 = part.corner_normals(i).into_iter().sum();
            assert!(face.dot(mean) > 0.0, "triangle {i} is wound against its normals");
            let signed = (ub - ua).perp_dot(uc - ua);
            assert!(signed < 0.0, "triangle {i} is mirrored in UV: {signed}");
            scales.push((face.length() * 1e6 / signed.abs()).sqrt());
        }
        scales.sort_by(f32::total_cmp);
        let median = scales[scales.len() / 2];
        assert!((median / MM_PER_UV - 1.0).abs() < 0.03, "one UV unit is {median} mm");
        let inside = part.uvs.iter().all(|uv| uv.min_element() > 0.0 && uv.max_element() < 1.0);
        assert!(inside, "pieces lie inside the unit square");
        let boxes: Vec<(Vec2, Vec2)> = part
            .uvs
            .chunks((GRID.0 + 1) * (GRID.1 + 1))
            .map(|uvs| uvs.iter().fold((Vec2::ONE, Vec2::ZERO), |(low, high), &uv| (low.min(uv), high.max(uv))))
            .collect();
        for (i, a) in boxes.iter().enumerate() {
            for b in &boxes[i + 1..] {
                let apart = a.1.x < b.0.x || b.1.x < a.0.x || a.1.y < b.0.y || b.1.y < a.0.y;
                assert!(apart, "pieces {a:?} and {b:?} overlap");
            }
        }
    }

    #[test]
    fn front_faces_front() {
        let mesh = smock();
        let part = &mesh.parts[0];
        let front = (0..part.positions.len()).filter(|&i| part.uvs[i].x < 0.5 && part.uvs[i].y < 0.6);
        let z: f32 = front.map(|i| part.normals[i].z).sum();
        assert!(z > 0.0, "the first piece is the front");
    }
}
