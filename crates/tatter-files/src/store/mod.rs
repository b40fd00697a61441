//! What a job keeps beside its file, in `NAME.tatter/`: the garment's maps as they were before Tatter touched them
//! (pristine), the states between deliveries, and the delivery's own books.
//!
//! Content is kept once under its BLAKE3 hash in `kept/`, with the extension of the file it came from, so that it opens
//! in any image program. `pristine.json` says which target was what.

mod error;
mod reuse;
mod tiles;

use std::collections::BTreeMap;
use std::fs::{self, File};
use std::io;
use std::path::{Path, PathBuf};
use std::sync::{Mutex, PoisonError};
use std::time::SystemTime;

use rayon::prelude::*;
use serde::{Deserialize, Serialize};
use tatter_core::image::Stored;

pub use error::StoreError;
pub use reuse::{BuiltRecord, Remembered, folder_hash, hash_of, program_stamp};
pub use tiles::KeptTiles;

use crate::disk::{Disk, beside, folder_of, real_path};
use crate::job::ENDING;
use crate::limits::Limits;
use crate::picture::read_hashed;
use crate::pieces::{KnownFile, Pieces};

/// The format of the files in the store.
pub(crate) const FORMAT: u32 = 1;

/// Content known by its hash.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub(crate) struct Content {
    /// BLAKE3, hexadecimal.
    pub(crate) hash: String,
    /// Length in bytes.
    pub(crate) bytes: u64,
}

impl Content {
    pub(crate) fn of(bytes: &[u8]) -> Self {
        Self { hash: blake3::hash(bytes).to_hex().to_string(), bytes: bytes.len() as u64 }
    }

    /// Of a file, read piece by piece; `None` when nothing bears the name.
    pub(crate) fn of_file(path: &Path) -> io::Result<Option<Self>> {
        let mut file = match File::open(path) {
            Err(error) if error.kind() == io::ErrorKind::NotFound => return Ok(None),
            other => other?,
        };
        let mut hasher = blake3::Hasher::new();
        hasher.update_reader(&mut file)?;
        let bytes = hasher.count();
        Ok(Some(Self { hash: hasher.finalize().to_hex().to_string(), bytes }))
    }
}

/// Bytes with their hash, reckoned once.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Hashed {
    pieces: Pieces,
    content: Content,
}

impl Hashed {
    /// Hash bytes.
    ///
    /// # Errors
    /// When some of them lie in a file that cannot be read, or was written meanwhile.
    pub fn new(bytes: impl Into<Pieces>) -> io::Result<Self> {
        let pieces = bytes.into();
        let mut hasher = blake3::Hasher::new();
        pieces.each(|bytes| {
            hasher.update(bytes);
            Ok(())
        })?;
        Ok(Self { content: Content { hash: hasher.finalize().to_hex().to_string(), bytes: hasher.count() }, pieces })
    }

    /// The bytes.
    pub const fn pieces(&self) -> &Pieces {
        &self.pieces
    }

    /// Their BLAKE3, hexadecimal.
    pub fn hash(&self) -> &str {
        &self.content.hash
    }

    pub(crate) const fn content(&self) -> &Content {
        &self.content
    }
}

/// Enough to notice that a file was written meanwhile without reading it again: length, and time of the last change.
pub(crate) type Stamp = (u64, Option<SystemTime>);

pub(crate) fn stamp(path: &Path) -> Option<Stamp> {
    fs::metadata(path).ok().map(|data| stamp_of(&data))
}

pub(crate) fn stamp_of(data: &fs::Metadata) -> Stamp {
    (data.len(), data.modified().ok())
}

#[derive(Debug, Serialize, Deserialize)]
struct Books {
    format: u32,
    files: BTreeMap<String, Content>,
}

/// Files by their real path, with their content.
type Files = BTreeMap<PathBuf, (Stamp, Content)>;

/// The folder `NAME.tatter/` of a job. Opening it writes nothing.
#[derive(Debug)]
pub struct Store {
    job_folder: PathBuf,
    folder: PathBuf,
    known: BTreeMap<String, Content>,
    /// Files that this run read whole, by their real path.
    seen: Mutex<Files>,
    /// Files that are taken to hold something and were not read yet.
    assumed: Mutex<Files>,
    pub(crate) disk: Disk,
}

/// Held while the store or the targets change; the system drops it when the process ends, however it ends.
#[derive(Debug)]
pub(crate) struct Lock(File);

impl Drop for Lock {
    fn drop(&mut self) {
        // Closing would do, unless a child process is being started at this moment and still shares the open file.
        let _ = self.0.unlock();
    }
}

impl Store {
    /// The store of a job file `NAME.tatter.toml`.
    ///
    /// # Errors
    /// [`StoreError::Damaged`] when its books cannot be read, or the disk's answer.
    pub fn open(job_path: &Path) -> Result<Self, StoreError> {
        Self::open_on(Disk::default(), job_path)
    }

    pub(crate) fn open_on(disk: Disk, job_path: &Path) -> Result<Self, StoreError> {
        let job_folder = folder_of(job_path);
        let file = job_path.file_name().map(|name| name.to_string_lossy().into_owned()).unwrap_or_default();
        let stem = file.strip_suffix(ENDING).or_else(|| file.strip_suffix(".toml")).unwrap_or(&file);
        let folder = job_folder.join(format!("{stem}.tatter"));
        let mut store =
            Self { job_folder, folder, known: BTreeMap::new(), seen: Mutex::default(), assumed: Mutex::default(), disk };
        store.refresh()?;
        Ok(store)
    }

    /// The folder the job file lies in, from which targets are counted.
    pub fn job_folder(&self) -> &Path {
        &self.job_folder
    }

    /// The store's own folder; it may not exist yet.
    pub fn folder(&self) -> &Path {
        &self.folder
    }

    /// Keep targets as they are now, unless their pristine state is already known.
    ///
    /// Targets are paths relative to the job file, `/` between folders. To be called before the first build.
    ///
    /// # Errors
    /// [`StoreError::TargetMissing`] when a file is not there; nothing is then kept.
    pub fn ingest(&mut self, targets: &[&str]) -> Result<(), StoreError> {
        if targets.iter().all(|target| self.known.contains_key(*target)) {
            return Ok(());
        }
        let _lock = self.lock()?;
        self.refresh()?;
        let new: Vec<&str> = targets.iter().copied().filter(|target| !self.known.contains_key(*target)).collect();
        self.keep_all(&new)
    }

    /// Take a target as it is now for its pristine state, whatever was known of it before.
    ///
    /// # Errors
    /// [`StoreError::TargetMissing`] when the file is not there.
    pub fn adopt(&mut self, target: &str) -> Result<(), StoreError> {
        let _lock = self.lock()?;
        self.refresh()?;
        self.keep_all(&[target])
    }

    /// Where the pristine content of a target lies, verified by its hash.
    ///
    /// # Errors
    /// [`StoreError::Unknown`] before [`Store::ingest`]; [`StoreError::Damaged`] when the kept file was changed.
    pub fn pristine(&self, target: &str) -> Result<PathBuf, StoreError> {
        let content = self.pristine_content(target)?;
        self.verified(content, target)
    }

    /// The pristine picture of a target, verified by its hash: one reading where [`Store::pristine`] and a reader of files take two.
    ///
    /// # Errors
    /// As [`Store::pristine`], and when what was kept is no picture or exceeds `limits`.
    pub fn pristine_picture(&self, target: &str, limits: &Limits) -> Result<Stored, StoreError> {
        let content = self.pristine_content(target)?;
        let path = self.kept_path(content, target);
        let length = fs::metadata(&path).map_err(|source| unread(source, path.clone()))?.len();
        // A longer file is not the one that was kept; it need not be read to know.
        match (length == content.bytes).then(|| read_hashed(&path, limits)) {
            Some(Ok((picture, (hash, bytes)))) if hash == content.hash && bytes == content.bytes => Ok(picture),
            // Why it does not decode is told only of what was kept.
            Some(Err(error)) => self.verified(content, target).and(Err(error.into())),
            _ => Err(StoreError::Damaged { why: CHANGED.to_owned(), path }),
        }
    }

    /// A file that is as long as one with this hash was. Until [`Store::assumptions_hold`] says otherwise it is taken to be that one,
    /// so that its content can be used before it was read whole.
    pub fn assume(&self, path: &Path, hash: &str, bytes: u64) -> Option<KnownFile> {
        let real = real_path(path).ok()?;
        // Before it is read: what is written afterwards changes the stamp.
        let stamp = stamp(&real).filter(|(length, _)| *length == bytes)?;
        let content = Content { hash: hash.to_owned(), bytes };
        self.assumed.lock().unwrap_or_else(PoisonError::into_inner).insert(real.clone(), (stamp, content));
        Some(KnownFile::new(&real, stamp))
    }

    /// Read every file whose content was assumed: whether all are what they were taken for. What they hold is known afterwards. To be
    /// asked before anything that rests on them takes effect.
    pub fn assumptions_hold(&self) -> bool {
        let assumed = std::mem::take(&mut *self.assumed.lock().unwrap_or_else(PoisonError::into_inner));
        let found: Vec<(PathBuf, Stamp, Option<Content>, bool)> = (assumed.into_par_iter())
            .map(|(real, (seen, content))| {
                let found = Content::of_file(&real).ok().flatten();
                let holds = found.as_ref() == Some(&content) && stamp(&real) == Some(seen);
                (real, seen, found, holds)
            })
            .collect();
        let all = found.iter().all(|(.., holds)| *holds);
        let mut known = self.seen.lock().unwrap_or_else(PoisonError::into_inner);
        known.extend(found.into_iter().filter_map(|(real, seen, found, _)| Some((real, (seen, found?)))));
        if !all {
            // Some of them may come from what was assumed.
            self.drop_tiles();
        }
        all
    }

    /// Assume nothing any more.
    pub fn forget_assumptions(&self) {
        self.assumed.lock().unwrap_or_else(PoisonError::into_inner).clear();
    }

    /// The content of a file by its real path, what it is taken to be if so; `None` when nothing bears the name.
    pub(crate) fn content_of(&self, real: &Path) -> io::Result<Option<Content>> {
        let of = |files: &Mutex<Files>| files.lock().unwrap_or_else(PoisonError::into_inner).get(real).cloned();
        match of(&self.assumed).or_else(|| of(&self.seen)) {
            Some((known, content)) if stamp(real) == Some(known) => Ok(Some(content)),
            _ => Content::of_file(real),
        }
    }

    /// Whether the pristine state of a target is known.
    pub fn knows(&self, target: &str) -> bool {
        self.known.contains_key(target)
    }

    pub(crate) fn pristine_content(&self, target: &str) -> Result<&Content, StoreError> {
        self.known.get(target).ok_or_else(|| StoreError::Unknown { target: target.to_owned() })
    }

    /// Where content kept for a target lies.
    pub(crate) fn kept_path(&self, content: &Content, target: &str) -> PathBuf {
        let name = match Path::new(target).extension() {
            Some(extension) => format!("{}.{}", content.hash, extension.to_string_lossy()),
            None => content.hash.clone(),
        };
        self.folder.join("kept").join(name)
    }

    pub(crate) fn verified(&self, content: &Content, target: &str) -> Result<PathBuf, StoreError> {
        let path = self.kept_path(content, target);
        match Content::of_file(&path) {
            Ok(Some(found)) if found == *content => Ok(path),
            Ok(Some(_)) => Err(StoreError::Damaged { why: CHANGED.to_owned(), path }),
            Ok(None) => Err(unread(io::ErrorKind::NotFound.into(), path)),
            Err(source) => Err(unread(source, path)),
        }
    }

    /// Wait for the lock.
    fn lock(&self) -> Result<Lock, StoreError> {
        let (file, path) = self.lock_file()?;
        file.lock().map_err(|source| StoreError::Disk { doing: "locking", source, path })?;
        Ok(Lock(file))
    }

    /// The lock, or `None` when another run holds it.
    pub(crate) fn try_lock(&self) -> Result<Option<Lock>, StoreError> {
        let (file, path) = self.lock_file()?;
        match file.try_lock() {
            Ok(()) => Ok(Some(Lock(file))),
            Err(fs::TryLockError::WouldBlock) => Ok(None),
            Err(fs::TryLockError::Error(source)) => Err(StoreError::Disk { doing: "locking", source, path }),
        }
    }

    fn lock_file(&self) -> Result<(File, PathBuf), StoreError> {
        self.make_folder(&self.folder)?;
        let path = self.folder.join("lock");
        let opened = File::options().create(true).truncate(false).write(true).open(&path);
        match opened {
            Ok(file) => Ok((file, path)),
            Err(source) => Err(StoreError::Disk { doing: "opening", source, path }),
        }
    }

    pub(crate) fn make_folder(&self, folder: &Path) -> Result<(), StoreError> {
        let failed = |source| StoreError::Disk { doing: "making a folder", source, path: folder.to_path_buf() };
        self.disk.create_folder(folder).map_err(failed)
    }

    fn books_path(&self) -> PathBuf {
        self.folder.join("pristine.json")
    }

    fn refresh(&mut self) -> Result<(), StoreError> {
        self.known = match read_books::<Books>(&self.books_path())? {
            Some(books) if books.format > FORMAT => return Err(StoreError::Newer { path: self.books_path() }),
            Some(books) => books.files,
            None => BTreeMap::new(),
        };
        Ok(())
    }

    /// Under the lock.
    fn keep_all(&mut self, targets: &[&str]) -> Result<(), StoreError> {
        self.make_folder(&self.folder.join("kept"))?;
        let kept: Result<Vec<Content>, StoreError> = targets.par_iter().map(|target| self.keep(target)).collect();
        let mut files = self.known.clone();
        files.extend(targets.iter().map(|&target| target.to_owned()).zip(kept?));
        let books = Books { format: FORMAT, files };
        let path = self.books_path();
        let failed = |source| StoreError::Disk { doing: "writing", source, path: path.clone() };
        let kept_folder = self.folder.join("kept");
        self.disk.sync_folder(&kept_folder).map_err(failed)?;
        let text = serde_json::to_vec_pretty(&books).map_err(io::Error::from).map_err(failed)?;
        self.disk.replace(&path, &text).map_err(failed)?;
        self.known = books.files;
        Ok(())
    }

    /// A copy, never a second name: a program that changes the target in place must not reach what is kept. What was kept is what the copy
    /// holds, which need not lie in memory.
    fn keep(&self, target: &str) -> Result<Content, StoreError> {
        let path = self.job_folder.join(target);
        let copy = beside(&self.folder.join("kept").join(target.replace(['/', '\\'], "-")), "new");
        let kept = self.keep_copy(&path, &copy, target);
        if kept.is_err() {
            // The error that stopped the copying is the one to show.
            let _ = self.disk.remove(&copy);
        }
        kept
    }

    fn keep_copy(&self, path: &Path, copy: &Path, target: &str) -> Result<Content, StoreError> {
        let failed = |source| StoreError::Disk { doing: "keeping", source, path: path.to_path_buf() };
        if !path.try_exists().map_err(failed)? {
            return Err(StoreError::TargetMissing { path: path.to_path_buf() });
        }
        // A run that was cut off may have left a copy that is as read-only as its target.
        self.disk.remove(copy).and_then(|()| self.disk.copy(path, copy)).map_err(failed)?;
        let content =
            Content::of_file(copy).and_then(|found| found.ok_or_else(|| io::ErrorKind::NotFound.into())).map_err(failed)?;
        let place = self.kept_path(&content, target);
        let failed = |source| StoreError::Disk { doing: "keeping", source, path: place.clone() };
        if Content::of_file(&place).is_ok_and(|found| found.as_ref() == Some(&content)) {
            self.disk.remove(copy).map_err(failed)?;
        } else {
            self.disk.rename(copy, &place).map_err(failed)?;
        }
        Ok(content)
    }
}

const CHANGED: &str = "its content is not what was kept";

/// What a kept file that cannot be read means.
fn unread(source: io::Error, path: PathBuf) -> StoreError {
    if source.kind() == io::ErrorKind::NotFound {
        return StoreError::Damaged { why: "it is not there".to_owned(), path };
    }
    StoreError::Disk { doing: "reading", source, path }
}

/// A file of the store's books; `None` when there is none yet.
pub(crate) fn read_books<T: for<'de> Deserialize<'de>>(path: &Path) -> Result<Option<T>, StoreError> {
    let bytes = match fs::read(path) {
        Err(error) if error.kind() == io::ErrorKind::NotFound => return Ok(None),
        Err(source) => return Err(StoreError::Disk { doing: "reading", source, path: path.to_path_buf() }),
        Ok(bytes) => bytes,
    };
    let damaged = |error: serde_json::Error| StoreError::Damaged { why: error.to_string(), path: path.to_path_buf() };
    serde_json::from_slice(&bytes).map(Some).map_err(damaged)
}

#[cfg(test)]
mod tests;
