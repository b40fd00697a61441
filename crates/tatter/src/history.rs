//! Edits of a job in memory, each of which can be undone, back to the start.

use std::path::Path;
use std::sync::Arc;

use tatter_core::explain::{Class, Explain};
use tatter_core::model::{Job, Placement, Wear};
use tatter_core::task::Task;

use crate::place::{self, PlaceError, PlaceRequest, SizeChoice};
use crate::scatter::{self, ScatterFailed, Yielded};
use crate::steps::Steps;
use crate::wear::{self, WearFailed};

/// One edit. All a person does to a job in the desk is one of these.
#[derive(Clone, Debug)]
pub enum Edit {
    /// Lay a patch on the garment, at its own size or with a side that is told.
    Lay(Box<PlaceRequest>),
    /// A placement becomes another of the same id: moved, turned, another size, mirrored, matched otherwise.
    Change(Box<Placement>),
    /// Take a placement away.
    Remove(String),
    /// What a rule yields takes the place of what it yielded before, if it did; what a person changed or took away stays so.
    Scatter(Box<Yielded>),
    /// Take a scatter away with its placements, except those that were changed by hand.
    RemoveScatter(String),
    /// A mark of wear comes in, or becomes another of the same id.
    Wear(Box<Wear>),
    /// Take a mark of wear away.
    RemoveWear(String),
}

/// Why an edit was not made.
#[derive(Debug, thiserror::Error)]
pub enum EditFailed {
    /// Of a placement.
    #[error(transparent)]
    Place(#[from] PlaceError),
    /// Of a scatter.
    #[error(transparent)]
    Scatter(#[from] ScatterFailed),
    /// Of a mark of wear.
    #[error(transparent)]
    Wear(#[from] WearFailed),
}

impl Explain for EditFailed {
    fn next(&self) -> String {
        match self {
            Self::Place(error) => error.next(),
            Self::Scatter(error) => error.next(),
            Self::Wear(error) => error.next(),
        }
    }

    fn class(&self) -> Class {
        match self {
            Self::Place(error) => error.class(),
            Self::Scatter(error) => error.class(),
            Self::Wear(error) => error.class(),
        }
    }
}

/// A job as it is, as it was, and as it was before it was undone.
#[derive(Clone, Debug)]
pub struct History(Steps<Job>);

impl History {
    /// Begin with a job as it was read.
    pub fn new(job: Job) -> Self {
        Self(Steps::new(job))
    }

    /// The job as it is now.
    pub fn job(&self) -> &Arc<Job> {
        self.0.now()
    }

    /// Make an edit. Gives the id of the placement, scatter or mark it is about.
    ///
    /// # Errors
    /// [`EditFailed`] when no relative path leads to a patch, or what is to be changed is not there; nothing is changed then.
    pub fn make(&mut self, edit: &Edit) -> Result<String, EditFailed> {
        self.0.let_go();
        let (label, id, job) = self.edited(edit)?;
        self.0.make(label, job);
        Ok(id)
    }

    /// Make an edit of a gesture that is going on, such as a drag: all edits until [`History::let_go`] are one step.
    ///
    /// # Errors
    /// As [`History::make`].
    pub fn make_in_gesture(&mut self, edit: &Edit) -> Result<String, EditFailed> {
        let (label, id, job) = self.edited(edit)?;
        self.0.make_in_gesture(label, job);
        Ok(id)
    }

    /// Whether a gesture goes on.
    pub fn is_dragging(&self) -> bool {
        self.0.is_in_gesture()
    }

    /// The gesture is over.
    pub fn let_go(&mut self) {
        self.0.let_go();
    }

    /// Take up a whole job, such as one that a crash left unsaved, as one step.
    pub fn take_up(&mut self, label: impl Into<String>, job: Job) {
        self.0.make(label, job);
    }

    /// The job after an edit, with the edit's name and what it is about.
    fn edited(&self, edit: &Edit) -> Result<(String, String, Job), EditFailed> {
        let mut job = Job::clone(self.job());
        let nowhere = Path::new("");
        let found = |job: &Job, id: &str| {
            let at = job.placements.iter().position(|placement| placement.id == id);
            at.ok_or_else(|| PlaceError::NoSuchPlacement { id: id.to_owned(), job: nowhere.to_owned() })
        };
        match edit {
            Edit::Lay(request) => {
                let size = match request.size {
                    SizeChoice::Side(side) => Some(side),
                    SizeChoice::Own | SizeChoice::Times(_) => None,
                };
                let id = place::add(&mut job, request, size)?;
                Ok((format!("lay {id}"), id, job))
            }
            Edit::Change(placement) => {
                let at = found(&job, &placement.id)?;
                let label = format!("{} {}", what_changes(&job.placements[at], placement), placement.id);
                job.placements[at] = Placement::clone(placement);
                Ok((label, placement.id.clone(), job))
            }
            Edit::Remove(id) => {
                let at = found(&job, id)?;
                job.placements.remove(at);
                job.forget_missing();
                Ok((format!("remove {id}"), id.clone(), job))
            }
            Edit::Scatter(yielded) => {
                let id = yielded.draft.rule.id.clone();
                let known = job.scatters.iter().find(|scatter| scatter.id == id);
                let label = format!("{} {id}", known.map_or("throw", |known| scatter::what_changes(known, &yielded.draft.rule)));
                Yielded::clone(yielded).bring_into(&mut job, &Task::new());
                Ok((label, id, job))
            }
            Edit::RemoveScatter(id) => {
                scatter::remove_in(&mut job, id, nowhere)?;
                Ok((format!("remove {id}"), id.clone(), job))
            }
            Edit::Wear(mark) => {
                let label = if wear::put(&mut job, Wear::clone(mark)) { "change" } else { "add" };
                Ok((format!("{label} {}", mark.id), mark.id.clone(), job))
            }
            Edit::RemoveWear(id) => {
                wear::remove_in(&mut job, id, nowhere)?;
                Ok((format!("remove {id}"), id.clone(), job))
            }
        }
    }

    /// What undo would take back; `None` at the start.
    pub fn undo_label(&self) -> Option<&str> {
        self.0.undo_label()
    }

    /// What redo would do again; `None` when nothing was undone.
    pub fn redo_label(&self) -> Option<&str> {
        self.0.redo_label()
    }

    /// One step back; whether there was one.
    pub fn undo(&mut self) -> bool {
        self.0.undo()
    }

    /// One step forth again; whether there was one.
    pub fn redo(&mut self) -> bool {
        self.0.redo()
    }

    /// The job as it is now is what the file holds.
    pub fn note_saved(&mut self) {
        self.0.note_saved();
    }

    /// Whether the file holds the job as it is now.
    pub fn is_saved(&self) -> bool {
        self.0.is_saved()
    }
}

/// A verb for the difference of two placements.
fn what_changes(before: &Placement, after: &Placement) -> &'static str {
    if before.spot != after.spot {
        "move"
    } else if before.turn != after.turn {
        "turn"
    } else if before.size != after.size {
        "size"
    } else if before.mirror != after.mirror {
        "mirror"
    } else if before.rules != after.rules {
        "set the rules of"
    } else if before.matching.grade != after.matching.grade {
        "grade"
    } else if before.matching != after.matching {
        "match"
    } else {
        "change"
    }
}

#[cfg(test)]
mod tests {
    use std::path::PathBuf;

    use tatter_core::angle::Angle;
    use tatter_core::channel::PerChannel;
    use tatter_core::model::{Match, Spot};
    use tatter_core::rng::Rng;
    use tatter_core::units::Mm;

    use super::*;

    fn lay(patch: &str, at: [f32; 2]) -> Edit {
        Edit::Lay(Box::new(PlaceRequest {
            job: PathBuf::from("smock.tatter.toml"),
            patch: PathBuf::from(format!("{patch}.patch")),
            spot: Spot::Uv { at, part: None },
            turn: Angle::ZERO,
            size: SizeChoice::Own,
            mirror: false,
            rules: PerChannel::default(),
            matching: Match::default(),
        }))
    }

    /// An edit that a person could make of this job.
    fn any_edit(rng: &mut Rng, job: &Job) -> Edit {
        let kind = if job.placements.is_empty() { 0 } else { rng.below(7) };
        if kind == 0 {
            return lay(["rip", "moth", "burn"][rng.below(3)], [rng.unit(), rng.unit()]);
        }
        let mut placement = job.placements[rng.below(job.placements.len())].clone();
        match kind {
            1 => placement.spot = Spot::Point([rng.unit(), rng.unit(), rng.unit()]),
            2 => placement.turn = Angle::degrees(rng.range(-180.0, 180.0)),
            3 => placement.size = Some(Mm(rng.range(5.0, 200.0))),
            4 => placement.mirror = !placement.mirror,
            5 => placement.matching.strength = rng.unit(),
            _ => return Edit::Remove(placement.id),
        }
        Edit::Change(Box::new(placement))
    }

    /// The model is the list of all jobs there were: undo and redo walk it, an edit cuts it off behind.
    #[test]
    fn random_edits_undone_and_redone_give_every_job_again() {
        for seed in 0..40 {
            let mut rng = Rng::new(seed);
            let mut history = History::new(Job { name: "smock".to_owned(), ..Job::default() });
            let mut model = vec![Job::clone(history.job())];
            let mut at = 0_usize;
            for _ in 0..60 {
                match rng.below(4) {
                    0 => {
                        assert_eq!(history.undo(), at > 0, "seed {seed}: undo at {at}");
                        at = at.saturating_sub(1);
                    }
                    1 => {
                        assert_eq!(history.redo(), at + 1 < model.len(), "seed {seed}: redo at {at}");
                        at = (at + 1).min(model.len() - 1);
                    }
                    _ => {
                        let edit = any_edit(&mut rng, history.job());
                        history.make(&edit).unwrap();
                        model.truncate(at + 1);
                        model.push(Job::clone(history.job()));
                        at += 1;
                        assert_ne!(model[at], model[at - 1], "seed {seed}: {edit:?} did something");
                    }
                }
                assert_eq!(**history.job(), model[at], "seed {seed}: step {at}");
            }
            while history.redo() {}
            assert_eq!(**history.job(), model[model.len() - 1], "seed {seed}: redone to the end");
            while history.undo() {}
            assert_eq!(**history.job(), model[0], "seed {seed}: undone to the start");
            assert_eq!(history.undo_label(), None, "seed {seed}: nothing is left to undo");
        }
    }

    #[test]
    fn a_drag_is_one_step() {
        let mut history = History::new(Job::default());
        let id = history.make(&lay("rip", [0.5; 2])).unwrap();
        for step in 0..5 {
            let mut placement = history.job().placements[0].clone();
            placement.spot = Spot::Uv { at: [0.1 * step as f32, 0.2], part: None };
            history.make_in_gesture(&Edit::Change(Box::new(placement))).unwrap();
        }
        history.let_go();
        assert_eq!(history.undo_label(), Some(format!("move {id}").as_str()), "named after what it did");
        history.undo();
        assert_eq!(history.job().placements[0].spot, Spot::Uv { at: [0.5; 2], part: None }, "back where it was laid");
        let gone = history.make(&Edit::Remove("nothing".to_owned()));
        assert!(matches!(gone, Err(EditFailed::Place(PlaceError::NoSuchPlacement { .. }))), "what is not there can't be removed");
        assert!(history.redo_label().is_some(), "and a refused edit forgets nothing");
    }

    #[test]
    fn saved_is_where_it_was_saved() {
        let mut history = History::new(Job::default());
        assert!(history.is_saved(), "as read");
        history.make(&lay("rip", [0.5; 2])).unwrap();
        assert!(!history.is_saved(), "changed");
        history.note_saved();
        history.undo();
        assert!(!history.is_saved(), "undone since");
        history.redo();
        assert!(history.is_saved(), "and redone");
        history.undo();
        history.make(&lay("moth", [0.2; 2])).unwrap();
        assert!(!history.is_saved(), "the saved state can't be reached any more");
    }
}
