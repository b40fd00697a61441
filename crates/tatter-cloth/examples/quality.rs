//! The scoreboard: how good the photo chain is on woven photos, whose truth is known. Prints the tables of
//! `docs/scoreboard.md`. `quality SEED` takes another list of seeds; `quality speed` times the relief of 2048² texels.
#![expect(clippy::print_stdout, reason = "a table to read is what it is for")]

#[path = "../tests/measures/mod.rs"]
mod measures;

use std::error::Error;

use tatter_cloth::cut::cut;
use tatter_cloth::measure::{MeasureSettings, measure};
use tatter_cloth::relief::{ReliefError, ReliefInput, relief};
use tatter_core::angle::Angle;
use tatter_core::channel::Channel;
use tatter_core::image::{HeightMm, Image, LinearRgb, Unit};
use tatter_core::kernel::thin;
use tatter_core::model::{CutRecipe, Patch, Photo, Scale};
use tatter_core::task::Task;
use tatter_testkit::scene::{Scene, Spec, cloth, cloths};
use tatter_weave::{Damage, Kind, STOCK, Shot};

type Tables = Result<(), Box<dyn Error>>;

fn main() -> Tables {
    let argument = std::env::args().nth(1);
    if argument.as_deref() == Some("speed") {
        return speed();
    }
    let seed = argument.map_or(Ok(1), |text| text.parse())?;
    cut_table(seed)?;
    relief_table(seed)?;
    measure_table(seed);
    Ok(())
}

/// Two injuries of each of eight cloths, over three backings, under four lights, the cloth lying a little askew.
fn scenes(seed: u64) -> Vec<(String, Spec)> {
    let injuries = [
        [(Kind::Rip, 15.0, 4.5), (Kind::MothHole, 7.0, 7.0)],
        [(Kind::LTear, 9.0, 4.0), (Kind::Scrap, 20.0, 18.0)],
        [(Kind::Burn, 4.0, 4.0), (Kind::Rip, 6.0, 2.0)],
        [(Kind::Hem, 5.0, 5.0), (Kind::WornThrough, 12.0, 7.0)],
        [(Kind::Rip, 14.0, 4.0), (Kind::Scrap, 20.0, 18.0)],
        [(Kind::MothHole, 8.0, 8.0), (Kind::LTear, 10.0, 4.0)],
        [(Kind::Abrasion, 9.0, 9.0), (Kind::WornThrough, 8.0, 5.0)],
        [(Kind::Rip, 3.5, 1.2), (Kind::Stain, 2.5, 2.5)],
    ];
    let backings =
        [("light card", [0.74, 0.75, 0.74]), ("dark lining", [0.03, 0.03, 0.035]), ("green cloth", [0.10, 0.30, 0.22])];
    let lights = [("window", 130.0, 48.0, 0.38), ("lamp", 25.0, 35.0, 0.15), ("sky", 90.0, 80.0, 0.9), ("sun", 215.0, 55.0, 0.2)];
    let mut list = Vec::new();
    for (n, ((name, cloth, pitch_px), injuries)) in cloths().into_iter().zip(injuries).enumerate() {
        for (m, (kind, length, width)) in injuries.into_iter().enumerate() {
            // A light card would not show behind light cloth, nor a dark one behind dark.
            let dark = cloth.warp.dye.color.luminance() < 0.15;
            let (backing, color) = backings[if m == 1 { 2 } else { usize::from(!dark) }];
            let (light, from, elevation, sky) = lights[(n + 2 * m) % 4];
            let shot = Shot {
                light_from: Angle::degrees(from),
                elevation: Angle::degrees(elevation),
                sky,
                backing: LinearRgb(color),
                ..Shot::default()
            };
            let spec = Spec {
                damage: vec![Damage { length, width, at: [0.6, -0.4], ..Damage::new(kind) }],
                grain: Angle::degrees([90.0, 84.0, 97.0, 75.0][(n + m) % 4]),
                shot,
                seed: seed * 100 + 2 * n as u64 + m as u64,
                ..Spec::new(cloth.clone(), 448, pitch_px)
            };
            list.push((format!("{name}, {}, {backing}, {light}", kind.name()), spec));
        }
    }
    list
}

/// Truth and photo as the patch shows them.
struct Seen {
    photo: Image<LinearRgb>,
    base: Image<LinearRgb>,
    height: Image<HeightMm>,
    opacity: Image<f32>,
    injured: Image<bool>,
    torn: Image<bool>,
    inside: Image<bool>,
}

fn seen(scene: &Scene, patch: &Patch) -> Seen {
    let [a, b] = patch.photo_from_patch.unwrap_or([[1.0, 0.0, 0.0], [0.0, 1.0, 0.0]]);
    let side = patch.maps[Channel::Cover].as_ref().map_or(0, |map| map.map.size().width);
    let at = |x: usize, y: usize| {
        let (x, y) = (x as f32 + 0.5, y as f32 + 0.5);
        [a[0] * x + a[1] * y + a[2], b[0] * x + b[1] * y + b[2]]
    };
    let (width, height) = (scene.photo.width() as f32, scene.photo.height() as f32);
    let maps = &scene.maps;
    let nearest = |mask: &Image<bool>| {
        let mask = mask.map(|inside| if inside { 1.0 } else { 0.0f32 });
        Image::from_fn(side, side, |x, y| mask.bilinear(at(x, y)[0], at(x, y)[1]) > 0.5)
    };
    Seen {
        photo: Image::from_fn(side, side, |x, y| scene.photo.bilinear(at(x, y)[0], at(x, y)[1])),
        base: Image::from_fn(side, side, |x, y| maps.base_color.bilinear(at(x, y)[0], at(x, y)[1])),
        height: Image::from_fn(side, side, |x, y| maps.height.bilinear(at(x, y)[0], at(x, y)[1])),
        opacity: Image::from_fn(side, side, |x, y| maps.opacity.bilinear(at(x, y)[0], at(x, y)[1]).0),
        injured: nearest(&scene.injured),
        torn: nearest(&scene.torn()),
        inside: Image::from_fn(side, side, |x, y| {
            let [x, y] = at(x, y);
            x >= 0.5 && y >= 0.5 && x <= width - 0.5 && y <= height - 0.5
        }),
    }
}

/// What is judged, and how it is printed; numbers that a scene does not have are NaN.
const COLUMNS: [&str; 8] =
    ["isolate IoU", "alpha SAD k", "gap IoU", "skeleton recall", "normals °", "brightness °", "count error %", "dE00"];

fn print_row(name: &str, row: &[f32; 8]) {
    let cells: Vec<String> = row.iter().map(|v| if v.is_finite() { format!("{v:.2}") } else { "–".to_owned() }).collect();
    println!("| {name} | {} |", cells.join(" | "));
}

fn cut_table(seed: u64) -> Tables {
    println!("| scene | {} |\n|---|{}", COLUMNS.join(" | "), "---:|".repeat(COLUMNS.len()));
    let mut rows = Vec::new();
    for (name, spec) in scenes(seed) {
        let scene = spec.shoot();
        let photo = Photo {
            name: name.clone(),
            color: scene.photo.clone(),
            alpha: None,
            bits: 16,
            color_source: "made".to_owned(),
            hash: String::new(),
        };
        let recipe = CutRecipe { scale: Scale::MmPerPixel(scene.scale), ..CutRecipe::default() };
        match cut(&photo, &recipe, &Task::new()) {
            Ok(done) => {
                rows.push(judge(&scene, &spec, &done.patch)?);
                print_row(&name, &rows[rows.len() - 1]);
            }
            Err(error) => println!("| {name} | not cut: {error} |"),
        }
    }
    let mean = |i: usize| {
        let kept: Vec<f32> = rows.iter().map(|row| row[i]).filter(|v| v.is_finite()).collect();
        kept.iter().sum::<f32>() / kept.len().max(1) as f32
    };
    print_row("**mean**", &std::array::from_fn(mean));
    println!();
    Ok(())
}

fn judge(scene: &Scene, spec: &Spec, patch: &Patch) -> Result<[f32; 8], Box<dyn Error>> {
    let map = |channel| patch.maps[channel].as_ref().map(|map| &map.map).ok_or("a cut patch has all maps");
    let (cover, opacity) = (map(Channel::Cover)?.as_unit(), map(Channel::Opacity)?.as_unit());
    let (cover, opacity) = cover.zip(opacity).ok_or("cover and opacity are scalars")?;
    let base = map(Channel::BaseColor)?.as_color().ok_or("base colour is a colour")?;
    let normal = map(Channel::Normal)?.as_normal().ok_or("normals are normals")?;
    let truth = seen(scene, patch);
    let piece = spec.damage.iter().any(|d| d.kind == Kind::Scrap);
    let alpha = if piece { cover.zip(opacity, |c, o| c.0 * o.0) } else { opacity.map(|o| o.0) };
    let judged = truth.inside.zip(&truth.injured, |i, hurt| i && (piece || hurt));
    let off = alpha.zip(&truth.opacity, |a, t| (a - t).abs()).zip(&judged, |off, j| if j { off } else { 0.0 });
    let sad: f64 = off.texels().iter().map(|v| f64::from(*v)).sum();
    let gaps = overlap(&alpha.map(|a| a < 0.5), &truth.opacity.map(|t| t < 0.5), &judged);
    let lines = thin(&truth.opacity.map(|t| t >= 0.5)).zip(&truth.torn, |l, torn| l && torn);
    let lines = lines.zip(&judged, |l, j| l && j && !piece);
    let kept = lines.zip(&alpha, |l, a| l && a >= 0.5);
    let mask = measures::closed(&truth.opacity.map(Unit)).zip(&judged, |c, j| c && j);
    let woven = measures::woven_normals(&truth.height, patch.scale);
    let miss = [(patch.ends_per_cm, spec.cloth.ends_per_cm), (patch.picks_per_cm, spec.cloth.picks_per_cm)]
        .map(|(found, told)| found.map_or(f32::NAN, |found| 100.0 * (found.get() / told.get() - 1.0).abs()));
    Ok([
        isolated(scene, patch, cover, &truth),
        (sad / 1e3) as f32,
        if count(&truth.torn.zip(&judged, |t, j| t && j)) < 50.0 { f32::NAN } else { gaps },
        if count(&lines) < 20.0 { f32::NAN } else { count(&kept) / count(&lines) },
        measures::angle(normal, &woven, &mask),
        measures::brightness_angle(&truth.photo, patch.scale, &woven, &mask),
        if miss[0].is_nan() || miss[1].is_nan() { f32::NAN } else { miss[0].max(miss[1]) },
        measures::color_difference(base, &truth.base, &mask),
    ])
}

fn count(mask: &Image<bool>) -> f32 {
    mask.texels().iter().filter(|m| **m).count() as f32
}

fn overlap(a: &Image<bool>, b: &Image<bool>, judged: &Image<bool>) -> f32 {
    let within = |mask: Image<bool>| count(&mask.zip(judged, |m, j| m && j));
    within(a.zip(b, |a, b| a && b)) / within(a.zip(b, |a, b| a || b)).max(1.0)
}

/// Overlap of the found cover and what is hurt, with what of it lies beyond the patch.
fn isolated(scene: &Scene, patch: &Patch, cover: &Image<Unit>, truth: &Seen) -> f32 {
    let (found, known) = (cover.map(|c| c.0 >= 0.5), truth.injured.zip(&truth.inside, |hurt, i| hurt && i));
    let both = count(&found.zip(&known, |f, k| f && k));
    let whole = count(&scene.injured) * (scene.scale.get() / patch.scale.get()).powi(2);
    both / (count(&found) + whole - both).max(1.0)
}

/// Relief alone, with openings, thread spacing and grain as they are.
fn relief_table(seed: u64) -> Tables {
    println!("| cloth, light | normals ° | brightness ° | ratio | dE00 | correlation | range mm | true range mm | confidence |");
    println!("|---|{}", "---:|".repeat(8));
    let mut sums = [("told", [0.0f32; 3]), ("found", [0.0; 3]), ("soft", [0.0; 3])];
    for (name, cloth, pitch_px) in cloths() {
        let spec = Spec { seed, ..Spec::new(cloth, 256, pitch_px) };
        let lights =
            [("told", 125.0, 45.0), ("told", 20.0, 35.0), ("found", 125.0, 45.0), ("found", 262.0, 30.0), ("soft", 0.0, 0.0)];
        for (light, from, off) in lights {
            let spec = if light == "soft" { spec.soft() } else { spec.lamp(from, off) };
            let row = relief_row(&spec.shoot(), &spec, light == "told")?;
            let cells: Vec<String> = row.iter().map(|v| format!("{v:.2}")).collect();
            println!("| {name}, {light} {from:.0}/{off:.0} | {} |", cells.join(" | "));
            for (_, sum) in sums.iter_mut().filter(|(key, _)| *key == light) {
                *sum = [sum[0] + row[2], sum[1] + row[3], sum[2] + 1.0];
            }
        }
    }
    for (light, [ratio, color, n]) in sums {
        println!("| **{light}, mean** | | | {:.2} | {:.2} | | | | |", ratio / n, color / n);
    }
    println!();
    Ok(())
}

fn relief_row(scene: &Scene, spec: &Spec, told: bool) -> Result<[f32; 8], ReliefError> {
    let mask = measures::closed(&scene.maps.opacity);
    let cover = scene.maps.opacity.map(|_| Unit(1.0));
    let mut input = ReliefInput::new(&cover, &scene.maps.opacity, scene.scale);
    input.pitch_px = Some(scene.pitch_px);
    input.thread_dirs = Some([spec.grain, spec.grain + Angle::degrees(90.0)]);
    if told {
        (input.light_from, input.light_elevation) = (Some(spec.shot.light_from), Some(spec.shot.elevation));
    }
    let made = relief(&scene.photo, &input, &Task::new())?;
    let woven = measures::woven_normals(&scene.maps.height, scene.scale);
    let (ours, brightness) =
        (measures::angle(&made.normal, &woven, &mask), measures::brightness_angle(&scene.photo, scene.scale, &woven, &mask));
    Ok([
        ours,
        brightness,
        ours / brightness,
        measures::color_difference(&made.base_color, &scene.maps.base_color, &mask),
        measures::correlation(&made.height, &scene.maps.height, &mask),
        measures::range(&made.height, &mask),
        measures::range(&scene.maps.height, &mask),
        made.confidence,
    ])
}

/// Thread count, weave and grain of intact cloth, at two sizes of thread.
fn measure_table(seed: u64) {
    println!("| cloth, pixels a thread | ends % | picks % | grain ° | weave | confidence |\n|---|---:|---:|---:|---|---:|");
    for (n, (name, _)) in STOCK.into_iter().enumerate() {
        for pitch_px in [8.0, 14.0] {
            let grain = Angle::degrees([90.0, 84.0, 97.0, 75.0][n % 4]);
            let scene =
                Spec { grain, seed: seed * 100 + n as u64, shot: Shot::default(), ..Spec::new(cloth(name), 512, pitch_px) }
                    .shoot();
            let Ok(found) = measure(&scene.photo, None, &MeasureSettings::default(), &Task::new()) else { continue };
            let miss = [0, 1].map(|k| 100.0 * (scene.pitch_px[k] / found.pitch_px[k] - 1.0));
            let off = (found.grain - grain).as_line().to_degrees();
            let counted = format!("{:+.2} | {:+.2} | {:.2} | {}", miss[0], miss[1], off.min(180.0 - off), found.weave);
            let said = if found.woven { counted } else { format!("– | – | – | {}", found.fabric) };
            println!("| {name}, {pitch_px:.0} | {said} | {:.2} |", found.confidence);
        }
    }
}

/// A woven photo repeated to 2048².
fn speed() -> Tables {
    let spec = Spec::new(cloth("canvas"), 512, 10.0).lamp(125.0, 45.0);
    let scene = spec.shoot();
    let photo = Image::from_fn(2048, 2048, |x, y| scene.photo.get(x % 512, y % 512));
    let opacity = Image::from_fn(2048, 2048, |x, y| scene.maps.opacity.get(x % 512, y % 512));
    let cover = opacity.map(|_| Unit(1.0));
    let mut input = ReliefInput::new(&cover, &opacity, scene.scale);
    input.pitch_px = Some(scene.pitch_px);
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
