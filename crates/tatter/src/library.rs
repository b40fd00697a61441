//! The patches at hand for a job, each as one looks at it before taking it.

use std::path::{Path, PathBuf};

use rayon::prelude::*;
use tatter_core::explain::Explain as _;
use tatter_core::image::{Coding, LinearRgb, Map, Transfer};
use tatter_core::model::{Job, ScaleSource, Subject};
use tatter_core::units::PerCm;
use tatter_files::limits::Limits;
use tatter_files::patch::{patches_in, read_description};
use tatter_files::picture::read_stored;
pub use tatter_garment::place::Canvas;
use tatter_proof::Picture;

/// What stands on a patch's card.
#[derive(Clone, Debug)]
pub struct Card {
    /// Its name.
    pub name: String,
    /// Its folder.
    pub folder: PathBuf,
    /// Its name in the job, when the job uses it.
    pub in_job: Option<String>,
    /// The size of its canvas and its grain; or, in two sentences, why it cannot be read and what to do.
    pub canvas: Result<Canvas, String>,
    /// Damage or piece.
    pub subject: Subject,
    /// Where its scale came from.
    pub scale: ScaleSource,
    /// Ends on a centimetre, when known.
    pub ends_per_cm: Option<PerCm>,
    /// Its `thumb.png`, when it has one.
    pub thumb: Option<Picture>,
}

/// The patches a job names, and those in its folder, by name. Reads only their descriptions and thumbnails.
pub fn cards(job_path: &Path, job: &Job) -> Vec<Card> {
    let folder = job_path.parent().unwrap_or(Path::new(""));
    let folder = if folder.as_os_str().is_empty() { Path::new(".") } else { folder };
    let mut all: Vec<(PathBuf, Option<String>)> =
        job.patches.iter().map(|patch| (folder.join(&patch.path), Some(patch.name.clone()))).collect();
    let more = patches_in(folder).into_iter().filter(|found| all.iter().all(|(known, _)| known != found)).collect::<Vec<_>>();
    all.extend(more.into_iter().map(|found| (found, None)));
    sorted(all)
}

/// The patches in a folder, by name. Reads only their descriptions and thumbnails.
pub fn cards_in(folder: &Path) -> Vec<Card> {
    let folder = if folder.as_os_str().is_empty() { Path::new(".") } else { folder };
    sorted(patches_in(folder).into_iter().map(|found| (found, None)).collect())
}

fn sorted(all: Vec<(PathBuf, Option<String>)>) -> Vec<Card> {
    let mut cards: Vec<Card> = all.into_par_iter().map(|(folder, in_job)| card(folder, in_job)).collect();
    cards.sort_by(|one, other| one.name.cmp(&other.name));
    cards
}

fn card(folder: PathBuf, in_job: Option<String>) -> Card {
    let file = folder.file_name().map(|name| name.to_string_lossy().into_owned()).unwrap_or_default();
    let name = in_job.clone().unwrap_or_else(|| file.strip_suffix(".patch").unwrap_or(&file).to_owned());
    let thumb = thumb(&folder.join("thumb.png"));
    match read_description(&folder) {
        Ok((patch, size_mm)) => Card {
            name,
            in_job,
            canvas: Ok(Canvas { size_mm, grain: patch.grain }),
            subject: patch.subject,
            scale: patch.scale_source,
            ends_per_cm: patch.ends_per_cm,
            thumb,
            folder,
        },
        Err(error) => Card {
            name,
            in_job,
            canvas: Err(format!("{error}. {}.", error.next())),
            subject: Subject::Damage,
            scale: ScaleSource::Assumed,
            ends_per_cm: None,
            thumb,
            folder,
        },
    }
}

fn thumb(path: &Path) -> Option<Picture> {
    let stored = read_stored(path, &Limits::default()).ok()?;
    let coding = Coding { transfer: Transfer::Srgb, ..Coding::default() };
    let Map::Color(image) = stored.decode_whole(tatter_core::channel::Kind::Color, &coding) else { return None };
    Some(shown(&image))
}

/// A picture in linear light as a screen shows it.
pub(crate) fn shown(image: &tatter_core::image::Image<LinearRgb>) -> Picture {
    let size = image.size();
    let code = |v: f32| (tatter_core::color::encode_srgb(v.clamp(0.0, 1.0)) * 255.0).round() as u8;
    let rgb = (0..size.height).flat_map(|y| (0..size.width).flat_map(move |x| image.get(x, y).0)).map(code).collect();
    Picture { width: size.width as u32, height: size.height as u32, rgb }
}
