//! The jobs that a person opened last, and the folders of patches that they added, kept in the folder that the system has for such things.

use std::ffi::OsString;
use std::path::{Path, PathBuf};

use tatter_core::explain::{Class, Explain};
use tatter_files::recent::{JOBS, PATCH_FOLDERS, read_paths, write_paths};

/// As many as are seen at a glance.
const MOST: usize = 8;

/// The list cannot be kept.
#[derive(Debug, thiserror::Error)]
#[error("{what} can't be kept for another day ({reason}): {folder}")]
pub struct RecentError {
    what: &'static str,
    reason: std::io::Error,
    folder: PathBuf,
}

impl Explain for RecentError {
    fn next(&self) -> String {
        "Check free space and permissions; today all of it works the same".to_owned()
    }

    fn class(&self) -> Class {
        Class::Outside
    }
}

/// A job that was opened.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct RecentJob {
    /// Its file.
    pub path: PathBuf,
    /// Whether it still lies there.
    pub is_there: bool,
}

/// Jobs that were opened, the newest first.
#[derive(Clone, Debug, Default)]
pub struct Recent {
    folder: Option<PathBuf>,
}

impl Recent {
    /// The user's own list; where the system names no folder for it, one that forgets.
    pub fn of_user() -> Self {
        Self { folder: state_folder(|name| std::env::var_os(name)) }
    }

    /// A list in another folder.
    pub const fn in_folder(folder: PathBuf) -> Self {
        Self { folder: Some(folder) }
    }

    /// The jobs. Reads the list, and looks for each file.
    pub fn jobs(&self) -> Vec<RecentJob> {
        self.read(JOBS).into_iter().map(|path| RecentJob { is_there: path.is_file(), path }).collect()
    }

    /// A job was opened: it is the newest.
    ///
    /// # Errors
    /// When the list cannot be written.
    pub fn note(&self, job: &Path) -> Result<(), RecentError> {
        // Started elsewhere another time, a relative path leads elsewhere.
        let job = std::path::absolute(job).unwrap_or_else(|_| job.to_owned());
        self.change(JOBS, |jobs| {
            jobs.retain(|known| *known != job);
            jobs.insert(0, job);
            jobs.truncate(MOST);
        })
    }

    /// Take a job off the list; its file stays.
    ///
    /// # Errors
    /// When the list cannot be written.
    pub fn forget(&self, job: &Path) -> Result<(), RecentError> {
        self.change(JOBS, |jobs| jobs.retain(|known| known != job))
    }

    /// The folders of patches that were added, in their order.
    pub fn patch_folders(&self) -> Vec<PathBuf> {
        self.read(PATCH_FOLDERS)
    }

    /// A folder of patches was added.
    ///
    /// # Errors
    /// When the list cannot be written.
    pub fn note_patches(&self, folder: &Path) -> Result<(), RecentError> {
        self.change(PATCH_FOLDERS, |folders| {
            folders.retain(|known| known != folder);
            folders.push(folder.to_owned());
        })
    }

    /// Take a folder of patches off the list; what lies in it stays.
    ///
    /// # Errors
    /// When the list cannot be written.
    pub fn forget_patches(&self, folder: &Path) -> Result<(), RecentError> {
        self.change(PATCH_FOLDERS, |folders| folders.retain(|known| known != folder))
    }

    fn read(&self, list: &str) -> Vec<PathBuf> {
        self.folder.as_deref().map(|folder| read_paths(folder, list)).unwrap_or_default()
    }

    /// Read before it is written: another desk may be open.
    fn change(&self, list: &'static str, change: impl FnOnce(&mut Vec<PathBuf>)) -> Result<(), RecentError> {
        let Some(folder) = &self.folder else { return Ok(()) };
        let mut paths = read_paths(folder, list);
        change(&mut paths);
        let what = if list == JOBS { "the list of recent jobs" } else { "the list of patch folders" };
        write_paths(folder, list, &paths).map_err(|reason| RecentError { what, reason, folder: folder.clone() })
    }
}

/// The person's own folder; where the system names none, the one that the program was started in.
pub fn home_folder() -> PathBuf {
    let home = std::env::var_os(if cfg!(windows) { "USERPROFILE" } else { "HOME" }).map(PathBuf::from);
    home.filter(|home| home.is_absolute() && home.is_dir()).unwrap_or_default()
}

/// Where programs keep what they remember: the XDG base directories (state), and what Windows and macOS have in their place.
fn state_folder(variable: impl Fn(&str) -> Option<OsString>) -> Option<PathBuf> {
    // What is not absolute is to be ignored, says the standard.
    let folder = |name: &str| variable(name).map(PathBuf::from).filter(|path| path.is_absolute());
    let base = if cfg!(windows) {
        folder("LOCALAPPDATA")
    } else if cfg!(target_os = "macos") {
        folder("HOME").map(|home| home.join("Library/Application Support"))
    } else {
        folder("XDG_STATE_HOME").or_else(|| folder("HOME").map(|home| home.join(".local/state")))
    };
    base.map(|base| base.join("tatter"))
}

#[cfg(test)]
mod tests {
    #![expect(clippy::disallowed_methods, reason = "a test of a list of files needs a scratch folder")]
    use super::*;

    #[test]
    fn the_newest_comes_first_and_what_is_gone_is_told() {
        let scratch = tempfile::tempdir().unwrap();
        let recent = Recent::in_folder(scratch.path().join("state"));
        let job = |n: usize| scratch.path().join(format!("{n}.tatter.toml"));
        for n in (0..12).chain([5]) {
            std::fs::write(job(n), "").unwrap();
            recent.note(&job(n)).unwrap();
        }
        std::fs::remove_file(job(11)).unwrap();
        let jobs = recent.jobs();
        assert_eq!(jobs.len(), MOST, "as many as are seen at a glance");
        assert_eq!(jobs[0], RecentJob { path: job(5), is_there: true }, "opened again, it is the newest, and stands there once");
        assert_eq!(jobs[1], RecentJob { path: job(11), is_there: false }, "its file is gone");
        recent.forget(&job(11)).unwrap();
        assert!(recent.jobs().iter().all(|known| known.path != job(11)), "forgotten");
        let shelf = scratch.path().join("shelf");
        recent.note_patches(&shelf).unwrap();
        recent.note_patches(&shelf).unwrap();
        assert_eq!(recent.patch_folders(), [shelf.as_path()], "a folder of patches is a list of its own, once");
        recent.forget_patches(&shelf).unwrap();
        assert!(recent.patch_folders().is_empty() && !recent.jobs().is_empty(), "forgotten, and no job with it");
        assert!(Recent::default().note(&job(1)).is_ok() && Recent::default().jobs().is_empty(), "no folder, no memory");
    }

    #[cfg(all(unix, not(target_os = "macos")))]
    #[test]
    fn the_folder_is_the_standards() {
        let found = |told: &[(&str, &str)]| {
            state_folder(|name| told.iter().find(|(known, _)| *known == name).map(|(_, value)| OsString::from(value)))
        };
        let home = ("HOME", "/home/ferry");
        assert_eq!(found(&[home]), Some(PathBuf::from("/home/ferry/.local/state/tatter")), "the usual place");
        assert_eq!(found(&[home, ("XDG_STATE_HOME", "/var/ferry")]), Some(PathBuf::from("/var/ferry/tatter")), "as told");
        assert_eq!(found(&[home, ("XDG_STATE_HOME", "here")]), found(&[home]), "a relative one is ignored");
        assert_eq!(found(&[]), None, "nobody's home");
    }
}
