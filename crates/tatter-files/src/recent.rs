//! The jobs that were opened last, kept for the next start: a text file with one path a line, the newest first.

use std::fs;
use std::io;
use std::path::{Path, PathBuf};

use crate::write::write_whole;

/// The list in a folder of the user's own.
pub const FILE: &str = "recent-jobs.txt";

/// Paths of jobs, the newest first; none when there is no list or it cannot be read.
pub fn read_recent(folder: &Path) -> Vec<PathBuf> {
    let text = fs::read_to_string(folder.join(FILE)).unwrap_or_default();
    text.lines().filter(|line| !line.is_empty()).map(PathBuf::from).collect()
}

/// Keep a list. Paths that no line of text can hold are left out.
///
/// # Errors
/// What the file system says; the list is then as it was.
pub fn write_recent(folder: &Path, jobs: &[PathBuf]) -> io::Result<()> {
    let lines = jobs.iter().filter_map(|job| job.to_str()).filter(|line| !line.contains(['\n', '\r']));
    let text: String = lines.flat_map(|line| [line, "\n"]).collect();
    write_whole(&folder.join(FILE), text.as_bytes())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_list_comes_back_without_what_is_no_line() {
        let scratch = tempfile::tempdir().unwrap();
        let folder = scratch.path().join("state");
        assert!(read_recent(&folder).is_empty(), "nothing was kept yet");
        let jobs = ["jobs/smock.tatter.toml", "two\nlines.tatter.toml", "jobs/with space.tatter.toml"].map(PathBuf::from);
        write_recent(&folder, &jobs).unwrap();
        assert_eq!(read_recent(&folder), [jobs[0].clone(), jobs[2].clone()], "in order");
    }
}
