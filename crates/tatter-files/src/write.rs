//! One file, whole or not at all.

use std::fs::File;
use std::io::{self, Write as _};
use std::path::Path;

use tempfile::NamedTempFile;

use crate::pieces::Pieces;

/// Make a folder if need be, and make sure that files can be written in it.
///
/// # Errors
/// What the file system says.
pub fn probe_folder(folder: &Path) -> io::Result<()> {
    std::fs::create_dir_all(folder)?;
    NamedTempFile::new_in(folder).map(drop)
}

/// Write a file under a temporary name beside it, flush it, and give it its name: nobody ever sees half of it. Folders on
/// the way are made.
///
/// # Errors
/// What the file system says; the old file, if any, is then still there.
pub fn write_whole(path: &Path, bytes: &[u8]) -> io::Result<()> {
    let file = beside(path, |file| file.write_all(bytes))?;
    file.as_file().sync_all()?;
    named(file, path)
}

/// As [`write_whole`], without waiting for the medium: for what can be made again, should the power fail.
///
/// # Errors
/// As [`write_whole`].
pub fn write_made(path: &Path, pieces: &Pieces) -> io::Result<()> {
    named(beside(path, |file| pieces.write(file, || Ok(())))?, path)
}

fn beside(path: &Path, content: impl FnOnce(&mut File) -> io::Result<()>) -> io::Result<NamedTempFile> {
    let folder = path.parent().filter(|folder| !folder.as_os_str().is_empty()).unwrap_or(Path::new("."));
    std::fs::create_dir_all(folder)?;
    let mut file = NamedTempFile::new_in(folder)?;
    content(file.as_file_mut())?;
    Ok(file)
}

fn named(file: NamedTempFile, path: &Path) -> io::Result<()> {
    // Temporary files are private; what is delivered is as readable as any file.
    #[cfg(unix)]
    file.as_file().set_permissions(std::os::unix::fs::PermissionsExt::from_mode(0o644))?;
    file.persist(path)?;
    Ok(())
}
