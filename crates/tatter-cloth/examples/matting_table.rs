//! Made scenes of torn weave with exact alpha, and our alpha beside them, for `tools/matting_reference.py table`.
//!
//! `cargo run -p tatter-cloth --example matting_table -- FOLDER`
#![expect(clippy::disallowed_methods, reason = "a tool that hands pictures to a reference library")]
#![expect(clippy::print_stdout, reason = "a tool on the command line")]

use std::io::{Result, Write as _};
use std::path::{Path, PathBuf};
use std::time::Instant;

use tatter_cloth::isolate::matting::{MattingSettings, solve_on_backing};
use tatter_cloth::made::{Damage, SceneSpec, shoot};
use tatter_core::image::{Image, LinearRgb, Unit};
use tatter_core::kernel::gaussian;
use tatter_core::model::Subject;
use tatter_core::rng::{hash_unit, value_noise};
use tatter_core::task::Task;
use tatter_core::units::Mm;

/// Noise of the made photos, as the scenes behind `matting_baselines.csv` had it.
const NOISE: f32 = 0.006;

fn main() -> Result<()> {
    let folder = PathBuf::from(std::env::args().nth(1).unwrap_or_else(|| "target/matting".to_owned()));
    std::fs::create_dir_all(&folder)?;
    for (subject, shape) in [(Subject::Damage, "rip"), (Subject::Piece, "scrap")] {
        for backing in ["card", "wood", "dark"] {
            let name = format!("{shape}-{backing}");
            let (photo, truth) = scene(subject, backing);
            let trimap = trimap(&truth, 3);
            let start = Instant::now();
            let solved = solve_on_backing(&photo, &trimap, 1, &settings(), &Task::new());
            let seconds = start.elapsed().as_secs_f64();
            let Ok(Some(alpha)) = solved else { continue };
            let sad: f32 = alpha.texels().iter().zip(truth.texels()).map(|(a, t)| (a.0 - t.0).abs()).sum();
            println!("{name}: SAD {:.3} thousand in {seconds:.2} s", sad / 1000.0);
            let path = |end: &str| folder.join(format!("{name}.{end}"));
            write(&path("ppm"), 3, &photo.texels().iter().flat_map(|c| c.0).collect::<Vec<_>>(), &photo)?;
            for (end, image) in [("trimap.pgm", &trimap), ("truth.pgm", &truth), ("ours.pgm", &alpha)] {
                write(&path(end), 1, &image.texels().iter().map(|v| v.0).collect::<Vec<_>>(), image)?;
            }
            std::fs::write(path("seconds.txt"), format!("{seconds:.2}"))?;
        }
    }
    Ok(())
}

fn settings() -> MattingSettings {
    MattingSettings { epsilon: 1e-6, most_rounds: 60, tolerance: 1e-3, ..Default::default() }
}

/// The photo over that backing and its exact alpha, lens blur included. How much of the backing comes through is known
/// from the same cloth over black and over white; so any backing can be laid behind.
fn scene(subject: Subject, backing: &str) -> (Image<LinearRgb>, Image<Unit>) {
    let damage = match subject {
        Subject::Damage => Damage::RipAlongWeft { length: Mm(30.0), opening: Mm(11.0), surviving: 0.5 },
        Subject::Piece => Damage::MothHole { diameter: Mm(6.0) },
    };
    let over = |light: f32| SceneSpec { damage, subject, backing: LinearRgb([light; 3]), noise: 0.0, ..SceneSpec::default() };
    let (black, white) = (shoot(&over(0.0)), shoot(&over(1.0)));
    let through = black.photo.zip(&white.photo, |k, w| LinearRgb([0, 1, 2].map(|c| (w.0[c] - k.0[c]).max(0.0))));
    let photo = Image::from_fn(through.width(), through.height(), |x, y| {
        let behind = behind(backing, x as f32, y as f32);
        let (k, t) = (black.photo.get(x, y).0, through.get(x, y).0);
        LinearRgb([0, 1, 2].map(|c| {
            let clean = k[c] + t[c] * behind[c];
            // Three summed uniforms of deviation 1/2 each are nearly a bell of deviation 1 once doubled by 2/sqrt(3).
            let bell: f32 = (0..3).map(|r| hash_unit(7 + 3 * c as u64 + r, x as u32, y as u32) - 0.5).sum::<f32>() * 2.0;
            (clean + NOISE * (clean.max(0.01) / 0.2).sqrt() * bell).max(0.0)
        }))
    });
    let alpha = gaussian(&black.truth.opacity.map(|o| o.0), over(0.0).blur);
    let whole = |a: f32| {
        if a < 0.002 {
            0.0
        } else if a > 0.998 {
            1.0
        } else {
            a
        }
    };
    (photo, alpha.map(|a| Unit(whole(a))))
}

fn behind(backing: &str, x: f32, y: f32) -> [f32; 3] {
    match backing {
        "card" => [0.75, 0.76, 0.74],
        "dark" => [0.02, 0.02, 0.022],
        _ => {
            // Growth rings, wavering; earlywood lighter.
            let ring = y / 17.0 + 1.3 * value_noise(5, x / 190.0, y / 60.0) + 0.15 * value_noise(6, x / 40.0, y / 3.0);
            let late = (0.5 + 0.5 * (ring * std::f32::consts::TAU).sin()).powi(2);
            let grain = 1.0 + 0.08 * value_noise(8, x / 25.0, y / 1.5);
            [0.46, 0.30, 0.17].map(|v| v * grain * (1.0 - 0.45 * late))
        }
    }
}

/// Known beyond `reach` pixels of any fractional one.
fn trimap(truth: &Image<Unit>, reach: isize) -> Image<Unit> {
    Image::from_fn(truth.width(), truth.height(), |x, y| {
        let own = truth.get(x, y);
        let near = (-reach..=reach).flat_map(|dy| (-reach..=reach).map(move |dx| (dx, dy)));
        let alike = near.into_iter().all(|(dx, dy)| truth.get_clamped(x as isize + dx, y as isize + dy) == own);
        if alike { own } else { Unit(0.5) }
    })
}

/// Netpbm, 16 bits.
fn write<P: Copy>(path: &Path, channels: usize, values: &[f32], like: &Image<P>) -> Result<()> {
    let mut bytes = Vec::new();
    write!(bytes, "P{}\n{} {}\n65535\n", if channels == 3 { 6 } else { 5 }, like.width(), like.height())?;
    bytes.extend(values.iter().flat_map(|v| ((v.clamp(0.0, 1.0) * 65535.0).round() as u16).to_be_bytes()));
    std::fs::write(path, bytes)
}
