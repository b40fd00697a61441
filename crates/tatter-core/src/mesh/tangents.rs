//! `MikkTSpace` tangents: the frame in which every renderer reads a normal map.

use glam::{Vec3, Vec4};

use super::Part;

struct Corners<'a> {
    part: &'a Part,
    tangents: Vec<[Vec4; 3]>,
}

impl bevy_mikktspace::Geometry for Corners<'_> {
    fn num_faces(&self) -> usize {
        self.part.triangles.len()
    }

    fn num_vertices_of_face(&self, _face: usize) -> usize {
        3
    }

    fn position(&self, face: usize, vert: usize) -> [f32; 3] {
        self.part.positions[self.part.triangles[face][vert] as usize].to_array()
    }

    fn normal(&self, face: usize, vert: usize) -> [f32; 3] {
        self.part.normals[self.part.triangles[face][vert] as usize].to_array()
    }

    fn tex_coord(&self, face: usize, vert: usize) -> [f32; 2] {
        let uv = self.part.uvs[self.part.triangles[face][vert] as usize];
        // Our v runs down; the method wants it up, or every bitangent would point down the picture.
        [uv.x, 1.0 - uv.y]
    }

    fn set_tangent(&mut self, tangent: Option<bevy_mikktspace::TangentSpace>, face: usize, vert: usize) {
        if let Some(tangent) = tangent {
            self.tangents[face][vert] = Vec4::from_array(tangent.tangent_encoded());
        }
    }
}

/// One tangent for each corner of each triangle: xyz to image right, unit length; w is +1 on ordinary islands and -1 on
/// mirrored ones. The bitangent `w * normal.cross(xyz)` points to image *top*, as +Y-up normal maps need.
///
/// A corner no method can orient (no area in the texture) gets any direction square to its normal and w = 1.
/// Source: Mikkelsen, "Simulation of Wrinkled Surfaces Revisited", 2008; glTF 2.0, 3.7.2.1.
pub fn tangents(part: &Part) -> Vec<[Vec4; 3]> {
    let mut corners = Corners { part, tangents: vec![[Vec4::ZERO; 3]; part.triangles.len()] };
    // It fails only for a mesh without triangles, whose answer is empty anyway.
    let done = bevy_mikktspace::generate_tangents(&mut corners);
    debug_assert!(done.is_ok() || part.triangles.is_empty(), "tangents of a mesh with triangles");
    let mut tangents = corners.tangents;
    for (triangle, corner) in tangents.iter_mut().enumerate() {
        for (tangent, normal) in corner.iter_mut().zip(part.corner_normals(triangle)) {
            let direction = tangent.truncate();
            if !direction.is_finite() || direction.length_squared() < 0.25 {
                *tangent = normal.try_normalize().unwrap_or(Vec3::Z).any_orthonormal_vector().extend(1.0);
            }
        }
    }
    tangents
}
