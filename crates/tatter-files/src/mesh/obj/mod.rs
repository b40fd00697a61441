//! OBJ with its MTL: polygons as lines of text (the format's published description of 1995).

mod mtl;
mod polygon;

use std::collections::HashMap;
use std::path::Path;

use glam::{Vec2, Vec3};
use tatter_core::mesh::Mesh;
use tatter_core::task::Note;

use super::finish::{MAX_CORNERS, RawPart, finish, judge_size, used_materials};
use super::{Material, MeshError, MeshFile, UnitSource, source};
use crate::limits::Limits;

/// A corner as a face names it: position, texture coordinate, normal.
type Corner = (u32, Option<u32>, Option<u32>);

/// A part while it grows.
#[derive(Default)]
struct Growing {
    name: String,
    material: String,
    corners: Vec<Corner>,
    number: HashMap<Corner, u32>,
    triangles: Vec<[u32; 3]>,
}

#[derive(Default)]
struct Reader {
    positions: Vec<Vec3>,
    uvs: Vec<Vec2>,
    normals: Vec<Vec3>,
    parts: Vec<Growing>,
    part_of: HashMap<(String, String, bool), usize>,
    object: String,
    has_objects: bool,
    material: String,
    libraries: Vec<String>,
    skipped_faces: usize,
    corners: u64,
}

/// Reads an OBJ file whose bytes are at hand.
pub(super) fn read(path: &Path, bytes: &[u8], limits: &Limits) -> Result<MeshFile, MeshError> {
    let mut reader = Reader::default();
    for line in logical_lines(&String::from_utf8_lossy(bytes)) {
        reader.line(&line);
        if reader.corners > MAX_CORNERS || reader.positions.len() as u64 > MAX_CORNERS {
            return Err(MeshError::TooLarge { what: "corners", limit: MAX_CORNERS, path: path.to_owned() });
        }
    }
    let mut notes = Vec::new();
    if reader.skipped_faces > 0 {
        let text = format!("{} faces name corners that do not exist and were left out", reader.skipped_faces);
        notes.push(Note { code: "mesh-repaired", text });
    }
    let libraries = std::mem::take(&mut reader.libraries);
    let mesh = finish(reader.into_parts(), &mut notes).map_err(|nothing| nothing.at(path))?;
    let mm_per_unit = assumed_scale(&mesh, &mut notes);
    judge_size(&mesh, mm_per_unit, &mut notes);
    let materials = materials(path, &libraries, &mesh, limits, &mut notes);
    Ok(MeshFile { mesh, mm_per_unit, unit_source: UnitSource::Assumed, materials, notes })
}

/// Lines with their continuations joined and comments cut off.
fn logical_lines(text: &str) -> impl Iterator<Item = String> + '_ {
    let mut lines = text.lines();
    std::iter::from_fn(move || {
        let mut whole = lines.next()?.to_owned();
        while whole.trim_end().ends_with('\\') {
            whole.truncate(whole.trim_end().len() - 1);
            whole.push(' ');
            match lines.next() {
                Some(more) => whole.push_str(more),
                None => break,
            }
        }
        if let Some(end) = whole.find('#') {
            whole.truncate(end);
        }
        Some(whole)
    })
}

/// The numbers of a line; a word that is none counts as not finite, so its triangles drop out later.
fn numbers<const N: usize>(rest: &str, default: f32) -> [f32; N] {
    let mut out = [default; N];
    for (place, word) in out.iter_mut().zip(rest.split_whitespace()) {
        *place = word.parse().unwrap_or(f32::NAN);
    }
    out
}

impl Reader {
    fn line(&mut self, line: &str) {
        let line = line.trim();
        let (word, rest) = line.split_once(char::is_whitespace).unwrap_or((line, ""));
        match word {
            "v" => self.positions.push(Vec3::from(numbers::<3>(rest, 0.0))),
            "vt" => {
                let [u, v] = numbers(rest, 0.0);
                // v runs up in the file.
                self.uvs.push(Vec2::new(u, 1.0 - v));
            }
            "vn" => self.normals.push(Vec3::from(numbers::<3>(rest, 0.0))),
            "f" => self.face(rest),
            "o" => {
                rest.trim().clone_into(&mut self.object);
                self.has_objects = true;
            }
            // Groups name parts only where no objects do: cutters export one group a pattern piece.
            "g" if !self.has_objects => rest.trim().clone_into(&mut self.object),
            "usemtl" => rest.trim().clone_into(&mut self.material),
            "mtllib" => self.libraries.push(rest.trim().to_owned()),
            _ => {}
        }
    }

    /// One corner `v`, `v/vt`, `v//vn` or `v/vt/vn`; negative numbers count back from the last.
    fn corner(&self, word: &str) -> Option<Corner> {
        fn place(text: &str, count: usize) -> Option<u32> {
            let number: i64 = text.parse().ok()?;
            let at = if number < 0 { count as i64 + number } else { number - 1 };
            (0..count as i64).contains(&at).then_some(at as u32)
        }
        let mut words = word.split('/');
        let position = place(words.next()?, self.positions.len())?;
        let optional = |text: Option<&str>, count: usize| match text {
            None | Some("") => Some(None),
            Some(text) => place(text, count).map(Some),
        };
        let uv = optional(words.next(), self.uvs.len())?;
        let normal = optional(words.next(), self.normals.len())?;
        Some((position, uv, normal))
    }

    fn face(&mut self, rest: &str) {
        let corners: Option<Vec<Corner>> = rest.split_whitespace().map(|word| self.corner(word)).collect();
        let Some(corners) = corners.filter(|c| c.len() >= 3) else {
            self.skipped_faces += 1;
            return;
        };
        let places: Vec<Vec3> = corners.iter().map(|c| self.positions[c.0 as usize]).collect();
        let triangles = polygon::triangulate(&places);
        // Faces with and without texture coordinates never share a part: the latter are told of and left out.
        let bare = corners.iter().any(|c| c.1.is_none());
        let key = (self.object.clone(), self.material.clone(), bare);
        let next = self.parts.len();
        let at = *self.part_of.entry(key.clone()).or_insert(next);
        if at == next {
            self.parts.push(Growing { name: key.0, material: key.1, ..Growing::default() });
        }
        let part = &mut self.parts[at];
        let numbers: Vec<u32> = corners
            .into_iter()
            .map(|corner| {
                let fresh = part.corners.len() as u32;
                let number = *part.number.entry(corner).or_insert(fresh);
                if number == fresh {
                    part.corners.push(corner);
                }
                number
            })
            .collect();
        self.corners += numbers.len() as u64;
        part.triangles.extend(triangles.into_iter().map(|t| t.map(|i| numbers[i])));
    }

    fn into_parts(self) -> Vec<RawPart> {
        let Self { positions, uvs, normals, parts, .. } = self;
        let finished = parts.into_iter().map(|part| {
            let bare = part.corners.iter().any(|c| c.1.is_none());
            // Normals are taken only when the whole part has them; else all are made, smooth.
            let smooth = part.corners.iter().any(|c| c.2.is_none());
            let pick = |from: &[Vec2]| part.corners.iter().filter_map(|c| from.get(c.1? as usize).copied()).collect();
            let facing = |from: &[Vec3]| part.corners.iter().filter_map(|c| from.get(c.2? as usize).copied()).collect();
            RawPart {
                positions: part.corners.iter().map(|c| positions[c.0 as usize]).collect(),
                uvs: if bare { Vec::new() } else { pick(&uvs) },
                normals: if smooth { Vec::new() } else { facing(&normals) },
                name: part.name,
                material: part.material,
                triangles: part.triangles,
                flat: false,
            }
        });
        finished.collect()
    }
}

/// Millimetres a unit, from the size garments have: the format does not say.
fn assumed_scale(mesh: &Mesh, notes: &mut Vec<Note>) -> f32 {
    // Usual: most garments are between 0.25 and 2 m in their largest direction, 0.7 m is the middle of that.
    const USUAL_MM: f32 = 700.0;
    let (low, high) = mesh.bounds();
    let largest = (high - low).max_element();
    let far = |mm: f32| ((largest * mm).max(1e-9) / USUAL_MM).ln().abs();
    let choices = [(1000.0, "metres"), (10.0, "centimetres"), (1.0, "millimetres")];
    let (mm, name) = choices.into_iter().min_by(|a, b| far(a.0).total_cmp(&far(b.0))).unwrap_or(choices[0]);
    let size = largest * mm;
    let text = format!(
        "OBJ files do not state their unit; {name} are assumed, which makes the mesh {size:.0} mm large; give --mm-per-unit if that is wrong"
    );
    notes.push(Note { code: "unit-assumed", text });
    mm
}

/// The materials that parts use, from the libraries beside the mesh.
fn materials(path: &Path, libraries: &[String], mesh: &Mesh, limits: &Limits, notes: &mut Vec<Note>) -> Vec<Material> {
    let mut known: Vec<Material> = Vec::new();
    for library in libraries {
        let read = source::relative(library).map(|file| source::read_file(&source::beside(path, &file), path, limits));
        match read {
            Some(Ok(bytes)) => known.extend(mtl::read(&String::from_utf8_lossy(&bytes), notes)),
            _ => {
                let text = format!("The material library \"{library}\" cannot be read; maps are looked for by name instead");
                notes.push(Note { code: "material-library-missing", text });
            }
        }
    }
    used_materials(mesh, |name| known.iter().find(|m| m.name == name).cloned())
}
