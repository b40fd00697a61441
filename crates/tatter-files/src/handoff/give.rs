//! Writing handed-on files: complete under other names first, then renamed; nothing of somebody else's is lost.
//!
//! What was handed on from a job is remembered by its hash in `NAME.tatter/handed-on.json`, so that handing on again replaces
//! it without asking, while a file of another origin, or one that was changed since, is not overwritten unasked.

use std::collections::BTreeMap;
use std::fs;
use std::io::{self, Write as _};
use std::path::{Path, PathBuf};

use serde::{Deserialize, Serialize};
use tempfile::NamedTempFile;

use super::GiveError;
use crate::disk::{Disk, folder_of};

/// A file that was handed on.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Given {
    /// Where.
    pub path: PathBuf,
    /// Its size.
    pub bytes: u64,
    /// Something else had stood there and was overwritten as asked.
    pub replaced: bool,
}

#[derive(Debug, Default, Serialize, Deserialize)]
struct Book {
    /// Hashes of what was written, by absolute path; two while a writing is under way.
    files: BTreeMap<String, Vec<String>>,
}

fn hash(bytes: &[u8]) -> String {
    blake3::hash(bytes).to_hex().to_string()
}

/// Write files. Those that are there already and are not as this job last handed them on are overwritten only with `replace`.
/// `store` is the job's folder `NAME.tatter`.
///
/// # Errors
/// [`GiveError::Foreign`] before anything is written; [`GiveError::Disk`]: each file is then whole, as it was or new.
pub fn give(store: &Path, files: &[(PathBuf, Vec<u8>)], replace: bool) -> Result<Vec<Given>, GiveError> {
    let book_path = store.join("handed-on.json");
    let failed = |path: &Path| {
        let path = path.to_owned();
        move |source| GiveError::Disk { source, path }
    };
    // A book that cannot be read makes files foreign, which is asked about, never lost.
    let mut book: Book = fs::read(&book_path).ok().and_then(|bytes| serde_json::from_slice(&bytes).ok()).unwrap_or_default();
    let foreign = files.iter().map(|(path, bytes)| is_foreign(&book, path, bytes).map_err(failed(path)));
    let foreign: Vec<bool> = foreign.collect::<Result<_, _>>()?;
    let count = foreign.iter().filter(|foreign| **foreign).count();
    if let (false, Some(first)) = (replace, foreign.iter().position(|foreign| *foreign)) {
        return Err(GiveError::Foreign { count, path: files[first].0.clone() });
    }
    let mut ready = Vec::new();
    for (path, bytes) in files {
        ready.push(temporary(path, bytes).map_err(failed(path))?);
    }
    // Remembered before and after: whenever it is stopped, what stands there is known for ours.
    for (path, bytes) in files {
        book.files.entry(key(path)).or_default().push(hash(bytes));
    }
    keep(&book, &book_path).map_err(failed(&book_path))?;
    let mut given = Vec::new();
    for ((file, (path, bytes)), replaced) in ready.into_iter().zip(files).zip(foreign) {
        file.persist(path).map_err(|error| failed(path)(error.error))?;
        given.push(Given { path: path.clone(), bytes: bytes.len() as u64, replaced });
    }
    for (path, bytes) in files {
        book.files.insert(key(path), vec![hash(bytes)]);
    }
    keep(&book, &book_path).map_err(failed(&book_path))?;
    Ok(given)
}

fn key(path: &Path) -> String {
    std::path::absolute(path).unwrap_or_else(|_| path.to_owned()).to_string_lossy().into_owned()
}

fn is_foreign(book: &Book, path: &Path, wanted: &[u8]) -> io::Result<bool> {
    match fs::read(path) {
        Err(error) if error.kind() == io::ErrorKind::NotFound => Ok(false),
        Err(error) => Err(error),
        Ok(found) => Ok(found != wanted && !book.files.get(&key(path)).is_some_and(|known| known.contains(&hash(&found)))),
    }
}

fn temporary(path: &Path, bytes: &[u8]) -> io::Result<NamedTempFile> {
    let folder = folder_of(path);
    fs::create_dir_all(&folder)?;
    let mut file = NamedTempFile::new_in(folder)?;
    file.write_all(bytes)?;
    file.as_file().sync_all()?;
    // Temporary files are private; what is handed on is as readable as any file.
    #[cfg(unix)]
    file.as_file().set_permissions(std::os::unix::fs::PermissionsExt::from_mode(0o644))?;
    Ok(file)
}

fn keep(book: &Book, path: &Path) -> io::Result<()> {
    fs::create_dir_all(folder_of(path))?;
    Disk::default().replace(path, &serde_json::to_vec_pretty(book).map_err(io::Error::from)?)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_is_ours_is_replaced_and_what_is_not_is_asked_about() {
        let scratch = tempfile::tempdir().unwrap();
        let store = scratch.path().join("smock.tatter");
        let one = |bytes: &[u8]| vec![(scratch.path().join("out/smock.glb"), bytes.to_vec())];
        let path = scratch.path().join("out/smock.glb");
        assert_eq!(give(&store, &one(b"first"), false).unwrap()[0].bytes, 5, "new");
        assert!(!give(&store, &one(b"second"), false).unwrap()[0].replaced, "ours is replaced without a word");
        fs::write(&path, b"painted over").unwrap();
        let refused = give(&store, &one(b"third"), false);
        assert!(matches!(refused, Err(GiveError::Foreign { count: 1, .. })), "{refused:?}");
        assert_eq!(fs::read(&path).unwrap(), b"painted over", "nothing was written");
        assert!(give(&store, &one(b"third"), true).unwrap()[0].replaced, "said so");
        assert_eq!(fs::read(&path).unwrap(), b"third");
        assert_eq!(fs::read_dir(path.parent().unwrap()).unwrap().count(), 1, "no temporary file stays");
    }
}
