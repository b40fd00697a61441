//! What a delivery will change, decided before anything is touched.

use std::borrow::Cow;
use std::collections::{BTreeMap, BTreeSet};
use std::fs;
use std::io;
use std::path::{Path, PathBuf};

use rayon::prelude::*;

use super::history::{History, Record};
use super::journal::Change;
use super::{Content, DeliverError, Delivered, Outcome, Outgoing, Standing, TargetState, WhenChanged};
use crate::disk::{folder_of, real_path};
use crate::pieces::Pieces;
use crate::store::{Content as Kept, Stamp, Store, StoreError, stamp};

/// How each target stands, in the order asked.
///
/// # Errors
/// When a target or the store cannot be read.
pub fn survey(store: &Store, targets: &[&str]) -> Result<Vec<TargetState>, DeliverError> {
    let history = History::read(store)?;
    let standing = |target: &&str| {
        let found = Found::at(store, target)?;
        Ok(TargetState { target: (*target).to_owned(), standing: found.standing(store, &history) })
    };
    targets.par_iter().map(standing).collect()
}

/// What lies at a target now.
struct Found {
    target: String,
    real: PathBuf,
    content: Option<Kept>,
    stamp: Option<Stamp>,
}

fn reading(path: &Path) -> impl FnOnce(io::Error) -> DeliverError {
    let path = path.to_path_buf();
    move |source| DeliverError::Disk { doing: "reading", source, path }
}

impl Found {
    fn at(store: &Store, target: &str) -> Result<Self, DeliverError> {
        let named = store.job_folder().join(target);
        let real = real_path(&named).map_err(reading(&named))?;
        if real.exists() && !real.is_file() {
            return Err(DeliverError::NotAFile { path: real });
        }
        let stamp = stamp(&real);
        let content = store.content_of(&real).map_err(reading(&real))?;
        Ok(Self { target: target.to_owned(), real, content, stamp })
    }

    fn standing(&self, store: &Store, history: &History) -> Standing {
        let delivered = history.delivered(&self.target);
        let pristine = store.pristine_content(&self.target).ok();
        match &self.content {
            None if delivered.is_none() && pristine.is_none() => Standing::Free,
            None => Standing::Missing,
            Some(content) if Some(content) == delivered => Standing::Delivered,
            Some(content) if Some(content) == pristine => Standing::Pristine,
            Some(_) => Standing::Changed,
        }
    }

    fn report(&self, outcome: Outcome, after: Option<&Kept>) -> Delivered {
        Delivered {
            target: self.target.clone(),
            path: self.real.clone(),
            outcome,
            bytes: after.or(self.content.as_ref()).map_or(0, |content| content.bytes),
            bytes_before: self.content.as_ref().map(|content| content.bytes),
        }
    }
}

/// Where the new bytes of a change come from.
enum Source<'a> {
    Given(&'a Pieces),
    /// A file of the store.
    Kept(PathBuf),
}

/// What will change.
pub(super) struct Plan<'a> {
    pub(super) changes: Vec<Change>,
    pub(super) files: Vec<Delivered>,
    /// Folders that must be made, outermost first, relative to the job's folder.
    pub(super) made_folders: Vec<PathBuf>,
    sources: BTreeMap<String, Source<'a>>,
    stamps: Vec<(PathBuf, Option<Stamp>)>,
}

impl<'a> Plan<'a> {
    const fn empty() -> Self {
        Self { changes: Vec::new(), files: Vec::new(), made_folders: Vec::new(), sources: BTreeMap::new(), stamps: Vec::new() }
    }

    /// What delivering `files` changes.
    pub(super) fn deliver(
        store: &Store,
        history: &History,
        files: &'a [Outgoing],
        when: WhenChanged,
    ) -> Result<Self, DeliverError> {
        let found: Result<Vec<Found>, DeliverError> = files.par_iter().map(|file| Found::at(store, &file.target)).collect();
        let found = found?;
        refuse_twice(&found)?;
        let changed: Vec<bool> = found.iter().map(|f| f.standing(store, history) == Standing::Changed).collect();
        if when == WhenChanged::Refuse && changed.contains(&true) {
            let targets = found.iter().zip(&changed).filter(|(_, changed)| **changed).map(|(f, _)| f.target.clone());
            return Err(DeliverError::Changed { targets: targets.collect() });
        }
        let mut plan = Self::empty();
        for ((file, found), changed) in files.iter().zip(found).zip(changed) {
            if changed {
                plan.files.push(found.report(Outcome::Left, None));
                continue;
            }
            let (source, after) = source_of(store, file)?;
            plan.add(store, found, Some((source, after)))?;
        }
        Ok(plan)
    }

    /// What undoing a delivery changes.
    pub(super) fn undo(store: &Store, record: &Record, when: WhenChanged) -> Result<Self, DeliverError> {
        let found: Result<Vec<Found>, DeliverError> =
            record.files.par_iter().map(|entry| Found::at(store, &entry.target)).collect();
        let found = found?;
        refuse_twice(&found)?;
        // A target that is gone holds nothing that could be lost.
        let foreign: Vec<bool> = found
            .iter()
            .zip(&record.files)
            .map(|(found, entry)| found.content.as_ref().is_some_and(|content| *content != entry.after))
            .collect();
        if when == WhenChanged::Refuse && foreign.contains(&true) {
            let targets = found.iter().zip(&foreign).filter(|(_, foreign)| **foreign).map(|(f, _)| f.target.clone());
            return Err(DeliverError::ChangedSince { targets: targets.collect() });
        }
        let mut plan = Self::empty();
        for ((entry, found), foreign) in record.files.iter().zip(found).zip(foreign) {
            if foreign {
                plan.files.push(found.report(Outcome::Left, None));
                continue;
            }
            let after = match &entry.before {
                Some(before) => Some((Source::Kept(store.verified(before, &entry.target)?), before.clone())),
                None => None,
            };
            plan.add(store, found, after)?;
        }
        Ok(plan)
    }

    fn add(&mut self, store: &Store, found: Found, after: Option<(Source<'a>, Kept)>) -> Result<(), DeliverError> {
        let (source, after) = after.unzip();
        if found.content == after {
            self.files.push(found.report(Outcome::Unchanged, None));
            return Ok(());
        }
        if fs::metadata(&found.real).is_ok_and(|data| data.permissions().readonly()) {
            return Err(DeliverError::ReadOnly { path: found.real });
        }
        let outcome = if after.is_some() { Outcome::Written } else { Outcome::Removed };
        self.files.push(found.report(outcome, after.as_ref()));
        self.note_folders(store, &found.real);
        // The same old content of two targets is kept once.
        let place = found.content.as_ref().map(|content| store.kept_path(content, &found.target));
        let twice = place.is_some()
            && self
                .changes
                .iter()
                .filter(|change| change.keeps_before)
                .any(|change| change.before.as_ref().map(|content| store.kept_path(content, &change.target)) == place);
        self.stamps.push((found.real.clone(), found.stamp));
        self.sources.extend(source.map(|source| (found.target.clone(), source)));
        self.changes.push(Change {
            real: within(store, &found.real),
            target: found.target,
            before: found.content,
            after,
            keeps_before: place.is_some_and(|place| !place.exists()) && !twice,
        });
        Ok(())
    }

    fn note_folders(&mut self, store: &Store, real: &Path) {
        let mut missing = Vec::new();
        let mut folder = folder_of(real);
        while !folder.exists() {
            missing.push(within(store, &folder));
            folder = folder_of(&folder);
        }
        for folder in missing.into_iter().rev() {
            if !self.made_folders.contains(&folder) {
                self.made_folders.push(folder);
            }
        }
    }

    /// The new bytes of a change.
    pub(super) fn bytes(&self, change: &Change) -> io::Result<Cow<'_, Pieces>> {
        match self.sources.get(&change.target) {
            Some(Source::Given(pieces)) => Ok(Cow::Borrowed(pieces)),
            Some(Source::Kept(path)) => Pieces::of_file(path).map(Cow::Owned),
            None => Err(io::ErrorKind::NotFound.into()),
        }
    }

    /// A target that was written since it was looked at.
    pub(super) fn changed_meanwhile(&self) -> Option<PathBuf> {
        self.stamps.iter().find(|(path, seen)| stamp(path) != *seen).map(|(path, _)| path.clone())
    }
}

fn refuse_twice(found: &[Found]) -> Result<(), DeliverError> {
    let mut seen = BTreeSet::new();
    for file in found {
        if !seen.insert(&file.real) {
            return Err(DeliverError::Twice { path: file.real.clone() });
        }
    }
    Ok(())
}

fn source_of<'a>(store: &Store, file: &'a Outgoing) -> Result<(Source<'a>, Kept), StoreError> {
    let pristine = |target: &str| {
        let content = store.pristine_content(target)?.clone();
        Ok((Source::Kept(store.verified(&content, target)?), content))
    };
    match &file.content {
        Content::Bytes(hashed) => Ok((Source::Given(hashed.pieces()), hashed.content().clone())),
        Content::Pristine => pristine(&file.target),
        Content::PristineOf(other) => pristine(other),
    }
}

/// Relative to the job's folder where it lies in it, so that a stopped delivery can be completed after the folder moved.
fn within(store: &Store, path: &Path) -> PathBuf {
    let home = fs::canonicalize(store.job_folder()).unwrap_or_else(|_| store.job_folder().to_path_buf());
    let inside = path.strip_prefix(&home).or_else(|_| path.strip_prefix(store.job_folder()));
    inside.map_or_else(|_| path.to_path_buf(), Path::to_path_buf)
}
