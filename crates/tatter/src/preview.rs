//! Lit pictures of placements before and after, laid flat at true size.

use std::path::{Path, PathBuf};

use rayon::prelude::*;
use tatter_core::explain::{Class, Explain};
use tatter_core::image::{Image, LinearRgb, Map, Stored};
use tatter_core::model::Spot;
use tatter_core::task::Task;
use tatter_files::write::{probe_folder, write_whole};
use tatter_garment::surface::LocateError;
use tatter_garment::view::Viewer;

use crate::build::{BuildFailed, finish};
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
    Build(#[from] BuildFailed),
    /// The wear of the cloth.
    #[error(transparent)]
    Wear(#[from] crate::wear::WearFailed),
    /// A placement lies nowhere.
    #[error("placement '{1}': {0}")]
    Spot(LocateError, String),
    /// No placement to show.
    #[error("nothing is placed that could be shown: {0}")]
    Nothing(PathBuf),
    /// A mark of wear that shows nowhere.
    #[error("wear '{0}' shows nowhere on the garment: {1}")]
    Unworn(String, PathBuf),
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
            Self::Unworn(..) => "Check its strength and where it is said to be".to_owned(),
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
            Self::Nothing(_) | Self::Unworn(..) => Class::Request,
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
    let pictures = session.load(task)?;
    let placed = session.placed();
    let mut shown: Vec<Shown> = placed
        .iter()
        .filter(|placed| ids.is_none_or(|ids| ids.contains(&placed.placement.id)))
        .map(|placed| Shown {
            name: placed.placement.id.clone(),
            spot: placed.placement.spot.clone(),
            side_mm: AROUND * placed.placement.size.map_or_else(|| placed.patch.size_mm()[0].get(), |size| size.get()),
        })
        .collect();
    if shown.len() > MOST {
        task.note("preview-first", format!("The preview shows {MOST} of {} placements.", shown.len()));
        shown.truncate(MOST);
    }
    if shown.is_empty() {
        return Err(PreviewError::Nothing(job.to_owned()));
    }
    show(&session, job, pictures, &shown, output, task)
}

/// The same of the places where a mark of wear shows most, six at most.
///
/// # Errors
/// As [`PreviewError`] lists; [`PreviewError::Unworn`] when the mark shows nowhere.
pub fn preview_wear(job: &Path, id: &str, output: &Path, task: &Task) -> Result<(), PreviewError> {
    /// Side of the cloth shown: a hand lies on it, and threads of common cloth can be told.
    const SIDE_MM: f32 = 100.0;
    const PLACES: usize = 6;
    let mut session = Session::look(job, task)?;
    let pictures = session.load(task)?;
    let spots = crate::wear::worn_most(&session, job, id, PLACES, f64::from(SIDE_MM))?;
    let name = |number: usize| if number == 0 { id.to_owned() } else { format!("{id}, place {}", number + 1) };
    let shown: Vec<Shown> =
        spots.into_iter().enumerate().map(|(number, spot)| Shown { name: name(number), spot, side_mm: SIDE_MM }).collect();
    if shown.is_empty() {
        return Err(PreviewError::Unworn(id.to_owned(), job.to_owned()));
    }
    show(&session, job, pictures, &shown, output, task)
}

/// A piece of cloth to be shown.
struct Shown {
    name: String,
    spot: Spot,
    side_mm: f32,
}

fn show(
    session: &Session,
    job: &Path,
    mut pictures: Vec<Vec<Stored>>,
    shown: &[Shown],
    output: &Path,
    task: &Task,
) -> Result<(), PreviewError> {
    let viewer = Viewer::new(&session.garment);
    let views = |pictures: &[Vec<Stored>]| {
        shown.par_iter().map(|shown| view(&viewer, pictures, shown)).collect::<Result<Vec<_>, PreviewError>>()
    };
    let before = task.stage("preview", || views(&pictures))?;
    finish(session, job, &mut pictures, None)?;
    let after = task.stage("preview", || views(&pictures))?;
    let pair = |(shown, (before, after)): (&Shown, (_, _))| Pair {
        title: format!("{} - {:.0} mm", shown.name, shown.side_mm),
        before,
        after,
    };
    let shown: Vec<Pair> = shown.iter().zip(before.into_iter().zip(after)).map(pair).collect();
    let png = crate::cut::png(pairs(&shown))?;
    write_whole(output, &png).map_err(|error| PreviewError::Write(error, output.to_owned()))
}

fn view(viewer: &Viewer<'_>, pictures: &[Vec<Stored>], shown: &Shown) -> Result<Image<LinearRgb>, PreviewError> {
    let flat = viewer
        .lay_flat(pictures, &shown.spot, f64::from(shown.side_mm), VIEW * FINER)
        .map_err(|error| PreviewError::Spot(error, shown.name.clone()))?;
    let size = flat.color.size();
    let lit = lit_maps(size, &Map::Color(flat.color), &Map::Normal(flat.normal), &Map::Unit(flat.opacity));
    Ok(tatter_core::kernel::area_resize(&lit, VIEW, VIEW))
}
