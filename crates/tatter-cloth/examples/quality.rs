//! Prints how good the photo chain is on made photos, whose truth is known.
#![expect(clippy::print_stdout, reason = "a table to read is what it is for")]

#[path = "../tests/measures/cloths.rs"]
mod cloths;
#[path = "../tests/measures/mod.rs"]
mod measures;

use tatter_cloth::made::{Scene, SceneSpec, shoot};
use tatter_cloth::relief::{ReliefError, ReliefInput, relief};
use tatter_core::angle::Angle;
use tatter_core::task::Task;

fn main() -> Result<(), ReliefError> {
    relief_table()
}

/// Relief alone, with openings, thread spacing and grain as they are.
fn relief_table() -> Result<(), ReliefError> {
    println!(
        "{:22} {:12} {:>6} {:>6} {:>6} {:>6} {:>6} {:>6} {:>6} {:>6} {:>6} {:>6} {:>6}",
        "cloth", "light", "bright", "ours", "ratio", "brightH", "oursH", "ratio", "dE00", "corr", "range", "true", "conf"
    );
    let mut sums: Vec<(String, Vec<[f32; 3]>)> = Vec::new();
    let quick = std::env::args().nth(1).is_some_and(|a| a == "quick");
    for (name, cloth) in cloths::cloths(if quick { 256 } else { 384 }) {
        for (finish, cloth) in [("round", cloth.clone()), ("finished", cloths::finished(&cloth))] {
            let lights = [
                ("soft", cloths::soft(&cloth), None),
                ("told 125/45", cloths::lamp(&cloth, 125.0, 45.0), Some(125.0)),
                ("found 125/45", cloths::lamp(&cloth, 125.0, 45.0), None),
                ("told 20/35", cloths::lamp(&cloth, 20.0, 35.0), Some(20.0)),
                ("found 262/30", cloths::lamp(&cloth, 262.0, 30.0), None),
            ];
            for (light, spec, from) in lights {
                let scene = shoot(&spec);
                let row = measure(&scene, &spec, from)?;
                println!(
                    "{name:22} {light:12} {:6.1} {:6.1} {:6.2} {:6.1} {:6.1} {:6.2} {:6.1} {:6.2} {:6.2} {:6.2} {:6.2} {}",
                    row[0],
                    row[1],
                    row[1] / row[0],
                    row[2],
                    row[3],
                    row[3] / row[2],
                    row[4],
                    row[5],
                    row[6],
                    row[7],
                    row[8],
                    row[9]
                );
                let key = format!("{finish} {}", light.split(' ').next().unwrap_or(""));
                let entry = [row[1] / row[0], row[3] / row[2], row[4]];
                match sums.iter_mut().find(|(k, _)| *k == key) {
                    Some((_, list)) => list.push(entry),
                    None => sums.push((key, vec![entry])),
                }
            }
        }
    }
    for (key, list) in sums {
        let mean = |i: usize| list.iter().map(|e| e[i]).sum::<f32>() / list.len() as f32;
        println!("{key:20} ratio {:.2}  ratio to height's normals {:.2}  dE00 {:.2}", mean(0), mean(1), mean(2));
    }
    Ok(())
}

fn measure(scene: &Scene, spec: &SceneSpec, from: Option<f32>) -> Result<[f32; 10], ReliefError> {
    let mask = measures::closed(&scene.truth.opacity);
    let cover = scene.truth.opacity.map(|_| tatter_core::image::Unit(1.0));
    let mut input = ReliefInput::new(&cover, &scene.truth.opacity, scene.scale);
    input.pitch_px = Some([scene.warp_pitch_px, scene.weft_pitch_px]);
    input.thread_dirs = Some([spec.grain, spec.grain + Angle::degrees(90.0)]);
    input.light_from = from.map(Angle::degrees);
    input.light_elevation = from.map(|_| spec.light_elevation);
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
        made.light.from.map_or(-1.0, |f| f.to_degrees()) + made.light.confidence * 0.1,
    ])
}
