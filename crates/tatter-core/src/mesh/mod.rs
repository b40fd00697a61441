//! Triangle meshes: the surface of a garment.

mod adjacency;
mod islands;
mod overlap;
mod tangents;
mod weld;

pub use adjacency::{Adjacency, Neighbour, adjacency};
pub use islands::{Island, Islands, islands};
pub use overlap::{UvUse, uv_use};
pub use tangents::tangents;

use glam::{Vec2, Vec3};

/// One part of a garment: triangles that share a material.
#[derive(Clone, Debug, Default)]
pub struct Part {
    /// Name of the part in its file, or `part-N`.
    pub name: String,
    /// Name of its material, or empty.
    pub material: String,
    /// Corners in world space, in the unit of the file (glTF: metres), node transforms applied.
    pub positions: Vec<Vec3>,
    /// Unit normals, one a corner.
    pub normals: Vec<Vec3>,
    /// Texture coordinates, one a corner: top-left origin, v down, not wrapped.
    pub uvs: Vec<Vec2>,
    /// Three corner numbers a triangle, counter-clockwise from outside.
    pub triangles: Vec<[u32; 3]>,
}

impl Part {
    /// The three corner positions of a triangle.
    pub fn corners(&self, triangle: usize) -> [Vec3; 3] {
        self.triangles[triangle].map(|i| self.positions[i as usize])
    }

    /// The three texture coordinates of a triangle.
    pub fn corner_uvs(&self, triangle: usize) -> [Vec2; 3] {
        self.triangles[triangle].map(|i| self.uvs[i as usize])
    }

    /// The three normals of a triangle.
    pub fn corner_normals(&self, triangle: usize) -> [Vec3; 3] {
        self.triangles[triangle].map(|i| self.normals[i as usize])
    }
}

/// A garment's surface. Every part has as many normals and texture coordinates as positions, and every triangle's
/// corner numbers are in range: readers guarantee it.
#[derive(Clone, Debug, Default)]
pub struct Mesh {
    /// The parts, in file order.
    pub parts: Vec<Part>,
}

impl Mesh {
    /// All triangles of all parts.
    pub fn triangle_count(&self) -> usize {
        self.parts.iter().map(|part| part.triangles.len()).sum()
    }

    /// Smallest and largest corner, or zeros when empty.
    pub fn bounds(&self) -> (Vec3, Vec3) {
        let mut all = self.parts.iter().flat_map(|part| part.positions.iter().copied());
        let Some(first) = all.next() else { return (Vec3::ZERO, Vec3::ZERO) };
        all.fold((first, first), |(low, high), p| (low.min(p), high.max(p)))
    }
}
