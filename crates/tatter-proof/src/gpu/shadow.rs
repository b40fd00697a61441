//! Where a shadow map looks.

use glam::{Mat4, Vec2, Vec3};

/// A shadow map's space: x and y across the light in -1..1, z from it in 0..1, and what one texel spans.
pub(super) struct ShadowSpace {
    pub(super) from_world: Mat4,
    /// Side of a texel, world units.
    pub(super) texel: f32,
}

/// Corners of a box.
pub(super) fn box_corners((low, high): (Vec3, Vec3)) -> [Vec3; 8] {
    std::array::from_fn(|i| {
        Vec3::new(
            if i & 1 == 0 { low.x } else { high.x },
            if i & 2 == 0 { low.y } else { high.y },
            if i & 4 == 0 { low.z } else { high.z },
        )
    })
}

/// Corners of what a picture shows: its clip space brought back into the world.
pub(super) fn seen_corners(clip_from_world: Mat4) -> [Vec3; 8] {
    let world_from_clip = clip_from_world.inverse();
    box_corners((Vec3::new(-1.0, -1.0, 0.0), Vec3::ONE)).map(|p| world_from_clip.project_point3(p))
}

/// A map of `side` texels for light from `towards`: as fine as what is seen allows, deep enough for all that casts.
pub(super) fn shadow_space(towards: Vec3, scene: (Vec3, Vec3), seen: &[Vec3; 8], side: u32) -> ShadowSpace {
    let right = towards.any_orthonormal_vector();
    let up = towards.cross(right);
    let across = |p: Vec3| Vec2::new(p.dot(right), p.dot(up));
    let span = |points: &[Vec3; 8]| {
        let first = across(points[0]);
        points.iter().fold((first, first), |(low, high), p| (low.min(across(*p)), high.max(across(*p))))
    };
    let corners = box_corners(scene);
    let ((low, high), (seen_low, seen_high)) = (span(&corners), span(seen));
    let (low, high) = (low.max(seen_low), high.min(seen_high));
    let extent = (high - low).max_element().max(1e-6) * (1.0 + 4.0 / side as f32);
    let middle = 0.5 * (low + high);
    let depths = corners.map(|p| p.dot(towards));
    let (far, near) = (depths.iter().copied().fold(f32::MAX, f32::min), depths.iter().copied().fold(f32::MIN, f32::max));
    let reach = (near - far).max(1e-6);
    let (near, deep) = (near + 0.01 * reach, 1.02 * reach);
    let half = 0.5 * extent;
    let row = |axis: Vec3, shift: f32, scale: f32| (axis * scale).extend(shift * scale);
    let rows =
        [row(right, -middle.x, 1.0 / half), row(up, -middle.y, 1.0 / half), row(-towards, near, 1.0 / deep), glam::Vec4::W];
    let from_world = Mat4::from_cols(rows[0], rows[1], rows[2], rows[3]).transpose();
    ShadowSpace { from_world, texel: extent / side as f32 }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn everything_that_casts_lies_in_the_map_and_nearer_the_light_is_less_deep() {
        let scene = (Vec3::new(-0.4, 0.0, -0.2), Vec3::new(0.4, 1.2, 0.3));
        let towards = Vec3::new(0.3, 0.8, 0.5).normalize_or_zero();
        let space = shadow_space(towards, scene, &box_corners(scene), 1024);
        for corner in box_corners(scene) {
            let p = space.from_world.transform_point3(corner);
            assert!(p.abs().max_element() <= 1.0 && p.z >= 0.0, "{corner} lies at {p}");
        }
        let middle = Vec3::new(0.0, 0.6, 0.0);
        let depth = |p: Vec3| space.from_world.transform_point3(p).z;
        assert!(depth(middle + 0.1 * towards) < depth(middle), "towards the light is nearer");
        let aside = towards.any_orthonormal_vector() * space.texel * 512.0;
        let moved = space.from_world.transform_point3(middle + aside) - space.from_world.transform_point3(middle);
        assert!((moved.truncate().length() - 1.0).abs() < 1e-4, "512 texels are half the map: {moved}");
    }
}
