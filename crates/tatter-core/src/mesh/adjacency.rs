//! Which triangle lies across each edge, over UV seams too.

use super::Part;
use super::weld::{bits, edges, first_equal};

/// What lies across an edge.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Neighbour {
    /// The triangle across.
    pub triangle: u32,
    /// Which of its edges: 0 from its corner 0 to 1, 1 from 1 to 2, 2 from 2 to 0.
    pub edge: u8,
    /// Whether the texture coordinates differ along the edge: a UV seam.
    pub seam: bool,
}

/// The neighbours of every triangle of a part.
#[derive(Clone, Debug, Default)]
pub struct Adjacency {
    /// For each triangle what lies across its edges 0-1, 1-2 and 2-0; `None` at a hem.
    pub across: Vec<[Option<Neighbour>; 3]>,
    /// Edges on which more than two triangles meet (only the first two are joined).
    pub crowded_edges: usize,
}

/// Neighbours by place: corners at the same position count as one, whatever their texture coordinates.
///
/// Memory: about 60 bytes a triangle while working.
pub fn adjacency(part: &Part) -> Adjacency {
    let places: Vec<[u32; 3]> = part.positions.iter().map(|p| p.to_array().map(bits)).collect();
    let place = first_equal(&places);
    let coords: Vec<([u32; 3], [u32; 2])> =
        part.positions.iter().zip(&part.uvs).map(|(p, uv)| (p.to_array().map(bits), uv.to_array().map(bits))).collect();
    let corner = first_equal(&coords);
    let mut all: Vec<((u32, u32), u32, u8)> = Vec::with_capacity(part.triangles.len() * 3);
    for (number, triangle) in part.triangles.iter().enumerate() {
        for (edge, pair) in edges(triangle.map(|i| place[i as usize])).into_iter().enumerate() {
            if pair.0 != pair.1 {
                all.push((pair, number as u32, edge as u8));
            }
        }
    }
    all.sort_unstable();
    let mut result = Adjacency { across: vec![[None; 3]; part.triangles.len()], crowded_edges: 0 };
    for group in all.chunk_by(|a, b| a.0 == b.0) {
        result.crowded_edges += usize::from(group.len() > 2);
        if let [(_, a, edge_a), (_, b, edge_b), ..] = *group {
            let ends =
                |triangle: u32, edge: u8| edges(part.triangles[triangle as usize].map(|i| corner[i as usize]))[usize::from(edge)];
            let seam = ends(a, edge_a) != ends(b, edge_b);
            result.across[a as usize][usize::from(edge_a)] = Some(Neighbour { triangle: b, edge: edge_b, seam });
            result.across[b as usize][usize::from(edge_b)] = Some(Neighbour { triangle: a, edge: edge_a, seam });
        }
    }
    result
}

#[cfg(test)]
mod tests {
    use glam::{Vec2, Vec3};

    use super::*;

    #[test]
    fn a_seam_is_crossed_and_named() {
        // Two triangles of a unit square; the second has texture coordinates of its own, shifted by 2.
        let corner = [Vec3::ZERO, Vec3::X, Vec3::new(1.0, 1.0, 0.0), Vec3::ZERO, Vec3::new(1.0, 1.0, 0.0), Vec3::Y];
        let uvs = corner.iter().enumerate().map(|(i, p)| Vec2::new(p.x + if i > 2 { 2.0 } else { 0.0 }, p.y)).collect();
        let part = Part { positions: corner.to_vec(), uvs, triangles: vec![[0, 1, 2], [3, 4, 5]], ..Part::default() };
        let found = adjacency(&part);
        assert_eq!(found.across[0], [None, None, Some(Neighbour { triangle: 1, edge: 0, seam: true })], "across the diagonal");
        assert_eq!(found.across[1][0], Some(Neighbour { triangle: 0, edge: 2, seam: true }), "and back");
        assert_eq!(found.crowded_edges, 0, "no third triangle");
    }
}
