//! Sheets to look at: made cloths and made damage, each as a photo at its own pixels.

use std::error::Error;
use std::path::Path;

use tatter_core::angle::Angle;
use tatter_core::image::{Image, LinearRgb};
use tatter_core::kernel::area_resize;
use tatter_testkit::scene::{Spec, cloth, dyed};
use tatter_weave::{Cloth, Damage, Kind, Shot};

use crate::photo::jpeg;

/// Side of a picture, pixels, and the space around it.
const SIDE: usize = 320;
const SPACE: usize = 8;
/// How many stand beside each other.
const COLUMNS: usize = 4;

fn ferrymans() -> Cloth {
    cloth("canvas")
}

/// The photo of a cloth with what happened to it, sizes in thread spacings.
fn picture(cloth: Cloth, pitch_px: f32, damage: Option<(Kind, f32, f32)>, number: usize) -> Image<LinearRgb> {
    let pitch_mm = 10.0 / (cloth.ends_per_cm.get() * cloth.picks_per_cm.get()).sqrt();
    let dark = cloth.warp.dye.color.luminance() < 0.15;
    let backing = LinearRgb(if dark { [0.70, 0.70, 0.68] } else { [0.045, 0.04, 0.04] });
    let damage = damage
        .map(|(kind, length, width)| Damage { length: length * pitch_mm, width: width * pitch_mm, ..Damage::new(kind) })
        .into_iter()
        .collect();
    let shot = Shot { backing, seed: 700 + number as u64, ..Shot::default() };
    Spec { damage, grain: Angle::degrees(86.0), shot, seed: 700 + number as u64, ..Spec::new(cloth, SIDE, pitch_px) }
        .shoot()
        .photo
}

/// `cloths.jpg` and `damages.jpg`, and both at a quarter of their size.
pub(crate) fn write(folder: &Path) -> Result<(), Box<dyn Error>> {
    let navy = [0.02, 0.03, 0.07];
    let cloths = ["duck", "canvas", "poplin", "linen", "denim", "tweed", "herringbone", "jersey"];
    let cloths = cloths.into_iter().enumerate().map(|(n, name)| picture(cloth(name), 10.0, None, n)).collect();
    let damages = [
        (ferrymans(), 7.0, Kind::Rip, 30.0, 9.0),
        (dyed("poplin", navy, navy), 7.0, Kind::LTear, 18.0, 6.0),
        (cloth("tweed"), 8.0, Kind::MothHole, 13.0, 13.0),
        (ferrymans(), 7.0, Kind::Burn, 16.0, 16.0),
        (cloth("denim"), 7.0, Kind::WornThrough, 26.0, 13.0),
        (cloth("linen"), 7.0, Kind::Hem, 14.0, 14.0),
        (cloth("denim"), 7.0, Kind::Abrasion, 30.0, 30.0),
        (cloth("duck"), 7.0, Kind::Scrap, 30.0, 24.0),
        (cloth("linen"), 7.0, Kind::Darn, 18.0, 18.0),
        (ferrymans(), 7.0, Kind::Patch, 28.0, 24.0),
        (cloth("tweed"), 8.0, Kind::Snag, 13.0, 13.0),
        (ferrymans(), 7.0, Kind::Stain, 24.0, 22.0),
    ];
    let damages = damages.into_iter().enumerate();
    let damages = damages
        .map(|(n, (cloth, pitch, kind, length, width))| picture(cloth, pitch, Some((kind, length, width)), 20 + n))
        .collect();
    std::fs::create_dir_all(folder)?;
    for (name, pictures) in [("cloths", cloths), ("damages", damages)] {
        let sheet = sheet(pictures);
        std::fs::write(folder.join(format!("{name}.jpg")), jpeg(&sheet, 82)?)?;
        let small = area_resize(&sheet, sheet.width() / 4, sheet.height() / 4);
        std::fs::write(folder.join(format!("{name}-small.jpg")), jpeg(&small, 88)?)?;
    }
    Ok(())
}

fn sheet(pictures: Vec<Image<LinearRgb>>) -> Image<LinearRgb> {
    let rows = pictures.len().div_ceil(COLUMNS);
    let step = SIDE + SPACE;
    let mut sheet = Image::filled(COLUMNS * step - SPACE, rows * step - SPACE, LinearRgb([1.0; 3]));
    for (n, picture) in pictures.into_iter().enumerate() {
        sheet.paste(&picture, n % COLUMNS * step, n / COLUMNS * step);
    }
    sheet
}
