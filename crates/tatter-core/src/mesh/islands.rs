//! Islands: pieces of the surface that hang together in the texture.

use glam::Vec2;

use super::Part;
use super::weld::{bits, edges, first_equal};

/// One island of a part.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Island {
    /// How many triangles.
    pub triangles: usize,
    /// Area in the texture, UV units squared; negative when the island is mirrored.
    pub uv_area: f64,
    /// Area on the surface, mesh units squared.
    pub area: f64,
    /// Smallest texture coordinates.
    pub low: Vec2,
    /// Largest texture coordinates.
    pub high: Vec2,
}

impl Island {
    /// Whether the picture shows it reversed left to right.
    pub fn is_mirrored(&self) -> bool {
        self.uv_area < 0.0
    }
}

/// The islands of a part.
#[derive(Clone, Debug, Default)]
pub struct Islands {
    /// The island of each triangle.
    pub of_triangle: Vec<u32>,
    /// The islands, in the order of their first triangles.
    pub all: Vec<Island>,
}

/// Twice the signed UV area of a triangle, positive when it faces the viewer of the picture unmirrored (v down).
fn double_uv_area([a, b, c]: [Vec2; 3]) -> f64 {
    let (e, f) = (b - a, c - a);
    f64::from(e.y) * f64::from(f.x) - f64::from(e.x) * f64::from(f.y)
}

/// Triangles joined along edges that share both position and texture coordinates.
pub fn islands(part: &Part) -> Islands {
    let corners: Vec<([u32; 3], [u32; 2])> =
        part.positions.iter().zip(&part.uvs).map(|(p, uv)| (p.to_array().map(bits), uv.to_array().map(bits))).collect();
    let corner = first_equal(&corners);
    let mut all: Vec<((u32, u32), u32)> = Vec::with_capacity(part.triangles.len() * 3);
    for (number, triangle) in part.triangles.iter().enumerate() {
        all.extend(edges(triangle.map(|i| corner[i as usize])).map(|pair| (pair, number as u32)));
    }
    all.sort_unstable();
    let mut parent: Vec<u32> = (0..part.triangles.len() as u32).collect();
    // A front and its mirrored back may be welded on a fold line of the texture; they stay two islands, or a mirrored
    // half would hide behind a larger unmirrored one.
    let turned = |t: u32| double_uv_area(part.corner_uvs(t as usize)) < 0.0;
    for pair in all.windows(2) {
        if pair[0].0 == pair[1].0 && turned(pair[0].1) == turned(pair[1].1) {
            join(&mut parent, pair[0].1, pair[1].1);
        }
    }
    gather(part, &mut parent)
}

fn root(parent: &mut [u32], mut i: u32) -> u32 {
    while parent[i as usize] != i {
        parent[i as usize] = parent[parent[i as usize] as usize];
        i = parent[i as usize];
    }
    i
}

/// The smaller number becomes the root, so that the result does not depend on the order of edges.
fn join(parent: &mut [u32], a: u32, b: u32) {
    let (a, b) = (root(parent, a), root(parent, b));
    parent[a.max(b) as usize] = a.min(b);
}

fn gather(part: &Part, parent: &mut [u32]) -> Islands {
    let mut number_of_root = vec![u32::MAX; parent.len()];
    let mut result = Islands::default();
    for t in 0..part.triangles.len() {
        let first = root(parent, t as u32) as usize;
        if number_of_root[first] == u32::MAX {
            number_of_root[first] = result.all.len() as u32;
            let (low, high) = (Vec2::INFINITY, Vec2::NEG_INFINITY);
            result.all.push(Island { triangles: 0, uv_area: 0.0, area: 0.0, low, high });
        }
        let number = number_of_root[first];
        result.of_triangle.push(number);
        let island = &mut result.all[number as usize];
        let uvs = part.corner_uvs(t);
        let [a, b, c] = part.corners(t);
        island.triangles += 1;
        island.uv_area += double_uv_area(uvs) / 2.0;
        island.area += f64::from((b - a).cross(c - a).length()) / 2.0;
        for uv in uvs {
            island.low = island.low.min(uv);
            island.high = island.high.max(uv);
        }
    }
    result
}

#[cfg(test)]
mod tests {
    use glam::Vec3;

    use super::*;

    /// A unit square at a place in space, with texture coordinates given for its corners.
    fn square(part: &mut Part, z: f32, uvs: [[f32; 2]; 4]) {
        let first = part.positions.len() as u32;
        part.positions.extend([[0.0, 0.0], [1.0, 0.0], [1.0, 1.0], [0.0, 1.0]].map(|[x, y]| Vec3::new(x, y, z)));
        part.normals.extend([Vec3::Z; 4]);
        part.uvs.extend(uvs.map(Vec2::from));
        part.triangles.extend([[first, first + 1, first + 2], [first, first + 2, first + 3]]);
    }

    #[test]
    fn mirrored_islands_are_told_apart() {
        let mut part = Part::default();
        // v runs down: the lower left corner of the square has the larger v.
        square(&mut part, 0.0, [[0.0, 0.5], [0.5, 0.5], [0.5, 0.0], [0.0, 0.0]]);
        square(&mut part, 1.0, [[1.0, 0.5], [0.5, 0.5], [0.5, 0.0], [1.0, 0.0]]);
        let found = islands(&part);
        assert_eq!(found.of_triangle, [0, 0, 1, 1], "two squares apart are two islands");
        assert_eq!([found.all[0].is_mirrored(), found.all[1].is_mirrored()], [false, true], "the second runs right to left");
        assert!((found.all[0].uv_area - 0.25).abs() < 1e-9, "half a unit squared: {}", found.all[0].uv_area);
        assert!((found.all[1].area - 1.0).abs() < 1e-9, "one square unit of cloth: {}", found.all[1].area);
    }
}
