//! Tangents against the reference implementation.

use glam::{Vec2, Vec3, Vec4};
use tatter_core::mesh::{Part, tangents};

/// Measured with the reference C code compiled to WebAssembly (npm package mikktspace 1.1.1), one triangle
/// (0,0,0) (1,0,0) (0,1,0) with normal +Z. The coordinates below are ours (v down); the reference was given (u, 1 - v),
/// so a row whose reference coordinates were (u, v) stands here as (u, 1 - v).
type Case = (&'static str, [[f32; 2]; 3], [f32; 4]);
const CASES: &[Case] = &[
    ("ordinary", [[0.0, 1.0], [1.0, 1.0], [0.0, 0.0]], [1.0, 0.0, 0.0, 1.0]),
    ("upside down", [[0.0, 0.0], [1.0, 0.0], [0.0, 1.0]], [1.0, 0.0, 0.0, -1.0]),
    ("both ways round", [[1.0, 0.0], [0.0, 0.0], [1.0, 1.0]], [-1.0, 0.0, 0.0, 1.0]),
    ("turned and flipped", [[0.0, 1.0], [0.0, 0.0], [1.0, 1.0]], [0.0, 1.0, 0.0, -1.0]),
];

#[test]
fn four_triangles_agree_with_the_reference_code() {
    for (name, uvs, expected) in CASES {
        let part = Part {
            positions: vec![Vec3::ZERO, Vec3::X, Vec3::Y],
            normals: vec![Vec3::Z; 3],
            uvs: uvs.map(Vec2::from).to_vec(),
            triangles: vec![[0, 1, 2]],
            ..Part::default()
        };
        for found in tangents(&part)[0] {
            assert!((found - Vec4::from_array(*expected)).length() < 1e-6, "{name}: {found} instead of {expected:?}");
        }
    }
}

#[test]
fn a_corner_without_texture_area_still_has_a_frame() {
    let part = Part {
        positions: vec![Vec3::ZERO, Vec3::X, Vec3::Y],
        normals: vec![Vec3::Z; 3],
        uvs: vec![Vec2::ZERO; 3],
        triangles: vec![[0, 1, 2]],
        ..Part::default()
    };
    for found in tangents(&part)[0] {
        let direction = found.truncate();
        assert!((direction.length() - 1.0).abs() < 1e-5, "unit length: {direction}");
        assert!(direction.dot(Vec3::Z).abs() < 1e-5, "square to the normal: {direction}");
    }
}
