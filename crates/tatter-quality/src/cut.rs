//! The whole `cut` beside the truth of woven scenes.

use std::error::Error;
use std::fs;
use std::path::Path;

use tatter_cloth::cut::cut;
use tatter_core::channel::Channel;
use tatter_core::color::{Lab, ciede2000, decode_srgb};
use tatter_core::image::{Coding, Depth, HeightMm, Image, LinearRgb, Map, Stored, Transfer, Unit};
use tatter_core::kernel::{bleed, gaussian, thin};
use tatter_core::model::{CutRecipe, Patch, Scale};
use tatter_core::task::Task;
use tatter_files::picture::{Effort, PictureFormat, encode};
use tatter_testkit::measures::{
    alpha_error, angle, brightness_angle, closed, color_difference, correlation, count, overlap, woven_normals,
};
use tatter_testkit::scene::{Scene, Spec};
use tatter_weave::Kind;

use crate::photo::photo;
use crate::scenes::{Case, List, cases};
use crate::table::Table;

const COLUMNS: [(&str, usize); 16] = [
    ("isolate IoU", 2),
    ("alpha SAD k", 2),
    ("alpha MSE", 4),
    ("alpha gradient k", 2),
    ("gap IoU", 2),
    ("thread recall", 2),
    ("normals °", 2),
    ("brightness °", 2),
    ("height corr.", 2),
    ("dE00", 2),
    ("rim dE00", 2),
    ("rim paler L*", 1),
    ("filling dE00", 2),
    ("count error %", 2),
    ("grain error °", 2),
    ("s", 2),
];

/// One row a scene. Rows are also printed as they come, since it takes minutes.
///
/// With a folder, a strip for each scene is written there: photo, true and found cover, true and found opacity, base colour and the true one.
pub(crate) fn table(list: List, only: Option<&str>, strips: Option<&Path>) -> Result<String, Box<dyn Error>> {
    rows(cases(list).into_iter().filter(|case| only.is_none_or(|word| case.name.contains(word))).collect(), strips)
}

/// The same for any scenes.
pub(crate) fn rows(cases: Vec<Case>, strips: Option<&Path>) -> Result<String, Box<dyn Error>> {
    let mut table = Table::new("scene", &COLUMNS);
    for case in cases {
        let scene = case.spec.shoot();
        let photo = photo(&case, &scene.photo)?;
        let recipe = CutRecipe { scale: Scale::MmPerPixel(scene.scale), ..CutRecipe::default() };
        let task = Task::new();
        match cut(&photo, &recipe, &task) {
            Ok(done) => {
                let seconds: f64 = task.total();
                let mut row = judge(&scene, &case.spec, &done.patch)?.to_vec();
                row.push(seconds as f32);
                table.row(&case.name, &row);
                if let Some(folder) = strips {
                    fs::create_dir_all(folder)?;
                    fs::write(folder.join(case.file()), strip(&scene, &done.patch)?)?;
                }
                eprintln!("{} {row:.3?}", case.name);
            }
            Err(error) => table.said(&case.name, &format!("not cut: {error}")),
        }
    }
    Ok(table.with_means())
}

/// What the photo shows, what was hurt, what was found, side by side on the patch's canvas.
fn strip(scene: &Scene, patch: &Patch) -> Result<Vec<u8>, Box<dyn Error>> {
    let truth = seen(scene, patch);
    let gray = |image: &Image<f32>| image.map(|v| LinearRgb([decode_srgb(v); 3]));
    let found = |channel| patch.map(channel).and_then(Map::as_unit).map(|m| gray(&m.map(|v| v.0)));
    let base = patch.map(Channel::BaseColor).and_then(Map::as_color).cloned();
    let hurt = truth.injured.map(|h| if h { 1.0 } else { 0.0 });
    let threads = bleed(&truth.base, &truth.opacity);
    let panels: Vec<Image<LinearRgb>> = [
        Some(truth.photo),
        Some(gray(&hurt)),
        found(Channel::Cover),
        Some(gray(&truth.opacity)),
        found(Channel::Opacity),
        base,
        Some(threads),
    ]
    .into_iter()
    .flatten()
    .collect();
    side_by_side(&panels)
}

/// Pictures of one size in a row, as a PNG file.
fn side_by_side(panels: &[Image<LinearRgb>]) -> Result<Vec<u8>, Box<dyn Error>> {
    let side = panels[0].width();
    let whole = Image::from_fn(side * panels.len(), side, |x, y| panels[x / side].get(x % side, y));
    let coding = Coding { transfer: Transfer::Srgb, ..Coding::default() };
    Ok(encode(&Stored::from_map(&Map::Color(whole), &coding, Depth::Eight), PictureFormat::Png, Effort::Fast)?)
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

/// The place of the photo, pixels, that a patch shows at a texel.
fn place_in_photo(patch: &Patch) -> impl Fn(usize, usize) -> [f32; 2] {
    let [a, b] = patch.photo_from_patch.unwrap_or([[1.0, 0.0, 0.0], [0.0, 1.0, 0.0]]);
    move |x, y| {
        let (x, y) = (x as f32 + 0.5, y as f32 + 0.5);
        [a[0] * x + a[1] * y + a[2], b[0] * x + b[1] * y + b[2]]
    }
}

/// A map of the photo's pixels as the patch shows it.
fn on_patch(map: &Image<f32>, patch: &Patch) -> Image<f32> {
    let at = place_in_photo(patch);
    let side = patch.size().width;
    Image::from_fn(side, side, |x, y| map.bilinear(at(x, y)[0], at(x, y)[1]))
}

fn seen(scene: &Scene, patch: &Patch) -> Seen {
    let at = place_in_photo(patch);
    let side = patch.size().width;
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
        opacity: on_patch(&maps.opacity.map(|o| o.0), patch),
        injured: nearest(&scene.injured),
        torn: nearest(&scene.torn()),
        inside: Image::from_fn(side, side, |x, y| {
            let [x, y] = at(x, y);
            x >= 0.5 && y >= 0.5 && x <= width - 0.5 && y <= height - 0.5
        }),
    }
}

/// Alpha of a patch where it is judged.
struct Judged {
    alpha: Image<f32>,
    /// What is hurt; all of a piece.
    within: Image<bool>,
    piece: bool,
}

fn judged(spec: &Spec, patch: &Patch, truth: &Seen) -> Result<Judged, Box<dyn Error>> {
    let unit = |channel| patch.map(channel).and_then(Map::as_unit).ok_or("a cut patch has cover and opacity");
    let (cover, opacity) = (unit(Channel::Cover)?, unit(Channel::Opacity)?);
    let piece = spec.damage.iter().any(|d| d.kind == Kind::Scrap);
    let alpha = if piece { cover.zip(opacity, |c, o| c.0 * o.0) } else { opacity.map(|o| o.0) };
    Ok(Judged { alpha, within: truth.inside.zip(&truth.injured, |i, hurt| i && (piece || hurt)), piece })
}

/// Photo, alpha through the lens, found alpha, and how far that is off (grey: right, light: too much), side by side on the patch's canvas.
pub(crate) fn alpha_strip(scene: &Scene, spec: &Spec, patch: &Patch) -> Result<Vec<u8>, Box<dyn Error>> {
    let gray = |image: &Image<f32>| image.map(|v| LinearRgb([decode_srgb(v); 3]));
    let lens = on_patch(&gaussian(&scene.maps.opacity.map(|o| o.0), spec.shot.blur), patch);
    let truth = seen(scene, patch);
    let Judged { alpha, within, .. } = judged(spec, patch, &truth)?;
    let off = alpha.zip(&lens, |a, l| 0.5 + 0.5 * (a - l)).zip(&within, |off, w| if w { off } else { 0.5 });
    side_by_side(&[truth.photo, gray(&lens), gray(&alpha), gray(&off)])
}

/// SAD and gradient error of alpha, thousands, and overlap of openings, beside the alpha that the lens shows: what reaches the sensor of a thread, which is what published
/// alpha mattes hold, too, since they are taken through a lens (Rhemann et al., "A Perceptually Motivated Online Benchmark for Image Matting", 2009).
pub(crate) fn judge_as_seen(scene: &Scene, spec: &Spec, patch: &Patch) -> Result<[f32; 3], Box<dyn Error>> {
    let lens = gaussian(&scene.maps.opacity.map(|o| o.0), spec.shot.blur);
    let truth = seen(scene, patch);
    let shown = on_patch(&lens, patch);
    let Judged { alpha, within, .. } = judged(spec, patch, &truth)?;
    let off = alpha_error(&alpha, &shown, &within);
    let gaps = overlap(&alpha.map(|a| a < 0.5), &shown.map(|t| t < 0.5), &within);
    Ok([off.sad_k, off.gradient_k, gaps])
}

pub(crate) fn judge(scene: &Scene, spec: &Spec, patch: &Patch) -> Result<[f32; 15], Box<dyn Error>> {
    let map = |channel| patch.map(channel).ok_or("a cut patch has all maps");
    let (cover, opacity) = (map(Channel::Cover)?.as_unit(), map(Channel::Opacity)?.as_unit());
    let (cover, opacity) = cover.zip(opacity).ok_or("cover and opacity are scalars")?;
    let base = map(Channel::BaseColor)?.as_color().ok_or("base colour is a colour")?;
    let normal = map(Channel::Normal)?.as_normal().ok_or("normals are normals")?;
    let height = map(Channel::Height)?.as_height().ok_or("heights are heights")?;
    let truth = seen(scene, patch);
    let Judged { alpha, within: judged, piece } = judged(spec, patch, &truth)?;
    let off = alpha_error(&alpha, &truth.opacity, &judged);
    let gaps = overlap(&alpha.map(|a| a < 0.5), &truth.opacity.map(|t| t < 0.5), &judged);
    let lines = thin(&truth.opacity.map(|t| t >= 0.5)).zip(&truth.torn, |l, torn| l && torn);
    let lines = lines.zip(&judged, |l, j| l && j && !piece);
    let kept = lines.zip(&alpha, |l, a| l && a >= 0.5);
    let mask = closed(&truth.opacity.map(Unit)).zip(&judged, |c, j| c && j);
    let woven = woven_normals(&truth.height, patch.scale);
    let miss = [(patch.ends_per_cm, spec.cloth.ends_per_cm), (patch.picks_per_cm, spec.cloth.picks_per_cm)]
        .map(|(found, told)| found.map_or(f32::NAN, |found| 100.0 * (found.get() / told.get() - 1.0).abs()));
    let grain = patch.grain.map_or(f32::NAN, |found| {
        let off = (found - spec.grain).as_line().to_degrees();
        off.min(180.0 - off)
    });
    let counted = if miss[0].is_nan() || miss[1].is_nan() { f32::NAN } else { miss[0].max(miss[1]) };
    if count(&scene.injured) == 0.0 {
        // Rubbing may leave nothing that can be seen: there is nothing to find, and nothing to be judged by.
        let mut row = [f32::NAN; 15];
        (row[13], row[14]) = (counted, grain);
        return Ok(row);
    }
    let [rim, paler, filling] = rim_color(base, &cover.zip(opacity, |c, o| c.0 * o.0), &truth);
    Ok([
        isolated(scene, patch, cover, &truth),
        off.sad_k,
        off.mse,
        off.gradient_k,
        if count(&truth.torn.zip(&judged, |t, j| t && j)) < 50.0 { f32::NAN } else { gaps },
        if count(&lines) < 20.0 { f32::NAN } else { count(&kept) / count(&lines) },
        angle(normal, &woven, &mask),
        brightness_angle(&truth.photo, patch.scale, &woven, &mask),
        correlation(height, &truth.height, &mask),
        color_difference(base, &truth.base, &mask),
        rim,
        paler,
        filling,
        counted,
        grain,
    ])
}

/// Base colour in what is hurt against that of the threads, after the gain that suits the cloth around (all of the cloth for a
/// piece): CIEDE2000 and excess of lightness, each texel by the alpha that was found, and CIEDE2000 of what fills the openings.
fn rim_color(base: &Image<LinearRgb>, alpha: &Image<f32>, truth: &Seen) -> [f32; 3] {
    let threads = bleed(&truth.base, &truth.opacity);
    let closed = closed(&truth.opacity.map(Unit)).zip(&truth.inside, |c, i| c && i);
    let around = closed.zip(&truth.injured, |c, hurt| c && !hurt);
    let around = if count(&around) < 500.0 { closed } else { around };
    let light = |image: &Image<LinearRgb>| {
        image.texels().iter().zip(around.texels()).map(|(c, a)| if *a { f64::from(c.luminance()) } else { 0.0 }).sum::<f64>()
    };
    let gain = (light(&threads) / light(base).max(1e-6)) as f32;
    let (mut rim, mut open) = ([0.0f64; 3], [0.0f64; 2]);
    for (i, found) in base.texels().iter().enumerate().filter(|(i, _)| truth.inside.texels()[*i] && truth.injured.texels()[*i]) {
        let (found, known) = (Lab::from(LinearRgb(found.0.map(|c| c * gain))), Lab::from(threads.texels()[i]));
        let (off, weight) = (f64::from(ciede2000(found, known)), f64::from(alpha.texels()[i]));
        rim = [rim[0] + weight * off, rim[1] + weight * f64::from(found.l - known.l), rim[2] + weight];
        if weight < 0.5 {
            open = [open[0] + off, open[1] + 1.0];
        }
    }
    let filling = if open[1] < 50.0 { f64::NAN } else { open[0] / open[1] };
    [rim[0] / rim[2], rim[1] / rim[2], filling].map(|v| v as f32)
}

/// Overlap of the found cover and what is hurt, with what of it lies beyond the patch.
fn isolated(scene: &Scene, patch: &Patch, cover: &Image<Unit>, truth: &Seen) -> f32 {
    let (found, known) = (cover.map(|c| c.0 >= 0.5), truth.injured.zip(&truth.inside, |hurt, i| hurt && i));
    let both = count(&found.zip(&known, |f, k| f && k));
    let whole = count(&scene.injured) * (scene.scale.get() / patch.scale.get()).powi(2);
    both / (count(&found) + whole - both).max(1.0)
}
