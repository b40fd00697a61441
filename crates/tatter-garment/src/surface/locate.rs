//! Finding a spot on the surface.

use glam::{DVec2, DVec3};
use tatter_core::explain::{Class, Explain};
use tatter_core::model::Spot;

use super::face::nearest_weights;
use super::{Face, Surface};

/// A place on the surface.
#[derive(Clone, Debug, PartialEq)]
pub struct Seed {
    /// The face it lies on.
    pub face: usize,
    /// Weights of the face's corners.
    pub weights: [f64; 3],
    /// The place, mm.
    pub point: DVec3,
    /// Outward unit normal, smoothed as the garment is shaded.
    pub normal: DVec3,
    /// Unit direction of the grain in the tangent plane: up of the texture image (decreasing v), turned by what is known of the
    /// island's grain.
    pub grain: DVec3,
    /// How far the asked point was from the surface, mm; 0 for spots in UV.
    pub distance_mm: f64,
    /// Other faces at the same UV: what is laid here shows there as well.
    pub shared_with: Vec<usize>,
}

/// Why a spot was not found.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum LocateError {
    /// The garment has no faces with texture coordinates.
    #[error("the garment has no textured surface")]
    NoSurface,
    /// No part or material of that name.
    #[error("the garment has no part called '{name}' (it has: {known})")]
    UnknownPart {
        /// The name asked for.
        name: String,
        /// The names there are.
        known: String,
    },
    /// The texture has no cloth there.
    #[error("no cloth lies at u {u:.4}, v {v:.4}; the nearest is at u {near_u:.5}, v {near_v:.5}")]
    OffCloth {
        /// Asked u.
        u: f64,
        /// Asked v.
        v: f64,
        /// Nearest u with cloth.
        near_u: f64,
        /// Nearest v with cloth.
        near_v: f64,
    },
}

impl Explain for LocateError {
    fn next(&self) -> String {
        match self {
            Self::NoSurface => "give a mesh with texture coordinates, or a map set without a mesh".into(),
            Self::UnknownPart { .. } => "use one of the names listed, or leave the part out".into(),
            Self::OffCloth { near_u, near_v, .. } => {
                format!("place it inside a UV island, for example at {near_u:.5},{near_v:.5}")
            }
        }
    }
    fn class(&self) -> Class {
        Class::Request
    }
}

impl Surface {
    /// The place a spot names. Cost is linear in the faces, much less after [`Surface::be_searched`].
    ///
    /// `mm_per_unit` is the mesh's unit, for spots given as points.
    pub fn locate(&self, spot: &Spot, mm_per_unit: f32) -> Result<Seed, LocateError> {
        match spot {
            Spot::Uv { at, part } => self.at_uv(DVec2::new(f64::from(at[0]), f64::from(at[1])), part.as_deref()),
            Spot::Point(p) => self.at_point(glam::Vec3::from(*p).as_dvec3() * f64::from(mm_per_unit)),
        }
    }

    pub(crate) fn seed(&self, face: usize, weights: [f64; 3], distance_mm: f64, shared_with: Vec<usize>) -> Seed {
        let f = &self.faces[face];
        let normal = f.shading_normal(weights);
        let up = f.mm_per_uv().map_or(DVec3::Y, |[_, along_v]| -along_v);
        let grain = (up - normal * up.dot(normal)).normalize_or_zero();
        let grain = if grain == DVec3::ZERO { normal.any_orthonormal_vector() } else { grain };
        let grain = self.grain_of(face).map_or(grain, |known| known.turn(grain, normal));
        Seed { face, weights, point: f.point(weights), normal, grain, distance_mm, shared_with }
    }

    pub(crate) fn at_point(&self, point: DVec3) -> Result<Seed, LocateError> {
        let mut best: Option<(f64, usize, [f64; 3])> = None;
        let look = |index: usize, best: &mut Option<(f64, usize, [f64; 3])>| {
            let face = &self.faces[index];
            if face.mm_per_uv().is_none() {
                return;
            }
            let weights = nearest_weights(point, face.corners);
            let d = face.point(weights).distance_squared(point);
            // Of those that are as near the first.
            if best.is_none_or(|(least, first, _)| d < least || (d == least && index < first)) {
                *best = Some((d, index, weights));
            }
        };
        match self.index.get() {
            Some(tree) => {
                for (index, boxed) in tree.nearest(point) {
                    // Rounding may bring a face a little nearer than its box.
                    if best.is_some_and(|(least, ..)| boxed > least * (1.0 + 1e-9) + 1e-12) {
                        break;
                    }
                    look(index, &mut best);
                }
            }
            None => (0..self.faces.len()).for_each(|index| look(index, &mut best)),
        }
        let (d, face, weights) = best.ok_or(LocateError::NoSurface)?;
        Ok(self.seed(face, weights, d.sqrt(), Vec::new()))
    }

    pub(crate) fn at_uv(&self, uv: DVec2, part: Option<&str>) -> Result<Seed, LocateError> {
        let chosen = self.chosen_parts(part)?;
        let faces = || self.faces.iter().enumerate().filter(|(_, f)| chosen[f.part]);
        let inside = |face: &Face, uv: DVec2| {
            let weights = face.weights_at_uv(uv)?;
            (weights.iter().all(|&w| w >= -1e-9) && face.normal != DVec3::ZERO).then_some(weights)
        };
        let hit = |(i, face): (usize, &Face)| inside(face, uv).map(|weights| (i, weights));
        let mut hits: Vec<(usize, [f64; 3])> = match self.flat_index.get() {
            Some(index) => {
                let near = index.around(uv).into_iter().map(|i| (i, &self.faces[i]));
                near.filter(|(_, face)| chosen[face.part]).filter_map(hit).collect()
            }
            None => faces().filter_map(hit).collect(),
        };
        if hits.is_empty() {
            // Islands may lie outside 0..1 and repeat the texture: look at the same texel in every repeat.
            hits = faces()
                .filter_map(|(i, f)| {
                    let repeat = (f.uv_centre() - uv).round();
                    inside(f, uv + repeat).map(|w| (i, w))
                })
                .collect();
        }
        let Some(&(face, weights)) = hits.first() else { return Err(self.off_cloth(uv, faces().map(|(_, f)| f))) };
        let strictly = |w: &[f64; 3]| w.iter().all(|&w| w > 1e-6);
        let shared = if strictly(&weights) {
            hits[1..].iter().filter(|(_, w)| strictly(w)).map(|&(i, _)| i).collect()
        } else {
            Vec::new()
        };
        Ok(self.seed(face, weights, 0.0, shared))
    }

    pub(crate) fn chosen_parts(&self, name: Option<&str>) -> Result<Vec<bool>, LocateError> {
        let Some(name) = name else { return Ok(vec![true; self.parts.len()]) };
        for matches in [|p: &super::SurfacePart, n: &str| p.name == n, |p: &super::SurfacePart, n: &str| p.material == n] {
            let chosen: Vec<bool> = self.parts.iter().map(|p| matches(p, name)).collect();
            if chosen.contains(&true) {
                return Ok(chosen);
            }
        }
        let known: Vec<&str> = self.parts.iter().map(|p| p.name.as_str()).collect();
        Err(LocateError::UnknownPart { name: name.into(), known: known.join(", ") })
    }

    fn off_cloth<'a>(&self, uv: DVec2, faces: impl Iterator<Item = &'a Face>) -> LocateError {
        let flat = |p: DVec2| DVec3::new(p.x, p.y, 0.0);
        let nearest = faces
            .filter(|f| f.mm_per_uv().is_some())
            .map(|f| {
                // A little inside the edge, so that the place still lies on cloth when people type its four decimals.
                let w = nearest_weights(flat(uv), f.uvs.map(flat)).map(|w| 0.7 * w + 0.1);
                f.uvs[0] * w[0] + f.uvs[1] * w[1] + f.uvs[2] * w[2]
            })
            .min_by(|a, b| a.distance_squared(uv).total_cmp(&b.distance_squared(uv)));
        nearest.map_or(LocateError::NoSurface, |near| LocateError::OffCloth { u: uv.x, v: uv.y, near_u: near.x, near_v: near.y })
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use glam::{Vec2, Vec3};
    use tatter_core::mesh::{Mesh, Part};
    use tatter_core::model::Garment;

    /// Every face asked is the reference for those near alone.
    #[test]
    fn a_searched_surface_finds_what_every_face_says() {
        let mut part = Part::default();
        for (j, i) in (0..40).flat_map(|j| (0..40).map(move |i| (j, i))) {
            let (u, v) = (i as f32 / 39.0, j as f32 / 39.0);
            part.positions.push(Vec3::new(u, 0.2 * (9.0 * u).sin() * (7.0 * v).cos(), v));
            part.normals.push(Vec3::Y);
            part.uvs.push(Vec2::new(u, v));
            if i < 39 && j < 39 {
                let a = j * 40 + i;
                part.triangles.extend([[a, a + 40, a + 1], [a + 1, a + 40, a + 41]]);
            }
        }
        let garment = Garment { mesh: Some(Mesh { parts: vec![part] }), mm_per_unit: 1000.0, ..Garment::default() };
        let (plain, searched) = (Surface::new(&garment), Surface::new(&garment));
        searched.be_searched();
        let mut rng = tatter_core::rng::Rng::new(3);
        for round in 0..400 {
            let mut place = || DVec3::from([0; 3].map(|_| 1400.0 * f64::from(rng.unit()) - 200.0));
            let (point, towards) = (place(), place());
            // Corners and edges belong to several faces, all as near.
            let point = if round % 3 == 0 { (point / 100.0).round() * 100.0 } else { point };
            assert_eq!(plain.at_point(point), searched.at_point(point), "round {round}: {point}");
            let corner = plain.faces()[round].corners[round % 3];
            assert_eq!(plain.at_point(corner), searched.at_point(corner), "corner of face {round}");
            let uv = DVec2::new(point.x, towards.z) / 1000.0;
            let uv = if round % 3 == 0 { (uv * 39.0).round() / 39.0 } else { uv };
            assert_eq!(plain.at_uv(uv, None), searched.at_uv(uv, None), "round {round}: in UV {uv}");
            let (along, few) = (towards - point, searched.along(point, towards - point).collect::<Vec<_>>());
            for (index, face) in plain.faces().iter().enumerate() {
                let [a, b, c] = face.corners;
                let normal = (b - a).cross(c - a);
                let way = (a - point).dot(normal) / along.dot(normal);
                let at = point + along * way;
                let inside = [(a, b), (b, c), (c, a)].iter().all(|(p, q)| (*q - *p).cross(at - *p).dot(normal) >= 0.0);
                assert!(!(inside && way > 0.0) || few.contains(&index), "round {round}: face {index} is crossed");
            }
            assert!(few.len() < 200, "round {round}: {} of 3042 faces", few.len());
        }
    }

    #[test]
    fn the_place_that_is_offered_lies_on_cloth_as_printed() {
        let part = Part {
            positions: vec![Vec3::ZERO, Vec3::X, Vec3::Y],
            normals: vec![Vec3::Z; 3],
            uvs: vec![Vec2::new(0.2, 0.6), Vec2::new(0.21, 0.6), Vec2::new(0.2, 0.591)],
            triangles: vec![[0, 1, 2]],
            ..Part::default()
        };
        let garment = Garment { mesh: Some(Mesh { parts: vec![part] }), mm_per_unit: 1000.0, ..Garment::default() };
        let surface = Surface::new(&garment);
        let at = |u: f32, v: f32| surface.locate(&Spot::Uv { at: [u, v], part: None }, 1000.0);
        let Err(LocateError::OffCloth { near_u, near_v, .. }) = at(0.3, 0.4) else { panic!("nothing lies at 0.3, 0.4") };
        let printed = |value: f64| format!("{value:.5}").parse::<f32>().unwrap();
        assert!(at(printed(near_u), printed(near_v)).is_ok(), "{near_u}, {near_v} was offered");
    }
}
