//! Alpha and clean colours beside a reference library, `PyMatting` 1.1.16. Fixtures by `tools/matting_reference.py fixtures`.

use tatter_cloth::clean::clean_color;
use tatter_cloth::isolate::matting::{MattingSettings, solve};
use tatter_core::image::{Image, LinearRgb, Unit};
use tatter_core::task::Task;

/// Columns, rows and values 0..1 of a binary netpbm picture.
fn netpbm(bytes: &[u8]) -> Option<(usize, usize, Vec<f32>)> {
    let mut lines = bytes.splitn(4, |b| *b == b'\n');
    let (_, size, full, codes) = (lines.next()?, lines.next()?, lines.next()?, lines.next()?);
    let mut sides = std::str::from_utf8(size).ok()?.split(' ').map(str::parse::<usize>);
    let (width, height) = (sides.next()?.ok()?, sides.next()?.ok()?);
    let full: f32 = std::str::from_utf8(full).ok()?.parse().ok()?;
    let values = if full > 255.0 {
        codes.chunks_exact(2).map(|c| f32::from(u16::from_be_bytes([c[0], c[1]])) / full).collect()
    } else {
        codes.iter().map(|c| f32::from(*c) / full).collect()
    };
    Some((width, height, values))
}

fn color(bytes: &[u8]) -> Option<Image<LinearRgb>> {
    let (width, height, values) = netpbm(bytes)?;
    Some(Image::from_vec(width, height, values.chunks_exact(3).map(|c| LinearRgb([c[0], c[1], c[2]])).collect()))
}

fn unit(bytes: &[u8]) -> Option<Image<Unit>> {
    let (width, height, values) = netpbm(bytes)?;
    Some(Image::from_vec(width, height, values.into_iter().map(Unit).collect()))
}

/// Mean and largest difference.
fn differences(pairs: impl Iterator<Item = (f32, f32)>) -> (f32, f32) {
    let offs: Vec<f32> = pairs.map(|(a, b)| (a - b).abs()).collect();
    (offs.iter().sum::<f32>() / offs.len().max(1) as f32, offs.iter().fold(0.0, |m, v| m.max(*v)))
}

macro_rules! fixture {
    ($name:literal) => {
        include_bytes!(concat!("fixtures/matting/", $name))
    };
}

const SCENES: [(&str, [&[u8]; 6]); 2] = [
    (
        "threads",
        [
            fixture!("threads.ppm"),
            fixture!("threads.trimap.pgm"),
            fixture!("threads.alpha.pgm"),
            fixture!("threads.truth.pgm"),
            fixture!("threads.front.ppm"),
            fixture!("threads.back.ppm"),
        ],
    ),
    (
        "blob",
        [
            fixture!("blob.ppm"),
            fixture!("blob.trimap.pgm"),
            fixture!("blob.alpha.pgm"),
            fixture!("blob.truth.pgm"),
            fixture!("blob.front.ppm"),
            fixture!("blob.back.ppm"),
        ],
    ),
];

#[test]
fn the_closed_form_agrees_with_the_reference_library() {
    // `estimate_alpha_cf`, epsilon 1e-7, lambda 100, run to a residual of 1e-9.
    for (name, [picture, trimap, reference, ..]) in SCENES {
        let (picture, trimap, reference) = (color(picture).unwrap(), unit(trimap).unwrap(), unit(reference).unwrap());
        let settings = MattingSettings { epsilon: 1e-7, tolerance: 1e-7, most_rounds: 4000, ..Default::default() };
        let alpha = solve(&picture, &trimap, &settings, &Task::new()).unwrap();
        let unknown = (0..alpha.size().area()).filter(|&i| trimap.texels()[i].0 > 0.0 && trimap.texels()[i].0 < 1.0);
        let (mean, most) = differences(unknown.map(|i| (alpha.texels()[i].0, reference.texels()[i].0)));
        assert!(mean < 1e-4 && most < 1e-2, "{name}: alpha differs by {mean} in the mean, {most} at most");
    }
}

#[test]
fn clean_colours_agree_with_the_reference_library() {
    // `estimate_foreground_ml` with the true alpha; ours halves by averages, the library by nearest
    // neighbours, so colours differ slightly where alpha says little.
    for (name, [picture, _, _, truth, front, _]) in SCENES {
        let (picture, truth, front) = (color(picture).unwrap(), unit(truth).unwrap(), color(front).unwrap());
        let clean = clean_color(&picture, &truth, None, &Task::new()).unwrap();
        let soft = (0..truth.size().area()).filter(|&i| truth.texels()[i].0 > 0.3 && truth.texels()[i].0 < 1.0);
        let channels = soft.flat_map(|i| (0..3).map(move |c| (i, c)));
        let (mean, _) = differences(channels.map(|(i, c)| (clean.texels()[i].0[c], front.texels()[i].0[c])));
        assert!(mean < 1e-2, "{name}: the mean difference of clean colours at the rim is below 1e-2, not {mean}");
    }
}
