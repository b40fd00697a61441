//! What was found in a photo, for the next cut of the same photo.

use std::sync::Arc;

use tatter_core::model::{CutRecipe, Scale};
use tatter_core::task::{Note, Task};

use super::CutError;
use crate::isolate::Isolated;
use crate::measure::Measured;

/// The cloth as measured and the subject as found, with what they followed from.
#[derive(Debug, Default)]
pub struct Kept(Option<Found>);

#[derive(Debug)]
struct Found {
    /// All that was told of it.
    by: CutRecipe,
    cloth: Measured,
    isolated: Arc<Isolated>,
    /// What was said on the way, to be said again.
    notes: Vec<Note>,
}

/// Measured cloth, and a subject that may be kept for another time.
pub(super) type Subject = (Measured, Arc<Isolated>);

impl Kept {
    /// What is kept if it would be found again, else what `find` finds. What fails is not kept.
    pub(super) fn subject(
        kept: Option<&mut Self>,
        recipe: &CutRecipe,
        task: &Task,
        find: impl FnOnce() -> Result<(Measured, Isolated), CutError>,
    ) -> Result<Subject, CutError> {
        let Some(kept) = kept else { return find().map(|(cloth, isolated)| (cloth, Arc::new(isolated))) };
        let by = told_of_it(recipe);
        if let Some(found) = kept.0.as_ref().filter(|found| found.by == by) {
            found.notes.iter().for_each(|note| task.note(note.code, note.text.clone()));
            return Ok((found.cloth, Arc::clone(&found.isolated)));
        }
        kept.0 = None;
        let heard = task.notes().len();
        let (cloth, isolated) = find()?;
        let isolated = Arc::new(isolated);
        let notes = task.notes().split_off(heard);
        kept.0 = Some(Found { by, cloth, isolated: Arc::clone(&isolated), notes });
        Ok((cloth, isolated))
    }
}

/// What measuring and isolating look at. The grain stays in it: threads are measured along it, and the subject is found by them.
fn told_of_it(recipe: &CutRecipe) -> CutRecipe {
    CutRecipe {
        scale: Scale::Unknown,
        picks_per_cm: None,
        upright: false,
        light_from: None,
        light_elevation: None,
        canvas: None,
        ..recipe.clone()
    }
}
