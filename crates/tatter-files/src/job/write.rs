//! Writing a job file.

use std::path::Path;

use tatter_core::model::Job;
use toml_edit::DocumentMut;

use super::merge::merge;
use super::read::{parse_job, read_text};
use super::render::render;
use super::{ENDING, JobError};
use crate::disk::Disk;
use crate::text::TextFault;

/// First line of a new job file.
const HEADING: &str = "# A job for Tatter: what lies where on the garment. Edit it freely; `tatter check` reads it over.\n";

/// Write a job: into the words of the file that is there, or as a new file.
///
/// An existing file keeps its comments, order and spacing, and everything that did not change. The file is replaced in
/// one step; a symbolic link is written through.
///
/// # Errors
/// [`JobError::Text`] when the file that is there cannot be read (it is then left alone),
/// [`JobError::Unkeepable`] when the job itself is wrong, or the disk's answer.
pub fn write_job(path: &Path, job: &Job) -> Result<(), JobError> {
    let text = match read_text(path) {
        Ok(raw) => edited(&raw, path, job).map_err(|fault| JobError::Text { path: path.to_path_buf(), fault: fault.into() })?,
        Err(JobError::Missing { .. }) => format!("{HEADING}{}", DocumentMut::from(render(job))),
        Err(error) => return Err(error),
    };
    parse_job(&text).map_err(|fault| JobError::Unkeepable { path: path.to_path_buf(), fault: fault.into() })?;
    let disk = |source| JobError::Disk { doing: "writing", source, path: path.to_path_buf() };
    Disk::default().replace(path, text.as_bytes()).map_err(disk)
}

/// The text with the job's changes in it.
pub(super) fn edited(raw: &str, path: &Path, job: &Job) -> Result<String, TextFault> {
    let mut before = parse_job(raw)?;
    if before.name.is_empty() && path.file_name().is_some_and(|name| name.to_string_lossy() == format!("{}{ENDING}", job.name)) {
        // The name was taken from the file's, and need not be written into it.
        before.name.clone_from(&job.name);
    }
    let mut document: DocumentMut = crate::text::parse(raw)?.into_mut();
    merge(&mut document, &render(&before), &render(job));
    let text = document.to_string();
    Ok(if raw.contains("\r\n") { text.replace("\r\n", "\n").replace('\n', "\r\n") } else { text })
}
