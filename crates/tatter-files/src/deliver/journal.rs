//! The journal: what a delivery is about to do, so that it is done wholly or not at all whatever stops it.
//!
//! One file, whose *name* is the phase, so that going from one phase to the next is one rename and needs no room:
//! `journal-prepare.json` → all new files lie finished beside their targets → `journal-commit.json` → new files take their
//! names. If a rename is refused half way, `journal-revert.json` leads back. Found after a crash: prepare is cleared away,
//! commit is completed, revert is completed.

use std::borrow::Cow;
use std::fs;
use std::io;
use std::path::{Path, PathBuf};
use std::sync::atomic::{AtomicUsize, Ordering};
use std::thread;

use serde::{Deserialize, Serialize};

use super::history::{self, History};
use crate::disk::{Disk, beside, folder_of};
use crate::pieces::Pieces;
use crate::store::{Content, FORMAT, Store, StoreError, read_books};

/// Files written or removed at once, each on a thread of its own.
const FILES_AT_ONCE: usize = 8;

/// How far a delivery has come.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Phase {
    /// New files are being laid ready; no target has changed.
    Prepare,
    /// New files are taking their names.
    Commit,
    /// Old files are taking their names back.
    Revert,
}

impl Phase {
    const ALL: [Self; 3] = [Self::Prepare, Self::Commit, Self::Revert];

    const fn file_name(self) -> &'static str {
        match self {
            Self::Prepare => "journal-prepare.json",
            Self::Commit => "journal-commit.json",
            Self::Revert => "journal-revert.json",
        }
    }
}

/// One target that changes.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub(super) struct Change {
    /// As the job names it.
    pub(super) target: String,
    /// The file that is replaced, symbolic links followed; relative to the job's folder where it lies in it.
    pub(super) real: PathBuf,
    /// Its content before; `None`: there was no such file.
    pub(super) before: Option<Content>,
    /// Its content after; `None`: the file goes.
    pub(super) after: Option<Content>,
    /// The old content is put into the store by this delivery.
    pub(super) keeps_before: bool,
}

/// What a delivery is about to do.
#[derive(Clone, Debug, Serialize, Deserialize)]
pub(super) struct Journal {
    pub(super) format: u32,
    /// The delivery that is made or undone.
    pub(super) number: u32,
    pub(super) changes: Vec<Change>,
    /// Folders made for it, outermost first.
    pub(super) made_folders: Vec<PathBuf>,
}

/// A failure with the file it happened at.
pub(super) struct Failed {
    pub(super) doing: &'static str,
    pub(super) source: io::Error,
    pub(super) path: PathBuf,
}

type Done = Result<(), Failed>;

fn at(doing: &'static str, path: &Path) -> impl FnOnce(io::Error) -> Failed {
    let path = path.to_path_buf();
    move |source| Failed { doing, source, path }
}

/// Work on several files at once, on a thread each up to [`FILES_AT_ONCE`]: threads that wait for the medium leave the processor to
/// the others. The first failure is told; what was begun is ended.
fn side_by_side(changes: &[&Change], work: &(dyn Fn(&Change) -> Done + Sync)) -> Done {
    let next = AtomicUsize::new(0);
    let run = || -> Done {
        while let Some(change) = changes.get(next.fetch_add(1, Ordering::Relaxed)) {
            work(change)?;
        }
        Ok(())
    };
    thread::scope(|scope| {
        let more = 1..changes.len().min(FILES_AT_ONCE);
        // With fewer threads than were asked for the work is done all the same.
        let crew: Vec<_> = more.filter_map(|_| thread::Builder::new().spawn_scoped(scope, run).ok()).collect();
        let own = run();
        let others = crew.into_iter().map(|one| one.join().unwrap_or_else(|panic| std::panic::resume_unwind(panic)));
        others.fold(own, |done, other| done.and(other))
    })
}

impl Journal {
    /// A journal with nothing in it yet.
    pub(super) const fn new(number: u32, changes: Vec<Change>, made_folders: Vec<PathBuf>) -> Self {
        Self { format: FORMAT, number, changes, made_folders }
    }

    /// The journal a stopped run left, and its phase.
    pub(super) fn find(store: &Store) -> Result<Option<(Phase, Self)>, StoreError> {
        for phase in Phase::ALL {
            let path = store.folder().join(phase.file_name());
            match read_books::<Self>(&path)? {
                Some(journal) if journal.format > FORMAT => return Err(StoreError::Newer { path }),
                Some(journal) => return Ok(Some((phase, journal))),
                None => {}
            }
        }
        Ok(None)
    }

    /// Write it down as being prepared.
    pub(super) fn begin(&self, store: &Store) -> Done {
        let path = store.folder().join(Phase::Prepare.file_name());
        let text = serde_json::to_vec_pretty(self).map_err(io::Error::from).map_err(at("writing", &path))?;
        store.disk.replace(&path, &text).map_err(at("writing", &path))
    }

    /// Lay everything ready: new files beside their targets, second names of the old ones, kept states, new history.
    pub(super) fn prepare<'a>(
        &self,
        store: &Store,
        history: &History,
        bytes: impl Fn(&Change) -> io::Result<Cow<'a, Pieces>> + Sync,
    ) -> Done {
        let disk = &store.disk;
        for folder in &self.made_folders {
            let folder = store.job_folder().join(folder);
            disk.create_folder(&folder).map_err(at("making a folder", &folder))?;
        }
        let new: Vec<&Change> = self.changes.iter().filter(|change| change.after.is_some()).collect();
        side_by_side(&new, &|change| {
            let Names { real, new, .. } = Names::of(store, change);
            let permissions = fs::metadata(&real).ok().map(|data| data.permissions());
            let content = bytes(change).map_err(at("reading what was kept for", &real))?;
            disk.write_pieces(&new, &content, permissions.as_ref()).map_err(at("writing beside the map", &real))
        })?;
        for change in &self.changes {
            let names = Names::of(store, change);
            if change.before.is_some() {
                disk.link_or_copy(&names.real, &names.old).map_err(at("keeping the old map", &names.real))?;
            }
            if let (true, Some(before)) = (change.keeps_before, &change.before) {
                let kept = store.kept_path(before, &change.target);
                disk.create_folder(&folder_of(&kept)).map_err(at("making a folder", &kept))?;
                disk.link_or_copy(&names.old, &kept).map_err(at("keeping the old map", &kept))?;
                disk.sync_folder(&folder_of(&kept)).map_err(at("keeping the old map", &kept))?;
            }
        }
        let next = history::next_path(store);
        history.write(store, &next).map_err(at("writing", &next))?;
        self.sync_targets(store)
    }

    fn sync_targets(&self, store: &Store) -> Done {
        let mut folders: Vec<PathBuf> = self.changes.iter().map(|change| folder_of(&Names::of(store, change).real)).collect();
        folders.push(store.folder().to_path_buf());
        folders.sort();
        folders.dedup();
        for folder in folders.into_iter().filter(|folder| folder.is_dir()) {
            store.disk.sync_folder(&folder).map_err(at("flushing", &folder))?;
        }
        Ok(())
    }

    /// Go to the next phase.
    pub(super) fn turn(store: &Store, from: Phase, to: Phase) -> Done {
        let path = store.folder().join(to.file_name());
        store.disk.rename(&store.folder().join(from.file_name()), &path).map_err(at("marking", &path))?;
        store.disk.sync_folder(store.folder()).map_err(at("marking", &path))
    }

    /// New files take their names; may be repeated. After this the new history counts.
    pub(super) fn forward(&self, store: &Store) -> Done {
        let disk = &store.disk;
        for change in &self.changes {
            let Names { real, new, .. } = Names::of(store, change);
            if change.after.is_none() {
                disk.remove(&real).map_err(at("removing", &real))?;
            } else if new.exists() {
                disk.rename(&new, &real).map_err(at("putting in place", &real))?;
            }
        }
        self.sync_targets(store)?;
        let (next, place) = (history::next_path(store), history::path(store));
        if next.exists() {
            disk.rename(&next, &place).map_err(at("writing", &place))?;
            disk.sync_folder(store.folder()).map_err(at("writing", &place))?;
        }
        Ok(())
    }

    /// What is left over after [`Journal::forward`].
    pub(super) fn clear(&self, store: &Store) -> Done {
        // Where the old state is kept already, all it took of the medium is given back now, which takes its time.
        side_by_side(&self.changes.iter().collect::<Vec<_>>(), &|change| {
            let old = Names::of(store, change).old;
            store.disk.remove(&old).map_err(at("removing", &old))
        })?;
        Self::close(store, Phase::Commit)
    }

    /// Old files take their names back; may be repeated.
    pub(super) fn revert(&self, store: &Store) -> Done {
        for change in &self.changes {
            let Names { real, new, old } = Names::of(store, change);
            if change.before.is_none() && !new.exists() {
                store.disk.remove(&real).map_err(at("removing", &real))?;
            }
            if old.exists() {
                store.disk.rename(&old, &real).map_err(at("putting back", &real))?;
            }
        }
        self.sweep(store)?;
        Self::close(store, Phase::Revert)
    }

    /// Nothing was replaced yet: only what was laid ready goes.
    pub(super) fn abandon(&self, store: &Store) -> Done {
        self.sweep(store)?;
        Self::close(store, Phase::Prepare)
    }

    fn sweep(&self, store: &Store) -> Done {
        let disk: &Disk = &store.disk;
        for change in &self.changes {
            let Names { new, old, .. } = Names::of(store, change);
            // A rename between two names of one file does nothing (POSIX), so the second name is removed in any case.
            for path in [&new, &old] {
                disk.remove(path).map_err(at("removing", path))?;
            }
            if let (true, Some(before)) = (change.keeps_before, &change.before) {
                // It may be a second name of the target, through which a program could change what is kept.
                let kept = store.kept_path(before, &change.target);
                disk.remove(&kept).map_err(at("removing", &kept))?;
            }
        }
        let next = history::next_path(store);
        disk.remove(&next).map_err(at("removing", &next))?;
        for folder in self.made_folders.iter().rev() {
            // A folder somebody has put something into meanwhile stays.
            let _ = disk.remove_empty_folder(&store.job_folder().join(folder));
        }
        Ok(())
    }

    fn close(store: &Store, phase: Phase) -> Done {
        let path = store.folder().join(phase.file_name());
        store.disk.remove(&path).map_err(at("removing", &path))?;
        store.disk.sync_folder(store.folder()).map_err(at("flushing", &path))
    }

    /// Content that somebody wrote into a target between the crash and now is put aside before it is replaced.
    pub(super) fn rescue(&self, store: &Store) -> Result<Vec<PathBuf>, Failed> {
        let mut rescued = Vec::new();
        for change in &self.changes {
            let Names { real, new, .. } = Names::of(store, change);
            let found = Content::of_file(&real).map_err(at("reading", &real))?;
            let due = new.exists() || change.after.is_none();
            let Some(found) = found.filter(|found| due && Some(found) != change.before.as_ref()) else { continue };
            let folder = store.folder().join("rescued");
            let name = real.file_name().map(|name| name.to_string_lossy().into_owned()).unwrap_or_default();
            let place = folder.join(format!("{}-{name}", &found.hash[..8]));
            store.disk.create_folder(&folder).map_err(at("making a folder", &folder))?;
            store.disk.copy(&real, &place).map_err(at("putting aside", &place))?;
            rescued.push(place);
        }
        Ok(rescued)
    }
}

/// The names around one target.
pub(super) struct Names {
    pub(super) real: PathBuf,
    pub(super) new: PathBuf,
    pub(super) old: PathBuf,
}

impl Names {
    pub(super) fn of(store: &Store, change: &Change) -> Self {
        let real = store.job_folder().join(&change.real);
        Self { new: beside(&real, "new"), old: beside(&real, "old"), real }
    }
}
