//! Time a stage and peak memory of whole cuts as photos grow; each in a process of its own, so that no peak hides another.

use std::error::Error;
use std::path::Path;
use std::process::Command;

use tatter_cloth::cut::cut;
use tatter_core::image::{Coding, Depth, Map, Stored, Transfer};
use tatter_core::model::{CutRecipe, Scale};
use tatter_core::task::Task;
use tatter_core::units::MmPerTexel;
use tatter_files::picture::{Effort, PictureFormat, encode};
use tatter_testkit::scene::{Spec, cloth};
use tatter_weave::{Damage, Kind, Shot};

use crate::photo::open;

const STAGES: [&str; 6] = ["measure", "isolate", "gaps", "clean", "relief", "whole"];

/// A rip in canvas at three sizes, the photo an 8-bit PNG.
pub(crate) fn table() -> Result<String, Box<dyn Error>> {
    let heads = STAGES.join(" s | ");
    let mut text = format!("| photo | patch | {heads} s | peak memory MB |\n|---|---|{}\n", "---:|".repeat(STAGES.len() + 1));
    let path = std::env::temp_dir().join(format!("tatter-quality-{}.png", std::process::id()));
    for side in [512, 1024, 2048] {
        let grown = side as f32 / 448.0;
        let damage = vec![Damage { length: 15.0 * grown, width: 4.5 * grown, ..Damage::new(Kind::Rip) }];
        let scene = Spec { damage, shot: Shot::default(), ..Spec::new(cloth("canvas"), side, 10.0) }.shoot();
        let coding = Coding { transfer: Transfer::Srgb, ..Coding::default() };
        let stored = Stored::from_map(&Map::Color(scene.photo), &coding, Depth::Eight);
        std::fs::write(&path, encode(&stored, PictureFormat::Png, Effort::Fast)?)?;
        let scale = scene.scale.get().to_string();
        let run = Command::new(std::env::current_exe()?).arg("one").arg(&path).arg(scale).output()?;
        let row = String::from_utf8(run.stdout)?;
        text += &format!("| {side}² | {}\n", row.trim());
    }
    std::fs::remove_file(&path)?;
    Ok(text)
}

/// One cut twice, the second one's row; run in a process of its own.
pub(crate) fn one(path: &Path, scale: &str) -> Result<String, Box<dyn Error>> {
    let photo = open(path)?;
    let recipe = CutRecipe { scale: Scale::MmPerPixel(MmPerTexel(scale.parse()?)), ..CutRecipe::default() };
    let mut last = (Vec::new(), 0);
    for _ in 0..2 {
        let task = Task::new();
        let done = task.stage("whole", || cut(&photo, &recipe, &task))?;
        let side = done.patch.size().width;
        last = (task.seconds(), side);
    }
    let of = |stage: &str| last.0.iter().filter(|(name, _)| name == stage).map(|(_, s)| s).sum::<f64>();
    let cells: Vec<String> = STAGES.iter().map(|stage| format!("{:.2}", of(stage))).collect();
    let peak = peak_mb().map_or_else(|| "not known on this system".to_owned(), |mb| format!("{mb:.0}"));
    Ok(format!("{0}² | {1} | {peak} |", last.1, cells.join(" | ")))
}

/// The most memory this process has held, as Linux counts it.
fn peak_mb() -> Option<f32> {
    let status = std::fs::read_to_string("/proc/self/status").ok()?;
    let peak = status.lines().find_map(|line| line.strip_prefix("VmHWM:"))?;
    peak.trim().strip_suffix("kB")?.trim().parse::<f32>().ok().map(|kb| kb / 1024.0)
}
