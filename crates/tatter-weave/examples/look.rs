//! Writes lit pictures of cloths: `look FOLDER SIDE WIDTH_MM NAME…`.
#![expect(clippy::disallowed_methods, clippy::print_stdout, reason = "an example for people at a terminal")]

use std::error::Error;
use std::fs::File;
use std::io::BufWriter;
use std::path::Path;

use tatter_core::angle::Angle;
use tatter_core::color::encode_srgb;
use tatter_core::image::{Image, LinearRgb};
use tatter_core::task::Task;
use tatter_weave::{Damage, Kind, PatchSpec, Shot, TileSpec, shoot, stock, weave_patch, weave_tile};

fn main() -> Result<(), Box<dyn Error>> {
    let arguments: Vec<String> = std::env::args().skip(1).collect();
    let [folder, side, width, names @ ..] = &arguments[..] else { return Err("look FOLDER SIDE WIDTH_MM NAME…".into()) };
    for name in names {
        let task = Task::new();
        if let Some((cloth, kind)) = name.split_once(':') {
            let cloth = stock(cloth).ok_or("no such cloth")?;
            let damage = vec![Damage::new(Kind::from_name(kind).ok_or("no such damage")?)];
            let spec =
                PatchSpec { cloth, side: side.parse()?, width_mm: width.parse()?, damage, grain: Angle::degrees(90.0), seed: 1 };
            let (woven, _) = weave_patch(&spec, &task)?;
            println!("{name}: {:?}", task.seconds());
            let shot = Shot { backing: backing(name), ..Shot::default() };
            let photo = shoot(&woven.maps, woven.scale, &shot, &task)?.photo;
            save(&photo, &Path::new(folder).join(format!("{}.png", name.replace(':', "-"))))?;
            continue;
        }
        let cloth = stock(name).ok_or("no such cloth")?;
        let woven = weave_tile(&TileSpec { cloth, side: side.parse()?, width_mm: width.parse()?, seed: 1 }, &task)?;
        let open = 1.0 - woven.maps.opacity.texels().iter().map(|o| o.0).sum::<f32>() / woven.maps.opacity.texels().len() as f32;
        println!("{name}: {:?} open {open:.3} of {:.3}", task.seconds(), woven.geometry.open_area);
        let photo = shoot(&woven.maps, woven.scale, &Shot { backing: backing(name), ..Shot::default() }, &task)?.photo;
        save(&photo, &Path::new(folder).join(format!("{name}.png")))?;
    }
    Ok(())
}

/// A dark lining behind light cloth, a light card behind dark.
fn backing(name: &str) -> LinearRgb {
    if name.starts_with("denim") || name.starts_with("tweed") || name.starts_with("herr") {
        LinearRgb([0.7, 0.7, 0.69])
    } else {
        LinearRgb([0.05, 0.045, 0.045])
    }
}

fn save(picture: &Image<LinearRgb>, path: &Path) -> Result<(), Box<dyn Error>> {
    let mut encoder = png::Encoder::new(BufWriter::new(File::create(path)?), picture.width() as u32, picture.height() as u32);
    encoder.set_color(png::ColorType::Rgb);
    let bytes: Vec<u8> =
        picture.texels().iter().flat_map(|t| t.0).map(|c| (255.0 * encode_srgb(c.clamp(0.0, 1.0)) + 0.5) as u8).collect();
    encoder.write_header()?.write_image_data(&bytes)?;
    Ok(())
}
