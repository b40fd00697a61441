//! A garment's surface in millimetres: its faces, which of them touch, and how to find a spot on it.

pub mod density;
mod face;
mod grain;
mod index;
pub mod islands;
mod locate;
mod weld;

use std::sync::OnceLock;

use glam::{DVec2, DVec3};
use rayon::prelude::*;
use tatter_core::model::Garment;

pub use face::Face;
pub(crate) use face::nearest_weights;
pub use grain::FaceGrain;
pub use locate::{LocateError, Seed};

/// What is left of a mesh part on the surface.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct SurfacePart {
    /// Name of the part.
    pub name: String,
    /// Name of its material.
    pub material: String,
}

/// All faces of a garment in one list, in millimetres, with their neighbours across edges (and so across UV seams and
/// parts: corners are welded by position). About 250 bytes a face.
#[derive(Clone, Debug)]
pub struct Surface {
    pub(crate) faces: Vec<Face>,
    pub(crate) parts: Vec<SurfacePart>,
    edges: weld::Edges,
    /// By face: the piece of cloth it belongs to.
    pieces: Vec<u32>,
    /// By face, where islands have a known grain; empty where none has.
    grains: Vec<Option<FaceGrain>>,
    flat: bool,
    /// Made when it is worth it.
    index: OnceLock<index::Index>,
    flat_index: OnceLock<index::FlatIndex>,
}

impl Surface {
    /// The surface of a garment; a garment without a mesh is one flat sheet a map set, `mm_per_uv` wide. Costs time in
    /// proportion to the faces, once more for every island of known grain.
    pub fn new(garment: &Garment) -> Self {
        let (mut faces, mut parts) = (Vec::new(), Vec::new());
        match &garment.mesh {
            Some(mesh) => {
                let scale = f64::from(garment.mm_per_unit);
                for (index, part) in mesh.parts.iter().enumerate() {
                    parts.push(SurfacePart { name: part.name.clone(), material: part.material.clone() });
                    faces.par_extend((0..part.triangles.len()).into_par_iter().map(|t| Face::of_part(part, t, index, scale)));
                }
            }
            None => flat_sheets(garment, &mut faces, &mut parts),
        }
        let edges = weld::Edges::new(&faces);
        let pieces = edges.pieces();
        let (index, flat_index) = (OnceLock::new(), OnceLock::new());
        let flat = garment.mesh.is_none();
        let mut surface = Self { faces, parts, edges, pieces, grains: Vec::new(), flat, index, flat_index };
        surface.grains = grain::by_face(garment, &surface);
        surface
    }

    /// The faces, in the order of the mesh's parts and triangles.
    pub fn faces(&self) -> &[Face] {
        &self.faces
    }

    /// Make it fast to find places on it: about a tenth of a second for 200,000 faces, to be won back by thirty places. What is found
    /// stays the same.
    pub fn be_searched(&self) {
        rayon::join(
            || self.index.get_or_init(|| index::Index::new(&self.faces)),
            || self.flat_index.get_or_init(|| index::FlatIndex::new(&self.faces)),
        );
    }

    /// Faces that a line from a place may cross, in no order: few after [`Surface::be_searched`], all of them before.
    pub fn along(&self, from: DVec3, direction: DVec3) -> impl Iterator<Item = usize> + '_ {
        let few = self.index.get().map(|index| index.along(from, direction));
        let all = if few.is_none() { 0..self.faces.len() } else { 0..0 };
        few.into_iter().flatten().chain(all)
    }

    /// The parts the faces belong to.
    pub fn parts(&self) -> &[SurfacePart] {
        &self.parts
    }

    /// Whether it is a bare map set laid flat, without a mesh.
    pub const fn is_flat(&self) -> bool {
        self.flat
    }

    /// Numbers of a face's corners; corners at one place have one number, whatever their UV or part.
    pub(crate) fn welded(&self, face: usize) -> [u32; 3] {
        self.edges.corners(face)
    }

    /// The piece of cloth a face belongs to: faces that hang together by corners have one number.
    pub(crate) fn piece(&self, face: usize) -> u32 {
        self.pieces[face]
    }

    /// What is known of the grain of a face's island.
    pub fn grain_of(&self, face: usize) -> Option<&FaceGrain> {
        self.grains.get(face)?.as_ref()
    }

    /// The faces that share edge `corner → corner + 1` with a face.
    pub fn across(&self, face: usize, corner: usize) -> impl Iterator<Item = usize> + '_ {
        self.edges.across(face, corner)
    }
}

/// One square sheet a map set, two faces each; sheets of neighbouring UV tiles touch.
fn flat_sheets(garment: &Garment, faces: &mut Vec<Face>, parts: &mut Vec<SurfacePart>) {
    for (index, set) in garment.sets.iter().enumerate() {
        let name = if set.material.is_empty() { "flat".to_owned() } else { set.material.clone() };
        parts.push(SurfacePart { name, material: set.material.clone() });
        let aspect = set.files.first().map_or(1.0, |file| file.size.height as f64 / file.size.width.max(1) as f64);
        let side = f64::from(garment.mm_per_uv.get());
        let (u, v) = (f64::from(set.tile.u), -f64::from(set.tile.v));
        let corners = [(u, v), (u, v + 1.0), (u + 1.0, v + 1.0), (u + 1.0, v)].map(|(u, v)| {
            let uv = DVec2::new(u, v);
            (DVec3::new(u * side, -v * side * aspect, 0.0), uv)
        });
        for triangle in [[0, 1, 2], [0, 2, 3]] {
            let (p, uv) = (triangle.map(|i| corners[i].0), triangle.map(|i| corners[i].1));
            faces.push(Face::new(index, p, uv, [DVec3::Z; 3]));
        }
    }
}
