//! Delivery: the built maps go where the renderer reads them, all or none.
//!
//! Whatever stops a delivery (kill, power, a full disk, a refused rename), every target is afterwards wholly as before, or
//! every target is wholly new; a run that was stopped after its decision is completed by [`recover`], which every later
//! delivery calls first. Targets somebody else changed are never overwritten unasked. [`undo`] goes back one delivery at
//! a time, to the bit. Where symbolic links lead, the real file is replaced; permissions stay.

mod error;
mod history;
mod journal;
mod plan;

use std::path::PathBuf;

use tatter_core::task::Task;

pub use error::DeliverError;
use history::{Entry, History, Record};
use journal::{Failed, Journal, Phase};
use plan::Plan;
pub use plan::survey;

use crate::store::{Hashed, Lock, Store};

/// How a target stands before a delivery.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Standing {
    /// As it was before Tatter touched it.
    Pristine,
    /// As Tatter last delivered it.
    Delivered,
    /// Neither: somebody else changed it.
    Changed,
    /// It was there once, and is gone.
    Missing,
    /// Nothing is there, and nothing is expected: a new file in a delivery folder.
    Free,
}

/// A target and how it stands.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct TargetState {
    /// Relative to the job file.
    pub target: String,
    /// How it stands.
    pub standing: Standing,
}

/// What is to stand in a target.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Content {
    /// These bytes.
    Bytes(Hashed),
    /// Its own pristine content: a map no placement touches.
    Pristine,
    /// The pristine content of another target: a map no placement touches, delivered to another folder.
    PristineOf(String),
}

/// One file to deliver.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Outgoing {
    /// Relative to the job file, `/` between folders.
    pub target: String,
    /// What is to stand there.
    pub content: Content,
}

/// What to do about targets somebody else changed.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum WhenChanged {
    /// Deliver nothing and say which.
    #[default]
    Refuse,
    /// Leave them as they are and deliver the others.
    Leave,
}

/// What became of one file.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Outcome {
    /// It has new content.
    Written,
    /// It already had this content.
    Unchanged,
    /// Somebody else had changed it, and it was left so.
    Left,
    /// It was removed: undoing the delivery that made it.
    Removed,
}

/// One file of a receipt.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Delivered {
    /// Relative to the job file.
    pub target: String,
    /// The real file, symbolic links followed.
    pub path: PathBuf,
    /// What became of it.
    pub outcome: Outcome,
    /// Its size now.
    pub bytes: u64,
    /// Its size before, if it was there.
    pub bytes_before: Option<u64>,
}

/// What a delivery, or its undoing, did.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Receipt {
    /// The delivery that was made or undone, from 1; 0 when there was nothing to write.
    pub number: u32,
    /// Every file asked for, in the order asked.
    pub files: Vec<Delivered>,
}

/// What [`recover`] did about a run that had been stopped.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Recovered {
    /// The delivery.
    pub number: u32,
    /// It was completed; otherwise everything is as before it.
    pub completed: bool,
    /// Its targets.
    pub targets: Vec<String>,
    /// Copies of what somebody else had written into targets since.
    pub rescued: Vec<PathBuf>,
}

/// Deliver files, all or none.
///
/// Pass every map of the job each time, those no placement touches as [`Content::Pristine`], so that a map that is no
/// longer touched becomes pristine again. Files that already have their content are not written. Peak memory is one file
/// at a time on top of what is passed.
///
/// # Errors
/// See [`DeliverError`]; all targets are then as they were, save for [`DeliverError::CutOff`]. Files whose content was assumed
/// ([`Store::assume`]) are read while the new ones are written: with [`DeliverError::NotAsAssumed`] the assumptions are gone, and what was
/// computed from them must be computed anew.
pub fn deliver(store: &Store, files: &[Outgoing], when: WhenChanged, task: &Task) -> Result<Receipt, DeliverError> {
    let _lock = enter(store)?;
    complete_stopped(store, task)?;
    let history = History::read(store)?;
    let plan = task.stage("compare", || Plan::deliver(store, &history, files, when))?;
    if plan.changes.is_empty() {
        return if store.assumptions_hold() {
            Ok(Receipt { number: 0, files: plan.files })
        } else {
            Err(DeliverError::NotAsAssumed)
        };
    }
    let number = history.next_number();
    let entries = plan.changes.iter().filter_map(|change| {
        let after = change.after.clone()?;
        Some(Entry { target: change.target.clone(), before: change.before.clone(), after })
    });
    let mut next = history.clone();
    next.deliveries.push(Record { number, files: entries.collect() });
    run(store, number, &plan, &next, task)?;
    Ok(Receipt { number, files: plan.files })
}

/// Undo the last delivery that was not undone: its targets get back what they held before it.
///
/// # Errors
/// [`DeliverError::NothingToUndo`]; [`DeliverError::ChangedSince`] when somebody else changed a target since; see
/// [`DeliverError`].
pub fn undo(store: &Store, when: WhenChanged, task: &Task) -> Result<Receipt, DeliverError> {
    let _lock = enter(store)?;
    complete_stopped(store, task)?;
    let mut history = History::read(store)?;
    let Some(record) = history.deliveries.pop() else {
        return Err(DeliverError::NothingToUndo { folder: store.folder().to_path_buf() });
    };
    let plan = task.stage("compare", || Plan::undo(store, &record, when))?;
    run(store, record.number, &plan, &history, task)?;
    Ok(Receipt { number: record.number, files: plan.files })
}

/// Complete or clear away a delivery that was stopped, if there is one.
///
/// # Errors
/// [`DeliverError::Busy`] when a delivery is under way, or the disk's answer.
pub fn recover(store: &Store, task: &Task) -> Result<Option<Recovered>, DeliverError> {
    if !store.folder().is_dir() {
        return Ok(None);
    }
    let _lock = enter(store)?;
    complete_stopped(store, task)
}

fn enter(store: &Store) -> Result<Lock, DeliverError> {
    store.try_lock()?.ok_or_else(|| DeliverError::Busy { folder: store.folder().to_path_buf() })
}

impl From<Failed> for DeliverError {
    fn from(Failed { doing, source, path }: Failed) -> Self {
        Self::Disk { doing, source, path }
    }
}

fn complete_stopped(store: &Store, task: &Task) -> Result<Option<Recovered>, DeliverError> {
    let Some((phase, journal)) = Journal::find(store)? else { return Ok(None) };
    let mut rescued = Vec::new();
    let cut_off = |Failed { source, path, .. }: Failed| DeliverError::CutOff { source, path };
    match phase {
        Phase::Prepare => journal.abandon(store)?,
        Phase::Revert => journal.revert(store).map_err(cut_off)?,
        Phase::Commit => {
            rescued = journal.rescue(store).map_err(cut_off)?;
            journal.forward(store).map_err(cut_off)?;
            journal.clear(store).map_err(cut_off)?;
        }
    }
    let completed = phase == Phase::Commit;
    let what = if completed { "completed" } else { "cleared away; its files are as before" };
    task.note("delivery-recovered", format!("delivery {} had been stopped and was {what}", journal.number));
    for place in &rescued {
        let text = format!("a map had been changed after the stop; that state is kept: {}", place.display());
        task.note("delivery-rescued", text);
    }
    let targets = journal.changes.iter().map(|change| change.target.clone()).collect();
    Ok(Some(Recovered { number: journal.number, completed, targets, rescued }))
}

/// Carry a plan out, or leave everything as it was.
fn run(store: &Store, number: u32, plan: &Plan<'_>, next: &History, task: &Task) -> Result<(), DeliverError> {
    let journal = Journal::new(number, plan.changes.clone(), plan.made_folders.clone());
    // The processor reads what was assumed while the medium takes the new files.
    let (ready, holds) =
        task.stage("write", || rayon::join(|| prepare(store, &journal, plan, next, task), || store.assumptions_hold()));
    if let Err(error) = ready.and(if holds { Ok(()) } else { Err(DeliverError::NotAsAssumed) }) {
        // What stopped it is what people need to hear; leftovers are cleared away by the next run if not now.
        let _ = journal.abandon(store);
        return Err(error);
    }
    task.stage("replace", || commit(store, &journal))
}

fn prepare(store: &Store, journal: &Journal, plan: &Plan<'_>, next: &History, task: &Task) -> Result<(), DeliverError> {
    journal.begin(store)?;
    journal.prepare(store, next, |change| plan.bytes(change))?;
    if let Some(path) = plan.changed_meanwhile() {
        return Err(DeliverError::ChangedMeanwhile { path });
    }
    task.check().map_err(|tatter_core::task::Cancelled| DeliverError::Cancelled)
}

fn commit(store: &Store, journal: &Journal) -> Result<(), DeliverError> {
    if let Err(failed) = Journal::turn(store, Phase::Prepare, Phase::Commit).and_then(|()| journal.forward(store)) {
        return Err(go_back(store, journal, failed));
    }
    // Everything is delivered; what is left over is cleared away by the next run if not now.
    let _ = journal.clear(store);
    Ok(())
}

fn go_back(store: &Store, journal: &Journal, failed: Failed) -> DeliverError {
    // A delivery refused at its very decision is still in its first phase, and no target has changed.
    if matches!(Journal::find(store), Ok(Some((Phase::Prepare, _)))) {
        let _ = journal.abandon(store);
        return failed.into();
    }
    match Journal::turn(store, Phase::Commit, Phase::Revert).and_then(|()| journal.revert(store)) {
        Ok(()) => failed.into(),
        Err(_) => DeliverError::CutOff { source: failed.source, path: failed.path },
    }
}

#[cfg(test)]
mod tests;
