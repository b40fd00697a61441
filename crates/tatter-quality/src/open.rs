//! Real pictures whose truth came with them: the open data beside the repository, where it is there.

use std::error::Error;
use std::fs;
use std::path::{Path, PathBuf};

use tatter_cloth::gaps::{GapInput, gaps};
use tatter_cloth::isolate::{ClothHints, isolate};
use tatter_cloth::measure::{MeasureSettings, Measured, measure};
use tatter_cloth::relief::{ReliefInput, relief};
use tatter_core::image::{HeightMm, Image, Normal, Unit};
use tatter_core::model::CutRecipe;
use tatter_core::task::Task;
use tatter_core::units::MmPerTexel;
use tatter_testkit::measures::{angle, brightness_angle, correlation, overlap, woven_normals};

use crate::photo::open;
use crate::table::Table;

/// What is said where the open data is absent.
pub(crate) const MISSING: &str =
    "Open data was not there (`../shared/data` beside the repository), so nothing was measured on it.";

/// The folder of open data, if it is there.
pub(crate) fn open_data() -> Option<PathBuf> {
    let beside = Path::new(env!("CARGO_MANIFEST_DIR")).join("../../../shared/data");
    beside.is_dir().then_some(beside)
}

/// All open data with truth.
pub(crate) fn tables() -> Result<String, Box<dyn Error>> {
    let Some(folder) = open_data() else {
        eprintln!("{MISSING}");
        return Ok(format!("{MISSING}\n"));
    };
    Ok(format!("{}\n{}\n{}", stains(&folder)?, sacking(&folder)?, scanned(&folder)?))
}

/// Stained cloth with pixel masks: overlap of the found cover.
fn stains(folder: &Path) -> Result<String, Box<dyn Error>> {
    let mut files: Vec<PathBuf> =
        fs::read_dir(folder.join("photos/stains-with-masks"))?.filter_map(|e| e.ok().map(|e| e.path())).collect();
    files.retain(|path| path.extension().is_some_and(|e| e == "jpg"));
    files.sort();
    let (mut all, mut failed) = (Vec::new(), 0);
    for path in &files {
        let photo = open(path)?;
        let mask = open(&path.with_extension("mask.png"))?.color.map(|c| c.luminance() > 0.2);
        match isolate(&photo.color, &CutRecipe::default(), &ClothHints::default(), &Task::new()) {
            Ok(found) => all.push(overlap(&found.cover.map(|c| c.0 >= 0.5), &mask, &mask.map(|_| true))),
            Err(_) => failed += 1,
        }
    }
    all.sort_by(f32::total_cmp);
    let n = all.len().max(1);
    Ok(format!(
        "Stains of a factory camera with their masks ({} pictures): overlap of cover and mask {:.2} in the mean, {:.2} in the middle, \
         {:.2} at the least; in {failed} nothing was found. Masks were drawn tight; cover takes a rim.\n",
        files.len(),
        all.iter().sum::<f32>() / n as f32,
        all.get(n / 2).copied().unwrap_or(f32::NAN),
        all.first().copied().unwrap_or(f32::NAN),
    ))
}

/// Open sacking with a mask of its true openings.
fn sacking(folder: &Path) -> Result<String, Box<dyn Error>> {
    let folder = folder.join("pbr-cloth/hessian_230_left_half");
    let (color, mask) = (open(&folder.join("hessian_230_diff.png"))?.color, open(&folder.join("hessian_230_mask.png"))?.color);
    let truth = mask.map(|c| c.luminance() < 0.2);
    let cover = truth.map(|_| Unit(1.0));
    let measured = measure(&color, None, &MeasureSettings::default(), &Task::new())?;
    let input = GapInput { pitch_px: measured.woven.then_some(measured.pitch_px), ..GapInput::new(&cover) };
    let found = gaps(&color, &input, &Task::new())?;
    let score = overlap(&found.opacity.map(|o| o.0 < 0.5), &truth, &truth.map(|_| true));
    let share = |m: &Image<bool>| m.texels().iter().filter(|m| **m).count() as f32 / m.size().area() as f32;
    let counted = spacing_by_eye(&measured);
    Ok(format!(
        "Sacking photographed flat, with a mask of the openings between its yarns: gap IoU {score:.2} ({:.2} of the picture is open, \
         {:.2} was found). Its base colour has no backing in the openings, only dark. {counted}\n",
        share(&truth),
        share(&found.opacity.map(|o| o.0 < 0.5)),
    ))
}

/// Spaces between threads of the same sacking counted by eye along one line each way, and how many pixels they take: a pixel either way
/// at both ends.
const BY_EYE: [(&str, f32, f32); 2] = [("ends", 39.0, 488.0), ("picks", 85.0, 1005.8)];

fn spacing_by_eye(measured: &Measured) -> String {
    let said = BY_EYE.into_iter().zip(measured.pitch_px).map(|((name, spaces, pixels), found)| {
        let (eye, either) = (pixels / spaces, 2.0 / pixels);
        let off = 100.0 * (eye / found - 1.0);
        format!(
            "{name} {eye:.3} pixels apart by eye and {found:.3} measured, {off:+.2} % where the eye is sure to {:.1} %",
            100.0 * either
        )
    });
    format!("Its threads: {}.", said.collect::<Vec<_>>().join("; "))
}

/// Scanned cloths with height: relief from their base colour, which is a photo under soft light.
fn scanned(folder: &Path) -> Result<String, Box<dyn Error>> {
    let columns = [("normals °", 2), ("brightness °", 2), ("ratio", 2), ("height corr.", 2)];
    let mut table = Table::new("scanned cloth, soft light", &columns);
    let sets = [
        (
            "terry",
            "terry_cloth/terry_cloth_diff_1k.jpg",
            "terry_cloth/terry_cloth_disp_1k.jpg",
            Some("terry_cloth/terry_cloth_nor_gl_1k.jpg"),
        ),
        ("gingham", "gingham_check/gingham_check_diff_1k.jpg", "gingham_check/gingham_check_disp_1k.png", None),
    ];
    for (name, color, height, normal) in sets {
        let path = |file: &str| folder.join("pbr-cloth").join(file);
        let color = open(&path(color))?.color;
        // Heights are stored as codes, and without a size: the middle tilt of the normals, or 15 degrees, sets the scale.
        let codes = open(&path(height))?.color.map(|c| tatter_core::color::encode_srgb(c.luminance()));
        let truth: Image<Normal> = match normal {
            Some(file) => open(&path(file))?.color.map(|c| {
                let [x, y, z] = c.0.map(|v| 2.0 * tatter_core::color::encode_srgb(v) - 1.0);
                Normal::from_slopes(-x / z.max(0.05), -y / z.max(0.05))
            }),
            None => woven_normals(&tilted(&codes), MmPerTexel(1.0)),
        };
        let opacity = color.map(|_| Unit(1.0));
        let measured = measure(&color, None, &MeasureSettings::default(), &Task::new())?;
        let mut input = ReliefInput::new(&opacity, &opacity, MmPerTexel(1.0));
        if measured.woven {
            input.pitch_px = Some(measured.pitch_px);
            input.thread_dirs = Some([measured.grain, measured.weft]);
        }
        let made = relief(&color, &input, &Task::new())?;
        let mask = tatter_testkit::measures::closed(&opacity);
        let bright = brightness_angle(&color, MmPerTexel(1.0), &truth, &mask);
        let ours = angle(&made.normal, &truth, &mask);
        table.row(name, &[ours, bright, ours / bright, correlation(&made.height, &codes.map(HeightMm), &mask)]);
    }
    Ok(table.into_text())
}

/// Heights of a mean tilt of 15 degrees.
fn tilted(codes: &Image<f32>) -> Image<HeightMm> {
    let flat = |gain: f32| {
        let normals = woven_normals(&codes.map(|h| HeightMm(h * gain)), MmPerTexel(1.0));
        let up = Normal::from_slopes(0.0, 0.0);
        normals.texels().iter().map(|n| n.angle_to(up).to_degrees()).sum::<f32>() / normals.size().area() as f32
    };
    let (mut low, mut high) = (0.1f32, 5000.0f32);
    for _ in 0..20 {
        let middle = (low * high).sqrt();
        if flat(middle) < 15.0 { low = middle } else { high = middle }
    }
    codes.map(|h| HeightMm(h * low))
}
