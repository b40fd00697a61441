//! Noticing that files on disk changed: by the system's own events, and by looking now and then where those do not come
//! (network drives, too many watched folders).

use std::collections::{BTreeMap, BTreeSet};
use std::fs;
use std::path::{Path, PathBuf};
use std::sync::mpsc::{Receiver, channel};
use std::time::{Duration, Instant, SystemTime};

use notify::event::{AccessKind, AccessMode};
use notify::{Event, EventKind, RecommendedWatcher, RecursiveMode, Watcher as _};

use crate::disk::folder_of;
use crate::store::{Stamp, stamp};

/// How files stand: length and time of the last change, by path; of a folder, all files in it.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Standings(BTreeMap<PathBuf, Option<Stamp>>);

/// How these files and folders stand now.
pub fn standings(paths: &[PathBuf]) -> Standings {
    let mut found = BTreeMap::new();
    let mut folders = Vec::new();
    for path in paths {
        match fs::read_dir(path) {
            Ok(entries) => {
                let files = entries.filter_map(|entry| Some(entry.ok()?.path())).filter(|path| !is_hidden(path));
                found.extend(files.map(|path| (path.clone(), stamp(&path))));
                folders.push(path.clone());
            }
            Err(_) => {
                found.insert(path.clone(), stamp(path));
            }
        }
    }
    // A folder that is gone differs from an empty one; one that also lies in another of them stands for what is in it alone.
    found.extend(folders.into_iter().map(|folder| (folder, Some((0, None)))));
    Standings(found)
}

/// Names of what is not finished, and of what systems keep for themselves.
fn is_hidden(path: &Path) -> bool {
    path.file_name().is_some_and(|name| name.to_string_lossy().starts_with('.'))
}

impl Standings {
    /// Paths that stand otherwise here than before, or are on one side only.
    pub fn changed_since(&self, before: &Self) -> Vec<PathBuf> {
        let all: BTreeSet<&PathBuf> = self.0.keys().chain(before.0.keys()).collect();
        all.into_iter().filter(|path| self.0.get(*path) != before.0.get(*path)).cloned().collect()
    }

    /// As before, but as `other` has them for `paths`.
    #[must_use]
    pub fn with(mut self, other: &Self, paths: &[PathBuf]) -> Self {
        for path in paths {
            if let Some(stamp) = other.0.get(path) {
                self.0.insert(path.clone(), *stamp);
            }
        }
        self
    }

    /// Take in how others stand now.
    pub fn renew(&mut self, others: Self) {
        self.0.extend(others.0);
    }

    /// Whether a path is known to both, and stands the same.
    pub fn agrees(&self, other: &Self, path: &Path) -> bool {
        self.0.get(path).is_some_and(|stamp| other.0.get(path) == Some(stamp))
    }

    /// When the last of these paths was written; `None` where none is there.
    pub fn written(&self, paths: &[PathBuf]) -> Option<SystemTime> {
        paths.iter().filter_map(|path| self.0.get(path)?.as_ref()?.1).max()
    }
}

/// Longest time until a change is seen where the system sends no events.
const LOOK_EVERY: Duration = Duration::from_millis(1000);
/// The same where the system cannot watch at all.
const LOOK_EVERY_ALONE: Duration = Duration::from_millis(200);

/// Whether somebody only read. Looking at a folder that is watched is reading, too: woken by that, one would look for ever.
const fn is_reading(kind: EventKind) -> bool {
    matches!(kind, EventKind::Access(how) if !matches!(how, AccessKind::Close(AccessMode::Write)))
}

/// Wakes when something happens around the files that are followed.
#[derive(Debug)]
pub struct Wakes {
    watcher: Option<RecommendedWatcher>,
    events: Receiver<()>,
    folders: BTreeSet<PathBuf>,
    looked: Instant,
}

impl Default for Wakes {
    fn default() -> Self {
        Self::new()
    }
}

impl Wakes {
    /// Follows nothing yet. Where the system cannot watch, it wakes by the clock alone.
    pub fn new() -> Self {
        let (send, events) = channel();
        // Which file it was does not matter: all are looked at, since programs save in many ways.
        let watcher = notify::recommended_watcher(move |event: notify::Result<Event>| {
            if !event.is_ok_and(|event| is_reading(event.kind)) {
                let _ = send.send(());
            }
        });
        Self { watcher: watcher.ok(), events, folders: BTreeSet::new(), looked: Instant::now() }
    }

    /// Follow these files and folders in place of those before. Of a file its folder is watched: programs save by giving
    /// another file its name.
    pub fn follow(&mut self, paths: &[PathBuf]) {
        let Some(watcher) = &mut self.watcher else { return };
        let of = |path: &PathBuf| [folder_of(path)].into_iter().chain(path.is_dir().then(|| path.clone()));
        let wanted: BTreeSet<PathBuf> = paths.iter().flat_map(of).collect();
        for gone in self.folders.difference(&wanted) {
            let _ = watcher.unwatch(gone);
        }
        // A folder that cannot be watched is looked at by the clock. One that was replaced has to be watched anew.
        for folder in &wanted {
            let _ = watcher.unwatch(folder);
            let _ = watcher.watch(folder, RecursiveMode::NonRecursive);
        }
        self.folders = wanted;
    }

    /// Wait until it is worth looking, at most `patience`. Tells whether it is.
    pub fn wait(&mut self, patience: Duration) -> bool {
        let woken = self.events.recv_timeout(patience).is_ok();
        while self.events.try_recv().is_ok() {}
        let every = if self.watcher.is_some() { LOOK_EVERY } else { LOOK_EVERY_ALONE };
        let due = woken || self.looked.elapsed() >= every;
        if due {
            self.looked = Instant::now();
        }
        due
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// `inotify(7)`: opening a directory that is watched is an event of it.
    #[test]
    fn looking_wakes_nobody() {
        // Around what is followed its folder is watched, too: the system's own scratch folder is every test's, and never at rest.
        let scratch = tempfile::tempdir().unwrap();
        let library = scratch.path().join("library");
        let folder = library.join("rip.patch");
        fs::create_dir_all(&folder).unwrap();
        let paths = [library, folder.clone()];
        let mut wakes = Wakes::new();
        wakes.follow(&paths);
        // What following itself woke, and the clock.
        let quiet = |wakes: &mut Wakes| (0..10).find(|_| !wakes.wait(LOOK_EVERY / 4)).is_some();
        assert!(quiet(&mut wakes), "it comes to rest");
        let mut woken = 0;
        for _ in 0..20 {
            drop(standings(&paths));
            woken += usize::from(wakes.wait(LOOK_EVERY / 50));
        }
        assert!(woken <= 2, "woken {woken} times of 20 by its own looking, by the clock once at most");
        fs::write(folder.join("height.png"), "another").unwrap();
        assert!((0..40).any(|_| wakes.wait(LOOK_EVERY / 50)), "what is written wakes");
    }

    #[test]
    fn changes_are_seen_in_files_and_folders() {
        let scratch = tempfile::tempdir().unwrap();
        let (file, folder) = (scratch.path().join("job.toml"), scratch.path().join("rip.patch"));
        fs::create_dir(&folder).unwrap();
        fs::write(&file, "one").unwrap();
        let paths = [file.clone(), folder.clone()];
        let before = standings(&paths);
        assert!(standings(&paths).changed_since(&before).is_empty(), "nothing happened");
        let [above, below] =
            [[scratch.path(), &folder], [&folder, scratch.path()]].map(|all| standings(&all.map(Path::to_owned)));
        assert_eq!(above, below, "in whatever order folders are named that lie in each other");
        fs::write(&file, "three").unwrap();
        fs::write(folder.join("height.png"), "new").unwrap();
        fs::write(folder.join(".height.png.tatter-new"), "half").unwrap();
        let after = standings(&paths);
        assert_eq!(
            after.changed_since(&before),
            [file.clone(), folder.join("height.png")],
            "what is not finished is passed over"
        );
        assert!(after.agrees(&standings(&paths), &file) && !after.agrees(&before, &file), "the same, and another");
        let own = before.clone().with(&after, std::slice::from_ref(&file));
        assert_eq!(after.changed_since(&own), [folder.join("height.png")], "what we wrote ourselves is known");
        fs::remove_dir_all(&folder).unwrap();
        assert!(standings(&paths).changed_since(&after).contains(&folder), "a folder that went");
    }

    #[test]
    fn a_write_wakes() {
        let scratch = tempfile::tempdir().unwrap();
        let file = scratch.path().join("job.toml");
        fs::write(&file, "one").unwrap();
        let mut wakes = Wakes::new();
        wakes.follow(std::slice::from_ref(&file));
        fs::write(&file, "two").unwrap();
        assert!((0..50).any(|_| wakes.wait(Duration::from_millis(100))), "by the event, or by the clock after a second");
    }
}
