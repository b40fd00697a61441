//! PNG of a five-map garment set: our bands, the `png` crate and libdeflate in one run, best of three.
//!
//! `cargo bench --workspace --profile dev --bench png -- [SIDE] [FOLDER]`; with a folder the maps are kept there, so that
//! `tools/bench_png.py FOLDER` can time `OpenCV` on the same files.

use std::error::Error;
use std::io::Write as _;
use std::path::PathBuf;
use std::time::Instant;

use rayon::prelude::*;
use tatter_core::image::{Layout, Samples, Stored};
use tatter_files::limits::Limits;
use tatter_files::picture::{Effort, PictureFormat, decode_stored, encode};
use tatter_testkit::cloth::cloth_maps;

type Done<T> = Result<T, Box<dyn Error>>;

/// The `png` crate at its fast setting.
fn by_png_crate(stored: &Stored) -> Done<Vec<u8>> {
    let mut out = Vec::new();
    let mut encoder = png::Encoder::new(&mut out, stored.size.width as u32, stored.size.height as u32);
    encoder.set_color(if stored.layout == Layout::Rgb { png::ColorType::Rgb } else { png::ColorType::Grayscale });
    encoder.set_compression(png::Compression::Fast);
    let bytes = match &stored.samples {
        Samples::U16(v) => {
            encoder.set_depth(png::BitDepth::Sixteen);
            v.iter().flat_map(|s| s.to_be_bytes()).collect()
        }
        Samples::U8(v) => v.clone(),
        _ => Vec::new(),
    };
    let mut writer = encoder.write_header()?;
    writer.write_image_data(&bytes)?;
    writer.finish()?;
    Ok(out)
}

/// What every packer gets here: rows less the row above. Only packing is timed by its caller.
fn up_filtered(stored: &Stored) -> Vec<u8> {
    let bytes: Vec<u8> = match &stored.samples {
        Samples::U16(v) => v.iter().flat_map(|s| s.to_be_bytes()).collect(),
        Samples::U8(v) => v.clone(),
        _ => Vec::new(),
    };
    let row = bytes.len() / stored.size.height;
    (0..bytes.len()).map(|i| if i < row { bytes[i] } else { bytes[i].wrapping_sub(bytes[i - row]) }).collect()
}

fn best<T>(mut work: impl FnMut() -> Done<T>) -> Done<(f64, T)> {
    let mut seconds = f64::INFINITY;
    let mut last = None;
    for _ in 0..3 {
        let start = Instant::now();
        let value = work()?;
        seconds = seconds.min(start.elapsed().as_secs_f64());
        last = Some(value);
    }
    Ok((seconds, last.ok_or("nothing was measured")?))
}

fn main() -> Done<()> {
    let mut arguments = std::env::args().skip(1).filter(|a| !a.starts_with("--"));
    let side: usize = arguments.next().map_or(Ok(2048), |a| a.parse())?;
    let folder = arguments.next().map(PathBuf::from);
    let maps = cloth_maps(side);
    let mut out = std::io::stdout();
    writeln!(out, "{side}², {} threads, best of 3; MB/s of samples, share of their size", rayon::current_num_threads())?;
    let one = rayon::ThreadPoolBuilder::new().num_threads(1).build()?;
    for (name, stored) in &maps {
        let raw = (side * side * stored.layout.components() * usize::from(stored.bits() / 8)) as f64;
        let (ours_one, packed) = best(|| Ok(one.install(|| encode(stored, PictureFormat::Png, Effort::Fast))?))?;
        let (ours, _) = best(|| Ok(encode(stored, PictureFormat::Png, Effort::Fast)?))?;
        let (crate_time, by_crate) = best(|| by_png_crate(stored))?;
        let filtered = up_filtered(stored);
        let (deflate_time, by_libdeflate) = best(|| {
            let mut compressor = libdeflater::Compressor::new(libdeflater::CompressionLvl::new(1).unwrap_or_default());
            let mut out = vec![0; compressor.zlib_compress_bound(filtered.len())];
            Ok(compressor.zlib_compress(&filtered, &mut out)?)
        })?;
        let (decode, again) = best(|| Ok(decode_stored(&packed, &Limits::default())?))?;
        if again.samples != stored.samples {
            return Err("a map came back changed".into());
        }
        let speed = |seconds: f64| raw / seconds / 1e6;
        let share = |bytes: usize| bytes as f64 / raw;
        writeln!(
            out,
            "{name:10}  ours 1 thread {:4.0} ({:.3})  ours {:4.0}  png crate fast {:4.0} ({:.3})  libdeflate 1, packing only {:4.0} ({:.3})  decode {:4.0}",
            speed(ours_one),
            share(packed.len()),
            speed(ours),
            speed(crate_time),
            share(by_crate.len()),
            speed(deflate_time),
            share(by_libdeflate),
            speed(decode)
        )?;
        if let Some(folder) = &folder {
            std::fs::create_dir_all(folder)?;
            std::fs::write(folder.join(name).with_extension("png"), &packed)?;
        }
    }
    let (encode_all, files) = best(|| {
        let files: Result<Vec<_>, _> = maps.par_iter().map(|(_, s)| encode(s, PictureFormat::Png, Effort::Fast)).collect();
        Ok(files?)
    })?;
    let (decode_all, _) = best(|| {
        let maps: Result<Vec<_>, _> = files.par_iter().map(|file| decode_stored(file, &Limits::default())).collect();
        Ok(maps?)
    })?;
    writeln!(
        out,
        "the set: encode {encode_all:.3} s, decode {decode_all:.3} s, {} bytes",
        files.iter().map(Vec::len).sum::<usize>()
    )?;
    Ok(())
}
