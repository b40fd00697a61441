//! FBX, binary and text, read by the ufbx library: rest pose, the file's own unit, turned so that y is up.
//!
//! What it is not: it evaluates no animation, no skeleton and no subdivision, and reads no file beside the mesh.

mod material;

use std::collections::HashMap;
use std::path::Path;

use glam::{DAffine3, DMat3, DVec3, Vec2, Vec3};
use tatter_core::task::Note;
use ufbx::{ErrorType, LoadOpts, Node};

use super::finish::{MAX_CORNERS, RawPart, finish, judge_size};
use super::{MeshError, MeshFile, UnitSource};
use crate::limits::Limits;

/// First bytes of the binary form.
const MARK: &[u8] = b"Kaydara FBX Binary";

pub(super) fn is_fbx(bytes: &[u8]) -> bool {
    bytes.starts_with(MARK)
}

/// Reads an FBX file whose bytes are at hand.
pub(super) fn read(path: &Path, bytes: &[u8], limits: &Limits) -> Result<MeshFile, MeshError> {
    let scene = ufbx::load_memory(bytes, options(limits)).map_err(|error| failed(&error, path))?;
    let corners: u64 = scene.nodes.iter().filter_map(|node| node.mesh.as_ref()).map(|mesh| mesh.num_indices as u64).sum();
    if corners > MAX_CORNERS {
        return Err(MeshError::TooLarge { what: "corners", limit: MAX_CORNERS, path: path.to_owned() });
    }
    let mut notes = Vec::new();
    let names = material::names(&scene);
    let mut parts = Vec::new();
    for node in scene.nodes.iter() {
        let own = parts_of(node, &names, &mut notes).ok_or_else(|| damaged("a face names a corner that is not there", path))?;
        parts.extend(own);
    }
    let mesh = finish(parts, &mut notes).map_err(|nothing| nothing.at(path))?;
    let unit = scene.settings.unit_meters * 1000.0;
    // The format's own unit is the centimetre; a file without one is told as such a file.
    let stated = unit.is_finite() && (1e-3..=1e6).contains(&unit);
    let mm_per_unit = if stated { unit as f32 } else { 10.0 };
    judge_size(&mesh, mm_per_unit, &mut notes);
    let materials = material::used(&scene, &names, &mesh, &mut notes);
    let unit_source = if stated { UnitSource::Stated } else { UnitSource::Assumed };
    Ok(MeshFile { mesh, mm_per_unit, unit_source, materials, notes })
}

fn options(limits: &Limits) -> LoadOpts<'static> {
    let mut options = LoadOpts {
        file_format: ufbx::FileFormat::Fbx,
        ignore_animation: true,
        load_external_files: false,
        index_error_handling: ufbx::IndexErrorHandling::AbortLoading,
        target_axes: ufbx::CoordinateAxes::right_handed_y_up(),
        ..LoadOpts::default()
    };
    let most = usize::try_from(limits.max_bytes).unwrap_or(usize::MAX);
    options.temp_allocator.memory_limit = most;
    options.result_allocator.memory_limit = most;
    options
}

fn damaged(what: &str, path: &Path) -> MeshError {
    MeshError::Damaged { what: what.to_owned(), path: path.to_owned() }
}

fn failed(error: &ufbx::Error, path: &Path) -> MeshError {
    let path = path.to_owned();
    match error.type_ {
        ErrorType::MemoryLimit | ErrorType::AllocationLimit | ErrorType::OutOfMemory => {
            MeshError::TooLarge { what: "content", limit: MAX_CORNERS, path }
        }
        ErrorType::UnsupportedVersion => MeshError::Unsupported { what: "a version of FBX older than 3000".to_owned(), path },
        ErrorType::UnrecognizedFileFormat => MeshError::UnknownFormat { path },
        ErrorType::EmptyFile => damaged("it is empty", &path),
        ErrorType::TruncatedFile => damaged("it ends too early", &path),
        ErrorType::BadIndex => damaged("a face names a corner that is not there", &path),
        _ => MeshError::Damaged { what: format!("the reader says: {}", &*error.description), path },
    }
}

/// Where a node's geometry stands in the world.
fn standing(node: &Node) -> DAffine3 {
    let m = &node.geometry_to_world;
    DAffine3 {
        matrix3: DMat3::from_cols(
            DVec3::new(m.m00, m.m10, m.m20),
            DVec3::new(m.m01, m.m11, m.m21),
            DVec3::new(m.m02, m.m12, m.m22),
        ),
        translation: DVec3::new(m.m03, m.m13, m.m23),
    }
}

/// The mesh on a node, one part a material; `None` when an index is out of range.
fn parts_of(node: &Node, names: &material::Names, notes: &mut Vec<Note>) -> Option<Vec<RawPart>> {
    let Some(mesh) = node.mesh.as_ref() else { return Some(Vec::new()) };
    let name = &*node.element.name;
    if !mesh.skin_deformers.as_ref().is_empty() {
        let text = format!("\"{name}\" is bound to a skeleton; it was taken in its rest pose");
        notes.push(Note { code: "rest-pose", text });
    }
    let world = standing(node);
    let mirrored = world.matrix3.determinant() < 0.0;
    let facing = world.matrix3.inverse().transpose();
    let mut triangle_corners = vec![0u32; 3 * mesh.max_face_triangles];
    let mut parts = Vec::new();
    for group in &mesh.material_parts {
        let at = group.index as usize;
        let material = node.materials.as_ref().get(at).or_else(|| mesh.materials.as_ref().get(at));
        let mut part = RawPart { name: name.to_owned(), ..RawPart::default() };
        part.material = material.and_then(|own| names.of(own)).unwrap_or_default().to_owned();
        let mut known: HashMap<Key, u32> = HashMap::new();
        for &face in &group.face_indices {
            let face = *mesh.faces.get(face as usize)?;
            let count = ufbx::triangulate_face(&mut triangle_corners, mesh, face) as usize;
            for corners in triangle_corners.get(..3 * count)?.as_chunks::<3>().0 {
                let mut triangle = [0; 3];
                for (number, &index) in triangle.iter_mut().zip(corners) {
                    let corner = Corner::read(mesh, index as usize)?;
                    *number = *known.entry(corner.key()).or_insert(part.positions.len() as u32);
                    if *number as usize == part.positions.len() {
                        part.positions.push(narrow(world.transform_point3(corner.place)));
                        part.uvs.extend(corner.uv);
                        part.normals.extend(corner.normal.map(|normal| narrow((facing * normal).normalize_or_zero())));
                    }
                }
                if mirrored {
                    triangle.swap(1, 2);
                }
                part.triangles.push(triangle);
            }
        }
        parts.push(part);
    }
    Some(parts)
}

/// What tells corners apart: the number of the position; texture coordinate and normal by their values, since files commonly
/// write them out for every corner of every face.
type Key = (u32, [u32; 2], [u64; 3]);

struct Corner {
    position: u32,
    place: DVec3,
    uv: Option<Vec2>,
    normal: Option<DVec3>,
}

impl Corner {
    /// `None` when a number is out of range.
    fn read(mesh: &ufbx::Mesh, index: usize) -> Option<Self> {
        let position = *mesh.vertex_position.indices.get(index)?;
        let uv = match &mesh.vertex_uv {
            uv if uv.exists => {
                let own = uv.values.get(*uv.indices.get(index)? as usize)?;
                // v runs up in the file.
                Some(Vec2::new(own.x as f32, 1.0 - own.y as f32))
            }
            _ => None,
        };
        let normal = match &mesh.vertex_normal {
            normal if normal.exists => Some(vector(normal.values.get(*normal.indices.get(index)? as usize)?)),
            _ => None,
        };
        Some(Self { position, place: vector(mesh.vertex_position.values.get(position as usize)?), uv, normal })
    }

    fn key(&self) -> Key {
        // Minus zero is zero.
        let uv = self.uv.unwrap_or_default().to_array().map(|x| (x + 0.0).to_bits());
        let normal = self.normal.unwrap_or_default().to_array().map(|x| (x + 0.0).to_bits());
        (self.position, uv, normal)
    }
}

fn vector(v: &ufbx::Vec3) -> DVec3 {
    DVec3::new(v.x, v.y, v.z)
}

fn narrow(v: DVec3) -> Vec3 {
    Vec3::new(v.x as f32, v.y as f32, v.z as f32)
}
