//! What is shown: parts of a garment with their materials.

use glam::{Vec3, Vec4};
use tatter_core::channel::Channel;
use tatter_core::image::{Coding, LinearRgb, Stored};
use tatter_core::mesh::{Part, tangents};

/// A corner as the adapter reads it.
#[derive(Clone, Copy, Debug, PartialEq, bytemuck::Pod, bytemuck::Zeroable)]
#[repr(C)]
pub struct Vertex {
    /// World space, the mesh's unit.
    pub position: [f32; 3],
    /// Unit length.
    pub normal: [f32; 3],
    /// `MikkTSpace`: xyz to image right, w the side of the bitangent.
    pub tangent: [f32; 4],
    /// Texture coordinates, v down.
    pub uv: [f32; 2],
}

/// Triangles that share a material.
#[derive(Clone, Debug, Default)]
pub struct ScenePart {
    /// Corners.
    pub vertices: Vec<Vertex>,
    /// Three corner numbers a triangle, counter-clockwise from outside.
    pub corners: Vec<u32>,
    /// Number of its material in [`Scene::materials`].
    pub material: usize,
}

impl ScenePart {
    /// Share out a part's triangles over materials; `material_of` says which a triangle has. Corners that agree in everything are
    /// one. Linear in the triangles.
    pub fn split(part: &Part, material_of: impl Fn(usize) -> usize) -> Vec<Self> {
        Self::split_by(part, &tangents(part), material_of)
    }

    /// As [`ScenePart::split`] with the part's [`tangents`], which take most of its time and ask nothing of materials.
    ///
    /// # Panics
    /// When they are not those of the part: a bug of the caller.
    pub fn split_by(part: &Part, tangents: &[[Vec4; 3]], material_of: impl Fn(usize) -> usize) -> Vec<Self> {
        /// No corner.
        const NONE: u32 = u32::MAX;
        let mut parts: Vec<Self> = Vec::new();
        // By part made: of each corner of the source the corner made of it last, and of each made the one made of the same before it.
        let mut made: Vec<(Vec<u32>, Vec<u32>)> = Vec::new();
        for (triangle, wound) in part.triangles.iter().enumerate() {
            let material = material_of(triangle);
            // What the normals say is outside is the front, whichever way the corners were wound.
            let [a, b, c] = part.corners(triangle);
            let outside: Vec3 = part.corner_normals(triangle).into_iter().sum();
            let turned = (b - a).cross(c - a).dot(outside) < 0.0;
            let order = if turned { [0, 2, 1] } else { [0, 1, 2] };
            let corners = order.map(|i| (wound[i], tangents[triangle][i]));
            let at = parts.iter().position(|part| part.material == material).unwrap_or_else(|| {
                parts.push(Self { material, ..Self::default() });
                made.push((vec![NONE; part.positions.len()], Vec::new()));
                parts.len() - 1
            });
            for (corner, tangent) in corners {
                let i = corner as usize;
                let vertex = Vertex {
                    position: part.positions[i].to_array(),
                    normal: part.normals[i].to_array(),
                    tangent: tangent.to_array(),
                    uv: part.uvs[i].to_array(),
                };
                let (last, before) = &mut made[at];
                let mut number = last[i];
                while number != NONE && parts[at].vertices[number as usize] != vertex {
                    number = before[number as usize];
                }
                if number == NONE {
                    number = parts[at].vertices.len() as u32;
                    parts[at].vertices.push(vertex);
                    before.push(std::mem::replace(&mut last[i], number));
                }
                parts[at].corners.push(number);
            }
        }
        parts
    }
}

/// One channel of a texture file.
#[derive(Clone, Copy, Debug)]
pub struct Source<'a> {
    /// The file's picture.
    pub picture: &'a Stored,
    /// How the channel lies in it.
    pub coding: Coding,
}

/// The fine fuzz of cloth (`KHR_materials_sheen`).
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Sheen {
    /// Its colour; black: none.
    pub color: LinearRgb,
    /// 0..1, how far the glow reaches in from the outline.
    pub roughness: f32,
}

/// How half-open texels are shown.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Openings {
    /// Each lets through its share.
    Share,
    /// Cloth where opacity is at least this.
    Cutoff(f32),
}

/// What a part is made of.
#[derive(Clone, Debug)]
pub struct Material<'a> {
    /// For messages.
    pub name: String,
    /// Its textures; a missing one is grey, flat, fully rough, no metal, unoccluded, without relief, solid.
    pub sources: Vec<(Channel, Source<'a>)>,
    /// Its fuzz.
    pub sheen: Sheen,
    /// How openings are shown.
    pub openings: Openings,
    /// Millimetres one unit of texture coordinates spans: for relief.
    pub mm_per_uv: f32,
}

impl<'a> Material<'a> {
    /// The texture of a channel.
    pub fn source(&self, channel: Channel) -> Option<&Source<'a>> {
        self.sources.iter().find_map(|(of, source)| (*of == channel).then_some(source))
    }
}

/// A garment to be shown.
#[derive(Clone, Debug, Default)]
pub struct Scene<'a> {
    /// Its parts.
    pub parts: Vec<ScenePart>,
    /// What they are made of.
    pub materials: Vec<Material<'a>>,
}

impl Scene<'_> {
    /// Every corner's place.
    pub fn points(&self) -> impl Iterator<Item = Vec3> + '_ {
        self.parts.iter().flat_map(|part| part.vertices.iter().map(|v| Vec3::from_array(v.position)))
    }

    /// Smallest and largest corner, zeros when there is none.
    pub fn bounds(&self) -> (Vec3, Vec3) {
        around(self.points())
    }

    /// Number of triangles.
    pub fn triangles(&self) -> usize {
        self.parts.iter().map(|part| part.corners.len() / 3).sum()
    }
}

/// Smallest and largest of some places, zeros when there is none.
pub(crate) fn around(points: impl Iterator<Item = Vec3>) -> (Vec3, Vec3) {
    let all = points.fold(None, |all: Option<(Vec3, Vec3)>, p| Some(all.map_or((p, p), |(low, high)| (low.min(p), high.max(p)))));
    all.unwrap_or_default()
}
