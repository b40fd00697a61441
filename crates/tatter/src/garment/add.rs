//! Plain textures for channels that a garment lacks, so that a patch's relief and openings have somewhere to go.

use std::path::Path;

use tatter_core::channel::{Channel, Kind};
use tatter_core::image::{Coding, Depth, HeightMm, HeightRange, Image, Map, Normal, Size, Stored, Unit};
use tatter_core::model::{MapFile, MapRole, MapSet, UvTile};
use tatter_core::task::Task;
use tatter_core::units::MmPerUv;
use tatter_files::limits::Limits;
use tatter_files::picture::{Effort, PictureFormat, encode, read_stored};
use tatter_files::write::write_whole;
use tatter_garment::recognise::set_name;

use super::{GarmentError, GarmentReport, MapReport};

/// The millimetres that a new height texture codes: cloth, its folds at a rim and frayed threads fit into it, and 16 bits
/// divide it into steps of 0.06 µm.
const RANGE: HeightRange = HeightRange { low_mm: -2.0, high_mm: 2.0 };

/// Write a plain texture of each channel for every map set that has none of it, beside its base colour and of its size:
/// opacity and occlusion white, metallic black, height at mid plane in 16 bits, normal flat with green up. The report's
/// garment and job know them afterwards; the renderer's material must be told by its owner, which a note says. A file of that
/// name that is the very texture to add is taken as it is.
///
/// # Errors
/// A channel that has no plain state, a map set without any texture to take the size from, another file of that name (none is
/// written then), or the outside failing.
pub fn add_plain_maps(report: &mut GarmentReport, channels: &[Channel], task: &Task) -> Result<(), GarmentError> {
    let mut planned = Vec::new();
    for (n, set) in report.garment.sets.iter().enumerate() {
        for &channel in channels.iter().filter(|&&channel| set.role(channel).is_none()) {
            let coding = Coding { height_range: RANGE, ..Coding::default() };
            let (file, role) = (plan(report, set, channel)?, MapRole { channel, coding });
            let path = report.base.join(&file.path);
            let there = path.exists();
            if there && !is_plain(&path, &texture(&file, &role)) {
                return Err(GarmentError::Exists { path });
            }
            planned.push((n, file, role, there));
        }
    }
    for (n, mut file, role, there) in planned {
        task.check()?;
        if !there {
            let path = report.base.join(&file.path);
            let failed = |reason: String| GarmentError::Add { reason, path: path.clone() };
            let bytes = encode(&texture(&file, &role), PictureFormat::Png, Effort::Fast).map_err(|e| failed(e.to_string()))?;
            write_whole(&path, &bytes).map_err(|e| failed(e.to_string()))?;
            let text = format!("\"{}\" is new: name it as {} in the renderer's material", file.path, role.channel);
            task.note("map-added", text);
        }
        file.roles.push(role);
        enter(report, n, &file, depth(role.channel));
    }
    let sets = &report.garment.sets;
    report.missing.retain(|&channel| !sets.iter().any(|set| set.role(channel).is_some()));
    Ok(())
}

const fn depth(channel: Channel) -> Depth {
    if matches!(channel, Channel::Height) { Depth::Sixteen } else { Depth::Eight }
}

fn texture(file: &MapFile, role: &MapRole) -> Stored {
    Stored::from_map(&plain(role.channel, file.size), &role.coding, depth(role.channel))
}

/// Whether a file holds just these texels.
fn is_plain(path: &Path, wanted: &Stored) -> bool {
    read_stored(path, &Limits::default())
        .is_ok_and(|found| (found.size, found.layout) == (wanted.size, wanted.layout) && found.samples == wanted.samples)
}

/// The file to make, without its role yet.
fn plan(report: &GarmentReport, set: &MapSet, channel: Channel) -> Result<MapFile, GarmentError> {
    if matches!(channel, Channel::Cover | Channel::BaseColor | Channel::Roughness) {
        return Err(GarmentError::NotPlain { channel });
    }
    let model = set.role(Channel::BaseColor).map(|(file, _)| file).or(set.files.first());
    let Some(model) = model else { return Err(GarmentError::Nothing { path: report.base.clone() }) };
    let folder = model.path.rsplit_once('/').map_or(String::new(), |(folder, _)| format!("{folder}/"));
    let tile = match set.tile {
        UvTile { u: 0, v: 0 } => String::new(),
        UvTile { u, v } => format!(".{}", 1001 + u + 10 * v),
    };
    let clean = |c: char| if c.is_alphanumeric() || c == '-' { c } else { '_' };
    let material: String = set.material.chars().map(clean).collect();
    // A folder of textures tells its name only by its files'; the new one is to be found beside them again.
    let named = set_name(model.path.rsplit('/').next().unwrap_or_default());
    let stem = [material, named].into_iter().find(|name| !name.is_empty()).unwrap_or_else(|| "garment".to_owned());
    Ok(MapFile { path: format!("{folder}{stem}_{channel}{tile}.png"), roles: Vec::new(), size: model.size })
}

/// The state of a channel that changes nothing.
fn plain(channel: Channel, size: Size) -> Map {
    let (width, height) = (size.width, size.height);
    match channel.info().kind {
        Kind::Normal => Map::Normal(Image::filled(width, height, Normal::FLAT)),
        Kind::Height => Map::Height(Image::filled(width, height, HeightMm(0.0))),
        Kind::Unit | Kind::Color => {
            let value = if channel == Channel::Metallic { 0.0 } else { 1.0 };
            Map::Unit(Image::filled(width, height, Unit(value)))
        }
    }
}

/// Make a new texture known to the report, its garment and its job.
fn enter(report: &mut GarmentReport, set: usize, file: &MapFile, depth: Depth) {
    let own = report.materials.iter().find(|m| m.name == report.garment.sets[set].material).and_then(|m| m.density);
    let MmPerUv(scale) = own.map_or(report.garment.mm_per_uv, |density| density.median);
    report.maps.push(MapReport {
        path: file.path.clone(),
        channels: file.roles.iter().map(|role| role.channel).collect(),
        bits: if depth == Depth::Sixteen { 16 } else { 8 },
        texels_per_mm: file.size.width as f32 / scale,
    });
    report.garment.sets[set].files.push(file.clone());
    report.job.sets[set].files.push(file.clone());
}
