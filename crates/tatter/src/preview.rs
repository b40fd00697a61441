//! Lit pictures of placements before and after, laid flat at true size.

use std::path::{Path, PathBuf};

use rayon::prelude::*;
use tatter_core::explain::{Class, Explain};
use tatter_core::image::{Image, LinearRgb, Map, Stored};
use tatter_core::task::Task;
use tatter_files::write::{probe_folder, write_whole};
use tatter_garment::build::{BuildError, BuildSettings, build};
use tatter_garment::place::Placed;
use tatter_garment::surface::LocateError;
use tatter_garment::view::Viewer;

use crate::session::{Session, SessionError};
use crate::sheet::{Pair, lit_maps, pairs};

/// Side of a view, texels.
const VIEW: usize = 448;
/// Readings of the textures along one texel of a view.
const FINER: usize = 2;
/// How much more cloth than the patch's canvas is shown.
const AROUND: f32 = 1.15;
/// More placements than this make a picture nobody looks through; the first are shown.
const MOST: usize = 24;

/// Why there is no preview.
#[derive(Debug, thiserror::Error)]
pub enum PreviewError {
    /// The job could not be opened.
    #[error(transparent)]
    Session(#[from] SessionError),
    /// The build itself.
    #[error(transparent)]
    Build(#[from] BuildError),
    /// The wear of the cloth.
    #[error(transparent)]
    Wear(#[from] crate::wear::WearFailed),
    /// A placement lies nowhere.
    #[error("placement '{1}': {0}")]
    Spot(LocateError, String),
    /// No placement to show.
    #[error("nothing is placed that could be shown: {0}")]
    Nothing(PathBuf),
    /// The picture could not be written.
    #[error("the preview can't be written ({0}): {1}")]
    Write(std::io::Error, PathBuf),
    /// The picture could not be encoded.
    #[error(transparent)]
    Encode(#[from] tatter_files::picture::PictureError),
}

impl Explain for PreviewError {
    fn next(&self) -> String {
        match self {
            Self::Session(error) => error.next(),
            Self::Build(error) => error.next(),
            Self::Wear(error) => error.next(),
            Self::Spot(error, _) => error.next(),
            Self::Nothing(_) => "Place a patch first: tatter place JOB --patch NAME.patch --at U,V".to_owned(),
            Self::Write(..) => "Check free space and permissions, or choose another file".to_owned(),
            Self::Encode(error) => error.next(),
        }
    }

    fn class(&self) -> Class {
        match self {
            Self::Session(error) => error.class(),
            Self::Build(error) => error.class(),
            Self::Wear(error) => error.class(),
            Self::Spot(error, _) => error.class(),
            Self::Nothing(_) => Class::Request,
            Self::Write(..) => Class::Outside,
            Self::Encode(error) => error.class(),
        }
    }
}

/// Make sure that a preview can be written, before anything else is done.
///
/// # Errors
/// [`PreviewError::Write`] when it cannot.
pub fn check_output(output: &Path) -> Result<(), PreviewError> {
    let folder = output.parent().filter(|folder| !folder.as_os_str().is_empty()).unwrap_or(Path::new("."));
    let tried = probe_folder(folder);
    tried.map_err(|error| PreviewError::Write(error, output.to_owned()))
}

/// Build the job in memory and write a PNG of its placements before and after, under one lamp, grain up, each at true size on a
/// piece of cloth a little larger than its canvas. `ids` says which; `None` all; 24 are shown at most. The garment's files and
/// the job stay as they are.
///
/// # Errors
/// As [`PreviewError`] lists.
pub fn preview(job: &Path, ids: Option<&[String]>, output: &Path, task: &Task) -> Result<(), PreviewError> {
    let mut session = Session::look(job, task)?;
    let mut pictures = session.load(task)?;
    let placed = session.placed();
    let mut shown: Vec<&Placed<'_>> =
        placed.iter().filter(|placed| ids.is_none_or(|ids| ids.contains(&placed.placement.id))).collect();
    if shown.len() > MOST {
        task.note("preview-first", format!("The preview shows {MOST} of {} placements.", shown.len()));
        shown.truncate(MOST);
    }
    if shown.is_empty() {
        return Err(PreviewError::Nothing(job.to_owned()));
    }
    let viewer = Viewer::new(&session.garment);
    let views = |pictures: &[Vec<Stored>]| {
        let view = |placed: &&Placed<'_>| view(&viewer, pictures, placed);
        shown.par_iter().map(view).collect::<Result<Vec<_>, PreviewError>>()
    };
    let before = task.stage("preview", || views(&pictures))?;
    // Notes of this build are those of the build proper.
    crate::wear::apply(&session, &session.job, &mut pictures, job, &Task::new())?;
    build(&session.garment, &mut pictures, &placed, &BuildSettings::default(), &Task::new())?;
    let after = task.stage("preview", || views(&pictures))?;
    let title = |placed: &&Placed<'_>| format!("{} - {:.0} mm", placed.placement.id, side_mm(placed));
    let both = shown.iter().map(title).zip(before.into_iter().zip(after));
    let shown: Vec<Pair> = both.map(|(title, (before, after))| Pair { title, before, after }).collect();
    let png = crate::cut::png(pairs(&shown))?;
    write_whole(output, &png).map_err(|error| PreviewError::Write(error, output.to_owned()))
}

/// Side of the cloth shown.
fn side_mm(placed: &Placed<'_>) -> f32 {
    AROUND * placed.placement.size.map_or_else(|| placed.patch.size_mm()[0].get(), |size| size.get())
}

fn view(viewer: &Viewer<'_>, pictures: &[Vec<Stored>], placed: &Placed<'_>) -> Result<Image<LinearRgb>, PreviewError> {
    let id = &placed.placement.id;
    let flat = viewer
        .lay_flat(pictures, &placed.placement.spot, f64::from(side_mm(placed)), VIEW * FINER)
        .map_err(|error| PreviewError::Spot(error, id.clone()))?;
    let size = flat.color.size();
    let lit = lit_maps(size, &Map::Color(flat.color), &Map::Normal(flat.normal), &Map::Unit(flat.opacity));
    Ok(tatter_core::kernel::area_resize(&lit, VIEW, VIEW))
}
