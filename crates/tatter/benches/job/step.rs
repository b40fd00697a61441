//! One step in a process of its own: seconds, processor seconds, peak memory.

use std::fs;
use std::path::Path;
use std::time::Instant;

use rayon::prelude::*;
use tatter::build::build_job;
use tatter::cut::{CutRequest, CutSource, cut_photo};
use tatter::deliver::{Foreign, deliver_job, undo_delivery};
use tatter_core::image::Stored;
use tatter_core::model::{CutRecipe, Scale};
use tatter_core::task::Task;
use tatter_core::units::MmPerTexel;
use tatter_files::limits::Limits;
use tatter_files::picture::{Effort, PictureFormat, encode, read_stored};

use crate::Done;

/// Every step with what it does, in the order they run.
pub(crate) const STEPS: &[(&str, &str)] = &[
    ("decode", "five maps of 4096² from PNG files"),
    ("encode", "the same five maps to PNG in memory"),
    ("cut", "photo of 2048² to patch folder"),
    ("build", "20 placements, files to files, nothing kept before: built beside the garment's files"),
    ("again", "the same once more, with what was kept"),
    ("plain", "as build, every patch laid whole as it is: what the reference does"),
    ("deliver", "20 placements, files to files, nothing kept before: built, journalled, and safely on disk"),
];

/// The same of the large job.
pub(crate) const LARGE: &[(&str, &str)] = &[
    ("large-build", "200 scattered placements into five maps of 8192², files to files: built beside the garment's files"),
    ("large-deliver", "the same, journalled, and safely on disk"),
    ("large-again", "delivered again after one placement was moved by 20 mm"),
];

/// What was measured.
#[derive(Clone, Debug, Default)]
pub(crate) struct Figures {
    pub(crate) seconds: f64,
    /// Seconds that all threads worked together; what a busy machine changes least.
    pub(crate) processor: f64,
    pub(crate) peak_mib: f64,
    /// Parts of `seconds` by name.
    pub(crate) stages: Vec<(String, f64)>,
    /// Lines to be shown as they are.
    pub(crate) remarks: Vec<String>,
}

impl Figures {
    /// One `name value` a line: stages are named `stage NAME`.
    pub(crate) fn to_lines(&self) -> String {
        let stages: String = self.stages.iter().map(|(name, seconds)| format!("stage {name} {seconds}\n")).collect();
        format!("seconds {}\nprocessor {}\npeak_mib {}\n{stages}", self.seconds, self.processor, self.peak_mib)
    }

    pub(crate) fn from_lines(text: &str) -> Done<Self> {
        let mut found = Self::default();
        for line in text.lines() {
            match line.split_whitespace().collect::<Vec<_>>()[..] {
                ["seconds", value] => found.seconds = value.parse()?,
                ["processor", value] => found.processor = value.parse()?,
                ["peak_mib", value] => found.peak_mib = value.parse()?,
                ["stage", name, value] => found.stages.push((name.to_owned(), value.parse()?)),
                _ => found.remarks.push(line.to_owned()),
            }
        }
        if found.seconds > 0.0 { Ok(found) } else { Err(format!("no seconds were told: {text}").into()) }
    }
}

pub(crate) fn run(name: &str, folder: &Path) -> Done<Figures> {
    let job = folder.join("bench.tatter.toml");
    let large = folder.join("large.tatter.toml");
    let task = Task::new();
    match name {
        "decode" => timed(&task, || maps(folder).map(drop)),
        "encode" => {
            let maps = maps(folder)?;
            timed(&task, || {
                let packed: Result<Vec<_>, _> =
                    maps.par_iter().map(|map| encode(map, PictureFormat::Png, Effort::Fast)).collect();
                Ok(packed.map(drop)?)
            })
        }
        "cut" => {
            let recipe = CutRecipe { scale: Scale::MmPerPixel(MmPerTexel(0.05)), seed: 1, ..CutRecipe::default() };
            let request = CutRequest {
                source: CutSource::Photo(folder.join("photo.png")),
                output: folder.join("cut.patch"),
                recipe,
                ..CutRequest::default()
            };
            timed(&task, || Ok(cut_photo(&request, &task).map(drop)?))
        }
        "build" => {
            forget(&folder.join("bench.tatter"))?;
            timed(&task, || Ok(build_job(&job, None, &task).map(drop)?))
        }
        "again" => timed(&task, || Ok(build_job(&job, None, &task).map(drop)?)),
        "plain" => {
            forget(&folder.join("plain.tatter"))?;
            timed(&task, || Ok(build_job(&folder.join("plain.tatter.toml"), None, &task).map(drop)?))
        }
        "deliver" => {
            forget(&folder.join("bench.tatter"))?;
            let figures = timed(&task, || Ok(deliver_job(&job, Foreign::Refuse, &task).map(drop)?))?;
            undo_delivery(&job, &Task::new())?;
            Ok(figures)
        }
        "large-build" => {
            forget(&folder.join("large.tatter/reuse"))?;
            timed(&task, || Ok(build_job(&large, None, &task).map(drop)?))
        }
        "large-deliver" => {
            // From nothing: no delivery before, nothing kept of a build.
            while undo_delivery(&large, &Task::new()).is_ok() {}
            forget(&folder.join("large.tatter"))?;
            timed(&task, || Ok(deliver_job(&large, Foreign::Refuse, &task).map(drop)?))
        }
        "large-again" => {
            crate::made::move_one(&large)?;
            timed(&task, || Ok(deliver_job(&large, Foreign::Refuse, &task).map(drop)?))
        }
        _ => Err(format!("there is no step {name}").into()),
    }
}

/// Take a folder away, if it is there.
fn forget(folder: &Path) -> Done<()> {
    if folder.exists() {
        fs::remove_dir_all(folder)?;
    }
    Ok(())
}

fn maps(folder: &Path) -> Done<Vec<Stored>> {
    let mut paths = fs::read_dir(folder.join("maps"))?.map(|entry| Ok(entry?.path())).collect::<std::io::Result<Vec<_>>>()?;
    paths.sort();
    let read: Result<Vec<Stored>, _> = paths.par_iter().map(|path| read_stored(path, &Limits::default())).collect();
    Ok(read?)
}

fn timed(task: &Task, work: impl FnOnce() -> Done<()>) -> Done<Figures> {
    let (start, before) = (Instant::now(), processor_seconds());
    work()?;
    Ok(Figures {
        seconds: start.elapsed().as_secs_f64(),
        processor: processor_seconds() - before,
        peak_mib: peak_mib(),
        stages: task.seconds(),
        remarks: Vec::new(),
    })
}

/// Seconds all threads worked so far, in steps of a hundredth; not a number where the system does not tell.
fn processor_seconds() -> f64 {
    let read = || {
        let status = fs::read_to_string("/proc/self/stat").ok()?;
        let after_name: Vec<&str> = status.rsplit(')').next()?.split_whitespace().collect();
        Some((after_name.get(11)?.parse::<f64>().ok()? + after_name.get(12)?.parse::<f64>().ok()?) / 100.0)
    };
    read().unwrap_or(f64::NAN)
}

fn peak_mib() -> f64 {
    let read = || {
        let status = fs::read_to_string("/proc/self/status").ok()?;
        let line = status.lines().find(|line| line.starts_with("VmHWM"))?;
        line.split_whitespace().nth(1)?.parse::<f64>().ok().map(|kib| kib / 1024.0)
    };
    read().unwrap_or(f64::NAN)
}
