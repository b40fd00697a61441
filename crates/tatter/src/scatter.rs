//! `scatter`: many placements from a rule, kept in the job so that it can be changed and run again.

use std::collections::BTreeMap;
use std::path::{Path, PathBuf};

use tatter_core::angle::Angle;
use tatter_core::channel::Channel;
use tatter_core::explain::{Class, Explain};
use tatter_core::image::{Image, Map, Unit};
use tatter_core::model::{Density, Garment, Job, Patch, Placement, Scatter, Share};
use tatter_core::task::Task;
use tatter_core::units::Mm;
use tatter_files::job::{JobError, mark, read_job, write_job};
use tatter_files::limits::Limits;
use tatter_files::patch::{PatchError, read_patch};
use tatter_files::picture::{PictureError, read_stored};
use tatter_garment::scatter::{ScatterError, ScatterInput, Scattered, scatter};

use crate::grain::compare_many;
use crate::paths::relative;
use crate::place::{PlaceError, patch_name, placeable, unused};
use crate::session::SessionError;

/// Cover below this is not there when covers must not overlap.
const COVERED: f32 = 0.05;

/// A rule to make or to change.
#[derive(Clone, Debug, Default)]
pub struct ScatterRequest {
    /// The job file.
    pub job: PathBuf,
    /// The scatter to run again; a new one without.
    pub again: Option<String>,
    /// Patch folders with their weights; none: as they were.
    pub patches: Vec<(PathBuf, f32)>,
    /// A grey picture that says where there are more; none: as it was.
    pub picture: Option<PathBuf>,
}

/// What a scatter did.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct ScatterSummary {
    /// Its id.
    pub id: String,
    /// Its placements that lie on the garment now, in the order of their numbers.
    pub ids: Vec<String>,
    /// How many of them a person changed, which stayed as they were.
    pub kept: usize,
}

/// Why nothing was scattered; the job is as it was.
#[derive(Debug, thiserror::Error)]
pub enum ScatterFailed {
    /// The job file.
    #[error(transparent)]
    Job(#[from] JobError),
    /// The garment.
    #[error(transparent)]
    Session(#[from] SessionError),
    /// A patch.
    #[error(transparent)]
    Patch(#[from] PatchError),
    /// The job cannot name a patch.
    #[error(transparent)]
    Place(#[from] PlaceError),
    /// The picture.
    #[error(transparent)]
    Picture(#[from] PictureError),
    /// The rule yields nothing.
    #[error("{0}: {1}")]
    Rule(ScatterError, PathBuf),
    /// Nothing of that name.
    #[error("there is no scatter '{id}' in {job}")]
    NoSuchScatter {
        /// The id asked for.
        id: String,
        /// The job file.
        job: PathBuf,
    },
}

impl Explain for ScatterFailed {
    fn next(&self) -> String {
        match self {
            Self::Job(error) => error.next(),
            Self::Session(error) => error.next(),
            Self::Patch(error) => error.next(),
            Self::Place(error) => error.next(),
            Self::Picture(error) => error.next(),
            Self::Rule(error, _) => error.next(),
            Self::NoSuchScatter { .. } => "Use `tatter scatter JOB --list` to see the scatters of the job".to_owned(),
        }
    }

    fn class(&self) -> Class {
        match self {
            Self::Job(error) => error.class(),
            Self::Session(error) => error.class(),
            Self::Patch(error) => error.class(),
            Self::Place(error) => error.class(),
            Self::Picture(error) => error.class(),
            Self::Rule(error, _) => error.class(),
            Self::NoSuchScatter { .. } => Class::Request,
        }
    }
}

/// Make a scatter, or change one with `edit` and run it again: placements that a person moved or changed stay as they are, and
/// those that a person took away stay away.
///
/// # Errors
/// When the job, its garment, a patch or the picture cannot be read, the rule yields nothing, or the job cannot be written.
pub fn scatter_job(
    request: &ScatterRequest,
    edit: impl FnOnce(&mut Scatter),
    task: &Task,
) -> Result<ScatterSummary, ScatterFailed> {
    let mut job = read_job(&request.job)?;
    let before = request.again.as_ref().map(|id| find(&job, id, &request.job).cloned()).transpose()?;
    let mut rule = before.clone().unwrap_or_else(|| Scatter { id: free_id(&job), ..Scatter::default() });
    if !request.patches.is_empty() {
        rule.patches.clear();
        for (path, weight) in &request.patches {
            let patch = patch_name(&mut job, &request.job, path)?;
            rule.patches.push(Share { patch, weight: *weight });
        }
    }
    let folder = request.job.parent().unwrap_or(Path::new(""));
    if let Some(picture) = &request.picture {
        let path = relative(folder, picture).ok_or_else(|| PlaceError::Apart(picture.clone()))?;
        rule.density.retain(|density| !matches!(density, Density::Picture(_)));
        rule.density.insert(0, Density::Picture(path));
    }
    edit(&mut rule);
    let garment = task.stage("mesh", || placeable(&job, &request.job))?;
    let patches = task.stage("patches", || patches(&job, folder, &rule))?;
    let wanted = task.stage("scatter", || run(&garment, &patches, &rule, folder, &request.job, task))?;
    let placed: Vec<_> = wanted.iter().filter_map(|(_, p)| Some((p, patches.get(&p.patch)?))).collect();
    task.stage("weave", || compare_many(&garment, &placed, task));
    let summary = settle(&mut job, rule, wanted, task);
    write_job(&request.job, &job)?;
    Ok(summary)
}

/// Take a scatter away with the placements it made, except those a person changed.
///
/// # Errors
/// As [`scatter_job`].
pub fn remove_scatter(job_path: &Path, id: &str, task: &Task) -> Result<ScatterSummary, ScatterFailed> {
    let mut job = read_job(job_path)?;
    let rule = find(&job, id, job_path)?.clone();
    let summary = settle(&mut job, rule, Vec::new(), task);
    job.scatters.retain(|scatter| scatter.id != id);
    job.forget_missing();
    write_job(job_path, &job)?;
    Ok(summary)
}

/// The scatters of a job.
///
/// # Errors
/// When the job cannot be read.
pub fn scatters(job_path: &Path) -> Result<Vec<Scatter>, ScatterFailed> {
    Ok(read_job(job_path)?.scatters)
}

fn find<'a>(job: &'a Job, id: &str, path: &Path) -> Result<&'a Scatter, ScatterFailed> {
    let missing = || ScatterFailed::NoSuchScatter { id: id.to_owned(), job: path.to_owned() };
    job.scatters.iter().find(|scatter| scatter.id == id).ok_or_else(missing)
}

fn free_id(job: &Job) -> String {
    let taken = |id: &str| {
        let placement = |p: &Placement| p.id.strip_prefix(id).is_some_and(|rest| rest.starts_with('-'));
        job.scatters.iter().any(|scatter| scatter.id == id) || job.placements.iter().any(placement)
    };
    unused("scatter", taken)
}

/// Patches of a rule, by name.
fn patches(job: &Job, folder: &Path, rule: &Scatter) -> Result<BTreeMap<String, Patch>, PatchError> {
    let used = |name: &str| rule.patches.iter().any(|share| share.patch == name);
    let of = |path: &str| read_patch(&folder.join(path), &Limits::default());
    job.patches.iter().filter(|patch| used(&patch.name)).map(|patch| Ok((patch.name.clone(), of(&patch.path)?))).collect()
}

/// The placements a rule yields.
fn run(
    garment: &Garment,
    patches: &BTreeMap<String, Patch>,
    rule: &Scatter,
    folder: &Path,
    job: &Path,
    task: &Task,
) -> Result<Vec<(usize, Placement)>, ScatterFailed> {
    let own: Vec<Option<&Patch>> = rule.patches.iter().map(|share| patches.get(&share.patch)).collect();
    let radii: Vec<f64> = own.iter().map(|patch| patch.map_or(0.0, cover_radius)).collect();
    let pictures = rule.density.iter().map(|density| picture(density, folder)).collect::<Result<Vec<_>, PictureError>>()?;
    let input = ScatterInput { rule, radius_mm: &radii, pictures: &pictures };
    let found = scatter(garment, &input, task).map_err(|error| ScatterFailed::Rule(error, job.to_owned()))?;
    Ok(found.into_iter().map(|one| (one.number, placement(rule, one, &own))).collect())
}

fn placement(rule: &Scatter, one: Scattered, patches: &[Option<&Patch>]) -> Placement {
    let side = patches[one.patch].map_or(0.0, |patch| patch.size_mm()[0].get());
    Placement {
        id: format!("{}-{}", rule.id, one.number),
        patch: rule.patches[one.patch].patch.clone(),
        spot: one.spot,
        // As people write numbers, so that what is read back from the file is the same to the bit.
        turn: Angle::degrees(rounded(one.turn.to_degrees(), 10.0)),
        // At its own size a patch may be measured anew and still lies true.
        size: (one.scale != 1.0).then_some(Mm(rounded(side * one.scale, 100.0))),
        mirror: one.mirror,
        rules: rule.rules,
        matching: rule.matching,
    }
}

fn rounded(number: f32, steps: f32) -> f32 {
    (number * steps).round() / steps
}

/// The farthest cover from the middle of the canvas, mm.
fn cover_radius(patch: &Patch) -> f64 {
    let size = patch.size();
    let middle = (size.width as f64 / 2.0, size.height as f64 / 2.0);
    let whole = middle.0.hypot(middle.1);
    let texels = match patch.map(Channel::Cover) {
        Some(Map::Unit(cover)) => (0..size.height)
            .flat_map(|y| cover.row(y).iter().enumerate().filter(|(_, c)| c.0 > COVERED).map(move |(x, _)| (x, y)))
            .map(|(x, y)| (x as f64 + 0.5 - middle.0).hypot(y as f64 + 0.5 - middle.1))
            .fold(0.0, f64::max),
        _ => whole,
    };
    texels * f64::from(patch.scale.get())
}

pub(crate) fn picture(density: &Density, folder: &Path) -> Result<Option<Image<Unit>>, PictureError> {
    let Density::Picture(path) = density else { return Ok(None) };
    let stored = read_stored(&folder.join(path), &Limits::default())?;
    Ok(Some(Image::from_fn(stored.size.width, stored.size.height, |x, y| Unit(stored.value(x, y, 0)))))
}

/// Bring what the rule yields into the job.
fn settle(job: &mut Job, mut rule: Scatter, wanted: Vec<(usize, Placement)>, task: &Task) -> ScatterSummary {
    let (count, yielded) = (rule.count, wanted.len());
    let mut theirs: Vec<(usize, String)> = Vec::new();
    for (number, known) in std::mem::take(&mut rule.laid) {
        let id = format!("{}-{number}", rule.id);
        match job.placements.iter().position(|placement| placement.id == id) {
            None if !rule.removed.contains(&number) => rule.removed.push(number),
            None => {}
            Some(place) if mark(&job.placements[place]) != known => theirs.push((number, known)),
            // Untouched: the new rule says where it lies, if anywhere.
            Some(place) => match wanted.iter().find(|(_, new)| new.id == id) {
                Some((_, new)) => job.placements[place] = new.clone(),
                None => drop(job.placements.remove(place)),
            },
        }
    }
    rule.removed.sort_unstable();
    let kept = theirs.len();
    rule.laid = theirs;
    for (number, new) in wanted {
        if rule.removed.contains(&number) || rule.laid.iter().any(|(known, _)| *known == number) {
            continue;
        }
        match job.placements.iter_mut().find(|placement| placement.id == new.id) {
            // A placement of that name which the rule never laid is somebody's own.
            Some(own) if *own != new => {}
            Some(_) => rule.laid.push((number, mark(&new))),
            None => {
                rule.laid.push((number, mark(&new)));
                job.placements.push(new);
            }
        }
    }
    rule.laid.sort_unstable();
    if yielded > 0 && yielded < count {
        task.note(
            "scatter-full",
            format!(
                "Scatter '{}': {yielded} of {count} find room; allow overlap, smaller sizes or a smaller margin for more.",
                rule.id
            ),
        );
    }
    let number_of = |placement: &Placement| placement.id.strip_prefix(&rule.id)?.strip_prefix('-')?.parse::<usize>().ok();
    let mut ids: Vec<(usize, String)> = job.placements.iter().filter_map(|p| Some((number_of(p)?, p.id.clone()))).collect();
    ids.sort_unstable();
    let summary = ScatterSummary { id: rule.id.clone(), ids: ids.into_iter().map(|(_, id)| id).collect(), kept };
    match job.scatters.iter_mut().find(|scatter| scatter.id == rule.id) {
        Some(known) => *known = rule,
        None => job.scatters.push(rule),
    }
    summary
}
