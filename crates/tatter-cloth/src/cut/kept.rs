//! What was found in a photo, for the next cut of the same photo.

use std::sync::Arc;

use tatter_core::angle::Angle;
use tatter_core::model::{CutRecipe, Scale};
use tatter_core::task::{Note, Task};

use super::flat::Flat;
use crate::isolate::{ClothHints, Isolated};
use crate::measure::Measured;

/// Where the photo lies on its cloth, the cloth as measured and the subject as found, each with what it followed from.
#[derive(Debug, Default)]
pub struct Kept {
    pub(super) flat: Slot<Scale, Option<Arc<Flat>>>,
    pub(super) measured: Slot<Seen, Measured>,
    /// What is not seen of the cloth follows from what was told.
    pub(super) isolated: Slot<(CutRecipe, ClothHints<'static>), Arc<Isolated>>,
    /// The cloth alone, once it was known where it lies.
    pub(super) cloth: Slot<CutRecipe, Measured>,
}

/// Which picture of the cloth was measured, and along what.
#[derive(Debug, PartialEq)]
pub(super) struct Seen {
    scale: Scale,
    aside: Vec<[[f32; 2]; 4]>,
    grain: Option<Angle>,
}

/// Something that was found, what it followed from, and what was said on the way.
#[derive(Debug)]
pub(super) struct Slot<B, T>(Option<(B, T, Vec<Note>)>);

impl<B, T> Default for Slot<B, T> {
    fn default() -> Self {
        Self(None)
    }
}

impl<B: PartialEq, T: Clone> Slot<B, T> {
    /// What is kept if it would be found again, and what was said then, else what `find` finds. What fails is not kept.
    pub(super) fn get<E>(&mut self, by: B, task: &Task, find: impl FnOnce() -> Result<T, E>) -> Result<T, E> {
        if let Some((known, found, notes)) = &self.0
            && *known == by
        {
            notes.iter().for_each(|note| task.note(note.code, note.text.clone()));
            return Ok(found.clone());
        }
        self.0 = None;
        let heard = task.notes().len();
        let found = find()?;
        self.0 = Some((by, found.clone(), task.notes().split_off(heard)));
        Ok(found)
    }
}

impl Seen {
    pub(super) fn of(recipe: &CutRecipe) -> Self {
        Self { scale: picture_by(recipe.scale), aside: recipe.aside.clone(), grain: recipe.grain }
    }
}

/// What isolating looks at, besides the threads that were measured.
pub(super) fn told_of_subject(recipe: &CutRecipe) -> CutRecipe {
    CutRecipe { grain: None, ..told_of_cloth(recipe) }
}

/// What measuring the cloth and finding the subject look at.
pub(super) fn told_of_cloth(recipe: &CutRecipe) -> CutRecipe {
    CutRecipe {
        scale: picture_by(recipe.scale),
        picks_per_cm: None,
        upright: false,
        light_from: None,
        light_elevation: None,
        canvas: None,
        ..recipe.clone()
    }
}

/// A scale by what lies on the cloth makes another picture of the photo: straightened, or with that set aside. All others change none.
pub(super) const fn picture_by(scale: Scale) -> Scale {
    match scale {
        Scale::Rectangle { .. } | Scale::FoundRuler => scale,
        _ => Scale::Unknown,
    }
}
