//! The plainest garment there is.

use glam::{Vec2, Vec3};
use tatter_core::mesh::{Mesh, Part};

/// One upright square of cloth, 0.512 metres a side, called front and made of canvas; its texture covers it once.
pub fn panel() -> Mesh {
    let mut part = Part { name: "front".into(), material: "canvas".into(), ..Part::default() };
    for [u, v] in [[0.0, 1.0], [1.0, 1.0], [1.0, 0.0], [0.0, 0.0]] {
        part.positions.push(Vec3::new(0.512 * u, 0.512 * (1.0 - v), 0.0));
        part.normals.push(Vec3::Z);
        part.uvs.push(Vec2::new(u, v));
    }
    part.triangles.extend([[0, 1, 2], [0, 2, 3]]);
    Mesh { parts: vec![part] }
}
