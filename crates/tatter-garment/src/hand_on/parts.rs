//! Parts of a mesh, one for each set of textures that they show.

use std::collections::BTreeMap;

use glam::Vec2;
use tatter_core::mesh::Part;
use tatter_core::model::{Garment, UvTile};

use crate::build::set_of_face;
use crate::surface::Surface;

/// Triangles that show one set of textures.
#[derive(Clone, Debug)]
pub struct TexturedPart {
    /// The triangles; texture coordinates lie in the set's own tile, so that each set can be a material of its own.
    pub part: Part,
    /// Number of the set in the garment; `None`: no textures.
    pub set: Option<usize>,
}

/// The number of a UV tile: 1001 and on.
pub const fn udim(tile: UvTile) -> i32 {
    1001 + tile.u + 10 * tile.v
}

/// The parts of a garment's mesh; one over several UV tiles becomes several, named by tile. Names and order stay. Empty
/// without a mesh.
pub fn parts_by_set(garment: &Garment) -> Vec<TexturedPart> {
    let Some(mesh) = &garment.mesh else { return Vec::new() };
    // Faces stand in the order of parts and their triangles.
    let of_face = set_of_face(&Surface::new(garment), &garment.sets);
    let mut first = 0;
    let mut all = Vec::new();
    for part in &mesh.parts {
        let own = &of_face[first..first + part.triangles.len()];
        first += part.triangles.len();
        let mut triangles: BTreeMap<Option<usize>, Vec<[u32; 3]>> = BTreeMap::new();
        for (triangle, set) in part.triangles.iter().zip(own) {
            triangles.entry(*set).or_default().push(*triangle);
        }
        let several = triangles.len() > 1;
        for (set, own) in triangles {
            let tile = set.map(|set| garment.sets[set].tile).unwrap_or_default();
            let mut made = if several { only(part, &own) } else { part.clone() };
            if tile != UvTile::default() {
                let shift = Vec2::new(-tile.u as f32, tile.v as f32);
                made.uvs.iter_mut().for_each(|uv| *uv += shift);
            }
            if several {
                made.name = set.map_or_else(|| format!("{}.bare", part.name), |_| format!("{}.{}", part.name, udim(tile)));
            }
            all.push(TexturedPart { part: made, set });
        }
    }
    all
}

/// A part with some of its triangles, and the corners that they need.
fn only(part: &Part, triangles: &[[u32; 3]]) -> Part {
    let mut made = Part { name: part.name.clone(), material: part.material.clone(), ..Part::default() };
    let mut new_number: BTreeMap<u32, u32> = BTreeMap::new();
    for triangle in triangles {
        made.triangles.push(triangle.map(|corner| {
            *new_number.entry(corner).or_insert_with(|| {
                let at = corner as usize;
                made.positions.push(part.positions[at]);
                made.normals.push(part.normals[at]);
                made.uvs.push(part.uvs[at]);
                made.positions.len() as u32 - 1
            })
        }));
    }
    made
}
