//! Scale by a card or a sheet in a camera's JPEG: the rectangle, the whole cut with it.

use std::error::Error;
use std::path::Path;

use tatter_capture::photo::Homography;
use tatter_capture::plane::{Straight, place, straighten};
use tatter_cloth::cut::{Cut, cut};
use tatter_core::channel::Channel;
use tatter_core::image::{Image, LinearRgb, Map};
use tatter_core::kernel::area_resize;
use tatter_core::model::{CutRecipe, Scale};
use tatter_core::task::Task;
use tatter_testkit::cards::{CASES, Case, HOLE, PHOTO, Torn, cloths};

use crate::photo::{jpeg, made, read_jpeg};
use crate::table::Table;

const SCALE: [(&str, usize); 7] = [
    ("tilt °", 0),
    ("corners px", 2),
    ("scale %", 3),
    ("said to %", 2),
    ("uneven %", 3),
    ("ends per cm %", 2),
    ("hole off mm", 2),
];
/// Quality of the camera's JPEG.
const QUALITY: u8 = 90;

/// Errors by a thing of known size on cloth; photos go into the folder when there is one.
pub(crate) fn scale(folder: Option<&Path>) -> Result<String, Box<dyn Error>> {
    let mut table = Table::new("photo", &SCALE);
    let cloths = cloths();
    for case in &CASES {
        let torn = &cloths[case.cloth];
        let file = jpeg(&case.shoot(torn), QUALITY)?;
        if let Some(folder) = folder {
            std::fs::write(folder.join(case.what.replace([' ', ','], "-") + ".jpg"), &file)?;
        }
        match row(case, torn, &file) {
            Ok(row) => {
                eprintln!("{} {row:.3?}", case.what);
                table.row(case.what, &row);
            }
            Err(refused) => table.said(case.what, &refused.to_string()),
        }
    }
    Ok(table.with_means())
}

fn row(case: &Case, torn: &Torn, file: &[u8]) -> Result<[f32; 7], Box<dyn Error>> {
    let color = read_jpeg(file)?;
    let truth = Homography(case.photo_from_mm()).after(&Homography::IDENTITY);
    let straight = straighten(place(&color, case.size, None, &Task::new())?, PHOTO)?;
    let middle = [0.5 * straight.size.width as f64, 0.5 * straight.size.height as f64];
    let [scale, uneven] = scale_off(&straight, &truth);
    let recipe = CutRecipe { scale: Scale::Rectangle { size: case.size, corners: None }, ..CutRecipe::default() };
    let cut = cut(&made(case.what, color), &recipe, &Task::new())?;
    let ends = cut.patch.ends_per_cm.map_or(f32::NAN, |ends| 100.0 * (ends.get() / torn.per_cm[0] - 1.0));
    Ok([
        straight.placed.misfit.tilt_deg as f32,
        corners_off(&straight, &truth, case) as f32,
        scale as f32,
        100.0 * straight.uncertainty_at(middle, PHOTO) as f32,
        uneven as f32,
        ends,
        hole_off(&cut, &truth) as f32,
    ])
}

/// Pixels from the true corners, the worst; whichever is the first.
fn corners_off(straight: &Straight, truth: &Homography, case: &Case) -> f64 {
    let corners = case.laid().corners().map(|c| truth.at(c));
    let apart = |a: [f64; 2], b: [f64; 2]| (a[0] - b[0]).hypot(a[1] - b[1]);
    let off = |k: usize| (0..4).map(|i| apart(straight.placed.corners[i], corners[(i + k) % 4])).fold(0.0, f64::max);
    (0..4).map(off).fold(f64::INFINITY, f64::min)
}

/// Error of the scale in the middle of the straightened photo, and how far it varies over it, per cent.
fn scale_off(straight: &Straight, truth: &Homography) -> [f64; 2] {
    let mm = truth.inverse().after(&straight.photo_from_straight);
    let (w, h) = (straight.size.width as f64, straight.size.height as f64);
    let at = |u: f64, v: f64| 100.0 * (f64::from(straight.scale.get()) / mm.area_at([u * w, v * h]).sqrt() - 1.0);
    let all = [at(0.1, 0.1), at(0.9, 0.1), at(0.1, 0.9), at(0.9, 0.9)];
    let most = all.into_iter().fold(f64::NEG_INFINITY, f64::max);
    [at(0.5, 0.5), most - all.into_iter().fold(f64::INFINITY, f64::min)]
}

/// Millimetres from the middle of the hole to that of what was cut.
fn hole_off(cut: &Cut, truth: &Homography) -> f64 {
    let Some(Map::Unit(cover)) = cut.patch.map(Channel::Cover) else { return f64::NAN };
    let mut sum = [0.0f64; 3];
    for y in 0..cover.height() {
        for (x, c) in cover.row(y).iter().enumerate() {
            let w = f64::from(c.0);
            sum = [sum[0] + w * (x as f64 + 0.5), sum[1] + w * (y as f64 + 0.5), sum[2] + w];
        }
    }
    let middle = [sum[0] / sum[2], sum[1] / sum[2]];
    let flat = cut.patch.photo_from_patch.unwrap_or([[1.0, 0.0, 0.0], [0.0, 1.0, 0.0]]).map(|row| row.map(f64::from));
    let photo = cut.photo_from_patch.unwrap_or(Homography([flat[0], flat[1], [0.0, 0.0, 1.0]])).at(middle);
    let [x, y] = truth.inverse().at(photo);
    (x - HOLE[0]).hypot(y - HOLE[1])
}

/// The picture of the capture guide: a photo with what was found in it, and the same straightened.
pub(crate) fn guide(path: &Path) -> Result<(), Box<dyn Error>> {
    let case = &CASES[2];
    let color = case.shoot(&cloths()[case.cloth]);
    let straight = straighten(place(&color, case.size, None, &Task::new())?, PHOTO)?;
    let mut marked = color.clone();
    let corners = straight.placed.corners;
    for k in 0..4 {
        let (a, b) = (corners[k], corners[(k + 1) % 4]);
        let steps = (b[0] - a[0]).hypot(b[1] - a[1]) as usize * 2;
        for i in 0..=steps {
            let t = i as f64 / steps as f64;
            let [x, y] = [0, 1].map(|c: usize| (a[c] + t * (b[c] - a[c])) as usize);
            for (dx, dy) in [(0, 0), (1, 0), (0, 1), (1, 1)] {
                marked.set((x + dx).min(PHOTO.width - 1), (y + dy).min(PHOTO.height - 1), LinearRgb([0.9, 0.02, 0.4]));
            }
        }
    }
    let after = straight.show(&color);
    let height = 480;
    let fit = |image: &Image<LinearRgb>| area_resize(image, image.width() * height / image.height(), height);
    let (before, after) = (fit(&marked), fit(&after));
    let mut both = Image::filled(before.width() + 8 + after.width(), height, LinearRgb([1.0; 3]));
    both.paste(&before, 0, 0);
    both.paste(&after, before.width() + 8, 0);
    std::fs::write(path, jpeg(&both, 85)?)?;
    Ok(())
}
