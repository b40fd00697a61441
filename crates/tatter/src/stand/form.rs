//! The garment's shape: what lies under a finger, and how placements lie on it.

use std::path::Path;
use std::sync::Arc;

use glam::{DVec2, DVec3, Vec2, Vec3};
use rayon::prelude::*;
use tatter_core::angle::Angle;
use tatter_core::channel::Channel;
use tatter_core::model::{Garment, Job, Placement, Spot};
use tatter_core::task::Task;
use tatter_core::units::Mm;
use tatter_garment::place::{Canvas, Footprints, PlaceSettings, Spread};
use tatter_garment::surface::{Face, LocateError, Seed, Surface};
use tatter_garment::view::Viewer;
use tatter_proof::{Camera, ScenePart};

use crate::place::{placeable, sizes};
use crate::proof::studio::{mesh_tangents, parts_by};
use crate::session::SessionError;

/// A map set as it lies flat: its name and the edges of its islands.
#[derive(Clone, Debug)]
pub struct Sheet {
    /// Material and tile.
    pub name: String,
    /// Edges of islands, places in the texture: 0..1 from the top left.
    pub edges: Vec<[Vec2; 2]>,
}

/// A place of the cloth that was touched.
#[derive(Clone, Debug, PartialEq)]
pub struct Touch {
    /// Number of the map set it shows.
    pub set: usize,
    /// How a job names it.
    pub spot: Spot,
    /// Where it is, in the world of a camera.
    pub point: Vec3,
    /// Where it is in UV, v down: as lines are drawn.
    pub uv: [f32; 2],
    face: usize,
}

/// How a placement lies on the cloth.
#[derive(Clone, Debug, PartialEq)]
pub struct Lie {
    /// Its middle, in the world of a camera.
    pub middle: Vec3,
    /// Outward unit normal there.
    pub normal: Vec3,
    /// Middle of the canvas's upper edge and its lower right corner, in the world.
    pub knobs: [Vec3; 2],
    /// The border of its canvas in the world, with the outward normal of each piece.
    pub border: Vec<([Vec3; 2], Vec3)>,
    /// The border flat: number of the map set, places in its texture.
    pub flat_border: Vec<(usize, [Vec2; 2])>,
    /// Its middle flat.
    pub flat_middle: (usize, Vec2),
    /// Side of its canvas on the cloth.
    pub side: Mm,
    unit: [DVec3; 2],
    millimetres: f64,
}

impl Lie {
    /// From the middle to where a line of sight meets the plane of the cloth there: millimetres to the right and up along the grain.
    /// `None` when it passes by.
    pub fn on_plane(&self, (from, along): (Vec3, Vec3)) -> Option<Vec2> {
        let slant = along.dot(self.normal);
        if slant.abs() < 0.05 {
            return None;
        }
        let way = (self.middle - from).dot(self.normal) / slant;
        let offset = (from + along * way - self.middle).as_dvec3() * self.millimetres;
        (way > 0.0).then(|| Vec2::new(offset.dot(self.unit[0]) as f32, offset.dot(self.unit[1]) as f32))
    }
}

/// The shape of a job's garment.
#[derive(Debug)]
pub struct Form {
    garment: Garment,
    surface: Arc<Surface>,
    sets: Vec<Option<usize>>,
    sheets: Vec<Sheet>,
    parts: Vec<ScenePart>,
    /// Millimetres in one unit of the world.
    millimetres: f64,
    triangles: usize,
    /// Where placements lie, found once for the window and for what is laid.
    footprints: Arc<Footprints>,
}

impl Form {
    /// Read the mesh of a job; no texture is read. Linear in its faces.
    ///
    /// # Errors
    /// When the mesh cannot be read, or nothing tells its scale.
    pub fn read(job: &Job, path: &Path, task: &Task) -> Result<Self, SessionError> {
        let garment = task.stage("mesh", || placeable(job, path))?;
        let (viewer, tangents) = rayon::join(
            || task.stage("surface", || Viewer::new(&garment)),
            || task.stage("tangents", || mesh_tangents(&garment)),
        );
        let search = || task.stage("search", || viewer.surface().be_searched());
        let islands = || task.stage("islands", || sheets(&garment, &viewer));
        let split = || task.stage("parts", || parts_by(&garment, &viewer, &tangents));
        let (((), sheets), parts) = rayon::join(|| rayon::join(search, islands), split);
        let (surface, sets) = viewer.into_parts();
        let millimetres = if garment.mesh.is_some() { f64::from(garment.mm_per_unit) } else { 1.0 };
        let triangles = surface.faces().len();
        let footprints = Arc::default();
        Ok(Self { garment, surface: Arc::new(surface), sets, sheets, parts, millimetres, triangles, footprints })
    }

    /// Its map sets, flat.
    pub fn sheets(&self) -> &[Sheet] {
        &self.sheets
    }

    /// How many triangles it has.
    pub const fn triangles(&self) -> usize {
        self.triangles
    }

    /// The smallest and the largest side a patch can have on it.
    pub fn sizes(&self) -> [Mm; 2] {
        sizes(&self.garment)
    }

    pub(super) fn parts(&self) -> &[ScenePart] {
        &self.parts
    }

    /// An eye in front of it that sees all of it, in a picture `aspect` times as wide as high, from wherever it is carried around the
    /// middle, which it looks at. Eight times linear in the corners.
    pub fn eye(&self, aspect: f32) -> Camera {
        let points = || self.parts.iter().flat_map(|part| part.vertices.iter().map(|v| Vec3::from_array(v.position)));
        let from = |eighth: u8| Camera::around(points(), Angle::degrees(45.0 * f32::from(eighth)), Angle::degrees(6.0), aspect);
        let around: Vec<Camera> = (0..8).map(from).collect();
        let far = around.iter().map(|camera| camera.eye.distance(camera.target)).fold(0.0, f32::max);
        let (low, high) = points().fold((Vec3::MAX, Vec3::MIN), |(low, high), p| (low.min(p), high.max(p)));
        let middle = if low.x <= high.x { 0.5 * (low + high) } else { Vec3::ZERO };
        Camera { eye: middle + Vec3::Z * far, target: middle, up: Vec3::Y, ..around[0] }
    }

    /// The cloth so many millimetres to the right and up along the grain of where a placement lies; `None` where there is none.
    pub fn beside(&self, lie: &Lie, by: [f32; 2]) -> Option<Touch> {
        self.beside_of(lie.middle, lie.normal, lie.unit, by)
    }

    pub(super) fn beside_of(&self, at: Vec3, normal: Vec3, unit: [DVec3; 2], [right, up]: [f32; 2]) -> Option<Touch> {
        let offset = unit[0] * f64::from(right) + unit[1] * f64::from(up);
        let above = at.as_dvec3() * self.millimetres + offset + normal.as_dvec3() * (5.0 + offset.length());
        self.touch(((above / self.millimetres).as_vec3(), -normal))
    }

    /// The nearest cloth along a line of sight.
    pub fn touch(&self, (from, along): (Vec3, Vec3)) -> Option<Touch> {
        let (from, along) = (from.as_dvec3() * self.millimetres, along.as_dvec3());
        let mut best: Option<(f64, usize, [f64; 3])> = None;
        for index in self.surface.along(from, along) {
            if let Some((way, weights)) = crossing(from, along, self.surface.faces()[index].corners)
                && best.is_none_or(|(least, first, _)| way < least || (way == least && index < first))
                && self.sets[index].is_some()
            {
                best = Some((way, index, weights));
            }
        }
        let (_, face, weights) = best?;
        let own = &self.surface.faces()[face];
        let point = self.world(own.point(weights));
        let uv = own.uvs[0] * weights[0] + own.uvs[1] * weights[1] + own.uvs[2] * weights[2];
        let spot = if self.garment.mesh.is_some() { Spot::Point(point.to_array()) } else { self.uv_spot(face, uv) };
        Some(Touch { set: self.sets[face]?, spot, point, uv: uv.as_vec2().to_array(), face })
    }

    /// The cloth at a place of a flat map set. Linear in the faces.
    pub fn touch_flat(&self, set: usize, place: Vec2) -> Option<Touch> {
        let (face, uv, point) =
            self.surface.faces().iter().enumerate().filter(|(index, _)| self.sets[*index] == Some(set)).find_map(
                |(index, face)| {
                    let uv = place.as_dvec2() + face.uv_centre().floor();
                    let weights = face.weights_at_uv(uv)?;
                    weights.iter().all(|w| *w >= 0.0).then(|| (index, uv, face.point(weights)))
                },
            )?;
        Some(Touch { set, spot: self.uv_spot(face, uv), point: self.world(point), uv: uv.as_vec2().to_array(), face })
    }

    /// A spot in UV, with the part's name where it takes one to mean this face.
    fn uv_spot(&self, face: usize, uv: DVec2) -> Spot {
        let at = uv.as_vec2().to_array();
        Spot::Uv { at, part: self.part_meant(face, at) }
    }

    /// The part's name, where it takes one to mean a face by its place in UV.
    fn part_meant(&self, face: usize, at: [f32; 2]) -> Option<String> {
        let plain = self.located(&Spot::Uv { at, part: None });
        let is_meant = plain.is_some_and(|seed| self.sets[seed.face] == self.sets[face]);
        (!is_meant).then(|| self.surface.parts()[self.surface.faces()[face].part].name.clone())
    }

    /// The part that a line drawn from a touch must keep to, since others lie at that place in UV, too. Linear in the faces.
    pub fn part_of(&self, touch: &Touch) -> Option<String> {
        self.part_meant(touch.face, touch.uv)
    }

    /// The cloth at a spot. Linear in the faces.
    pub(super) fn located(&self, spot: &Spot) -> Option<Seed> {
        self.surface.locate(spot, self.garment.mm_per_unit).ok()
    }

    pub(super) fn world(&self, point: DVec3) -> Vec3 {
        (point / self.millimetres).as_vec3()
    }

    pub(super) fn faces(&self) -> &[Face] {
        self.surface.faces()
    }

    pub(super) fn set_of(&self, face: usize) -> Option<usize> {
        self.sets[face]
    }

    pub(super) const fn surface(&self) -> &Arc<Surface> {
        &self.surface
    }

    pub(super) const fn footprints(&self) -> &Arc<Footprints> {
        &self.footprints
    }

    pub(super) const fn garment(&self) -> &Garment {
        &self.garment
    }

    /// Names of its parts and materials, as rules name what they stay on and keep off.
    pub fn cloths(&self) -> Vec<&str> {
        let parts = self.surface.parts();
        let mut names: Vec<&str> = Vec::new();
        for name in parts.iter().map(|part| part.name.as_str()).chain(parts.iter().map(|part| part.material.as_str())) {
            if !name.is_empty() && !names.contains(&name) {
                names.push(name);
            }
        }
        names
    }

    /// The channels its textures have, in table order.
    pub fn channels(&self) -> Vec<Channel> {
        let has = |channel: &Channel| self.garment.sets.iter().any(|set| set.role(*channel).is_some());
        Channel::ALL.into_iter().filter(has).collect()
    }

    /// How several placements lie, each as [`Form::lie`] says.
    pub fn lies(&self, placements: &[(&Placement, Canvas)]) -> Vec<Result<Lie, LocateError>> {
        placements.par_iter().map(|(placement, canvas)| self.lie(placement, canvas)).collect()
    }

    /// How a placement lies. Linear in the faces it reaches; spots in UV in all of them.
    ///
    /// # Errors
    /// [`LocateError`] when its spot is not on the cloth.
    pub fn lie(&self, placement: &Placement, canvas: &Canvas) -> Result<Lie, LocateError> {
        let settings = PlaceSettings::default();
        let found = self.footprints.of(&self.surface, placement, canvas, self.garment.mm_per_unit, &settings)?;
        let own = DVec2::from(canvas.size_mm.map(|mm| f64::from(mm.get())));
        let world = |point: DVec3| self.world(point);
        let seed = &found.seed;
        let knob = |at: DVec2| found.place(&self.surface, at).map_or(seed.point, |spread| spread.point);
        let pieces = found.border(&self.surface, own);
        let border =
            pieces.iter().map(|ends| (ends.map(|end| world(end.point)), self.surface.faces()[ends[0].face].normal.as_vec3()));
        let flat = |end: Spread| (end.uv - self.surface.faces()[end.face].uv_centre().floor()).as_vec2();
        let flat_border = pieces.iter().filter_map(|ends| Some((self.sets[ends[0].face]?, ends.map(flat))));
        let face = &self.surface.faces()[seed.face];
        let uv = face.uvs[0] * seed.weights[0] + face.uvs[1] * seed.weights[1] + face.uvs[2] * seed.weights[2];
        Ok(Lie {
            middle: world(seed.point),
            normal: seed.normal.as_vec3(),
            knobs: [DVec2::new(0.0, -0.5 * own.y), 0.5 * own].map(|at| world(knob(at))),
            border: border.collect(),
            flat_border: flat_border.collect(),
            flat_middle: (self.sets[seed.face].unwrap_or_default(), (uv - face.uv_centre().floor()).as_vec2()),
            side: Mm((own.x.max(own.y) * found.enlargement) as f32),
            unit: [seed.grain.cross(seed.normal), seed.grain],
            millimetres: self.millimetres,
        })
    }

    /// Whether a point of the world can be seen from an eye: no cloth lies before it.
    pub fn is_seen(&self, point: Vec3, eye: Vec3) -> bool {
        let (from, to) = (eye.as_dvec3() * self.millimetres, point.as_dvec3() * self.millimetres);
        let way = from.distance(to);
        let along = (to - from).normalize_or_zero();
        // The point itself lies on cloth: what is nearer than half a percent of the way is it.
        let faces = self.surface.faces();
        let before = |face: usize| crossing(from, along, faces[face].corners).is_some_and(|(at, _)| at < 0.995 * way);
        !self.surface.along(from, along).any(before)
    }
}

/// Where a line meets a triangle, either side: how far along, and corner weights (Möller and Trumbore 1997).
fn crossing(from: DVec3, along: DVec3, [a, b, c]: [DVec3; 3]) -> Option<(f64, [f64; 3])> {
    let (ab, ac) = (b - a, c - a);
    let p = along.cross(ac);
    let det = ab.dot(p);
    if det.abs() < 1e-12 {
        return None;
    }
    let t = from - a;
    let v = t.dot(p) / det;
    if !(0.0..=1.0).contains(&v) {
        return None;
    }
    let q = t.cross(ab);
    let w = along.dot(q) / det;
    let way = ac.dot(q) / det;
    (w >= 0.0 && v + w <= 1.0 && way > 0.0).then_some((way, [1.0 - v - w, v, w]))
}

/// The map sets with the edges that only one of their faces has.
fn sheets(garment: &Garment, viewer: &Viewer<'_>) -> Vec<Sheet> {
    // By map set and ends in millionths of the texture: finer than any texel.
    let edges_of = |(number, face): (usize, &Face)| {
        let set = viewer.set_of(number)?;
        let first = face.uv_centre().floor();
        let corners = face.uvs.map(|uv| uv - first);
        Some([0, 1, 2].map(|i| {
            let ends = [corners[i], corners[(i + 1) % 3]];
            let mut key = ends.map(|p| [(p.x * 1e6).round() as i64, (p.y * 1e6).round() as i64]);
            key.sort_unstable();
            ((set, key), ends.map(|p| p.as_vec2()))
        }))
    };
    let mut edges: Vec<_> =
        viewer.surface().faces().par_iter().enumerate().filter_map(edges_of).flat_map_iter(|edges| edges).collect();
    edges.par_sort_unstable_by_key(|(key, _)| *key);
    let mut lone: Vec<Vec<[Vec2; 2]>> = vec![Vec::new(); garment.sets.len()];
    for alike in edges.chunk_by(|one, other| one.0 == other.0) {
        if let [((set, _), ends)] = alike {
            lone[*set].push(*ends);
        }
    }
    let name = |number: usize| {
        let set = &garment.sets[number];
        let material = if set.material.is_empty() { "cloth" } else { &set.material };
        let tiled = garment.sets.iter().filter(|other| other.material == set.material).count() > 1;
        if tiled { format!("{material} {}", 1001 + set.tile.u + 10 * set.tile.v) } else { material.to_owned() }
    };
    lone.into_iter().enumerate().map(|(number, edges)| Sheet { name: name(number), edges }).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_line_meets_a_triangle_where_arithmetic_says() {
        let corners = [DVec3::ZERO, DVec3::X * 2.0, DVec3::Y * 2.0];
        let (way, weights) = crossing(DVec3::new(0.5, 0.5, 3.0), DVec3::NEG_Z, corners).unwrap();
        assert!((way - 3.0).abs() < 1e-12, "three away: {way}");
        assert!((weights[0] - 0.5).abs() < 1e-12 && (weights[1] - 0.25).abs() < 1e-12, "{weights:?}");
        assert_eq!(crossing(DVec3::new(1.5, 1.5, 3.0), DVec3::NEG_Z, corners), None, "beyond the long edge");
        assert_eq!(crossing(DVec3::new(0.5, 0.5, -3.0), DVec3::NEG_Z, corners), None, "behind");
    }
}
