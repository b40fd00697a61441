//! What every mesh goes through before it leaves: repaired, compacted, given normals, its size judged.

use std::path::Path;

use glam::{Vec2, Vec3};
use tatter_core::mesh::{Mesh, Part};
use tatter_core::task::Note;

use super::{Material, MeshError};

/// Most corners of a whole mesh: 20 million, some 700 MB.
pub(super) const MAX_CORNERS: u64 = 20_000_000;

/// A part on its way in.
#[derive(Debug, Default)]
pub(super) struct RawPart {
    /// Name, not yet unique.
    pub(super) name: String,
    /// Unique material name, or empty.
    pub(super) material: String,
    /// Corners in world space.
    pub(super) positions: Vec<Vec3>,
    /// Normals, or empty.
    pub(super) normals: Vec<Vec3>,
    /// Texture coordinates, v down, or empty.
    pub(super) uvs: Vec<Vec2>,
    /// Triangles, all in range.
    pub(super) triangles: Vec<[u32; 3]>,
    /// Whether missing normals are those of the flat triangles (glTF) rather than smooth (OBJ).
    pub(super) flat: bool,
}

/// Why no mesh came out.
#[derive(Debug, PartialEq)]
pub(super) enum Nothing {
    /// No triangles at all.
    Triangles,
    /// This part and all others lack texture coordinates.
    Uvs(String),
}

impl Nothing {
    /// Of a file.
    pub(super) fn at(self, path: &Path) -> MeshError {
        let path = path.to_owned();
        match self {
            Self::Triangles => MeshError::NoTriangles { path },
            Self::Uvs(part) => MeshError::NoUvs { part, path },
        }
    }
}

/// The materials that parts use, in the order of their first use; one that `known` has not has a name and nothing else.
pub(super) fn used_materials(mesh: &Mesh, mut known: impl FnMut(&str) -> Option<Material>) -> Vec<Material> {
    let mut used: Vec<Material> = Vec::new();
    for part in &mesh.parts {
        if !used.iter().any(|material| material.name == part.material) {
            let bare = || Material { name: part.material.clone(), ..Material::default() };
            used.push(known(&part.material).unwrap_or_else(bare));
        }
    }
    used
}

/// Makes a sound mesh of what was read.
pub(super) fn finish(raw: Vec<RawPart>, notes: &mut Vec<Note>) -> Result<Mesh, Nothing> {
    let mut bare: Vec<String> = Vec::new();
    let mut parts: Vec<Part> = Vec::new();
    let mut dropped = 0;
    let mut turned: Vec<String> = Vec::new();
    for mut part in raw {
        dropped += drop_broken(&mut part);
        if part.triangles.is_empty() {
            continue;
        }
        let name = unique(&part.name, parts.iter().map(|p| p.name.as_str()), "part", parts.len() + 1);
        if part.uvs.is_empty() {
            bare.push(name);
            continue;
        }
        compact(&mut part);
        if part.normals.is_empty() {
            part.give_normals();
        } else if follow_normals(&mut part) {
            turned.push(name.clone());
        }
        let RawPart { material, positions, normals, uvs, triangles, .. } = part;
        parts.push(Part { name, material, positions, normals, uvs, triangles });
    }
    if let (true, Some(first)) = (parts.is_empty(), bare.first()) {
        return Err(Nothing::Uvs(first.clone()));
    }
    if parts.is_empty() {
        return Err(Nothing::Triangles);
    }
    let mut say = |code, text: String| notes.push(Note { code, text });
    if dropped > 0 {
        say("mesh-repaired", format!("{dropped} triangles with impossible numbers were left out"));
    }
    if !bare.is_empty() {
        say("part-without-uvs", format!("Without texture coordinates, so left out: {}", bare.join(", ")));
    }
    if !turned.is_empty() {
        say("winding-turned", format!("Triangles face away from their normals, so they were turned: {}", turned.join(", ")));
    }
    Ok(Mesh { parts })
}

/// A name that none of `taken` has.
pub(super) fn unique<'a>(wanted: &str, taken: impl Iterator<Item = &'a str> + Clone, kind: &str, number: usize) -> String {
    let wanted = if wanted.trim().is_empty() { format!("{kind}-{number}") } else { wanted.trim().to_owned() };
    let is_taken = |name: &str| taken.clone().any(|t| t == name);
    if !is_taken(&wanted) {
        return wanted;
    }
    (2..).map(|n| format!("{wanted}-{n}")).find(|name| !is_taken(name)).unwrap_or(wanted)
}

/// Leaves out triangles with numbers that are not finite or corners that are the same; tells how many of the former.
fn drop_broken(part: &mut RawPart) -> usize {
    let RawPart { positions, normals, uvs, triangles, .. } = part;
    let sound = |i: u32| {
        let i = i as usize;
        positions[i].is_finite() && uvs.get(i).is_none_or(|uv| uv.is_finite()) && normals.get(i).is_none_or(|n| n.is_finite())
    };
    triangles.retain(|[a, b, c]| a != b && b != c && a != c);
    let before = triangles.len();
    triangles.retain(|t| t.iter().all(|&i| sound(i)));
    before - triangles.len()
}

/// Keeps only corners that triangles use.
fn compact(part: &mut RawPart) {
    let mut new_number = vec![u32::MAX; part.positions.len()];
    let mut kept: Vec<usize> = Vec::new();
    for corner in part.triangles.iter_mut().flatten() {
        let old = *corner as usize;
        if new_number[old] == u32::MAX {
            new_number[old] = kept.len() as u32;
            kept.push(old);
        }
        *corner = new_number[old];
    }
    part.positions = kept.iter().map(|&i| part.positions[i]).collect();
    part.uvs = kept.iter().map(|&i| part.uvs[i]).collect();
    if !part.normals.is_empty() {
        part.normals = kept.iter().map(|&i| part.normals[i]).collect();
    }
}

/// Twice the area vector of a triangle.
fn area_vector(positions: &[Vec3], triangle: [u32; 3]) -> Vec3 {
    let [a, b, c] = triangle.map(|i| positions[i as usize]);
    (b - a).cross(c - a)
}

impl RawPart {
    fn give_normals(&mut self) {
        if self.flat {
            let all: Vec<usize> = self.triangles.iter().flatten().map(|&i| i as usize).collect();
            self.normals = self
                .triangles
                .iter()
                .flat_map(|&t| [area_vector(&self.positions, t).try_normalize().unwrap_or(Vec3::Z); 3])
                .collect();
            self.positions = all.iter().map(|&i| self.positions[i]).collect();
            self.uvs = all.iter().map(|&i| self.uvs[i]).collect();
            self.triangles = (0..all.len() as u32 / 3).map(|t| [3 * t, 3 * t + 1, 3 * t + 2]).collect();
            return;
        }
        // Smooth over all corners at one place, weighted by area; seams of the texture must not show as creases.
        let mut order: Vec<u32> = (0..self.positions.len() as u32).collect();
        let key = |i: u32| self.positions[i as usize].to_array().map(|x| (x + 0.0).to_bits());
        order.sort_unstable_by_key(|&i| (key(i), i));
        let mut place = vec![0_u32; order.len()];
        for n in 1..order.len() {
            let step = u32::from(key(order[n]) != key(order[n - 1]));
            place[order[n] as usize] = place[order[n - 1] as usize] + step;
        }
        let mut sums = vec![Vec3::ZERO; order.len()];
        for &triangle in &self.triangles {
            let area = area_vector(&self.positions, triangle);
            for corner in triangle {
                sums[place[corner as usize] as usize] += area;
            }
        }
        self.normals = place.iter().map(|&p| sums[p as usize].try_normalize().unwrap_or(Vec3::Z)).collect();
    }
}

/// Unit normals; when most of the surface winds against them, the winding follows. Tells whether it did.
fn follow_normals(part: &mut RawPart) -> bool {
    let mut along = 0.0_f64;
    let mut total = 0.0_f64;
    for &triangle in &part.triangles {
        let area = area_vector(&part.positions, triangle);
        let normal: Vec3 = triangle.iter().map(|&i| part.normals[i as usize]).sum();
        let size = f64::from(area.length());
        total += size;
        along += if area.dot(normal) < 0.0 { 0.0 } else { size };
    }
    let turn = along < 0.5 * total;
    if turn {
        for triangle in &mut part.triangles {
            triangle.swap(1, 2);
        }
    }
    let absent: Vec<bool> = part.normals.iter().map(|n| n.try_normalize().is_none()).collect();
    for &triangle in &part.triangles {
        for corner in triangle.map(|i| i as usize).into_iter().filter(|&i| absent[i]) {
            part.normals[corner] += area_vector(&part.positions, triangle).normalize_or_zero();
        }
    }
    for normal in &mut part.normals {
        *normal = normal.normalize_or(Vec3::Z);
    }
    turn
}

/// Says when the size is not that of a garment.
pub(super) fn judge_size(mesh: &Mesh, mm_per_unit: f32, notes: &mut Vec<Note>) {
    let (low, high) = mesh.bounds();
    let size = (high - low) * mm_per_unit;
    let largest = size.max_element();
    let words = format!("{:.0} × {:.0} × {:.0} mm", size.x, size.y, size.z);
    // A baby's bonnet is 150 mm; a train of a gown is 4 m.
    if largest < 150.0 {
        let text = format!("As stored the mesh is {words}: too small for a garment; give the true scale with --mm-per-unit");
        notes.push(Note { code: "scale-small", text });
    } else if largest > 4000.0 {
        let text = format!("As stored the mesh is {words}: too large for a garment; give the true scale with --mm-per-unit");
        notes.push(Note { code: "scale-large", text });
    }
}
