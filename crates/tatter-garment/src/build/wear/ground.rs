//! What wearing one garment again and again has in common: where marks may lie, whose texels are whose, how high its threads lie.

use std::collections::{BTreeMap, BTreeSet};
use std::sync::{Arc, Mutex, OnceLock, PoisonError};

use rayon::prelude::*;
use tatter_core::image::Stored;
use tatter_core::model::Garment;
use tatter_core::task::Task;

use super::mark::{Mark, Reach, Where};
use super::relief::{Relief, Source};
use super::tile::{Lie, WearTile};
use super::{MarkReport, WearError, WearInput, WearReport, WornFile, finish, tell};
use crate::build::BuildSettings;
use crate::build::plan::{Assignment, Bounds, OwnedFaces, Target, targets};
use crate::build::run::{count_tile, every_file};
use crate::surface::Surface;

/// How much is kept from one wearing to the next.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Keeping {
    /// Nothing: the garment is worn once.
    Nothing,
    /// All that its marks' numbers do not change: some 40 bytes a texel that any mark reached, and 100 a face there.
    All,
}

/// A garment made ready to be worn again and again: as long as its surface, its pristine textures and their roles stay what they were.
#[derive(Debug)]
pub struct WearGround {
    settings: BuildSettings,
    keeping: Keeping,
    assignment: Assignment,
    targets: Vec<Target>,
    /// By target: the faces that can own texels of it.
    faces: Vec<OnceLock<OwnedFaces>>,
    /// Of the marks that were laid last.
    reaches: Mutex<Vec<(Where, Arc<Reach>)>>,
    /// By target, row and column.
    lies: Mutex<BTreeMap<(usize, i64, i64), Arc<Lie>>>,
    /// By map set.
    reliefs: Vec<OnceLock<Option<(Source, f32)>>>,
}

impl WearGround {
    /// Linear in the faces.
    pub fn new(surface: &Surface, garment: &Garment, settings: &BuildSettings, keeping: Keeping) -> Self {
        let targets = targets(garment);
        Self {
            settings: *settings,
            keeping,
            assignment: Assignment::new(surface, &garment.sets),
            faces: targets.iter().map(|_| OnceLock::new()).collect(),
            targets,
            reaches: Mutex::default(),
            lies: Mutex::default(),
            reliefs: garment.sets.iter().map(|_| OnceLock::new()).collect(),
        }
    }

    /// As [`super::wear`]; surface, garment and pristine pictures must be the same each time.
    ///
    /// # Errors
    /// As [`super::wear`].
    pub fn wear(
        &self,
        surface: &Surface,
        garment: &Garment,
        pictures: &mut [Vec<Stored>],
        marks: &[WearInput<'_>],
        task: &Task,
    ) -> Result<WearReport, WearError> {
        let mut report = WearReport {
            files: every_file(garment),
            marks: marks.iter().map(|m| MarkReport { id: m.wear.id.clone(), texels: 0, notes: Vec::new() }).collect(),
        };
        let marks = task.stage("wear", || self.marks(surface, garment, marks))?;
        let mut told: Vec<BTreeSet<(&'static str, String)>> = vec![BTreeSet::new(); marks.len()];
        task.stage("wear", || {
            // Heights are read as they were for every texture of a set, also for those of another size.
            for (set, own) in pictures.iter_mut().enumerate() {
                let maps = &garment.sets[set];
                let mut relief = None;
                let found = self.reliefs[set].get_or_init(|| relief.insert(Relief::of(maps, own)).found());
                let relief = relief.unwrap_or_else(|| Relief::again(maps, own, *found));
                let mut worn = Vec::new();
                for number in (0..self.targets.len()).filter(|number| self.targets[*number].set == set) {
                    let wearing = Wearing { surface, garment, marks: &marks, pictures: own, relief: &relief };
                    let counts = self.wear_target(number, &wearing, &mut worn, task)?;
                    for ((mark, count), told) in report.marks.iter_mut().zip(counts).zip(&mut told) {
                        mark.texels = mark.texels.max(count);
                        if count > 0 {
                            tell(maps, &relief, told);
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
            finish(report, mark, &garment.sets, &self.assignment, told);
            report.notes.iter().for_each(|note| task.note(note.code, note.text.clone()));
        }
        Ok(report)
    }

    /// The marks on the surface, where they may lie known of those that lay there last.
    fn marks<'a>(&self, surface: &'a Surface, garment: &Garment, inputs: &[WearInput<'a>]) -> Result<Vec<Mark<'a>>, WearError> {
        let known = std::mem::take(&mut *self.reaches.lock().unwrap_or_else(PoisonError::into_inner));
        let mark = |input: &WearInput<'a>| {
            let own = Where::of(input.wear);
            let mut kept = None;
            let mark = Mark::within(surface, input, || {
                let reach = match known.iter().find(|(place, _)| *place == own) {
                    Some((_, reach)) => Arc::clone(reach),
                    None => Arc::new(Reach::new(garment, surface, input.wear)?),
                };
                kept = Some(Arc::clone(&reach));
                Ok(reach)
            })?;
            Ok((mark, kept.map(|reach| (own, reach))))
        };
        let (marks, kept): (Vec<Mark<'_>>, Vec<_>) =
            inputs.par_iter().map(mark).collect::<Result<Vec<_>, WearError>>()?.into_iter().unzip();
        marks.iter().for_each(|mark| mark.be_near(surface));
        if self.keeping == Keeping::All {
            *self.reaches.lock().unwrap_or_else(PoisonError::into_inner) = kept.into_iter().flatten().collect();
        }
        Ok(marks)
    }

    /// Texels worn by each mark; what changed goes to `worn`.
    fn wear_target(
        &self,
        number: usize,
        wearing: &Wearing<'_>,
        worn: &mut Vec<WornFile>,
        task: &Task,
    ) -> Result<Vec<usize>, WearError> {
        /// Tiles between two looks at whether the person wants to stop.
        const AT_ONCE: usize = 64;
        let Wearing { surface, garment, marks, pictures, relief } = *wearing;
        let target = &self.targets[number];
        let mut counts = vec![0; marks.len()];
        if self.assignment.repeats[target.set] {
            return Ok(counts);
        }
        let faces = self.faces[number].get_or_init(|| self.faces_of(surface, garment, target));
        let tiles = tiles(marks, faces, self.side());
        for (done, some) in tiles.chunks(AT_ONCE).enumerate() {
            task.check()?;
            task.progress("wear", (done * AT_ONCE) as f32 / tiles.len() as f32);
            let wear = |&(row, column): &(i64, i64)| {
                let rect = Bounds::tile(row, column, self.side()).intersect(Bounds::whole(target.size));
                let lie = self.lie(surface, number, (row, column), rect, faces);
                WearTile { surface, marks, set: &garment.sets[target.set], target, pictures, relief, rect, lie: &lie }.run()
            };
            let results: Vec<_> = some.par_iter().map(wear).collect();
            for (own, some) in results {
                counts.iter_mut().zip(own).for_each(|(sum, own)| *sum += own);
                worn.extend(some);
            }
        }
        Ok(counts)
    }

    fn side(&self) -> i64 {
        self.settings.tile.max(16) as i64
    }

    /// The faces that can own texels of a target, or of its gutter, by tile.
    fn faces_of(&self, surface: &Surface, garment: &Garment, target: &Target) -> OwnedFaces {
        let padding = self.settings.padding as i64;
        let mut faces = self.assignment.faces_of(surface, &garment.sets, target.set, target.size, padding + 1);
        // Slopes are read one texel beyond a tile.
        let whole = Bounds::whole(target.size);
        faces.iter_mut().for_each(|(_, _, bounds)| *bounds = bounds.grown(1).intersect(whole));
        OwnedFaces::new(faces, target.size, self.side())
    }

    /// What lies in a tile.
    fn lie(&self, surface: &Surface, number: usize, at: (i64, i64), rect: Bounds, faces: &OwnedFaces) -> Arc<Lie> {
        let key = (number, at.0, at.1);
        let all = || self.lies.lock().unwrap_or_else(PoisonError::into_inner);
        if let Some(known) = all().get(&key) {
            return Arc::clone(known);
        }
        let size = self.targets[number].size;
        let new = Arc::new(Lie::new(surface, size, rect, self.settings.padding as i64, faces.of_tile(at)));
        if self.keeping == Keeping::All {
            all().insert(key, Arc::clone(&new));
        }
        new
    }
}

/// One map set being worn.
#[derive(Clone, Copy)]
struct Wearing<'a> {
    surface: &'a Surface,
    garment: &'a Garment,
    marks: &'a [Mark<'a>],
    /// Of the set, pristine.
    pictures: &'a [Stored],
    relief: &'a Relief<'a>,
}

/// Tiles that a mark may reach, by row and column.
fn tiles(marks: &[Mark<'_>], faces: &OwnedFaces, side: i64) -> Vec<(i64, i64)> {
    let reached = |face: u32| marks.iter().any(|mark| mark.may_reach(face as usize));
    let reached: Vec<Bounds> = faces.all().par_iter().filter(|(face, ..)| reached(*face)).map(|(_, _, bounds)| *bounds).collect();
    let tiles: BTreeSet<(i64, i64)> = reached.into_iter().flat_map(|bounds| bounds.tiles(side)).collect();
    tiles.into_iter().collect()
}
