//! Sizes of a garment: how its materials use their textures, and how fine these lie on the cloth.

use tatter_core::mesh::{Part, islands, uv_use};
use tatter_core::model::MapSet;
use tatter_core::task::Task;
use tatter_core::units::MmPerUv;
use tatter_files::mesh::MeshFile;
use tatter_garment::recognise::Recognised;
use tatter_garment::surface::density::{density, texels_per_mm};

use super::{ASSUMED_MM_PER_UV, GarmentRequest, MapReport, MaterialReport};

/// Shared texture below this share is rounding at island edges, not sharing.
const SHARED_MATTERS: f32 = 0.005;

/// Texture coordinates may leave 0..1 by this much without repeating: rounding of exporters.
const EDGE: f32 = 0.01;

/// Every material of the mesh, with notes about what will surprise.
pub(super) fn materials(file: &MeshFile, mm_per_unit: f32, sets: &[MapSet], task: &Task) -> Vec<MaterialReport> {
    let named = file.materials.iter().map(|m| Some(m.name.as_str()));
    // Parts without a material count as one material without a name.
    let bare = file.mesh.parts.iter().any(|p| !file.materials.iter().any(|m| m.name == p.material)).then_some(None);
    let mut reports = Vec::new();
    for name in named.chain(bare) {
        let entry = file.materials.iter().find(|m| Some(m.name.as_str()) == name);
        let belongs = |part: &&Part| match name {
            Some(name) => part.material == name,
            None => !file.materials.iter().any(|m| m.name == part.material),
        };
        let parts: Vec<&Part> = file.mesh.parts.iter().filter(belongs).collect();
        let all: Vec<_> = parts.iter().flat_map(|part| islands(part).all).collect();
        let usage = uv_use(&parts);
        let span = usage.high - usage.low;
        let (low, high) = (usage.low + EDGE, usage.high - EDGE);
        // Counted in whole tiles touched, rounding at the edges aside.
        let tiles = (high.floor() - low.floor() + 1.0).max(glam::Vec2::ONE);
        let tiled_files = sets.iter().filter(|s| Some(s.material.as_str()) == name || s.material.is_empty()).count() > 1;
        let repeats = if tiled_files || span.max_element() <= 1.0 + 2.0 * EDGE { 1 } else { (tiles.x * tiles.y) as usize };
        let report = MaterialReport {
            name: name.unwrap_or_default().to_owned(),
            parts: parts.iter().map(|p| p.name.clone()).collect(),
            triangles: parts.iter().map(|p| p.triangles.len()).sum(),
            islands: all.len(),
            mirrored: all.iter().filter(|island| island.is_mirrored()).count(),
            used: usage.used,
            shared: usage.shared,
            uv_range: [usage.low.to_array(), usage.high.to_array()],
            repeats,
            density: density(&parts, mm_per_unit),
            alpha: entry.map(|m| m.alpha).unwrap_or_default(),
            double_sided: entry.is_some_and(|m| m.double_sided),
            left_aside: entry.map(|m| m.left_aside.clone()).unwrap_or_default(),
        };
        tell(&report, task);
        reports.push(report);
    }
    reports
}

fn tell(report: &MaterialReport, task: &Task) {
    let name =
        if report.name.is_empty() { "The material without a name".to_owned() } else { format!("Material \"{}\"", report.name) };
    if report.repeats > 1 {
        let text =
            format!("{name} repeats its textures over up to {} tiles: a patch will appear on every one of them", report.repeats);
        task.note("texture-repeats", text);
    } else if report.shared > SHARED_MATTERS {
        let share = 100.0 * report.shared;
        let text = format!("{name} uses {share:.0} % of its texture on several places: a patch there will appear on all of them");
        task.note("texture-shared", text);
    }
    for what in &report.left_aside {
        task.note("texture-left-aside", format!("{name}: left aside {what}"));
    }
}

/// Millimetres per UV unit: as given, else the median over the cloth that has textures, else assumed.
pub(super) fn mm_per_uv(
    request: &GarmentRequest,
    file: Option<&MeshFile>,
    mm_per_unit: f32,
    sets: &[MapSet],
    task: &Task,
) -> MmPerUv {
    if let Some(given) = request.mm_per_uv {
        return MmPerUv(given);
    }
    let textured = |part: &&Part| sets.iter().any(|s| s.material == part.material || s.material.is_empty());
    let parts: Vec<&Part> = file.iter().flat_map(|f| &f.mesh.parts).filter(textured).collect();
    let all: Vec<&Part> = file.iter().flat_map(|f| &f.mesh.parts).collect();
    if let Some(found) = density(if parts.is_empty() { &all } else { &parts }, mm_per_unit) {
        return found.median;
    }
    let assumed = ASSUMED_MM_PER_UV;
    let text = format!(
        "Nobody knows how large the textures lie on the cloth; {:.0} mm across are assumed; give --mm-per-uv",
        assumed.get()
    );
    task.note("scale-assumed", text);
    assumed
}

/// Every texture with its fineness on the cloth of its own material.
pub(super) fn maps(found: &Recognised, materials: &[MaterialReport], mm_per_uv: MmPerUv) -> Vec<MapReport> {
    let mut all = Vec::new();
    for set in &found.sets {
        let own = materials.iter().find(|m| m.name == set.material).and_then(|m| m.density);
        for file in &set.files {
            let channels = file.roles.iter().map(|role| role.channel).collect();
            let scale = own.map_or(mm_per_uv, |d| d.median);
            let bits = found.bits.iter().find(|(path, _)| *path == file.path).map_or(0, |(_, bits)| *bits);
            all.push(MapReport { path: file.path.clone(), channels, bits, texels_per_mm: texels_per_mm(file.size, scale) });
        }
    }
    all
}
