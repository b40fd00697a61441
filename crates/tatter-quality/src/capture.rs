//! What more shots than one are worth: two backings, several lights.

use std::error::Error;
use std::fs;
use std::path::Path;

use tatter_capture::lights::{Calibration, Lamp, Shots, least_squares, stereo};
use tatter_capture::photo::{Homography, warp};
use tatter_cloth::cut::{CutError, TwoBackings, cut, cut_two_backings};
use tatter_cloth::relief::{Lit, ReliefInput, lit_relief, relief};
use tatter_core::angle::Angle;
use tatter_core::image::{HeightMm, Image, LinearRgb, Normal, Rect, Unit};
use tatter_core::model::{CutRecipe, Patch, Photo, Scale};
use tatter_core::task::Task;
use tatter_testkit::lamps;
use tatter_testkit::measures::{angle, closed, correlation, woven_normals};
use tatter_testkit::pair::CARDS;
use tatter_testkit::scene::{Spec, cloths};
use tatter_weave::{Shot, Woven, shoot};

use crate::cut::{alpha_strip, judge, judge_as_seen};
use crate::photo::photo;
use crate::scenes::{Case, List, cases};
use crate::table::Table;

const BACKINGS: [(&str, usize); 12] = [
    ("SAD k", 2),
    ("one photo's", 2),
    ("gradient k", 3),
    ("one photo's", 3),
    ("gap IoU", 2),
    ("one photo's", 2),
    ("sharp SAD k", 2),
    ("one photo's", 2),
    ("sharp gradient k", 3),
    ("one photo's", 3),
    ("thread recall", 2),
    ("one photo's", 2),
];

/// Alpha over two backings beside alpha from one photo. With a folder, a strip for each scene is written there: photo, true and found alpha, how far
/// off.
pub(crate) fn backings(list: List, only: Option<&str>, strips: Option<&Path>) -> Result<String, Box<dyn Error>> {
    scenes(&BACKINGS, list, only, |case| over_two(case, strips))
}

/// The row of a scene, or why its shots were refused.
pub(crate) type Row<const N: usize> = Result<Result<[f32; N], CutError>, Box<dyn Error>>;

/// A row for each scene, which is also printed as it comes, and their means.
pub(crate) fn scenes<const N: usize>(
    columns: &[(&str, usize); N],
    list: List,
    only: Option<&str>,
    row: impl Fn(&Case) -> Row<N>,
) -> Result<String, Box<dyn Error>> {
    let mut table = Table::new("scene", columns);
    for case in cases(list).into_iter().filter(|case| only.is_none_or(|word| case.name.contains(word))) {
        // Light and backing are others here.
        let words: Vec<&str> = case.name.split(", ").collect();
        let name = words[..words.len().saturating_sub(2)].join(", ");
        match row(&case)? {
            Ok(row) => {
                eprintln!("{name} {row:.3?}");
                table.row(&name, &row);
            }
            Err(refused) => table.said(&name, &format!("not cut: {refused}")),
        }
    }
    Ok(table.with_means())
}

fn over_two(case: &Case, strips: Option<&Path>) -> Row<12> {
    let scene = case.spec.shoot();
    let over = |backing: LinearRgb, exposure: f32, seed: u64| {
        let shot = Shot { backing, exposure: exposure * case.spec.shot.exposure, seed, ..case.spec.shot.clone() };
        Ok::<_, Box<dyn Error>>(shoot(&scene.maps, scene.scale, &shot, &Task::new())?.photo)
    };
    let light = over(CARDS[0], 1.0, case.spec.shot.seed)?;
    let dark = over(CARDS[1], 0.9, case.spec.shot.seed + 1000)?;
    let middle = [0.5 * light.width() as f64; 2];
    let nudge = Homography::shift(1.3, -0.6).after(&Homography::turn(0.15f64.to_radians(), 1.0, middle));
    let nudged = warp(&dark, &nudge, dark.size()).map(|c| LinearRgb(c.0.map(|v| v.max(0.0))));
    let [light, dark, nudged] = [light, dark, nudged].map(|color| photo(case, &color));
    let (light, dark, nudged) = (light?, dark?, nudged?);
    let recipe = CutRecipe { scale: Scale::MmPerPixel(scene.scale), ..CutRecipe::default() };
    let judged = |patch: &Patch| -> Result<[f32; 6], Box<dyn Error>> {
        let (sharp, [sad, gradient, gaps]) = (judge(&scene, &case.spec, patch)?, judge_as_seen(&scene, &case.spec, patch)?);
        Ok([sad, gradient, gaps, sharp[1], sharp[3], sharp[5]])
    };
    let two = match cut_two_backings(&TwoBackings { dark: &nudged, light: &light, cards: None }, &recipe, &Task::new()) {
        Ok(cut) => {
            if let Some(folder) = strips {
                fs::create_dir_all(folder)?;
                fs::write(folder.join(case.file()), alpha_strip(&scene, &case.spec, &cut.patch)?)?;
            }
            judged(&cut.patch)?
        }
        Err(refused) => return Ok(Err(refused)),
    };
    let alone = |photo: &Photo| -> Result<[f32; 6], Box<dyn Error>> {
        match cut(photo, &recipe, &Task::new()) {
            Ok(cut) => judged(&cut.patch),
            Err(CutError::Isolate(_)) => Ok([f32::INFINITY; 6]),
            Err(error) => Err(error.into()),
        }
    };
    let (a, b) = (alone(&light)?, alone(&dark)?);
    let one = if a[0] <= b[0] { a } else { b };
    Ok(Ok(std::array::from_fn(|i| if i % 2 == 0 { two[i / 2] } else { one[i / 2] })))
}

const LIGHTS: [(&str, usize); 3] = [("normals °", 2), ("least squares °", 2), ("height corr.", 3)];
const HIGH_DEG: f32 = 65.0;

/// Normals and heights under 4, 8 and 16 lamps, and of one photo: means over the cloths.
pub(crate) fn lights(list: List) -> Result<String, Box<dyn Error>> {
    let mut table = Table::new("lights", &LIGHTS);
    for count in [1, 4, 8, 16] {
        let mut each = Table::new("cloth", &LIGHTS);
        for (name, cloth, pitch) in cloths() {
            let woven = Spec { seed: list.seed(), ..Spec::new(cloth, 192, pitch) }.weave();
            each.row(name, &if count == 1 { from_one(&woven, pitch)? } else { under(&woven, pitch, count)? });
        }
        let means = [0, 1, 2].map(|column| each.mean(column));
        eprintln!("{count} lights {means:.3?}");
        table.row(&count.to_string(), &means);
    }
    Ok(table.into_text())
}

fn taken(woven: &Woven, i: usize, count: usize) -> Result<Image<LinearRgb>, Box<dyn Error>> {
    let shot = lamps::shot(i, count, Angle::degrees(HIGH_DEG));
    Ok(shoot(&woven.maps, woven.scale, &shot, &Task::new())?.photo)
}

fn under(woven: &Woven, pitch: f32, count: usize) -> Result<[f32; 3], Box<dyn Error>> {
    let mut shots = Shots::new(woven.maps.height.size());
    for i in 0..count {
        let lamp = Lamp::far(lamps::toward(i, count, Angle::degrees(HIGH_DEG)));
        shots.add(lamp, 1.0, &taken(woven, i, count)?, &Calibration::default());
    }
    let (normal, height) = raised(woven, pitch, &shots)?;
    Ok(judged(woven, &normal, Some(&plain(&shots)), &height))
}

/// Normals and heights as a patch gets them from shots under several lamps.
pub(crate) fn raised(woven: &Woven, pitch: f32, shots: &Shots) -> Result<(Image<Normal>, Image<HeightMm>), Box<dyn Error>> {
    let found = stereo(shots, Rect::whole(shots.size()), None, &Task::new())?;
    let cover = woven.maps.opacity.map(|_| Unit(1.0));
    let input = ReliefInput { pitch_px: Some([pitch; 2]), ..ReliefInput::new(&cover, &woven.maps.opacity, woven.scale) };
    let lit = Lit { normal: &found.normal, color: &found.color, shots: shots.lamps().len(), near: false };
    let raised = lit_relief(&lit, &input, &Task::new())?;
    Ok((raised.normal, raised.height))
}

fn from_one(woven: &Woven, pitch: f32) -> Result<[f32; 3], Box<dyn Error>> {
    let cover = woven.maps.opacity.map(|_| Unit(1.0));
    let input = ReliefInput {
        pitch_px: Some([pitch; 2]),
        light_from: Some(lamps::azimuth(0, 1)),
        light_elevation: Some(Angle::degrees(HIGH_DEG)),
        ..ReliefInput::new(&cover, &woven.maps.opacity, woven.scale)
    };
    let raised = relief(&taken(woven, 0, 1)?, &input, &Task::new())?;
    Ok(judged(woven, &raised.normal, None, &raised.height))
}

fn judged(woven: &Woven, normal: &Image<Normal>, plain: Option<&Image<Normal>>, height: &Image<HeightMm>) -> [f32; 3] {
    let (truth, mask) = (woven_normals(&woven.maps.height, woven.scale), closed(&woven.maps.opacity));
    let plain = plain.map_or(f32::NAN, |plain| angle(plain, &truth, &mask));
    [angle(normal, &truth, &mask), plain, correlation(height, &woven.maps.height, &mask)]
}

/// Least squares on all readings.
fn plain(shots: &Shots) -> Image<Normal> {
    let lights: Vec<[f32; 3]> = shots.lamps().iter().map(|lamp| lamp.toward).collect();
    Image::from_fn(shots.size().width, shots.size().height, |x, y| {
        let readings: Vec<f32> = (0..lights.len()).map(|k| shots.reading(k, x, y).0.iter().sum()).collect();
        let fit = least_squares(&lights, &readings);
        fit.map_or(Normal::FLAT, |fit| Normal(fit.g.map(|c| c as f32)).normalized())
    })
}
