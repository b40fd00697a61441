//! Made scenes of random cloths under random lights, for the net of `tatter-cloth/src/relief/net.rs` to learn from.
//!
//! A file of records: 16 floats, then six planes of [`SIDE`] by [`SIDE`] halves, least byte first. `tools/relief_net/train.py` reads them.

use std::error::Error;
use std::fs::File;
use std::io::{BufWriter, Write as _};
use std::path::Path;

use half::f16;
use tatter_cloth::relief::{ReliefInput, lesson};
use tatter_core::angle::Angle;
use tatter_core::image::{Image, LinearRgb, Unit};
use tatter_core::rng::Rng;
use tatter_core::task::Task;
use tatter_testkit::measures::{brightness_angle, closed, woven_normals};
use tatter_testkit::scene::{Spec, cloth, cloths};
use tatter_weave::{Cloth, Damage, Draft, Dye, Kind, PatchSpec, STOCK, Shot, Twist, Yarn, weave_patch};

use crate::photo::through_jpeg;
use crate::relief::LIGHTS;
use crate::scenes::List;

const SIDE: usize = 192;
/// Seeds below are those of scoreboards and tests.
const FIRST: u64 = 100_000;
/// Share of log light that keeps the dark from growing.
const FLOOR: f32 = 1e-3;

/// A scene to learn from.
struct Lesson {
    spec: Spec,
    /// Whether the lamp is told.
    told: bool,
    /// Number of the starting cloth in the stock.
    stock: usize,
    /// Quality of the camera's JPEG.
    jpeg: Option<u8>,
}

/// Random scenes into a file.
pub(crate) fn write(path: &Path, first: u64, count: u64) -> Result<(), Box<dyn Error>> {
    if first < FIRST {
        return Err(format!("lessons have seeds from {FIRST} on: those below are for judging").into());
    }
    let mut file = BufWriter::new(File::create(path)?);
    for seed in first..first + count {
        file.write_all(&record(&random(seed))?)?;
    }
    Ok(file.flush()?)
}

/// The work list's scenes of relief alone into a file, to judge by while it learns.
pub(crate) fn write_board(path: &Path) -> Result<(), Box<dyn Error>> {
    let mut file = BufWriter::new(File::create(path)?);
    for (_, cloth, pitch_px) in cloths() {
        let spec = Spec { seed: List::Work.seed(), ..Spec::new(cloth, 256, pitch_px) };
        for (light, from, off) in LIGHTS {
            let spec = if light == "soft" { spec.soft() } else { spec.lamp(from, off) };
            file.write_all(&record(&Lesson { spec, told: light == "told", stock: 0, jpeg: None })?)?;
        }
    }
    Ok(file.flush()?)
}

fn random(seed: u64) -> Lesson {
    let mut rng = Rng::new(seed);
    let (cloth, stock) = random_cloth(&mut rng);
    let mut spec = Spec::new(cloth, SIDE, 4.0 * 6f32.powf(rng.unit()));
    spec.seed = seed;
    spec.grain = Angle::degrees(if rng.unit() < 0.3 { 90.0 } else { rng.range(0.0, 180.0) });
    let soft = rng.unit() < 0.33;
    spec.shot = Shot {
        light_from: Angle::degrees(rng.range(0.0, 360.0)),
        elevation: Angle::degrees(if soft { rng.range(68.0, 90.0) } else { rng.range(35.0, 68.0) }),
        lamp_size: Angle::degrees(rng.range(0.5, 16.0)),
        sky: if soft { rng.range(0.7, 1.0) } else { rng.range(0.1, 0.5) },
        ripple_mm: if rng.unit() < 0.5 { 0.0 } else { 0.35 },
        blur: rng.range(0.4, 1.1),
        noise: rng.range(0.002, 0.012),
        falloff: rng.range(0.0, 0.2),
        exposure: rng.range(0.8, 1.3),
        cast: [rng.range(0.85, 1.15), 1.0, rng.range(0.85, 1.15)],
        seed,
        ..Shot::default()
    };
    if rng.unit() < 0.25 {
        let kinds = [Kind::Rip, Kind::MothHole, Kind::LTear, Kind::WornThrough, Kind::Abrasion, Kind::Burn];
        let kind = kinds[rng.below(kinds.len())];
        let pitch_mm = 10.0 / (spec.cloth.ends_per_cm.get() * spec.cloth.picks_per_cm.get()).sqrt();
        let width_mm = pitch_mm / spec.pitch_px * SIDE as f32;
        let (length, width) = (width_mm * rng.range(0.2, 0.5), width_mm * rng.range(0.1, 0.4));
        spec.damage = vec![Damage { length, width, ..Damage::new(kind) }];
        if rng.unit() < 0.5 {
            spec.shot.backing = color(&mut rng);
        }
    }
    let jpeg = (rng.unit() < 0.4).then(|| 75 + rng.below(22) as u8);
    Lesson { spec, told: !soft && rng.unit() < 0.45, stock, jpeg }
}

/// A starting cloth changed in weave, sett, dye and yarn, and its number; no knit.
fn random_cloth(rng: &mut Rng) -> (Cloth, usize) {
    loop {
        let stock = rng.below(STOCK.len());
        let mut cloth = cloth(STOCK[stock].0);
        if cloth.weave.is_knit() {
            continue;
        }
        if rng.unit() < 0.5 {
            cloth.weave = draft(rng);
        }
        let scale = rng.range(0.8, 1.25);
        for per_cm in [&mut cloth.ends_per_cm, &mut cloth.picks_per_cm] {
            per_cm.0 *= scale * rng.range(0.9, 1.1);
        }
        cloth.flattening = rng.range(0.55, 0.9);
        cloth.unevenness = rng.range(0.4, 1.8);
        cloth.warp_share = (cloth.warp_share + rng.range(-0.15, 0.15)).clamp(0.1, 0.9);
        dye(&mut cloth, rng);
        for yarn in [&mut cloth.warp, &mut cloth.weft] {
            spin(yarn, rng);
        }
        let width_mm = 32.0 / cloth.ends_per_cm.get();
        let grain = Angle::degrees(90.0);
        let tried = PatchSpec { cloth: cloth.clone(), side: 32, width_mm, damage: Vec::new(), grain, seed: 1 };
        if weave_patch(&tried, &Task::new()).is_ok() {
            return (cloth, stock);
        }
    }
}

fn draft(rng: &mut Rng) -> Draft {
    let hand = if rng.unit() < 0.5 { Twist::S } else { Twist::Z };
    match rng.below(12) {
        0..=3 => Draft::plain(),
        4 => Draft::basket(2),
        5 => Draft::rib(2),
        6 => Draft::twill(2, 1, hand),
        7 => Draft::twill(2, 2, hand),
        8 => Draft::twill(3, 1, hand),
        9 => Draft::twill(1, 2, hand),
        10 => Draft::herringbone(2, 2, 8),
        _ => Draft::satin(5),
    }
}

fn color(rng: &mut Rng) -> LinearRgb {
    let level = 0.02 * 32f32.powf(rng.unit());
    let tint = if rng.unit() < 0.5 { 0.15 } else { 0.9 };
    LinearRgb([(); 3].map(|()| (level * (1.0 + tint * rng.range(-1.0, 1.0))).clamp(0.01, 0.8)))
}

/// As it comes, one dye, or a dye for each family, one of them with a heart.
fn dye(cloth: &mut Cloth, rng: &mut Rng) {
    if rng.unit() < 0.25 {
        return;
    }
    let warp = color(rng);
    let weft = if rng.unit() < 0.6 { warp } else { color(rng) };
    (cloth.warp.dye, cloth.weft.dye) = (Dye::even(warp), Dye::even(weft));
    if rng.unit() < 0.25 {
        cloth.warp.dye = Dye { core: color(rng), depth: rng.range(0.15, 0.6), ..cloth.warp.dye };
    }
}

fn spin(yarn: &mut Yarn, rng: &mut Rng) {
    yarn.hairiness *= rng.range(0.2, 1.6);
    yarn.irregularity *= rng.range(0.5, 1.4);
    if rng.unit() < 0.3 {
        yarn.ply = 1 + rng.below(3) as u8;
    }
    if rng.unit() < 0.3 {
        yarn.twist = if yarn.twist == Twist::S { Twist::Z } else { Twist::S };
    }
    yarn.turns_per_m *= rng.range(0.7, 1.3);
}

/// What the net is shown of a scene, and what it is to find: height in texels and the log of light over dye.
fn record(lesson_of: &Lesson) -> Result<Vec<u8>, Box<dyn Error>> {
    let Lesson { spec, told, stock, jpeg } = lesson_of;
    let mut scene = spec.shoot();
    if let Some(quality) = jpeg {
        scene.photo = through_jpeg(&scene.photo, *quality)?;
    }
    let cover = scene.maps.opacity.map(|_| Unit(1.0));
    let mut input = ReliefInput::new(&cover, &scene.maps.opacity, scene.scale);
    input.pitch_px = Some(scene.pitch_px);
    input.thread_dirs = Some([spec.grain, spec.grain + Angle::degrees(90.0)]);
    if *told {
        (input.light_from, input.light_elevation) = (Some(spec.shot.light_from), Some(spec.shot.elevation));
    }
    let shown = lesson(&scene.photo, &input, &Task::new())?;
    let truth = woven_normals(&scene.maps.height, scene.scale);
    let brightness = brightness_angle(&scene.photo, scene.scale, &truth, &closed(&scene.maps.opacity));
    let (light_sin, light_cos) = shown.light.from.map_or((0.0, 0.0), Angle::sin_cos);
    let (grain_sin, grain_cos) = spec.grain.sin_cos();
    let head: [f32; 16] = [
        spec.side as f32,
        scene.pitch_px[0],
        scene.pitch_px[1],
        grain_cos,
        grain_sin,
        light_cos,
        light_sin,
        shown.light.from.map_or(0.0, |_| shown.light.confidence),
        shown.light.elevation.to_degrees(),
        f32::from(u8::from(*told)),
        brightness,
        *stock as f32,
        0.0,
        0.0,
        0.0,
        0.0,
    ];
    let texel = scene.scale.get();
    let log = |color: LinearRgb| (color.luminance() + FLOOR).ln();
    let [luma, red, blue] = shown.seen;
    let planes: [Image<f32>; 6] = [
        luma,
        red,
        blue,
        scene.maps.height.map(|h| h.0 / texel),
        scene.maps.opacity.map(|o| o.0),
        scene.photo.zip(&scene.maps.base_color, |photo, dye| log(photo) - log(dye)),
    ];
    let mut out: Vec<u8> = head.iter().flat_map(|v| v.to_le_bytes()).collect();
    out.extend(planes.iter().flat_map(|plane| plane.texels().iter().flat_map(|v| f16::from_f32(*v).to_le_bytes())));
    Ok(out)
}
