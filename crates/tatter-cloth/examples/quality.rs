//! Prints how good the photo chain is on made photos, whose truth is known: the whole cut on damaged cloth, then relief alone
//! on intact cloth under several lights. `quality speed` times the relief of 2048² texels instead.
#![expect(clippy::print_stdout, reason = "a table to read is what it is for")]

#[path = "../tests/measures/cloths.rs"]
mod cloths;
#[path = "../tests/measures/mod.rs"]
mod measures;

use std::error::Error;

use tatter_cloth::cut::cut;
use tatter_cloth::made::{Damage, Scene, SceneSpec, shoot};
use tatter_cloth::relief::{ReliefError, ReliefInput, relief};
use tatter_core::angle::Angle;
use tatter_core::channel::Channel;
use tatter_core::image::{HeightMm, Image, LinearRgb, Unit};
use tatter_core::model::{CutRecipe, Patch, Photo, Scale, Subject};
use tatter_core::task::Task;
use tatter_core::units::Mm;

type Tables = Result<(), Box<dyn Error>>;

fn main() -> Tables {
    match std::env::args().nth(1).as_deref() {
        Some("speed") => speed(),
        Some("relief") => relief_table(),
        _ => {
            cut_table()?;
            relief_table()
        }
    }
}

/// Damaged cloth and pieces, whole chain, scale told and light not.
fn scenes() -> Vec<(&'static str, SceneSpec)> {
    let cloth = |n: usize| SceneSpec { width: 448, height: 448, ..cloths::cloths(448).swap_remove(n).1 };
    let rip = Damage::RipAlongWeft { length: Mm(18.0), opening: Mm(5.0), surviving: 0.4 };
    let hole = Damage::MothHole { diameter: Mm(9.0) };
    let dark = LinearRgb([0.03, 0.03, 0.035]);
    let piece = SceneSpec { subject: Subject::Piece, backing: LinearRgb([0.15, 0.35, 0.30]), ..cloth(0) };
    let stain = Damage::Stain { diameter: Mm(12.0), transmittance: LinearRgb([0.7, 0.5, 0.3]) };
    vec![
        ("canvas, rip, light card", SceneSpec { damage: rip, ..cloth(0) }),
        ("canvas, rip, dark lining", SceneSpec { damage: rip, backing: dark, ..cloth(0) }),
        ("dark plain, moth hole", SceneSpec { damage: hole, ..cloth(2) }),
        ("two-coloured, rip", SceneSpec { damage: rip, ..cloth(4) }),
        ("twill, moth hole", SceneSpec { damage: hole, ..cloth(5) }),
        ("denim, abrasion", SceneSpec { damage: Damage::Abrasion { diameter: Mm(12.0) }, ..cloth(6) }),
        ("light plain, stain", SceneSpec { damage: stain, ..cloth(1) }),
        ("canvas, frayed piece", piece),
    ]
}

/// Truth and photo as the patch shows them.
struct Seen {
    photo: Image<LinearRgb>,
    base: Image<LinearRgb>,
    height: Image<HeightMm>,
    opacity: Image<f32>,
    judged: Image<bool>,
}

fn seen(scene: &Scene, patch: &Patch, piece: bool) -> Seen {
    let [a, b] = patch.photo_from_patch.unwrap_or([[1.0, 0.0, 0.0], [0.0, 1.0, 0.0]]);
    let side = patch.maps[Channel::Cover].as_ref().map_or(0, |map| map.map.size().width);
    let place = |x: usize, y: usize| {
        let (x, y) = (x as f32 + 0.5, y as f32 + 0.5);
        [a[0] * x + a[1] * y + a[2], b[0] * x + b[1] * y + b[2]]
    };
    let truth = &scene.truth;
    let (width, height) = (scene.photo.width() as f32, scene.photo.height() as f32);
    let inside = |[x, y]: [f32; 2]| x >= 0.5 && y >= 0.5 && x <= width - 0.5 && y <= height - 0.5;
    let at = |x: usize, y: usize| place(x, y);
    Seen {
        photo: Image::from_fn(side, side, |x, y| scene.photo.bilinear(at(x, y)[0], at(x, y)[1])),
        base: Image::from_fn(side, side, |x, y| truth.base_color.bilinear(at(x, y)[0], at(x, y)[1])),
        height: Image::from_fn(side, side, |x, y| truth.height.bilinear(at(x, y)[0], at(x, y)[1])),
        opacity: Image::from_fn(side, side, |x, y| truth.opacity.bilinear(at(x, y)[0], at(x, y)[1]).0),
        judged: Image::from_fn(side, side, |x, y| {
            let spot = place(x, y);
            inside(spot) && (piece || truth.cover.bilinear(spot[0], spot[1]).0 > 0.05)
        }),
    }
}

fn cut_table() -> Tables {
    println!("Whole cut. SAD: sum of |opacity - truth| in thousands over the injury or the piece (for a piece cover x opacity).");
    println!("Angles in degrees to the normals of the true height; brightness at its best strength with the truth in hand.\n");
    println!("{:26} {:>7} {:>8} {:>10} {:>6} {:>6} {:>6}", "scene", "SAD k", "gap IoU", "brightness", "ours", "ratio", "dE00");
    let mut rows = Vec::new();
    for (name, spec) in scenes() {
        let scene = shoot(&spec);
        let photo = Photo {
            name: name.to_owned(),
            color: scene.photo.clone(),
            alpha: None,
            bits: 16,
            color_source: "made".to_owned(),
            hash: String::new(),
        };
        let recipe = CutRecipe { scale: Scale::MmPerPixel(scene.scale), ..CutRecipe::default() };
        match cut(&photo, &recipe, &Task::new()) {
            Ok(done) => {
                let row = judge(&scene, &done.patch, spec.subject == Subject::Piece)?;
                println!(
                    "{name:26} {:7.2} {:8.2} {:10.1} {:6.1} {:6.2} {:6.1}",
                    row[0],
                    row[1],
                    row[2],
                    row[3],
                    row[3] / row[2],
                    row[4]
                );
                rows.push(row);
            }
            Err(error) => println!("{name:26} not cut: {error}"),
        }
    }
    let mean = |i: usize| {
        let kept: Vec<f32> = rows.iter().map(|row| row[i]).filter(|v| v.is_finite()).collect();
        kept.iter().sum::<f32>() / kept.len().max(1) as f32
    };
    let ratio = mean(3) / mean(2);
    println!("{:26} {:7.2} {:8.2} {:10.1} {:6.1} {ratio:6.2} {:6.1}\n", "mean", mean(0), mean(1), mean(2), mean(3), mean(4));
    Ok(())
}

/// SAD, gap `IoU` (NaN where nothing is open), angle of brightness, ours, colour difference.
fn judge(scene: &Scene, patch: &Patch, piece: bool) -> Result<[f32; 5], Box<dyn Error>> {
    let map = |channel| patch.maps[channel].as_ref().map(|map| &map.map).ok_or("a cut patch has all maps");
    let (cover, opacity) = (map(Channel::Cover)?.as_unit(), map(Channel::Opacity)?.as_unit());
    let (cover, opacity) = cover.zip(opacity).ok_or("cover and opacity are scalars")?;
    let base = map(Channel::BaseColor)?.as_color().ok_or("base colour is a colour")?;
    let normal = map(Channel::Normal)?.as_normal().ok_or("normals are normals")?;
    let truth = seen(scene, patch, piece);
    let alpha = if piece { cover.zip(opacity, |c, o| c.0 * o.0) } else { opacity.map(|o| o.0) };
    let (mut sad, mut both, mut either) = (0.0f64, 0u32, 0u32);
    for ((found, known), judged) in alpha.texels().iter().zip(truth.opacity.texels()).zip(truth.judged.texels()) {
        if *judged {
            sad += f64::from((found - known).abs());
            both += u32::from(*found < 0.5 && *known < 0.5);
            either += u32::from(*found < 0.5 || *known < 0.5);
        }
    }
    let closed = measures::closed(&truth.opacity.map(Unit));
    let mask = closed.zip(&truth.judged, |c, j| c && j);
    let scale = patch.scale;
    let woven = measures::woven_normals(&truth.height, scale);
    Ok([
        (sad / 1e3) as f32,
        if either < 50 { f32::NAN } else { both as f32 / either as f32 },
        measures::brightness_angle(&truth.photo, scale, &woven, &mask),
        measures::angle(normal, &woven, &mask),
        measures::color_difference(base, &truth.base, &mask),
    ])
}

/// Relief alone, with openings, thread spacing and grain as they are.
fn relief_table() -> Tables {
    println!("Relief alone on intact cloth. `H`: angles to the normals of the true height, else to those of its fibres.\n");
    println!(
        "{:20} {:14} {:>6} {:>6} {:>6} {:>6} {:>6} {:>6} {:>5} {:>5} {:>6} {:>6} {:>5} light",
        "cloth", "light", "brightH", "oursH", "ratioH", "bright", "ours", "ratio", "dE00", "corr", "range", "true", "conf"
    );
    let mut sums: Vec<(String, Vec<[f32; 3]>)> = Vec::new();
    for (name, cloth) in cloths::cloths(256) {
        for (finish, cloth) in [("round", cloth.clone()), ("finished", cloths::finished(&cloth))] {
            let lights = [
                ("soft", cloths::soft(&cloth), false),
                ("told 125/45", cloths::lamp(&cloth, 125.0, 45.0), true),
                ("found 125/45", cloths::lamp(&cloth, 125.0, 45.0), false),
                ("told 20/35", cloths::lamp(&cloth, 20.0, 35.0), true),
                ("found 262/30", cloths::lamp(&cloth, 262.0, 30.0), false),
            ];
            for (light, spec, told) in lights {
                let row = measure(&shoot(&spec), &spec, told)?;
                println!(
                    "{name:20} {light:14} {:6.1} {:6.1} {:6.2} {:6.1} {:6.1} {:6.2} {:5.1} {:5.2} {:6.2} {:6.2} {:5.2} {:.0}",
                    row[2],
                    row[3],
                    row[3] / row[2],
                    row[0],
                    row[1],
                    row[1] / row[0],
                    row[4],
                    row[5],
                    row[6],
                    row[7],
                    row[8],
                    row[9]
                );
                let key = format!("{finish}, {}", light.split(' ').next().unwrap_or(""));
                let entry = [row[3] / row[2], row[1] / row[0], row[4]];
                match sums.iter_mut().find(|(known, _)| *known == key) {
                    Some((_, list)) => list.push(entry),
                    None => sums.push((key, vec![entry])),
                }
            }
        }
    }
    for (key, list) in sums {
        let mean = |i: usize| list.iter().map(|entry| entry[i]).sum::<f32>() / list.len() as f32;
        println!("{key:20} ratioH {:.2}  ratio {:.2}  dE00 {:.2}", mean(0), mean(1), mean(2));
    }
    Ok(())
}

fn measure(scene: &Scene, spec: &SceneSpec, told: bool) -> Result<[f32; 10], ReliefError> {
    let mask = measures::closed(&scene.truth.opacity);
    let cover = scene.truth.opacity.map(|_| Unit(1.0));
    let mut input = ReliefInput::new(&cover, &scene.truth.opacity, scene.scale);
    input.pitch_px = Some([scene.warp_pitch_px, scene.weft_pitch_px]);
    input.thread_dirs = Some([spec.grain, spec.grain + Angle::degrees(90.0)]);
    if told {
        (input.light_from, input.light_elevation) = (Some(spec.light_from), Some(spec.light_elevation));
    }
    let made = relief(&scene.photo, &input, &Task::new())?;
    let woven = measures::woven_normals(&scene.truth.height, scene.scale);
    Ok([
        measures::brightness_angle(&scene.photo, scene.scale, &scene.truth.normal, &mask),
        measures::angle(&made.normal, &scene.truth.normal, &mask),
        measures::brightness_angle(&scene.photo, scene.scale, &woven, &mask),
        measures::angle(&made.normal, &woven, &mask),
        measures::color_difference(&made.base_color, &scene.truth.base_color, &mask),
        measures::correlation(&made.height, &scene.truth.height, &mask),
        measures::range(&made.height, &mask),
        measures::range(&scene.truth.height, &mask),
        made.confidence,
        made.light.from.map_or(f32::NAN, Angle::to_degrees),
    ])
}

/// A made photo repeated to 2048².
fn speed() -> Tables {
    let spec = SceneSpec { width: 512, height: 512, ..cloths::lamp(&cloths::cloths(512).swap_remove(0).1, 125.0, 45.0) };
    let scene = shoot(&spec);
    let photo = Image::from_fn(2048, 2048, |x, y| scene.photo.get(x % 512, y % 512));
    let opacity = Image::from_fn(2048, 2048, |x, y| scene.truth.opacity.get(x % 512, y % 512));
    let cover = opacity.map(|_| Unit(1.0));
    let mut input = ReliefInput::new(&cover, &opacity, scene.scale);
    input.pitch_px = Some([scene.warp_pitch_px, scene.weft_pitch_px]);
    input.thread_dirs = Some([spec.grain, spec.grain + Angle::degrees(90.0)]);
    for _ in 0..3 {
        let task = Task::new();
        task.stage("whole", || relief(&photo, &input, &task).map(|_| ()))?;
        for (stage, seconds) in task.seconds() {
            print!("{stage} {seconds:.2}  ");
        }
        println!();
    }
    Ok(())
}
