//! Wear of the garment's own cloth, laid into its pristine textures before any patch: fade, abrasion, creases, grime.
//!
//! How worn a place is comes from the surface ([`mark`]), how much of that reaches a texel from the height of its thread
//! ([`relief`]): high points of crossing threads are rubbed and bleached first, grime settles between them. Only texels
//! whose samples change are written; the same inputs give the same bytes on any number of threads.

mod ground;
mod mark;
mod relief;
mod tile;

use std::collections::BTreeSet;

use rayon::prelude::*;
use tatter_core::channel::Channel;
use tatter_core::explain::{Class, Explain};
use tatter_core::image::{Image, Stored, Unit};
use tatter_core::model::{Garment, MapSet, Spot, Wear, WearKind};
use tatter_core::rng::Rng;
use tatter_core::task::{Cancelled, Note, Task};

use super::plan::Assignment;
use super::run::every_file;
use super::{BuildSettings, FileReport};
use crate::field::Place;
use crate::scatter::{Areas, spot};
use crate::surface::{LocateError, Seed, Surface};
pub use ground::{Keeping, WearGround};
use mark::Mark;
use relief::Relief;

/// One mark, and what its densities read.
#[derive(Debug)]
pub struct WearInput<'a> {
    /// The mark.
    pub wear: &'a Wear,
    /// For each of its densities the picture, where it is one.
    pub pictures: &'a [Option<Image<Unit>>],
}

/// What one mark did.
#[derive(Clone, Debug, PartialEq)]
pub struct MarkReport {
    /// Its id.
    pub id: String,
    /// Texels it wears, in the garment's largest texture it reaches.
    pub texels: usize,
    /// What the person should hear; also given to the task.
    pub notes: Vec<Note>,
}

/// What wear did.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct WearReport {
    /// Every file of every map set, in order, also those that did not change.
    pub files: Vec<FileReport>,
    /// Every mark, in order.
    pub marks: Vec<MarkReport>,
}

/// Why nothing was worn. The pictures are unchanged unless it was [`WearError::Cancelled`].
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum WearError {
    /// A part's name, or a place of a line.
    #[error("wear '{id}': {source}")]
    Place {
        /// Id of the mark.
        id: String,
        /// Why.
        source: LocateError,
    },
    /// A crease without a line or an edge.
    #[error("wear '{id}': a crease everywhere is no crease")]
    Nowhere {
        /// Id of the mark.
        id: String,
    },
    /// A line without a breadth.
    #[error("wear '{id}': its line has no breadth")]
    NoSpread {
        /// Id of the mark.
        id: String,
    },
    /// Stopped by the person; the pictures may be half changed.
    #[error(transparent)]
    Cancelled(#[from] Cancelled),
}

impl Explain for WearError {
    fn next(&self) -> String {
        match self {
            Self::Place { source, .. } => source.next(),
            Self::Nowhere { .. } => "draw the line it lies along: along = [[u, v], [u, v]] with spread_mm".into(),
            Self::NoSpread { .. } => "give spread_mm, how far from the line it reaches".into(),
            Self::Cancelled(_) => "build again when ready".into(),
        }
    }

    fn class(&self) -> Class {
        Class::Request
    }
}

/// Share of the crown of a thread that abrasion takes where it is threadbare: rubbed threads are flat, not gone.
const CROWN_LOSS: f32 = 0.35;
/// Roughness added where a kind is strongest: rubbing raises nap, dust is dull (common practice, no source).
const fn dulling(kind: WearKind) -> f32 {
    match kind {
        WearKind::Fade => 0.02,
        WearKind::Abrasion => 0.10,
        WearKind::Crease => 0.05,
        WearKind::Grime => 0.08,
    }
}

/// Wear the pristine `pictures` of a garment (per map set, per file, as `garment.sets` lists them) by `marks`, in order.
///
/// Costs time in proportion to the texels of the cloth that a mark may reach. Beside the pictures it holds the changed tiles of
/// one map set (threads are read as they were, over the edges of tiles), and for every curvature asked for 8 bytes a corner.
///
/// # Errors
/// [`WearError`].
pub fn wear(
    garment: &Garment,
    pictures: &mut [Vec<Stored>],
    marks: &[WearInput<'_>],
    settings: &BuildSettings,
    task: &Task,
) -> Result<WearReport, WearError> {
    if marks.is_empty() {
        return Ok(WearReport { files: every_file(garment), marks: Vec::new() });
    }
    let surface = task.stage("surface", || Surface::new(garment));
    wear_on(&surface, garment, pictures, marks, settings, task)
}

/// As [`wear`], on the garment's surface that was made before.
///
/// # Errors
/// As [`wear`].
pub fn wear_on(
    surface: &Surface,
    garment: &Garment,
    pictures: &mut [Vec<Stored>],
    marks: &[WearInput<'_>],
    settings: &BuildSettings,
    task: &Task,
) -> Result<WearReport, WearError> {
    WearGround::new(surface, garment, settings, Keeping::Nothing).wear(surface, garment, pictures, marks, task)
}

/// Whether a mark lies on the garment; no texture is needed.
///
/// # Errors
/// [`WearError`], as [`wear`] would say it.
pub fn check_wear(garment: &Garment, input: &WearInput<'_>) -> Result<(), WearError> {
    Mark::new(garment, &Surface::new(garment), input).map(drop)
}

/// Where a mark shows most: at most `most` spots, the most worn first, `apart_mm` from each other. Found among some thousands of
/// places, even over the cloth it may reach; the same mark gives the same spots.
///
/// # Errors
/// [`WearError`], as [`wear`] would say it.
pub fn worn_most(garment: &Garment, input: &WearInput<'_>, most: usize, apart_mm: f64) -> Result<Vec<Spot>, WearError> {
    /// Places tried: one for every 3 cm of a garment of two square metres.
    const TRIED: usize = 3000;
    let surface = Surface::new(garment);
    let mark = Mark::new(garment, &surface, input)?;
    // Without cloth there is nowhere to look.
    let Ok(areas) = Areas::new(&surface, mark.allowed()) else { return Ok(Vec::new()) };
    let mut rng = Rng::new(1);
    let places: Vec<Seed> = (0..TRIED).filter_map(|_| areas.place(&surface, &mut rng)).collect();
    let worn = |seed: &Seed| {
        let place = Place::of(seed);
        mark.at_alone(&surface, &place).map(|worn| worn.weight)
    };
    let mut found: Vec<(f32, Seed)> = places.into_par_iter().filter_map(|seed| Some((worn(&seed)?, seed))).collect();
    found.sort_by(|(one, _), (other, _)| other.total_cmp(one));
    let mut chosen: Vec<Seed> = Vec::new();
    for (_, seed) in found {
        if chosen.len() < most && chosen.iter().all(|known| known.point.distance(seed.point) >= apart_mm) {
            chosen.push(seed);
        }
    }
    Ok(chosen.iter().map(|seed| spot(garment, &surface, seed)).collect())
}

fn finish(
    report: &mut MarkReport,
    mark: &Mark<'_>,
    sets: &[MapSet],
    assignment: &Assignment,
    told: BTreeSet<(&'static str, String)>,
) {
    let mut say =
        |code: &'static str, text: String| report.notes.push(Note { code, text: format!("wear '{}': {text}", mark.id()) });
    if report.texels == 0 {
        say("nothing-worn", "no texel of the garment is reached; check where it is said to be and its strength".into());
    }
    told.into_iter().for_each(|(code, text)| say(code, text));
    let repeats = |set: usize| assignment.repeats[set] && mark.sets().contains(&set);
    for set in (0..sets.len()).filter(|&set| repeats(set)) {
        let material = &sets[set].material;
        say(
            "texture-repeats",
            format!(
                "the texture of '{material}' repeats over the cloth, so it has no places of its own and is left as it is; give this part its own texture to wear it"
            ),
        );
    }
}

/// New samples for one file.
struct WornFile {
    file: usize,
    x: usize,
    y: usize,
    part: Stored,
    changed: usize,
}

fn tell(maps: &MapSet, relief: &Relief<'_>, told: &mut BTreeSet<(&'static str, String)>) {
    if let Some(note) = relief.note(&maps.material) {
        told.insert(note);
    }
    if maps.role(Channel::BaseColor).is_none() {
        told.insert(("garment-lacks-channel", format!("'{}' has no base colour map, so its dye stays as it is", maps.material)));
    }
}
