//! What is worked on: a photo, a clean map set, a patch, a job with twenty placements.

use std::fs;
use std::path::Path;

use rayon::prelude::*;
use tatter::garment::{GarmentRequest, describe, start_job};
use tatter::scatter::{ScatterRequest, scatter_job};
use tatter_core::angle::Angle;
use tatter_core::channel::{Channel, PerChannel};
use tatter_core::image::{Coding, Depth, HeightRange, Image, LinearRgb, Map, Stored, Transfer, Unit};
use tatter_core::model::{Match, MatchMode, Origin, Patch, PatchMap, PatchRef, Placement, ScaleSource, Scatter, Spot, Subject};
use tatter_core::rng::Rng;
use tatter_core::task::Task;
use tatter_core::units::Mm;
use tatter_files::job::{read_job, write_job};
use tatter_files::patch::write_patch;
use tatter_files::picture::{Effort, PictureFormat, encode};
use tatter_testkit::cloth::cloth_maps;
use tatter_weave::{Damage, Kind, PatchSpec, Shot, Woven, shoot, stock, weave_patch};

use crate::Done;

/// Side of the photo and of the patch.
const PATCH: usize = 2048;
/// Side of the garment's maps.
const GARMENT: usize = 4096;
/// Millimetres that the maps span, and that a placement measures: 614 texels.
const SPAN_MM: f32 = 1000.0;
const SIDE_MM: f32 = 150.0;
const PLACEMENTS: usize = 20;

/// Makes everything that is not there yet.
pub(crate) fn folder(folder: &Path) -> Done<()> {
    if folder.join("bench.tatter.toml").is_file() {
        return Ok(());
    }
    fs::create_dir_all(folder.join("maps"))?;
    cloth_maps(GARMENT).into_par_iter().try_for_each(|(role, stored)| {
        let bytes = encode(&stored, PictureFormat::Png, Effort::Fast).map_err(std::io::Error::other)?;
        fs::write(folder.join("maps").join(format!("canvas_{role}.png")), bytes)
    })?;
    let woven = torn()?;
    let scene = shoot(&woven.maps, woven.scale, &Shot::default(), &Task::new())?;
    let coding = Coding { transfer: Transfer::Srgb, ..Coding::default() };
    let photo = Stored::from_map(&Map::Color(scene.photo), &coding, Depth::Eight);
    fs::write(folder.join("photo.png"), encode(&photo, PictureFormat::Png, Effort::Small)?)?;
    write_patch(&patch(woven), &folder.join("patch.patch"), &[], &Task::new())?;
    job(folder)
}

/// Side of the large garment's maps.
const LARGE: usize = 8192;
const SCATTERED: usize = 200;

/// Makes the large job that is not there yet: five maps of 8192², 200 placements of the same patch scattered without overlap at
/// 0.4 to 0.6 of its size (a quarter of the cloth is covered).
pub(crate) fn large(folder: &Path) -> Done<()> {
    let path = folder.join("large.tatter.toml");
    if path.is_file() {
        return Ok(());
    }
    fs::create_dir_all(folder.join("maps"))?;
    cloth_maps(LARGE).into_par_iter().try_for_each(|(role, stored)| {
        let bytes = encode(&stored, PictureFormat::Png, Effort::Fast).map_err(std::io::Error::other)?;
        fs::write(folder.join("maps").join(format!("canvas_{role}.png")), bytes)
    })?;
    write_patch(&patch(torn()?), &folder.join("patch.patch"), &[], &Task::new())?;
    let request = GarmentRequest { source: folder.join("maps"), mm_per_uv: Some(SPAN_MM), ..GarmentRequest::default() };
    let started = folder.join("started.tatter.toml");
    write_job(&started, &start_job(&describe(&request, &Task::new())?, &path))?;
    let request =
        ScatterRequest { job: started.clone(), patches: vec![(folder.join("patch.patch"), 1.0)], ..ScatterRequest::default() };
    let edit = |rule: &mut Scatter| (rule.count, rule.seed, rule.scale) = (SCATTERED, 3, [0.4, 0.6]);
    scatter_job(&request, edit, &Task::new())?;
    // Last, since it says that the folder is complete.
    Ok(fs::rename(started, path)?)
}

/// Moves one placement of the large job by 20 mm, there and back in turns.
pub(crate) fn move_one(path: &Path) -> Done<()> {
    let mut job = read_job(path)?;
    let placement = job.placements.get_mut(SCATTERED / 2).ok_or("the job has its placements")?;
    if let Spot::Uv { at, .. } = &mut placement.spot {
        at[0] += if at[0] > 0.5 { -0.02 } else { 0.02 };
    }
    Ok(write_job(path, &job)?)
}

/// Canvas torn where a rope ran, 102 mm wide at 2048².
fn torn() -> Done<Woven> {
    let rip = Damage { length: 55.0, width: 11.0, surviving: 0.35, ..Damage::new(Kind::Rip) };
    let cloth = stock("canvas").ok_or("the stock has canvas")?;
    let spec = PatchSpec { cloth, side: PATCH, width_mm: 102.4, damage: vec![rip], grain: Angle::degrees(90.0), seed: 1 };
    Ok(weave_patch(&spec, &Task::new())?.0)
}

/// The scene's truth under a round cover of 80 mm, two thirds of the canvas.
fn patch(woven: Woven) -> Patch {
    let mut maps = PerChannel::default();
    let mut put = |channel: Channel, map| maps[channel] = Some(PatchMap::new(map, Origin::Measured, ""));
    let middle = PATCH as f32 / 2.0 - 0.5;
    let cover = move |x: usize, y: usize| Unit(((800.0 - (x as f32 - middle).hypot(y as f32 - middle)) / 40.0).clamp(0.0, 1.0));
    let truth = woven.maps;
    put(Channel::Cover, Map::Unit(Image::from_fn(PATCH, PATCH, cover)));
    put(Channel::Roughness, Map::Unit(truth.roughness));
    put(Channel::BaseColor, Map::Color(truth.base_color));
    put(Channel::Height, Map::Height(truth.height));
    put(Channel::Normal, Map::Normal(truth.normal));
    put(Channel::Opacity, Map::Unit(truth.opacity));
    Patch {
        name: "patch".into(),
        maps,
        subject: Subject::Damage,
        scale: woven.scale,
        scale_source: ScaleSource::MmPerPixel,
        scale_uncertainty: None,
        grain: Some(Angle::degrees(90.0)),
        ends_per_cm: Some(woven.cloth.ends_per_cm),
        picks_per_cm: Some(woven.cloth.picks_per_cm),
        weave: tatter_core::model::Weave::Unknown,
        height_range: HeightRange { low_mm: -0.5, high_mm: 0.5 },
        cloth_color: Some(LinearRgb([0.42, 0.26, 0.10])),
        photo_from_patch: None,
        provenance: Vec::new(),
    }
}

/// Twenty placements on the bare map set, the same as they are for a comparison (no colour, relief or edge follows the cloth), and the same in
/// texels for the reference.
fn job(folder: &Path) -> Done<()> {
    let path = folder.join("bench.tatter.toml");
    let request = GarmentRequest { source: folder.join("maps"), mm_per_uv: Some(SPAN_MM), ..GarmentRequest::default() };
    let mut job = start_job(&describe(&request, &Task::new())?, &path);
    job.patches.push(PatchRef { name: "patch".into(), path: "patch.patch".into() });
    let mut rng = Rng::new(3);
    let mut texels = Vec::new();
    for number in 0..PLACEMENTS {
        let (turn, at) = (360.0 * rng.unit(), [rng.range(0.1, 0.9), rng.range(0.1, 0.9)]);
        job.placements.push(Placement {
            id: format!("patch-{number}"),
            patch: "patch".into(),
            spot: Spot::Uv { at, part: None },
            turn: Angle::degrees(turn),
            size: Some(Mm(SIDE_MM)),
            mirror: false,
            rules: PerChannel::default(),
            matching: Match::default(),
        });
        let [x, y] = at.map(|place| place * GARMENT as f32);
        let size = SIDE_MM / SPAN_MM * GARMENT as f32;
        texels.push(format!("{{\"size_px\": {size}, \"centre_px\": [{x}, {y}], \"turn_deg\": {turn}}}"));
    }
    fs::write(folder.join("placements.json"), format!("[{}]\n", texels.join(",\n ")))?;
    let mut plain = job.clone();
    plain.name = "plain".into();
    plain.placements.iter_mut().for_each(|placement| placement.matching.mode = Some(MatchMode::None));
    write_job(&folder.join("plain.tatter.toml"), &plain)?;
    // Last, since it says that the folder is complete.
    Ok(write_job(&path, &job)?)
}
