//! `build`: pristine textures and placements to new textures.

use std::path::{Path, PathBuf};

use rayon::prelude::*;
use tatter_core::channel::Channel;
use tatter_core::explain::{Class, Explain};
use tatter_core::image::Stored;
use tatter_core::model::{MapFile, Variation};
use tatter_core::task::{Note, Task};
use tatter_files::picture::{Band, Banded, Effort, PictureError, PictureFormat, encode, encode_banded};
use tatter_files::pieces::Pieces;
use tatter_files::store::Hashed;
use tatter_files::write::write_made;
pub use tatter_garment::build::BuildReport;
use tatter_garment::build::{BuildError, BuildPlan, BuildRecord, BuildSettings, dye_cloth, shrink};

use crate::reuse::{self, Memory};
use crate::session::{Session, SessionError};
use crate::variation::{VariationError, Which, content, times, varied};
use crate::wear::{self, MarkReport, WearFailed};

/// One texture after a build.
#[derive(Clone, Debug)]
pub struct BuiltFile {
    /// Where it was written, or is delivered.
    pub path: PathBuf,
    /// What it holds.
    pub channels: Vec<Channel>,
    /// Texels that differ from the pristine texture.
    pub texels_changed: usize,
    /// Texels in all.
    pub texels: usize,
    /// Bytes of the file.
    pub bytes: u64,
}

/// What a build did.
#[derive(Clone, Debug)]
pub struct BuildSummary {
    /// The variation that was built; `None`: the job itself.
    pub variation: Option<String>,
    /// The textures; those that no placement touches are not written.
    pub files: Vec<BuiltFile>,
    /// Placements with what became of them.
    pub report: BuildReport,
    /// Marks of wear with what became of them.
    pub wear: Vec<MarkReport>,
}

/// Why no textures were built.
#[derive(Debug, thiserror::Error)]
pub enum BuildFailed {
    /// The job could not be opened.
    #[error(transparent)]
    Session(#[from] SessionError),
    /// The build itself.
    #[error(transparent)]
    Build(#[from] BuildError),
    /// The wear of the cloth.
    #[error(transparent)]
    Wear(#[from] WearFailed),
    /// A variation that is not there or does not fit.
    #[error(transparent)]
    Variation(#[from] VariationError),
    /// A texture cannot be written in its own format.
    #[error("{0}: {1}")]
    Encode(PictureError, String),
    /// The outside failed.
    #[error("the built texture can't be written ({0}): {1}")]
    Write(std::io::Error, PathBuf),
}

impl Explain for BuildFailed {
    fn next(&self) -> String {
        match self {
            Self::Session(error) => error.next(),
            Self::Build(error) => error.next(),
            Self::Wear(error) => error.next(),
            Self::Variation(error) => error.next(),
            Self::Encode(error, _) => error.next(),
            Self::Write(..) => "Check free space and permissions, or choose another folder with -o".to_owned(),
        }
    }

    fn class(&self) -> Class {
        match self {
            Self::Session(error) => error.class(),
            Self::Build(error) => error.class(),
            Self::Wear(error) => error.class(),
            Self::Variation(error) => error.class(),
            Self::Encode(error, _) => error.class(),
            Self::Write(..) => Class::Outside,
        }
    }
}

/// One texture as computed: its path in the job, its report, and its bytes when it changed.
pub(crate) struct Computed {
    pub(crate) path: String,
    pub(crate) channels: Vec<Channel>,
    pub(crate) texels_changed: usize,
    pub(crate) texels: usize,
    pub(crate) bytes: Option<Hashed>,
}

impl Computed {
    pub(crate) fn unwritten(known: &MapFile, texels_changed: usize) -> Self {
        let channels = known.roles.iter().map(|role| role.channel).collect();
        Self { path: known.path.clone(), channels, texels_changed, texels: known.size.area(), bytes: None }
    }
}

/// What was computed of one state of the job.
pub(crate) struct Computation {
    pub(crate) variation: Option<Variation>,
    pub(crate) files: Vec<Computed>,
    pub(crate) report: BuildReport,
    pub(crate) wear: Vec<MarkReport>,
    /// To be kept once the files are written; `None` where the next build cannot use it.
    pub(crate) memory: Option<Memory>,
}

/// What became of a computation.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Effect {
    /// It is written.
    Done,
    /// It rests on files that are not what they were taken for, and nothing was written.
    Unsound,
}

/// Build states of a job in memory, encode what changed, one file a thread, and hand each over before the next is begun.
/// Textures and patches are read once, and states that differ in size only are built once. With several states, a dye or wear the
/// pristine pictures are held as well. The job itself, when only placements changed since it was last built and its files lie in
/// one of the `previous` folders, is built from what was kept then, to the same bytes. Nothing takes effect of what rests on a file that was changed since: it is computed once more, from nothing.
pub(crate) fn compute<E: From<BuildFailed>>(
    session: &mut Session,
    job: &Path,
    which: Which<'_>,
    previous: &[PathBuf],
    task: &Task,
    mut each: impl FnMut(&mut Session, Computation) -> Result<Effect, E>,
) -> Result<(), E> {
    let states = which.of(&session.job, job).map_err(BuildFailed::from)?;
    if which == Which::Job {
        if let Some(done) = reuse::compute(session, previous, task)?
            && each(session, done)? == Effect::Done
        {
            return Ok(());
        }
        session.store.forget_assumptions();
    }
    let mut pristine = session.load(task).map_err(BuildFailed::from)?;
    for state in states.iter().flatten() {
        check_sizes(session, state)?;
    }
    let groups: Vec<&[Option<Variation>]> =
        states.chunk_by(|one, other| content(one.as_ref()) == content(other.as_ref())).collect();
    let last = groups.len() - 1;
    for (number, group) in groups.into_iter().enumerate() {
        let pictures = if number == last { std::mem::take(&mut pristine) } else { pristine.clone() };
        let (pictures, report, wear, record) = lay(session, job, pictures, &content(group[0].as_ref()), task)?;
        for variation in group {
            let (files, bands) = task.stage("encode", || encode_all(session, &pictures, &report, variation.as_ref()))?;
            let (variation, report, wear) = (variation.clone(), report.clone(), wear.clone());
            let own = variation.is_none().then(|| record.clone()).flatten();
            let memory = own.and_then(|record| reuse::memory(session, &files, bands, record));
            each(session, Computation { variation, files, report, wear, memory })?;
        }
    }
    Ok(())
}

fn check_sizes(session: &Session, variation: &Variation) -> Result<(), BuildFailed> {
    let files = session.garment.sets.iter().flat_map(|set| &set.files);
    files.into_iter().try_for_each(|file| Ok(times(variation, file).map(drop)?))
}

type Laid = (Vec<Vec<Stored>>, BuildReport, Vec<MarkReport>, Option<BuildRecord>);

/// Dye, then wear, then patches: each is fitted to what lies beneath.
fn lay(
    session: &Session,
    path: &Path,
    mut pictures: Vec<Vec<Stored>>,
    variation: &Variation,
    task: &Task,
) -> Result<Laid, BuildFailed> {
    let job = varied(&session.job, variation);
    let pristine = (!job.wear.is_empty() || variation.dye.is_some()).then(|| pictures.clone());
    let (mut report, wear, record) = task.stage("build", || {
        dye_cloth(&session.garment, &mut pictures, variation, task).map_err(BuildError::from)?;
        let wear = wear::apply(session, &job, &mut pictures, path, task)?;
        let placed = session.placed_of(&job);
        let plan = BuildPlan::new(&session.garment, &placed, &BuildSettings::default(), task)?;
        if pristine.is_none() {
            task.stage("keep", || reuse::keep_tiles(session, &plan, &plan.tiles(), &pictures, task));
        }
        let (report, record) = plan.lay(&mut pictures, None, task)?;
        if pristine.is_none() {
            reuse::keep_unchanged(session, &report, &pictures, task);
        }
        Ok::<_, BuildFailed>((report, wear.marks, record))
    })?;
    // What was worn or dyed is not kept, so what lies on it cannot be laid anew alone.
    let record = pristine.is_none().then_some(record);
    if let Some(pristine) = pristine {
        report.files.par_iter_mut().for_each(|file| {
            file.texels_changed = pristine[file.set][file.file].differing_texels(&pictures[file.set][file.file]);
        });
    }
    Ok((pictures, report, wear, record))
}

/// What a state of the job did to pictures in memory.
pub(crate) struct Finished {
    /// Placements with what became of them.
    pub(crate) report: BuildReport,
    /// Marks of wear with what became of them.
    pub(crate) wear: Vec<MarkReport>,
    /// What the person would hear of the build proper.
    pub(crate) notes: Vec<Note>,
}

/// Lay a state of the job over its pristine pictures in memory, and write nothing: for pictures of it. Its notes are those of the build
/// proper, and given to no task.
pub(crate) fn finish(
    session: &Session,
    path: &Path,
    pictures: &mut [Vec<Stored>],
    variation: Option<&Variation>,
) -> Result<Finished, BuildFailed> {
    finish_in(session, path, pictures, variation, &Task::new())
}

/// As [`finish`], with a task of its own that can be cancelled; pictures may be half changed then.
pub(crate) fn finish_in(
    session: &Session,
    path: &Path,
    pictures: &mut [Vec<Stored>],
    variation: Option<&Variation>,
    task: &Task,
) -> Result<Finished, BuildFailed> {
    let state = content(variation);
    let job = varied(&session.job, &state);
    dye_cloth(&session.garment, pictures, &state, task).map_err(BuildError::from)?;
    let wear = wear::apply(session, &job, pictures, path, task)?;
    let placed = session.placed_of(&job);
    let report = tatter_garment::build::build(&session.garment, pictures, &placed, &BuildSettings::default(), task)?;
    Ok(Finished { report, wear: wear.marks, notes: task.notes() })
}

fn encode_all(
    session: &Session,
    pictures: &[Vec<Stored>],
    report: &BuildReport,
    variation: Option<&Variation>,
) -> Result<(Vec<Computed>, Vec<Vec<Band>>), BuildFailed> {
    let all: Vec<(usize, usize)> =
        pictures.iter().enumerate().flat_map(|(set, files)| (0..files.len()).map(move |file| (set, file))).collect();
    all.into_par_iter()
        .map(|(set, file)| {
            let (picture, known) = (&pictures[set][file], &session.garment.sets[set].files[file]);
            let times = variation.map_or(Ok(1), |v| times(v, known))?;
            let changed = report.texels_changed(set, file);
            let small = (times > 1).then(|| shrink(picture, &known.roles, times));
            let wanted = small.is_some() || changed > 0;
            let done = wanted.then(|| encoded(small.as_ref().unwrap_or(picture), &known.path)).transpose()?;
            let (bytes, bands) = done.unzip();
            let bytes = bytes.map(|bytes| hashed(bytes, known)).transpose()?;
            Ok((Computed { bytes, ..Computed::unwritten(known, changed) }, bands.unwrap_or_default()))
        })
        .collect::<Result<Vec<_>, BuildFailed>>()
        .map(|all| all.into_iter().unzip())
}

pub(crate) fn hashed(bytes: Pieces, known: &MapFile) -> Result<Hashed, BuildFailed> {
    Hashed::new(bytes).map_err(|error| BuildFailed::Write(error, PathBuf::from(&known.path)))
}

/// The format a texture is written in.
pub(crate) fn format_of(path: &str) -> PictureFormat {
    PictureFormat::from_path(Path::new(path)).unwrap_or(PictureFormat::Png)
}

/// The bytes of a file, and for a PNG where its rows lie in them.
fn encoded(picture: &Stored, path: &str) -> Result<Banded, BuildFailed> {
    let failed = |error| BuildFailed::Encode(error, path.to_owned());
    match format_of(path) {
        PictureFormat::Png => encode_banded(picture).map_err(failed),
        other => Ok((encode(picture, other, Effort::Fast).map_err(failed)?.into(), Vec::new())),
    }
}

/// Build a job into a folder, `NAME.tatter/built` unless told otherwise. The garment's files stay as they are.
///
/// # Errors
/// As [`BuildFailed`] lists; files written so far are whole, each under its own name.
pub fn build_job(job: &Path, output: Option<&Path>, task: &Task) -> Result<BuildSummary, BuildFailed> {
    let mut states = build_states(job, output, Which::Job, task)?;
    Ok(states.swap_remove(0))
}

/// Build states of a job: the job itself as [`build_job`] does, every variation into the folder of its name within.
///
/// # Errors
/// As [`BuildFailed`] lists; files written so far are whole, each under its own name.
pub fn build_states(job: &Path, output: Option<&Path>, which: Which<'_>, task: &Task) -> Result<Vec<BuildSummary>, BuildFailed> {
    let mut session = Session::open(job, task)?;
    let folder = output.map_or_else(|| session.store.folder().join("built"), Path::to_path_buf);
    let mut done = Vec::new();
    compute(&mut session, job, which, std::slice::from_ref(&folder), task, |session, computed: Computation| {
        if !session.store.assumptions_hold() {
            return Ok(Effect::Unsound);
        }
        let memory = computed.memory;
        let name = computed.variation.map(|variation| variation.name);
        let folder = name.as_ref().map_or_else(|| folder.clone(), |name| folder.join(name));
        let files = task.stage("write", || write_all(computed.files, &folder))?;
        reuse::remember(session, memory, task);
        done.push(BuildSummary { variation: name, files, report: computed.report, wear: computed.wear });
        Ok::<Effect, BuildFailed>(Effect::Done)
    })?;
    Ok(done)
}

fn write_all(computed: Vec<Computed>, folder: &Path) -> Result<Vec<BuiltFile>, BuildFailed> {
    let write = |file: Computed| {
        let path = folder.join(file.path.rsplit('/').next().unwrap_or(&file.path));
        let bytes = file.bytes.as_ref().map_or(0, |hashed| hashed.pieces().len());
        if let Some(content) = &file.bytes {
            write_made(&path, content.pieces()).map_err(|error| BuildFailed::Write(error, path.clone()))?;
        }
        Ok(BuiltFile { path, channels: file.channels, texels_changed: file.texels_changed, texels: file.texels, bytes })
    };
    computed.into_par_iter().map(write).collect()
}
