//! `build --watch` and `deliver --watch`: work again whenever the job, a patch or a source of the garment changed.

use std::path::{Path, PathBuf};
use std::sync::atomic::{AtomicBool, Ordering};
use std::time::{Duration, SystemTime};

use tatter_core::model::{Density, Job};
use tatter_files::job::read_job;
use tatter_files::watch::Wakes;
pub use tatter_files::watch::{Standings, standings};

/// Files must stand still this long before work begins: programs save in several steps.
const STILL: Duration = Duration::from_millis(120);
/// A stop is noticed after this long.
const PATIENCE: Duration = Duration::from_millis(100);
/// A time of writing further back than this is one that was copied along with the file.
const COPIED: Duration = Duration::from_secs(600);

/// Why it is time to work.
#[derive(Clone, Debug)]
pub struct Round {
    /// What changed; empty at the start.
    pub changed: Vec<PathBuf>,
    /// When the last of it was saved; `None` at the start.
    saved: Option<SystemTime>,
}

impl Round {
    /// Seconds since the last change was saved; `None` at the start.
    pub fn seconds_since_saved(&self) -> Option<f64> {
        self.saved.and_then(|saved| saved.elapsed().ok()).map(|since| since.as_secs_f64())
    }
}

/// Call `work` at once, and again after every change, until `stop` is set. Work that fails is the caller's to tell; the watching
/// goes on, and a job that cannot be read is watched until it can be. `delivers`: the work writes over the garment's textures.
pub fn watch(job: &Path, delivers: bool, stop: &AtomicBool, mut work: impl FnMut(&Round)) {
    let mut wakes = Wakes::new();
    let mut sources = Sources::of(job, delivers, None);
    let mut round = Round { changed: Vec::new(), saved: None };
    loop {
        sources = Sources::of(job, delivers, Some(sources));
        wakes.follow(&sources.all);
        let before = standings(&sources.all);
        work(&round);
        // What was saved during the work is work again; what the work itself delivered is not.
        let known = before.with(&standings(&sources.all), &sources.delivered);
        match next(&mut wakes, &sources.all, &known, stop) {
            Some(found) => round = found,
            None => return,
        }
    }
}

/// Files that are open elsewhere, and how they stood when they were looked at last.
#[derive(Debug, Default)]
pub struct Lookout {
    wakes: Wakes,
    paths: Vec<PathBuf>,
    known: Standings,
}

impl Lookout {
    /// Follow these files, and all files in these folders, in place of those before. What is new among them counts as known from now on.
    pub fn follow(&mut self, paths: Vec<PathBuf>) {
        let before = std::mem::take(&mut self.known);
        self.known = standings(&paths);
        // What changed meanwhile is still to be told.
        let kept: Vec<PathBuf> = self.paths.iter().filter(|path| paths.contains(path)).cloned().collect();
        self.known = std::mem::take(&mut self.known).with(&before, &kept);
        self.wakes.follow(&paths);
        self.paths = paths;
    }

    /// What changed since it was looked at last, once it stands still; nothing when nothing did within `patience`.
    pub fn changed(&mut self, patience: Duration) -> Vec<PathBuf> {
        if !self.wakes.wait(patience) {
            return Vec::new();
        }
        let mut now = standings(&self.paths);
        while now != self.known {
            std::thread::sleep(STILL);
            let later = standings(&self.paths);
            if later == now {
                break;
            }
            now = later;
        }
        let changed = now.changed_since(&self.known);
        self.known = now;
        changed
    }
}

/// What a job is made from, each of it where it lies.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct JobFiles {
    /// The mesh and the textures.
    pub garment: Vec<PathBuf>,
    /// Folders of all patches that it names.
    pub patches: Vec<PathBuf>,
}

impl JobFiles {
    /// Of a job.
    pub fn of(path: &Path, job: &Job) -> Self {
        let folder = path.parent().unwrap_or(Path::new(""));
        let textures = job.garment.sets.iter().flat_map(|set| &set.files).map(|file| file.path.as_str());
        let garment = job.garment.mesh.as_deref().into_iter().chain(textures).map(|file| folder.join(file)).collect();
        Self { garment, patches: job.patches.iter().map(|patch| folder.join(&patch.path)).collect() }
    }
}

fn next(wakes: &mut Wakes, paths: &[PathBuf], known: &Standings, stop: &AtomicBool) -> Option<Round> {
    let mut first = true;
    while !stop.load(Ordering::Relaxed) {
        // Something may have been saved before the watching began.
        if !std::mem::take(&mut first) && !wakes.wait(PATIENCE) {
            continue;
        }
        let mut now = standings(paths);
        if now.changed_since(known).is_empty() {
            continue;
        }
        let seen = SystemTime::now();
        loop {
            std::thread::sleep(STILL);
            let later = standings(paths);
            if later == now || stop.load(Ordering::Relaxed) {
                break;
            }
            now = later;
        }
        let changed = now.changed_since(known);
        if changed.is_empty() {
            continue;
        }
        let recent = |time: &SystemTime| seen.duration_since(*time).is_ok_and(|ago| ago < COPIED) || *time > seen;
        let saved = now.written(&changed).filter(recent).unwrap_or(seen);
        return Some(Round { changed, saved: Some(saved) });
    }
    None
}

/// What a job is made from.
struct Sources {
    all: Vec<PathBuf>,
    /// Files that a delivery itself writes.
    delivered: Vec<PathBuf>,
}

impl Sources {
    /// Of a job; one that cannot be read keeps those `before`.
    fn of(path: &Path, delivers: bool, before: Option<Self>) -> Self {
        let alone = Self { all: vec![path.to_owned()], delivered: Vec::new() };
        let Ok(job) = read_job(path) else { return before.unwrap_or(alone) };
        let folder = path.parent().unwrap_or(Path::new(""));
        let textures: Vec<PathBuf> =
            job.garment.sets.iter().flat_map(|set| &set.files).map(|file| folder.join(&file.path)).collect();
        let others = others(&job).into_iter().map(|other| folder.join(other));
        let all = std::iter::once(path.to_owned()).chain(others).chain(textures.iter().cloned()).collect();
        let own = delivers && job.delivery.folder.is_none();
        Self { all, delivered: if own { textures } else { Vec::new() } }
    }
}

/// The mesh, patches that lie on the garment, and pictures that say where wear is.
fn others(job: &Job) -> Vec<&str> {
    let used = |name: &str| job.placements.iter().any(|placement| placement.patch == name);
    let patches = job.patches.iter().filter(|patch| used(&patch.name)).map(|patch| patch.path.as_str());
    let pictures = job.wear.iter().flat_map(|mark| &mark.density).filter_map(|density| match density {
        Density::Picture(path) => Some(path.as_str()),
        _ => None,
    });
    job.garment.mesh.as_deref().into_iter().chain(patches).chain(pictures).collect()
}
