//! Wear of the garment's own cloth, laid into its pristine textures before any patch: fade, abrasion, creases, grime.
//!
//! How worn a place is comes from the surface ([`mark`]), how much of that reaches a texel from the height of its thread
//! ([`relief`]): high points of crossing threads are rubbed and bleached first, grime settles between them. Only texels
//! whose samples change are written; the same inputs give the same bytes on any number of threads.

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

use super::plan::{Assignment, Bounds, OwnedFace, OwnedFaces, Target, targets};
use super::run::{count_tile, every_file};
use super::{BuildSettings, FileReport};
use crate::field::Place;
use crate::scatter::{Areas, spot};
use crate::surface::{LocateError, Seed, Surface};
use mark::Mark;
use relief::Relief;
use tile::WearTile;

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
    let mut report = WearReport {
        files: every_file(garment),
        marks: marks.iter().map(|m| MarkReport { id: m.wear.id.clone(), texels: 0, notes: Vec::new() }).collect(),
    };
    let assignment = Assignment::new(surface, &garment.sets);
    let marks: Vec<Mark<'_>> =
        task.stage("wear", || marks.par_iter().map(|input| Mark::new(garment, surface, input)).collect::<Result<_, _>>())?;
    let context = Context { garment, surface, assignment: &assignment, marks: &marks, settings };
    let mut told: Vec<BTreeSet<(&'static str, String)>> = vec![BTreeSet::new(); marks.len()];
    task.stage("wear", || {
        // Heights are read as they were for every texture of a set, also for those of another size.
        for (set, own) in pictures.iter_mut().enumerate() {
            let relief = Relief::of(&garment.sets[set], own);
            let mut worn = Vec::new();
            for target in targets(garment).iter().filter(|target| target.set == set) {
                let counts = context.wear_target(target, own, &relief, &mut worn, task)?;
                for ((mark, count), told) in report.marks.iter_mut().zip(counts).zip(&mut told) {
                    mark.texels = mark.texels.max(count);
                    if count > 0 {
                        context.tell(set, &relief, told);
                    }
                }
            }
            for done in worn {
                own[done.file].paste(&done.part, done.x, done.y);
                count_tile(&mut report.files, set, done.file, done.changed);
            }
        }
        Ok::<(), WearError>(())
    })?;
    for ((report, mark), told) in report.marks.iter_mut().zip(&marks).zip(told) {
        finish(report, mark, &garment.sets, &assignment, told);
        report.notes.iter().for_each(|note| task.note(note.code, note.text.clone()));
    }
    Ok(report)
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
        mark.at(&surface, &place, &mark.near(&surface, seed.face)).map(|worn| worn.weight)
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
    let repeats = |set: usize| assignment.repeats[set] && mark.sets.contains(&set);
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

struct Context<'a> {
    garment: &'a Garment,
    surface: &'a Surface,
    assignment: &'a Assignment,
    marks: &'a [Mark<'a>],
    settings: &'a BuildSettings,
}

impl Context<'_> {
    /// Texels worn by each mark; what changed goes to `worn`.
    fn wear_target(
        &self,
        target: &Target,
        pictures: &[Stored],
        relief: &Relief<'_>,
        worn: &mut Vec<WornFile>,
        task: &Task,
    ) -> Result<Vec<usize>, WearError> {
        /// Tiles between two looks at whether the person wants to stop.
        const AT_ONCE: usize = 64;
        let mut counts = vec![0; self.marks.len()];
        if self.assignment.repeats[target.set] {
            return Ok(counts);
        }
        let padding = self.settings.padding as i64;
        let faces = self.assignment.faces_of(self.surface, &self.garment.sets, target.set, target.size, padding + 1);
        let side = self.settings.tile.max(16) as i64;
        let (tiles, faces) = self.tiles(target, faces, side);
        for (done, some) in tiles.chunks(AT_ONCE).enumerate() {
            task.check()?;
            task.progress("wear", (done * AT_ONCE) as f32 / tiles.len() as f32);
            let results: Vec<_> = some
                .par_iter()
                .map(|&(row, column)| {
                    WearTile {
                        surface: self.surface,
                        marks: self.marks,
                        set: &self.garment.sets[target.set],
                        target,
                        pictures,
                        relief,
                        rect: Bounds::tile(row, column, side).intersect(Bounds::whole(target.size)),
                        padding,
                        faces: faces.of_tile((row, column)).collect(),
                    }
                    .run()
                })
                .collect();
            for (own, some) in results {
                counts.iter_mut().zip(own).for_each(|(sum, own)| *sum += own);
                worn.extend(some);
            }
        }
        Ok(counts)
    }

    /// Tiles that a mark may reach, by row and column, and the faces near each.
    fn tiles(&self, target: &Target, mut faces: Vec<OwnedFace>, side: i64) -> (Vec<(i64, i64)>, OwnedFaces) {
        // Slopes are read one texel beyond a tile.
        let whole = Bounds::whole(target.size);
        faces.iter_mut().for_each(|(_, _, bounds)| *bounds = bounds.grown(1).intersect(whole));
        let reached = |face: u32| self.marks.iter().any(|mark| mark.may_reach(self.surface, face as usize));
        let reached: Vec<bool> = faces.par_iter().map(|(face, ..)| reached(*face)).collect();
        let worn = faces.iter().zip(reached).filter(|(_, reached)| *reached).flat_map(|((_, _, bounds), _)| bounds.tiles(side));
        let tiles: BTreeSet<(i64, i64)> = worn.collect();
        (tiles.into_iter().collect(), OwnedFaces::new(faces, target.size, side))
    }

    fn tell(&self, set: usize, relief: &Relief<'_>, told: &mut BTreeSet<(&'static str, String)>) {
        let maps = &self.garment.sets[set];
        if let Some(note) = relief.note(&maps.material) {
            told.insert(note);
        }
        if maps.role(Channel::BaseColor).is_none() {
            told.insert((
                "garment-lacks-channel",
                format!("'{}' has no base colour map, so its dye stays as it is", maps.material),
            ));
        }
    }
}
