//! Made scenes of torn weave with exact alpha, and our alpha beside them, for `tools/matting_reference.py table`.
//!
//! `cargo run -p tatter-cloth --example matting_table -- FOLDER`
#![expect(clippy::disallowed_methods, reason = "a tool that hands pictures to a reference library")]
#![expect(clippy::print_stdout, reason = "a tool on the command line")]

use std::io::{Result, Write as _};
use std::path::{Path, PathBuf};
use std::time::Instant;

use tatter_cloth::isolate::matting::solve_on_backing;
use tatter_core::image::Image;
use tatter_core::model::Subject;
use tatter_core::task::Task;

#[path = "../tests/matting_scenes/mod.rs"]
mod matting_scenes;
use matting_scenes::{BACKINGS, Torn, settings, trimap};

fn main() -> Result<()> {
    let folder = PathBuf::from(std::env::args().nth(1).unwrap_or_else(|| "target/matting".to_owned()));
    std::fs::create_dir_all(&folder)?;
    for (subject, shape) in [(Subject::Damage, "rip"), (Subject::Piece, "scrap")] {
        let torn = Torn::new(subject);
        let (truth, trimap) = (&torn.alpha, trimap(&torn.alpha, 3));
        for backing in BACKINGS {
            let name = format!("{shape}-{backing}");
            let photo = torn.over(backing);
            let start = Instant::now();
            let solved = solve_on_backing(&photo, &trimap, 1, &settings(), &Task::new());
            let seconds = start.elapsed().as_secs_f64();
            let Ok(Some(alpha)) = solved else { continue };
            let sad: f32 = alpha.texels().iter().zip(truth.texels()).map(|(a, t)| (a.0 - t.0).abs()).sum();
            println!("{name}: SAD {:.3} thousand in {seconds:.2} s", sad / 1000.0);
            let path = |end: &str| folder.join(format!("{name}.{end}"));
            write(&path("ppm"), 3, &photo.texels().iter().flat_map(|c| c.0).collect::<Vec<_>>(), &photo)?;
            for (end, image) in [("trimap.pgm", &trimap), ("truth.pgm", truth), ("ours.pgm", &alpha)] {
                write(&path(end), 1, &image.texels().iter().map(|v| v.0).collect::<Vec<_>>(), image)?;
            }
            std::fs::write(path("seconds.txt"), format!("{seconds:.2}"))?;
        }
    }
    Ok(())
}

/// Netpbm, 16 bits.
fn write<P: Copy>(path: &Path, channels: usize, values: &[f32], like: &Image<P>) -> Result<()> {
    let mut bytes = Vec::new();
    write!(bytes, "P{}\n{} {}\n65535\n", if channels == 3 { 6 } else { 5 }, like.width(), like.height())?;
    bytes.extend(values.iter().flat_map(|v| ((v.clamp(0.0, 1.0) * 65535.0).round() as u16).to_be_bytes()));
    std::fs::write(path, bytes)
}
