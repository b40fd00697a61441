//! A line drawn over the texture as it lies on the cloth, to be looked at and taken hold of.

use glam::{DVec2, DVec3, Vec2, Vec3};
use tatter_core::model::Spot;
use tatter_garment::surface::Seed;

use super::{Form, Touch};

/// Pieces a stretch between two corners is shown in.
const PIECES: usize = 12;
/// A piece longer than this share of a stretch leaps through the air, between two islands.
const LEAP: f32 = 0.34;

/// A corner of a line.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Corner {
    /// In the world of a camera.
    pub at: Vec3,
    /// Outward unit normal of the cloth there.
    pub normal: Vec3,
    /// Right and up along the grain there.
    unit: [DVec3; 2],
}

/// A line on the cloth.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Line {
    /// Its corners; `None` where one is off the cloth.
    pub corners: Vec<Option<Corner>>,
    /// Pieces in the world, with the outward normal of each.
    pub pieces: Vec<([Vec3; 2], Vec3)>,
    /// Its corners flat: number of the map set, place in its texture.
    pub flat: Vec<Option<(usize, Vec2)>>,
}

impl Form {
    /// How a line of a scatter or a mark of wear lies. Linear in the faces for each of a dozen pieces of every stretch.
    pub fn line(&self, along: &[[f32; 2]], only: &[String]) -> Line {
        let seeds: Vec<Option<Seed>> = along.iter().map(|at| self.on_line(*at, only)).collect();
        let placed = |seed: &Seed| (self.world(seed.point), seed.normal.as_vec3());
        let flat = |(seed, at): (&Option<Seed>, &[f32; 2])| {
            let face = &self.faces()[seed.as_ref()?.face];
            let place = DVec2::new(f64::from(at[0]), f64::from(at[1])) - face.uv_centre().floor();
            Some((self.set_of(seed.as_ref()?.face)?, place.as_vec2()))
        };
        let mut line = Line {
            corners: seeds.iter().map(|seed| seed.as_ref().map(|seed| self.corner(seed))).collect(),
            pieces: Vec::new(),
            flat: seeds.iter().zip(along).map(flat).collect(),
        };
        for ends in along.windows(2) {
            let [from, to] = [Vec2::from(ends[0]), Vec2::from(ends[1])];
            let at = |piece: usize| from.lerp(to, piece as f32 / PIECES as f32).to_array();
            let places: Vec<Option<(Vec3, Vec3)>> =
                (0..=PIECES).map(|piece| self.on_line(at(piece), only).as_ref().map(placed)).collect();
            let found = || places.iter().flatten();
            let whole: f32 = found().zip(found().skip(1)).map(|((one, _), (other, _))| one.distance(*other)).sum();
            for pair in places.windows(2) {
                if let [Some((one, normal)), Some((other, _))] = pair
                    && one.distance(*other) <= LEAP * whole
                {
                    line.pieces.push(([*one, *other], *normal));
                }
            }
        }
        line
    }

    fn corner(&self, seed: &Seed) -> Corner {
        let unit = [seed.grain.cross(seed.normal), seed.grain];
        Corner { at: self.world(seed.point), normal: seed.normal.as_vec3(), unit }
    }

    /// The cloth so many millimetres to the right and up along the grain of a corner; `None` where there is none.
    pub fn beside_corner(&self, corner: &Corner, by: [f32; 2]) -> Option<Touch> {
        self.beside_of(corner.at, corner.normal, corner.unit, by)
    }

    /// The cloth at a place of a line, on the parts it keeps to if it can be.
    fn on_line(&self, at: [f32; 2], only: &[String]) -> Option<Seed> {
        let on = |part: Option<&String>| self.located(&Spot::Uv { at, part: part.cloned() });
        only.iter().find_map(|part| on(Some(part))).or_else(|| on(None))
    }
}
