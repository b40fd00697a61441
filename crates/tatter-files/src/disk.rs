//! Every change Tatter makes to a disk goes through [`Disk`], so that a test can stop it at any operation.

use std::fs::{self, File};
use std::io::{self, Write as _};
use std::path::{Path, PathBuf};
use std::sync::Arc;

use crate::pieces::Pieces;

/// One change to the disk, named before it happens.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Step {
    /// A file is created, or emptied.
    Create,
    /// The first or the second half of a file is written.
    Write,
    /// A file or a folder is flushed to the medium.
    Sync,
    /// A file or folder gets another name.
    Rename,
    /// A file gets a second name, or a copy.
    Link,
    /// A file or folder goes.
    Remove,
    /// A folder is made.
    Folder,
}

impl Step {
    /// Whether the step can fail for want of room.
    #[cfg(test)]
    pub(crate) const fn takes_room(self) -> bool {
        matches!(self, Self::Create | Self::Write | Self::Link | Self::Folder)
    }
}

type Before = dyn Fn(Step, &Path) -> io::Result<()> + Send + Sync;

/// The disk, or a disk that fails when told.
#[derive(Clone)]
pub(crate) struct Disk {
    before: Option<Arc<Before>>,
    /// Whether flushes reach the medium. A killed process loses nothing that is in the system's cache, so tests of kills
    /// do without: thousands of flushes would take minutes.
    flushes: bool,
}

impl Default for Disk {
    fn default() -> Self {
        Self { before: None, flushes: true }
    }
}

impl std::fmt::Debug for Disk {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.debug_struct("Disk").finish_non_exhaustive()
    }
}

impl Disk {
    /// A disk on which `before` is asked ahead of every step, and may refuse it.
    #[cfg(test)]
    pub(crate) fn watched(before: impl Fn(Step, &Path) -> io::Result<()> + Send + Sync + 'static) -> Self {
        Self { before: Some(Arc::new(before)), flushes: false }
    }

    /// A disk that does not wait for the medium.
    #[cfg(test)]
    pub(crate) fn quick() -> Self {
        Self { flushes: false, ..Self::default() }
    }

    fn flush(&self, file: &File) -> io::Result<()> {
        if self.flushes { file.sync_all() } else { Ok(()) }
    }

    fn step(&self, step: Step, path: &Path) -> io::Result<()> {
        self.before.as_ref().map_or(Ok(()), |before| before(step, path))
    }

    /// Create or overwrite a file and flush it. Not atomic: for names nobody else reads.
    pub(crate) fn write(&self, path: &Path, bytes: &[u8], permissions: Option<&fs::Permissions>) -> io::Result<()> {
        let (first, second) = bytes.split_at(bytes.len() / 2);
        self.write_with(path, permissions, |file| {
            [first, second].iter().try_for_each(|half| {
                self.step(Step::Write, path)?;
                file.write_all(half)
            })
        })
    }

    /// As [`Disk::write`], bytes that lie in several places.
    pub(crate) fn write_pieces(&self, path: &Path, pieces: &Pieces, permissions: Option<&fs::Permissions>) -> io::Result<()> {
        self.write_with(path, permissions, |file| pieces.write(file, || self.step(Step::Write, path)))
    }

    fn write_with(
        &self,
        path: &Path,
        permissions: Option<&fs::Permissions>,
        content: impl FnOnce(&mut File) -> io::Result<()>,
    ) -> io::Result<()> {
        self.step(Step::Create, path)?;
        let mut file = File::create(path)?;
        content(&mut file)?;
        if let Some(permissions) = permissions {
            file.set_permissions(permissions.clone())?;
        }
        self.step(Step::Sync, path)?;
        self.flush(&file)
    }

    /// Give another name, replacing what bore it.
    pub(crate) fn rename(&self, from: &Path, to: &Path) -> io::Result<()> {
        self.step(Step::Rename, to)?;
        fs::rename(from, to)
    }

    /// A second name for the same content where the file system knows such, else a flushed copy.
    pub(crate) fn link_or_copy(&self, from: &Path, to: &Path) -> io::Result<()> {
        self.step(Step::Link, to)?;
        if fs::hard_link(from, to).is_ok() { Ok(()) } else { self.copy(from, to) }
    }

    /// A flushed copy.
    pub(crate) fn copy(&self, from: &Path, to: &Path) -> io::Result<()> {
        self.step(Step::Link, to)?;
        fs::copy(from, to)?;
        self.step(Step::Sync, to)?;
        match File::options().write(true).open(to) {
            Ok(file) => self.flush(&file),
            // A read-only copy is flushed as it was opened for reading, on systems that can.
            Err(error) if error.kind() == io::ErrorKind::PermissionDenied => match self.flush(&File::open(to)?) {
                Err(error) if error.kind() == io::ErrorKind::PermissionDenied => Ok(()),
                flushed => flushed,
            },
            Err(error) => Err(error),
        }
    }

    /// Remove a file; absence is fine.
    pub(crate) fn remove(&self, path: &Path) -> io::Result<()> {
        self.step(Step::Remove, path)?;
        absent_is_fine(fs::remove_file(path))
    }

    /// Remove a folder with all in it; absence is fine.
    pub(crate) fn remove_folder(&self, path: &Path) -> io::Result<()> {
        self.step(Step::Remove, path)?;
        absent_is_fine(fs::remove_dir_all(path))
    }

    /// Remove a folder with nothing in it.
    pub(crate) fn remove_empty_folder(&self, path: &Path) -> io::Result<()> {
        self.step(Step::Remove, path)?;
        absent_is_fine(fs::remove_dir(path))
    }

    /// Make a folder and those above it.
    pub(crate) fn create_folder(&self, path: &Path) -> io::Result<()> {
        if path.is_dir() {
            return Ok(());
        }
        self.step(Step::Folder, path)?;
        fs::create_dir_all(path)
    }

    /// Flush a folder's names, where the system can.
    pub(crate) fn sync_folder(&self, path: &Path) -> io::Result<()> {
        self.step(Step::Sync, path)?;
        if cfg!(unix) && self.flushes { File::open(path)?.sync_all() } else { Ok(()) }
    }

    /// Put a finished folder in the place of another, which is removed.
    ///
    /// On Linux and macOS the two names are exchanged in one step. Elsewhere the old folder is first set aside as
    /// `.NAME.tatter-old`, and put back if the second step fails.
    pub(crate) fn swap_folder(&self, new: &Path, place: &Path) -> io::Result<()> {
        if !place.exists() {
            return self.rename(new, place);
        }
        self.step(Step::Rename, place)?;
        if exchange(new, place).is_ok() {
            // `new` now names the replaced folder; leaving it behind is no reason to call the writing failed.
            let _ = self.remove_folder(new);
            return Ok(());
        }
        let old = beside(place, "old");
        self.remove_folder(&old)?;
        self.rename(place, &old)?;
        if let Err(error) = self.rename(new, place) {
            self.rename(&old, place)?;
            return Err(error);
        }
        self.remove_folder(&old)
    }

    /// Write a file so that at any moment its name means the old content or the new, whole.
    ///
    /// A symbolic link is written through; permissions are kept.
    pub(crate) fn replace(&self, path: &Path, bytes: &[u8]) -> io::Result<()> {
        let real = real_path(path)?;
        let folder = folder_of(&real);
        let temp = beside(&real, "new");
        let permissions = fs::metadata(&real).ok().map(|data| data.permissions());
        let written = self.write(&temp, bytes, permissions.as_ref()).and_then(|()| self.rename(&temp, &real));
        if let Err(error) = written {
            // The error that stopped the writing is the one to show.
            let _ = self.remove(&temp);
            return Err(error);
        }
        self.sync_folder(&folder)
    }
}

#[cfg(any(target_os = "linux", target_os = "macos"))]
fn exchange(one: &Path, other: &Path) -> io::Result<()> {
    use rustix::fs::{CWD, RenameFlags, renameat_with};
    Ok(renameat_with(CWD, one, CWD, other, RenameFlags::EXCHANGE)?)
}

#[cfg(not(any(target_os = "linux", target_os = "macos")))]
fn exchange(_: &Path, _: &Path) -> io::Result<()> {
    Err(io::ErrorKind::Unsupported.into())
}

fn absent_is_fine(result: io::Result<()>) -> io::Result<()> {
    match result {
        Err(error) if error.kind() == io::ErrorKind::NotFound => Ok(()),
        other => other,
    }
}

/// Where a name leads in the end: through symbolic links, or the name itself when nothing bears it yet.
pub(crate) fn real_path(path: &Path) -> io::Result<PathBuf> {
    match fs::canonicalize(path) {
        Ok(real) => Ok(real),
        Err(error) if error.kind() == io::ErrorKind::NotFound => Ok(path.to_path_buf()),
        Err(error) => Err(error),
    }
}

/// The folder a path lies in.
pub(crate) fn folder_of(path: &Path) -> PathBuf {
    match path.parent() {
        Some(folder) if !folder.as_os_str().is_empty() => folder.to_path_buf(),
        _ => PathBuf::from("."),
    }
}

/// A hidden name beside `path`, for what is not finished.
pub(crate) fn beside(path: &Path, what: &str) -> PathBuf {
    let name = path.file_name().map(|name| name.to_string_lossy().into_owned()).unwrap_or_default();
    folder_of(path).join(format!(".{name}.tatter-{what}"))
}
