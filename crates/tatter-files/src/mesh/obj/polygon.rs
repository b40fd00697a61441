//! Polygons into triangles.

use glam::{Vec2, Vec3};

/// Polygons with more corners are fanned: cutting ears costs the square of their number.
const MOST_EARS: usize = 256;

/// Corner numbers of triangles that fill a polygon. Four corners are split by the shorter diagonal (the choice that
/// `MikkTSpace` recommends), larger ones by cutting ears in the plane of their own normal.
pub(super) fn triangulate(corners: &[Vec3]) -> Vec<[usize; 3]> {
    let n = corners.len();
    if n < 3 {
        return Vec::new();
    }
    let fan = || (1..n - 1).map(|i| [0, i, i + 1]).collect();
    let normal = newell(corners);
    if n == 3 || n > MOST_EARS || normal == Vec3::ZERO || !normal.is_finite() {
        return fan();
    }
    let (right, up) = normal.any_orthonormal_pair();
    let flat: Vec<Vec2> = corners.iter().map(|&p| Vec2::new(p.dot(right), p.dot(up))).collect();
    if n == 4 && (0..4).all(|i| turn(flat[i], flat[(i + 1) % 4], flat[(i + 2) % 4]) > 0.0) {
        let first = corners[0].distance_squared(corners[2]) <= corners[1].distance_squared(corners[3]);
        return if first { vec![[0, 1, 2], [0, 2, 3]] } else { vec![[0, 1, 3], [1, 2, 3]] };
    }
    ears(&flat)
}

/// The direction a polygon faces (Newell's method), unit length or zero.
fn newell(corners: &[Vec3]) -> Vec3 {
    let mut sum = Vec3::ZERO;
    for (i, &a) in corners.iter().enumerate() {
        let b = corners[(i + 1) % corners.len()];
        sum += (a - corners[0]).cross(b - corners[0]);
    }
    sum.normalize_or_zero()
}

fn turn(a: Vec2, b: Vec2, c: Vec2) -> f32 {
    (b - a).perp_dot(c - b)
}

fn ears(flat: &[Vec2]) -> Vec<[usize; 3]> {
    let mut left: Vec<usize> = (0..flat.len()).collect();
    let mut out = Vec::with_capacity(flat.len() - 2);
    while left.len() > 3 {
        let n = left.len();
        let ear = (0..n).find(|&i| {
            let [a, b, c] = [left[(i + n - 1) % n], left[i], left[(i + 1) % n]];
            let inside =
                |p: Vec2| turn(flat[a], flat[b], p) > 0.0 && turn(flat[b], flat[c], p) > 0.0 && turn(flat[c], flat[a], p) > 0.0;
            turn(flat[a], flat[b], flat[c]) > 0.0 && !left.iter().any(|&p| p != a && p != b && p != c && inside(flat[p]))
        });
        // A polygon that crosses itself has no ear: any corner does.
        let i = ear.unwrap_or(0);
        out.push([left[(i + n - 1) % n], left[i], left[(i + 1) % n]]);
        left.remove(i);
    }
    out.push([left[0], left[1], left[2]]);
    out
}

#[cfg(test)]
mod tests {
    use super::*;

    fn area(corners: &[Vec3]) -> f32 {
        triangulate(corners).iter().map(|&[a, b, c]| (corners[b] - corners[a]).cross(corners[c] - corners[a]).z / 2.0).sum()
    }

    #[test]
    fn a_dart_is_filled_once() {
        // An arrowhead of area 1: the triangle of area 2 less the notch of area 1.
        let dart = [[0.0, 0.0], [2.0, 1.0], [0.0, 2.0], [1.0, 1.0]].map(|[x, y]| Vec3::new(x, y, 0.0));
        let triangles = triangulate(&dart);
        assert_eq!(triangles.len(), 2, "two triangles");
        for [a, b, c] in triangles {
            assert!((dart[b] - dart[a]).cross(dart[c] - dart[a]).z > 0.0, "each faces as the dart does");
        }
        assert!((area(&dart) - 1.0).abs() < 1e-6, "two less one: {}", area(&dart));
    }

    #[test]
    fn a_square_takes_its_shorter_diagonal() {
        let kite = [[0.0, 0.0], [3.0, 1.0], [6.0, 0.0], [3.0, -1.0]].map(|[x, y]| Vec3::new(x, -y, 0.0));
        assert_eq!(triangulate(&kite), [[0, 1, 3], [1, 2, 3]], "across, not along");
    }
}
