//! How long a build takes: `cargo bench --workspace --bench build [TEXELS [PLACEMENTS [SIDE_MM]]]`.
//!
//! Twenty placements of 2048² patches (three different ones) into a five-map set of 4096² on a metre of flat cloth, three
//! times; prints seconds in all and by stage, and the peak memory of the process where the system tells it.
#![expect(clippy::print_stdout, reason = "figures are what it is for")]

#[path = "../tests/made/mod.rs"]
mod made;

use std::time::Instant;

use made::*;
use tatter_core::angle::Angle;
use tatter_core::channel::Channel;
use tatter_core::image::{Layout, Stored};
use tatter_core::model::{Patch, Placement};
use tatter_core::rng::Rng;
use tatter_core::task::Task;
use tatter_garment::build::{BuildSettings, build};
use tatter_garment::place::Placed;

fn patch(seed: u64) -> Patch {
    let phase = seed as f32;
    PatchMaker::new(2048, 40.0)
        .disc(15.0, 2.0)
        .color(move |x, y| [0.3 + 0.1 * (5.0 * x + phase).sin(), 0.25, 0.2 + 0.1 * (5.0 * y).cos()])
        .height(move |x, y| 0.1 * (5.0 * x + phase).sin() * (5.0 * y).cos())
        .slopes(|x, y| (0.3 * (5.0 * x).cos(), -0.3 * (5.0 * y).sin()))
        .unit(Channel::Roughness, |x, _| 0.8 + 0.1 * (5.0 * x).sin())
        .unit(Channel::Opacity, |x, y| if x.hypot(y) < 8.0 { 0.0 } else { 1.0 })
        .patch()
}

fn pictures(texels: usize) -> Vec<Vec<Stored>> {
    vec![vec![
        picture(texels, Layout::Rgb, |x, _, _| (x % 7) as f32 / 7.0),
        picture(texels, Layout::Rgb, |_, _, c| [0.5, 0.5, 1.0][c]),
        picture16(texels, Layout::Gray, |_, _, _| 0.5),
        picture(texels, Layout::Gray, |_, _, _| 0.6),
        picture(texels, Layout::Gray, |_, _, _| 1.0),
    ]]
}

#[expect(clippy::disallowed_methods, reason = "the system tells peak memory in a file")]
fn peak_gib() -> Option<f64> {
    let status = std::fs::read_to_string("/proc/self/status").ok()?;
    let line = status.lines().find(|line| line.starts_with("VmHWM"))?;
    line.split_whitespace().nth(1)?.parse::<f64>().ok().map(|kib| kib / (1024.0 * 1024.0))
}

/// Seconds all threads worked so far, by clock ticks of a hundredth: what a busy machine does not change.
#[expect(clippy::disallowed_methods, reason = "the system tells processor time in a file")]
fn work_seconds() -> Option<f64> {
    let status = std::fs::read_to_string("/proc/self/stat").ok()?;
    let after_name: Vec<&str> = status.rsplit(')').next()?.split_whitespace().collect();
    Some((after_name.get(11)?.parse::<f64>().ok()? + after_name.get(12)?.parse::<f64>().ok()?) / 100.0)
}

fn main() -> Result<(), Box<dyn std::error::Error>> {
    let told: Vec<f32> = std::env::args().filter_map(|a| a.parse().ok()).collect();
    let at = |i: usize, otherwise: f32| told.get(i).copied().unwrap_or(otherwise);
    let (texels, count, side) = (at(0, 4096.0) as usize, at(1, 20.0) as usize, at(2, 150.0));
    let garment = flat(five_files(texels), 1000.0);
    let patches: Vec<Patch> = (0..3).map(patch).collect();
    let mut rng = Rng::new(3);
    let placements: Vec<Placement> = (0..count)
        .map(|i| Placement {
            turn: Angle::degrees(360.0 * rng.unit()),
            ..sized(placement(&format!("p{i}"), rng.range(0.1, 0.9), rng.range(0.1, 0.9)), side)
        })
        .collect();
    let placed: Vec<Placed<'_>> =
        placements.iter().enumerate().map(|(i, placement)| Placed { placement, patch: &patches[i % patches.len()] }).collect();
    for _ in 0..3 {
        let mut own = pictures(texels);
        let (task, start, before) = (Task::new(), Instant::now(), work_seconds());
        let report = build(&garment, &mut own, &placed, &BuildSettings::default(), &task)?;
        let seconds = start.elapsed().as_secs_f64();
        let work = work_seconds().zip(before).map_or(f64::NAN, |(after, before)| after - before);
        let written: usize = report.files.iter().map(|f| f.texels_changed).sum();
        println!(
            "{count} × {side} mm into 5 × {texels}²: {seconds:.3} s ({work:.2} s of processor), {:.1} M texels changed, peak {:.2} GiB",
            written as f64 / 1e6,
            peak_gib().unwrap_or(f64::NAN)
        );
        for (stage, seconds) in task.seconds() {
            println!("    {stage:<10}{seconds:.3} s");
        }
    }
    Ok(())
}
