//! Alpha from a trimap beside a reference library's, on the same pictures.
//!
//! The library's figures stand in `reference/alpha.tsv`, written by `tools/matting_reference.py scoreboard` from the pictures
//! that [`write_pictures`] writes; each row holds a sum of its picture, and a figure of another picture is not shown.

use std::error::Error;
use std::fmt::Write as _;
use std::fs;
use std::io::Write as _;
use std::path::Path;
use std::time::Instant;

use tatter_cloth::isolate::matting::{MattingSettings, solve_on_backing};
use tatter_core::image::{Image, LinearRgb, Unit};
use tatter_core::model::Subject;
use tatter_core::task::Task;
use tatter_testkit::measures::{AlphaError, alpha_error};
use tatter_testkit::torn::{BACKINGS, Torn, trimap};

use crate::open::{MISSING, open_data};
use crate::photo::open;
use crate::scenes::List;

const REFERENCE: &str = include_str!("../reference/alpha.tsv");

/// A picture whose alpha is known.
struct Known {
    name: String,
    color: Image<LinearRgb>,
    trimap: Image<Unit>,
    truth: Image<Unit>,
}

/// As `isolate` solves.
fn settings() -> MattingSettings {
    MattingSettings { epsilon: 1e-6, most_rounds: 60, tolerance: 1e-3, ..Default::default() }
}

fn known() -> Result<Vec<Known>, Box<dyn Error>> {
    let mut list = Vec::new();
    for (seeds, seed) in [List::Work, List::Release].map(|list| (list.name(), list.seed())) {
        for (subject, shape) in [(Subject::Damage, "rip"), (Subject::Piece, "scrap")] {
            let torn = Torn::new(subject, seed);
            for backing in BACKINGS {
                // What a file holds is what everybody computes from.
                let color = torn.over(backing).map(|c| LinearRgb(c.0.map(sixteen_bits)));
                let truth = torn.alpha.map(|a| Unit(sixteen_bits(a.0)));
                list.push(Known { name: format!("{shape}-{backing}-{seeds}"), color, trimap: trimap(&truth, 3), truth });
            }
        }
    }
    if let Some(folder) = open_data() {
        let folder = folder.join("matting/tiny-exact");
        let gray = |name: &str| {
            open(&folder.join(name)).map(|photo| photo.color.map(|c| Unit(tatter_core::color::encode_srgb(c.luminance()))))
        };
        let color = open(&folder.join("test.png"))?.color.map(|c| LinearRgb(c.0.map(sixteen_bits)));
        let trimap = gray("test_trimap.png")?.map(|t| {
            if t.0 < 0.01 {
                Unit(0.0)
            } else if t.0 > 0.99 {
                Unit(1.0)
            } else {
                Unit(0.5)
            }
        });
        list.push(Known {
            name: "tiny-exact".to_owned(),
            color,
            trimap,
            truth: gray("test_alpha.png")?.map(|a| Unit(sixteen_bits(a.0))),
        });
    }
    Ok(list)
}

fn sixteen_bits(v: f32) -> f32 {
    (v.clamp(0.0, 1.0) * 65535.0).round() / 65535.0
}

/// What is unknown of it, and how far an alpha is off there.
fn judge(known: &Known, alpha: &Image<Unit>) -> AlphaError {
    alpha_error(&alpha.map(|a| a.0), &known.truth.map(|a| a.0), &known.trimap.map(|t| t.0 > 0.0 && t.0 < 1.0))
}

/// FNV-1a of the picture and the trimap as files hold them.
fn sum(known: &Known) -> String {
    let bytes = netpbm(&known.color, |c| c.0.to_vec()).into_iter().chain(netpbm(&known.trimap, |t| vec![t.0]));
    let sum = bytes.fold(0xCBF2_9CE4_8422_2325u64, |sum, byte| (sum ^ u64::from(byte)).wrapping_mul(0x0100_0000_01B3));
    format!("{sum:016x}")
}

/// Ours beside the best of the library's methods.
pub(crate) fn table() -> Result<String, Box<dyn Error>> {
    let mut text = String::from(
        "| picture | SAD k | MSE | gradient k | s | library's best SAD k | its method | its MSE | least gradient k | its s | times as fast |\n\
         |---|---:|---:|---:|---:|---:|---|---:|---:|---:|---:|\n",
    );
    for known in known()? {
        let start = Instant::now();
        let solved = solve_on_backing(&known.color, &known.trimap, 1, &settings(), &Task::new())?;
        let seconds = start.elapsed().as_secs_f32();
        let Some(alpha) = solved else {
            let _ = writeln!(text, "| {} | too little backing to model |", known.name);
            continue;
        };
        let AlphaError { sad_k, mse, gradient_k } = judge(&known, &alpha);
        let ours = format!("{sad_k:.3} | {mse:.5} | {gradient_k:.4} | {seconds:.2}");
        let theirs = reference(&known.name, &sum(&known)).map_or_else(
            || {
                eprintln!("{}: the reference figures are of another picture; docs/quality.md says how to renew them", known.name);
                "– | – | – | – | – | –".to_owned()
            },
            |r| {
                format!(
                    "{:.3} | {} | {:.5} | {:.4} | {:.2} | {:.0}",
                    r.sad_k,
                    r.method,
                    r.mse,
                    r.gradient_k,
                    r.seconds,
                    r.seconds / seconds
                )
            },
        );
        let _ = writeln!(text, "| {} | {ours} | {theirs} |", known.name);
    }
    if open_data().is_none() {
        let _ = writeln!(text, "\n{MISSING}");
    }
    Ok(text)
}

/// The library's method of least sum, with the least gradient error of any.
struct Reference {
    method: String,
    sad_k: f32,
    mse: f32,
    gradient_k: f32,
    seconds: f32,
}

fn reference(name: &str, sum: &str) -> Option<Reference> {
    let rows = REFERENCE.lines().filter(|line| !line.starts_with('#')).filter_map(|line| {
        let cells: Vec<&str> = line.split('\t').collect();
        let [of, of_sum, method, sad_k, mse, gradient_k, seconds] = cells[..] else { return None };
        let number = |text: &str| text.parse::<f32>().ok();
        let row = Reference {
            method: method.to_owned(),
            sad_k: number(sad_k)?,
            mse: number(mse)?,
            gradient_k: number(gradient_k)?,
            seconds: number(seconds)?,
        };
        (of == name && of_sum == sum).then_some(row)
    });
    let mut rows: Vec<Reference> = rows.collect();
    let gradient_k = rows.iter().map(|row| row.gradient_k).fold(f32::INFINITY, f32::min);
    rows.sort_by(|a, b| a.sad_k.total_cmp(&b.sad_k));
    rows.into_iter().next().map(|best| Reference { gradient_k, ..best })
}

/// The pictures for the reference library: NAME.ppm, NAME.trimap.pgm, NAME.truth.pgm, NAME.sum.txt.
pub(crate) fn write_pictures(folder: &Path) -> Result<(), Box<dyn Error>> {
    fs::create_dir_all(folder)?;
    for known in known()? {
        let path = |end: &str| folder.join(format!("{}.{end}", known.name));
        fs::write(path("ppm"), netpbm(&known.color, |c| c.0.to_vec()))?;
        fs::write(path("trimap.pgm"), netpbm(&known.trimap, |t| vec![t.0]))?;
        fs::write(path("truth.pgm"), netpbm(&known.truth, |t| vec![t.0]))?;
        fs::write(path("sum.txt"), sum(&known))?;
        let Some(alpha) = solve_on_backing(&known.color, &known.trimap, 1, &settings(), &Task::new())? else { continue };
        fs::write(path("ours.pgm"), netpbm(&alpha, |a| vec![a.0]))?;
    }
    Ok(())
}

/// Netpbm, 16 bits.
fn netpbm<P: Copy + Send + Sync>(image: &Image<P>, values: impl Fn(P) -> Vec<f32>) -> Vec<u8> {
    let channels = image.texels().first().map_or(1, |p| values(*p).len());
    let mut bytes = Vec::new();
    let _ = write!(bytes, "P{}\n{} {}\n65535\n", if channels == 3 { 6 } else { 5 }, image.width(), image.height());
    for texel in image.texels() {
        bytes.extend(values(*texel).into_iter().flat_map(|v| ((v.clamp(0.0, 1.0) * 65535.0).round() as u16).to_be_bytes()));
    }
    bytes
}
