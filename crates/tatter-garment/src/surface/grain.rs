//! The grain of islands, brought to their faces.

use glam::DVec3;
use tatter_core::angle::Angle;
use tatter_core::model::{Garment, IslandGrain, Weave};

use super::islands::islands;
use super::{Seed, Surface};

/// What is known of the grain of the island a face belongs to.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct FaceGrain {
    /// Number of the garment's [`IslandGrain`] it comes from.
    pub entry: usize,
    /// From the texture's upright to the warp, counter-clockwise as this face is seen from outside.
    pub turn: Angle,
    /// Whether the texture runs here in a mirror of where the entry lies: islands of both kinds share it.
    pub mirrored: bool,
}

impl FaceGrain {
    /// Turn a direction in the tangent plane.
    pub(super) fn turn(&self, up: DVec3, normal: DVec3) -> DVec3 {
        let (sin, cos) = f64::from(self.turn.to_radians()).sin_cos();
        up * cos + normal.cross(up) * sin
    }

    /// How the cloth of the face interlaces, seen from outside.
    pub fn weave(&self, entry: &IslandGrain) -> Weave {
        if self.mirrored { entry.weave.mirrored() } else { entry.weave }
    }
}

/// By face; empty when no entry lies on the cloth. An entry holds for every island that shows its place of the texture.
pub(super) fn by_face(garment: &Garment, surface: &Surface) -> Vec<Option<FaceGrain>> {
    let found: Vec<(usize, Seed)> =
        garment.grain.iter().enumerate().filter_map(|(n, e)| Some((n, surface.at_entry(e)?))).collect();
    if found.is_empty() {
        return Vec::new();
    }
    let all = islands(garment, surface);
    let mut of_island: Vec<Option<FaceGrain>> = vec![None; all.all.len()];
    let is_mirrored = |face: usize| surface.faces[face].is_mirrored().unwrap_or(false);
    for (entry, seed) in found {
        for &face in std::iter::once(&seed.face).chain(&seed.shared_with) {
            let mirrored = is_mirrored(face) != is_mirrored(seed.face);
            let turn = garment.grain[entry].turn;
            let turn = if mirrored { -turn } else { turn };
            of_island[all.of_face[face] as usize] = Some(FaceGrain { entry, turn, mirrored });
        }
    }
    all.of_face.iter().map(|&island| of_island[island as usize]).collect()
}

impl Surface {
    /// The place of an entry; `None` when no cloth of its part lies there.
    pub fn at_entry(&self, entry: &IslandGrain) -> Option<Seed> {
        self.at_uv(glam::Vec2::from(entry.at).as_dvec2(), entry.part.as_deref()).ok()
    }
}
