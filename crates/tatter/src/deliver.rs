//! `deliver`: new textures to where the renderer reads them, all of them or none.

use std::path::{Component, Path, PathBuf};

use tatter_core::channel::Channel;
use tatter_core::explain::{Class, Explain};
use tatter_core::image::Size;
use tatter_core::model::{Job, Variation};
use tatter_core::task::{Cancelled, Task};
use tatter_files::deliver::{Content, DeliverError, Outgoing, Receipt, TargetState, WhenChanged, deliver, recover, survey, undo};
pub use tatter_files::deliver::{Outcome, Standing};
use tatter_files::job::JobError;
use tatter_files::store::{Store, StoreError};
use tatter_garment::build::BuildReport;

use crate::build::{BuildFailed, Computation, Computed, Effect, compute, finish_in};
use crate::check::{CheckError, Fault, LookedOver, look_over};
use crate::reuse;
use crate::session::{Session, SessionError};
use crate::variation::{Which, target};
use crate::wear::MarkReport;

/// What to do about a texture that somebody else changed.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Foreign {
    /// Stop and say which.
    #[default]
    Refuse,
    /// It becomes the new pristine.
    Adopt,
    /// It is left as it is.
    Leave,
}

/// One texture after a delivery.
#[derive(Clone, Debug)]
pub struct DeliveredFile {
    /// The file.
    pub path: PathBuf,
    /// What it holds; unknown after an undo.
    pub channels: Vec<Channel>,
    /// Texels that differ from the pristine texture; unknown after an undo.
    pub texels_changed: Option<usize>,
    /// Texels in all; unknown after an undo.
    pub texels: Option<usize>,
    /// Bytes now.
    pub bytes: u64,
    /// Bytes before, if there was a file.
    pub bytes_before: Option<u64>,
    /// Written, unchanged, or left.
    pub outcome: Outcome,
}

/// What a delivery did.
#[derive(Clone, Debug)]
pub struct DeliverySummary {
    /// The variation that was delivered; `None`: the job itself, or an undo.
    pub variation: Option<String>,
    /// Its number in the job's chain; 0 when nothing needed writing.
    pub number: u32,
    /// Every texture of the garment.
    pub files: Vec<DeliveredFile>,
    /// Placements with what became of them; `None` after an undo.
    pub report: Option<BuildReport>,
    /// Marks of wear with what became of them; empty after an undo.
    pub wear: Vec<MarkReport>,
}

/// Why nothing was delivered.
#[derive(Debug, thiserror::Error)]
pub enum DeliverFailed {
    /// The build before it.
    #[error(transparent)]
    Build(#[from] BuildFailed),
    /// The delivery itself.
    #[error(transparent)]
    Deliver(#[from] DeliverError),
    /// What is to be delivered could not be looked over.
    #[error(transparent)]
    Check(#[from] CheckError),
    /// The person stopped it.
    #[error(transparent)]
    Cancelled(#[from] Cancelled),
    /// A variation would be written over the garment.
    #[error("variation '{name}' would be written over the garment's own {path}")]
    OwnFile {
        /// Its name.
        name: String,
        /// The texture.
        path: String,
    },
}

impl From<SessionError> for DeliverFailed {
    fn from(error: SessionError) -> Self {
        Self::Build(error.into())
    }
}

impl From<StoreError> for DeliverFailed {
    fn from(error: StoreError) -> Self {
        SessionError::from(error).into()
    }
}

impl From<JobError> for DeliverFailed {
    fn from(error: JobError) -> Self {
        SessionError::from(error).into()
    }
}

impl Explain for DeliverFailed {
    fn next(&self) -> String {
        match self {
            Self::Build(error) => error.next(),
            Self::Deliver(error) => error.next(),
            Self::Check(error) => error.next(),
            Self::Cancelled(_) => "Start it again".to_owned(),
            Self::OwnFile { .. } => "Give the variation another name, or another folder under [delivery]".to_owned(),
        }
    }

    fn class(&self) -> Class {
        match self {
            Self::Build(error) => error.class(),
            Self::Deliver(error) => error.class(),
            Self::Check(error) => error.class(),
            Self::Cancelled(_) => Class::Outside,
            Self::OwnFile { .. } => Class::Request,
        }
    }
}

/// One texture before a delivery.
#[derive(Clone, Debug)]
pub struct ForeseenFile {
    /// Where it would be written, relative to the job file.
    pub target: String,
    /// What it holds.
    pub channels: Vec<Channel>,
    /// Columns and rows.
    pub size: Size,
    /// How what is there stands.
    pub standing: Standing,
    /// Texels that would differ from the pristine texture.
    pub texels_changed: usize,
}

/// What a delivery would do.
#[derive(Clone, Debug)]
pub struct Foreseen {
    /// Every texture of the garment.
    pub files: Vec<ForeseenFile>,
    /// What is wrong, as `check` says it.
    pub faults: Vec<Fault>,
}

/// Build a job in memory and say what its delivery would change and what is wrong with it. Nothing is written. `job` is what lies in the
/// file `path`, or what is to be saved there. Holds the textures twice where the cloth is worn.
///
/// # Errors
/// When the job cannot be built, or the task is cancelled.
pub fn foresee(path: &Path, job: &Job, task: &Task) -> Result<Foreseen, DeliverFailed> {
    let mut session = Session::look(path, task)?;
    session.job = job.clone();
    let mut pictures = session.load(task)?;
    let pristine = (!job.wear.is_empty()).then(|| pictures.clone());
    let LookedOver { faults, report, .. } = task.stage("check", || look_over(&session, path, &mut pictures, task))?;
    let report = match report {
        Some(report) => report,
        // Why it can't be built, or what can be.
        None => task.stage("build", || finish_in(&session, path, &mut pictures, None, task))?.report,
    };
    let changed = |set: usize, file: usize| match &pristine {
        Some(pristine) => pristine[set][file].differing_texels(&pictures[set][file]),
        None => report.texels_changed(set, file),
    };
    let sets = &session.garment.sets;
    let all: Vec<(usize, usize)> =
        (0..sets.len()).flat_map(|set| (0..sets[set].files.len()).map(move |file| (set, file))).collect();
    let targets: Vec<String> = all.iter().map(|(set, file)| session.target(&sets[*set].files[*file].path)).collect();
    let states = survey(&session.store, &targets.iter().map(String::as_str).collect::<Vec<_>>())?;
    let foreseen = |((set, number), state): (&(usize, usize), TargetState)| {
        let file = &sets[*set].files[*number];
        // A texture that was never built on is pristine as it lies there.
        let untouched = state.standing == Standing::Changed && !session.store.knows(&file.path);
        ForeseenFile {
            target: state.target,
            channels: file.roles.iter().map(|role| role.channel).collect(),
            size: file.size,
            standing: if untouched { Standing::Pristine } else { state.standing },
            texels_changed: changed(*set, *number),
        }
    };
    Ok(Foreseen { files: all.iter().zip(states).map(foreseen).collect(), faults })
}

/// Build a job and write every texture where it belongs, all or none. A half-done delivery of before is finished or taken
/// back first.
///
/// # Errors
/// When the job cannot be built, somebody else changed a texture and `foreign` is `Refuse`, or the outside fails.
pub fn deliver_job(job: &Path, foreign: Foreign, task: &Task) -> Result<DeliverySummary, DeliverFailed> {
    let mut states = deliver_states(job, Which::Job, foreign, task)?;
    Ok(states.swap_remove(0))
}

/// Deliver states of a job, one delivery each, in the order they are given back: the job itself as [`deliver_job`] does, every
/// variation whole (also textures it does not change) into the folder of its name in the delivery folder, or in `variations`
/// beside the job, and never over the garment's own files.
///
/// # Errors
/// As [`deliver_job`]; states delivered before stay delivered.
pub fn deliver_states(
    job: &Path,
    which: Which<'_>,
    foreign: Foreign,
    task: &Task,
) -> Result<Vec<DeliverySummary>, DeliverFailed> {
    recover(&Store::open(job)?, task)?;
    let mut session = Session::open(job, task)?;
    if foreign == Foreign::Adopt {
        adopt(&mut session)?;
    }
    let when = if foreign == Foreign::Leave { WhenChanged::Leave } else { WhenChanged::Refuse };
    let mut done = Vec::new();
    // What was delivered last, or built since.
    let delivered = session.job.delivery.folder.as_ref().map(|folder| session.folder().join(folder));
    let previous: Vec<PathBuf> = delivered.into_iter().chain([session.store.folder().join("built")]).collect();
    compute(&mut session, job, which, &previous, task, |session, mut computed: Computation| {
        let outgoing: Vec<Outgoing> =
            computed.files.iter_mut().map(|file| outgoing(session, file, computed.variation.as_ref())).collect();
        refuse_own_files(session, computed.variation.as_ref(), &outgoing)?;
        let receipt = match task.stage("deliver", || deliver(&session.store, &outgoing, when, task)) {
            Err(DeliverError::NotAsAssumed) => return Ok(Effect::Unsound),
            other => other?,
        };
        reuse::remember(session, computed.memory.take(), task);
        let mut summary = summarised(receipt);
        for (file, built) in summary.files.iter_mut().zip(&computed.files) {
            file.channels.clone_from(&built.channels);
            (file.texels_changed, file.texels) = (Some(built.texels_changed), Some(built.texels));
        }
        (summary.report, summary.wear) = (Some(computed.report), computed.wear);
        summary.variation = computed.variation.map(|variation| variation.name);
        done.push(summary);
        Ok::<Effect, DeliverFailed>(Effect::Done)
    })?;
    Ok(done)
}

/// A variation's folder may be named like the one the garment's textures lie in.
fn refuse_own_files(session: &Session, variation: Option<&Variation>, outgoing: &[Outgoing]) -> Result<(), DeliverFailed> {
    let Some(variation) = variation else { return Ok(()) };
    let plain = |path: &str| Path::new(path).components().filter(|part| *part != Component::CurDir).collect::<PathBuf>();
    let own = session.garment.sets.iter().flat_map(|set| &set.files);
    match own.into_iter().find(|file| outgoing.iter().any(|out| plain(&out.target) == plain(&file.path))) {
        None => Ok(()),
        Some(file) => Err(DeliverFailed::OwnFile { name: variation.name.clone(), path: file.path.clone() }),
    }
}

/// Put back what was there before the last delivery, bit for bit.
///
/// # Errors
/// When nothing was delivered, somebody changed a texture since, or the outside fails.
pub fn undo_delivery(job: &Path, task: &Task) -> Result<DeliverySummary, DeliverFailed> {
    tatter_files::job::read_job(job)?;
    let store = Store::open(job)?;
    recover(&store, task)?;
    Ok(summarised(undo(&store, WhenChanged::Refuse, task)?))
}

/// Textures that somebody else changed become the new pristine.
fn adopt(session: &mut Session) -> Result<(), DeliverFailed> {
    let paths: Vec<String> = session.garment.sets.iter().flat_map(|set| &set.files).map(|file| file.path.clone()).collect();
    let names: Vec<&str> = paths.iter().map(String::as_str).collect();
    for state in survey(&session.store, &names)? {
        if state.standing == Standing::Changed {
            session.store.adopt(&state.target)?;
        }
    }
    Ok(())
}

/// Moves the bytes out of `file`.
fn outgoing(session: &Session, file: &mut Computed, variation: Option<&Variation>) -> Outgoing {
    let content = match file.bytes.take() {
        Some(bytes) => Content::Bytes(bytes),
        None => Content::PristineOf(file.path.clone()),
    };
    let folder = session.job.delivery.folder.as_deref();
    let target = variation.map_or_else(|| session.target(&file.path), |variation| target(folder, variation, &file.path));
    Outgoing { target, content }
}

fn summarised(receipt: Receipt) -> DeliverySummary {
    let files = receipt
        .files
        .into_iter()
        .map(|file| DeliveredFile {
            path: file.path,
            channels: Vec::new(),
            texels_changed: None,
            texels: None,
            bytes: file.bytes,
            bytes_before: file.bytes_before,
            outcome: file.outcome,
        })
        .collect();
    DeliverySummary { variation: None, number: receipt.number, files, report: None, wear: Vec::new() }
}
