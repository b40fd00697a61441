//! PNG of a five-map garment set: our bands, the `png` crate and libdeflate in one run, best of three.
//!
//! `cargo bench -p tatter-files --profile dev --bench png -- [SIDE] [FOLDER]`; with a folder the maps are kept there, so that
//! `tools/bench_png.py FOLDER` can time `OpenCV` on the same files.

use std::error::Error;
use std::io::Write as _;
use std::path::PathBuf;
use std::time::Instant;

use rayon::prelude::*;
use tatter_core::image::{Layout, Samples, Size, Stored};
use tatter_files::limits::Limits;
use tatter_files::picture::{Effort, PictureFormat, decode_stored, encode};

type Done<T> = Result<T, Box<dyn Error>>;

/// A reproducible number 0..1 for a place.
fn noise(x: usize, y: usize, seed: u64) -> f32 {
    let mut v = (x as u64) << 32 ^ y as u64 ^ seed.wrapping_mul(0x9e37_79b9_7f4a_7c15);
    v = (v ^ v >> 31).wrapping_mul(0x7fb5_d329_728e_a185);
    v = (v ^ v >> 27).wrapping_mul(0x81da_def4_bc2d_d44d);
    ((v ^ v >> 33) >> 40) as f32 / 16_777_216.0
}

/// Noise of cells of `cell` texels, joined smoothly.
fn cloud(x: usize, y: usize, cell: usize, seed: u64) -> f32 {
    let (fx, fy) = ((x % cell) as f32 / cell as f32, (y % cell) as f32 / cell as f32);
    let (sx, sy) = (fx * fx * (3.0 - 2.0 * fx), fy * fy * (3.0 - 2.0 * fy));
    let at = |i, k| noise(x / cell + i, y / cell + k, seed);
    let mix = |a: f32, b: f32, t: f32| a + (b - a) * t;
    mix(mix(at(0, 0), at(1, 0), sx), mix(at(0, 1), at(1, 1), sx), sy)
}

/// Height 0..1 of a plain weave of threads 11 texels wide with folds, fuzz and grain.
fn height(x: usize, y: usize) -> f32 {
    let (u, v) = (x as f32 * 0.2856, y as f32 * 0.2856);
    let weave = (u.sin() * v.cos()).abs() * 0.25;
    weave + 0.4 * cloud(x, y, 512, 1) + 0.15 * cloud(x, y, 37, 2) + 0.05 * cloud(x, y, 5, 3) + 0.01 * noise(x, y, 4)
}

fn picture(side: usize, layout: Layout, like: &Samples, texel: impl Fn(usize, usize, usize) -> f32 + Sync) -> Stored {
    let n = layout.components();
    let value = |i: usize| texel(i / n % side, i / n / side, i % n).clamp(0.0, 1.0);
    let count = side * side * n;
    let mut stored = Stored::zeros(Size::new(side, side), layout, like);
    stored.samples = match like {
        Samples::U16(_) => Samples::U16((0..count).into_par_iter().map(|i| (value(i) * 65535.0) as u16).collect()),
        _ => Samples::U8((0..count).into_par_iter().map(|i| (value(i) * 255.0 + 0.5) as u8).collect()),
    };
    stored
}

fn maps(side: usize) -> Vec<(&'static str, Stored)> {
    let (eight, sixteen) = (Samples::U8(Vec::new()), Samples::U16(Vec::new()));
    let dye = [0.8, 0.62, 0.4];
    let color =
        picture(side, Layout::Rgb, &eight, |x, y, c| dye[c] * (0.4 + 0.6 * height(x, y)) + 0.03 * noise(x, y, 5 + c as u64));
    let normal = picture(side, Layout::Rgb, &eight, |x, y, c| {
        let (p, q) = (height(x + 1, y) - height(x, y), height(x, y + 1) - height(x, y));
        let n = [-4.0 * p, 4.0 * q, 1.0];
        let length = (n[0] * n[0] + n[1] * n[1] + 1.0).sqrt();
        0.5 + 0.5 * n[c] / length
    });
    let tall = picture(side, Layout::Gray, &sixteen, |x, y, _| height(x, y));
    let rough = picture(side, Layout::Gray, &eight, |x, y, _| 0.6 + 0.3 * height(x, y));
    let opacity = picture(side, Layout::Gray, &eight, |x, y, _| 40.0 * (cloud(x, y, 300, 9) - 0.2));
    vec![("base_color", color), ("normal", normal), ("height", tall), ("roughness", rough), ("opacity", opacity)]
}

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
    let maps = maps(side);
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
