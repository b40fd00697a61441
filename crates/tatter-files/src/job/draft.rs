//! What a person has changed and not saved, kept beside the job so that a crash loses nothing.

use std::fs;
use std::io;
use std::path::{Path, PathBuf};

use tatter_core::model::Job;

use super::JobError;
use super::read::{parse_job, read_text};
use super::write::edited;
use crate::disk::Disk;
use crate::store::Store;

/// Name of the draft in the folder `NAME.tatter`. It is a job file as it would be saved; its paths count from the job's own folder.
const DRAFT: &str = "draft.tatter.toml";

fn place(job_path: &Path) -> Result<PathBuf, JobError> {
    let store = Store::open(job_path).map_err(|error| JobError::Disk {
        doing: "reading the books of",
        source: io::Error::other(error),
        path: job_path.to_path_buf(),
    })?;
    Ok(store.folder().join(DRAFT))
}

/// Keep a job's unsaved state, as the text that saving would write. The job file stays as it is.
///
/// # Errors
/// [`JobError::Text`] when the job file cannot be read, or the disk's answer.
pub fn write_draft(job_path: &Path, job: &Job) -> Result<(), JobError> {
    let raw = read_text(job_path)?;
    let text =
        edited(&raw, job_path, job).map_err(|fault| JobError::Text { path: job_path.to_path_buf(), fault: fault.into() })?;
    let path = place(job_path)?;
    let disk = |source| JobError::Disk { doing: "writing", source, path: path.clone() };
    let folder = path.parent().unwrap_or(Path::new(""));
    fs::create_dir_all(folder).map_err(disk)?;
    Disk::default().replace(&path, text.as_bytes()).map_err(disk)
}

/// The unsaved state that was kept, if there is one that differs from the job file. A draft that cannot be read is none.
///
/// # Errors
/// As [`super::read_job`] of the job file itself.
pub fn read_draft(job_path: &Path) -> Result<Option<Job>, JobError> {
    let saved = super::read_job(job_path)?;
    let Ok(raw) = read_text(&place(job_path)?) else { return Ok(None) };
    let Ok(mut draft) = parse_job(&raw) else { return Ok(None) };
    if draft.name.is_empty() {
        draft.name.clone_from(&saved.name);
    }
    Ok((draft != saved).then_some(draft))
}

/// Forget the draft; nothing happens when there is none.
///
/// # Errors
/// The disk's answer.
pub fn forget_draft(job_path: &Path) -> Result<(), JobError> {
    let path = place(job_path)?;
    match fs::remove_file(&path) {
        Err(source) if source.kind() != io::ErrorKind::NotFound => Err(JobError::Disk { doing: "removing", source, path }),
        _ => Ok(()),
    }
}

/// The text of a job file, to be compared with what it is later.
///
/// # Errors
/// When it cannot be read.
pub fn job_text(job_path: &Path) -> Result<String, JobError> {
    read_text(job_path)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::job::{ENDING, read_job, write_job};

    #[test]
    fn a_draft_is_kept_beside_the_job_and_forgotten() -> Result<(), Box<dyn std::error::Error>> {
        let scratch = tempfile::tempdir()?;
        let path = scratch.path().join(format!("smock{ENDING}"));
        fs::write(&path, "# mine\nformat = 1\n[garment]\nmm_per_uv = 500.0\n")?;
        let saved = read_job(&path)?;
        assert_eq!(read_draft(&path)?, None, "nothing was kept yet");
        let mut changed = saved.clone();
        changed.delivery.folder = Some("out".to_owned());
        write_draft(&path, &changed)?;
        assert_eq!(read_job(&path)?, saved, "the job file stays");
        assert_eq!(read_draft(&path)?.as_ref(), Some(&changed), "what was kept comes back");
        assert!(fs::read_to_string(scratch.path().join("smock.tatter").join(DRAFT))?.starts_with("# mine"), "with its comments");
        write_job(&path, &changed)?;
        assert_eq!(read_draft(&path)?, None, "saved, it is no news");
        forget_draft(&path)?;
        forget_draft(&path)?;
        assert!(!scratch.path().join("smock.tatter").join(DRAFT).exists(), "it is gone, and stays gone");
        Ok(())
    }
}
