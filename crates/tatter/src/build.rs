//! `build`: pristine textures and placements to new textures.

use std::path::{Path, PathBuf};

use rayon::prelude::*;
use tatter_core::channel::Channel;
use tatter_core::explain::{Class, Explain};
use tatter_core::image::Stored;
use tatter_core::task::Task;
use tatter_files::picture::{Effort, PictureError, PictureFormat, encode};
use tatter_files::write::write_whole;
pub use tatter_garment::build::BuildReport;
use tatter_garment::build::{BuildError, BuildSettings, build};

use crate::session::{Session, SessionError};
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
            Self::Encode(error, _) => error.next(),
            Self::Write(..) => "Check free space and permissions, or choose another folder with -o".to_owned(),
        }
    }

    fn class(&self) -> Class {
        match self {
            Self::Session(error) => error.class(),
            Self::Build(error) => error.class(),
            Self::Wear(error) => error.class(),
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
    pub(crate) bytes: Option<Vec<u8>>,
}

/// What was computed.
pub(crate) struct Computation {
    pub(crate) files: Vec<Computed>,
    pub(crate) report: BuildReport,
    pub(crate) wear: Vec<MarkReport>,
}

/// Build in memory and encode what changed, one file a thread. Wear comes first: patches are laid on the worn cloth and fitted
/// to it. With wear the pristine pictures are held as well, so that what differs from them can be told.
pub(crate) fn compute(session: &mut Session, job: &Path, task: &Task) -> Result<Computation, BuildFailed> {
    let mut pictures = session.load(task)?;
    let pristine = (!session.job.wear.is_empty()).then(|| pictures.clone());
    let (mut report, wear) = task.stage("build", || {
        let wear = wear::apply(session, &mut pictures, job, task)?;
        let report = build(&session.garment, &mut pictures, &session.placed(), &BuildSettings::default(), task)?;
        Ok::<_, BuildFailed>((report, wear.marks))
    })?;
    if let Some(pristine) = pristine {
        report.files.par_iter_mut().for_each(|file| {
            file.texels_changed = pristine[file.set][file.file].differing_texels(&pictures[file.set][file.file]);
        });
    }
    let flat: Vec<(usize, usize, Stored)> = pictures
        .into_iter()
        .enumerate()
        .flat_map(|(set, files)| files.into_iter().enumerate().map(move |(file, picture)| (set, file, picture)))
        .collect();
    let files = task.stage("encode", || {
        flat.into_par_iter()
            .map(|(set, file, picture)| {
                let known = &session.garment.sets[set].files[file];
                let changed = report.files.iter().find(|f| f.set == set && f.file == file).map_or(0, |f| f.texels_changed);
                let bytes = (changed > 0).then(|| encoded(&picture, &known.path)).transpose()?;
                let channels = known.roles.iter().map(|role| role.channel).collect();
                Ok(Computed { path: known.path.clone(), channels, texels_changed: changed, texels: picture.size.area(), bytes })
            })
            .collect::<Result<Vec<_>, BuildFailed>>()
    })?;
    Ok(Computation { files, report, wear })
}

fn encoded(picture: &Stored, path: &str) -> Result<Vec<u8>, BuildFailed> {
    let format = PictureFormat::from_path(Path::new(path)).unwrap_or(PictureFormat::Png);
    encode(picture, format, Effort::Fast).map_err(|error| BuildFailed::Encode(error, path.to_owned()))
}

/// Build a job into a folder, `NAME.tatter/built` unless told otherwise. The garment's files stay as they are.
///
/// # Errors
/// As [`BuildFailed`] lists; files written so far are whole, each under its own name.
pub fn build_job(job: &Path, output: Option<&Path>, task: &Task) -> Result<BuildSummary, BuildFailed> {
    let mut session = Session::open(job, task)?;
    let Computation { files: computed, report, wear } = compute(&mut session, job, task)?;
    let folder = output.map_or_else(|| session.store.folder().join("built"), Path::to_path_buf);
    let files = task.stage("write", || {
        computed
            .into_par_iter()
            .map(|file| {
                let path = folder.join(file.path.rsplit('/').next().unwrap_or(&file.path));
                let bytes = file.bytes.as_ref().map_or(0, |bytes| bytes.len() as u64);
                if let Some(content) = &file.bytes {
                    write_whole(&path, content).map_err(|error| BuildFailed::Write(error, path.clone()))?;
                }
                Ok(BuiltFile { path, channels: file.channels, texels_changed: file.texels_changed, texels: file.texels, bytes })
            })
            .collect::<Result<Vec<_>, BuildFailed>>()
    })?;
    Ok(BuildSummary { files, report, wear })
}
