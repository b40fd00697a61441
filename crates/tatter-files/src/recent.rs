//! What a person opened or added, kept for the next start: text files with one path a line.

use std::fs;
use std::io;
use std::path::{Path, PathBuf};

use crate::write::write_whole;

/// The jobs that were opened last, the newest first.
pub const JOBS: &str = "recent-jobs.txt";
/// Folders with patches that lie elsewhere than a job.
pub const PATCH_FOLDERS: &str = "patch-folders.txt";

/// The paths of a list in a folder of the user's own; none when there is no list or it cannot be read.
pub fn read_paths(folder: &Path, list: &str) -> Vec<PathBuf> {
    let text = fs::read_to_string(folder.join(list)).unwrap_or_default();
    text.lines().filter(|line| !line.is_empty()).map(PathBuf::from).collect()
}

/// Keep a list. Paths that no line of text can hold are left out.
///
/// # Errors
/// What the file system says; the list is then as it was.
pub fn write_paths(folder: &Path, list: &str, paths: &[PathBuf]) -> io::Result<()> {
    let lines = paths.iter().filter_map(|path| path.to_str()).filter(|line| !line.contains(['\n', '\r']));
    let text: String = lines.flat_map(|line| [line, "\n"]).collect();
    write_whole(&folder.join(list), text.as_bytes())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_list_comes_back_without_what_is_no_line() {
        let scratch = tempfile::tempdir().unwrap();
        let folder = scratch.path().join("state");
        assert!(read_paths(&folder, JOBS).is_empty(), "nothing was kept yet");
        let jobs = ["jobs/smock.tatter.toml", "two\nlines.tatter.toml", "jobs/with space.tatter.toml"].map(PathBuf::from);
        write_paths(&folder, JOBS, &jobs).unwrap();
        assert_eq!(read_paths(&folder, JOBS), [jobs[0].clone(), jobs[2].clone()], "in order");
        assert!(read_paths(&folder, PATCH_FOLDERS).is_empty(), "each list is its own");
    }
}
