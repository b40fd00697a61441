//! `proof`: lit pictures of the garment with what the job lays on it, before anything is delivered.

mod error;
mod page;
mod shots;
pub(crate) mod studio;

use std::path::{Path, PathBuf};

use tatter_core::channel::Channel;
use tatter_core::image::{ColorTags, Layout, LinearRgb, Samples, Size, Stored};
use tatter_core::task::Task;
use tatter_files::picture::{Effort, PictureFormat, encode};
use tatter_files::write::{probe_folder, write_whole};
pub use tatter_proof::{AdapterInfo, Sheen, Side, ViewTransform};
use tatter_proof::{Picture, Scene};

pub use error::ProofError;
pub use page::PageReport;
pub use shots::PLACEMENTS;
use shots::shots;
use studio::{Drawn, Studio};

/// Longest side of a picture.
const LONGEST: u32 = 16_384;
/// Space between pictures side by side, pixels.
const GAP: u32 = 8;

/// What is wanted.
#[derive(Clone, Debug, PartialEq)]
pub struct ProofRequest {
    /// Names: a side of the garment ([`Side::name`]), [`PLACEMENTS`], or the id of a placement.
    pub views: Vec<String>,
    /// So many pictures all around instead, one file each.
    pub turntable: Option<usize>,
    /// Columns and rows of each view.
    pub size: [u32; 2],
    /// Pictures averaged for each.
    pub samples: u32,
    /// The garment as it was beside the garment as it becomes.
    pub before_after: bool,
    /// One channel, unlit.
    pub channel: Option<Channel>,
    /// A picture of surroundings to light it by; the built-in studio otherwise.
    pub environment: Option<PathBuf>,
    /// Stops.
    pub exposure: f32,
    /// From light to screen.
    pub transform: ViewTransform,
    /// Share of its height that relief stands out by.
    pub relief: f32,
    /// The cloth's fuzz.
    pub sheen: Sheen,
    /// Cloth where opacity is at least this; by share otherwise.
    pub cutoff: Option<f32>,
    /// A variation of the job in place of the job itself.
    pub variation: Option<String>,
}

impl Default for ProofRequest {
    fn default() -> Self {
        Self {
            views: [Side::Front, Side::ThreeQuarter, Side::Back].map(|facing| facing.name().to_owned()).into(),
            turntable: None,
            size: [1200, 1200],
            samples: 64,
            before_after: false,
            channel: None,
            environment: None,
            exposure: 0.0,
            transform: ViewTransform::Neutral,
            relief: 0.0,
            sheen: Sheen { color: LinearRgb([0.0; 3]), roughness: 0.5 },
            cutoff: None,
            variation: None,
        }
    }
}

/// A written picture.
#[derive(Clone, Debug)]
pub struct ProofImage {
    /// Where.
    pub path: PathBuf,
    /// The views on it, from left to right.
    pub views: Vec<String>,
    /// Columns and rows.
    pub size: [u32; 2],
}

/// What was drawn.
#[derive(Clone, Debug)]
pub struct ProofReport {
    /// The pictures.
    pub images: Vec<ProofImage>,
    /// The page for approval, when one was asked.
    pub page: Option<PageReport>,
    /// What drew them.
    pub adapter: AdapterInfo,
    /// Triangles of the garment.
    pub triangles: usize,
    /// Bytes of textures and triangles on the adapter.
    pub adapter_bytes: u64,
}

/// Where a proof goes; one of the two at least.
#[derive(Clone, Copy, Debug, Default)]
pub struct ProofOutput<'a> {
    /// A PNG with all views; or a folder for one PNG a view, which is there, or ends in a slash, or gets a turntable.
    pub pictures: Option<&'a Path>,
    /// A folder for one self-contained `index.html`: before and after, placements, textures, where the patches come from.
    pub page: Option<&'a Path>,
}

/// Draw a job's garment and write what is asked: its views side by side on one PNG, before above after where both are wanted, or one PNG a
/// view; a page for approval. Garment and job stay as they are.
///
/// # Errors
/// As [`ProofError`] lists; files written so far are whole.
pub fn prove(job: &Path, request: &ProofRequest, output: &ProofOutput<'_>, task: &Task) -> Result<ProofReport, ProofError> {
    let many = |path: &Path| path.is_dir() || path.as_os_str().to_string_lossy().ends_with('/') || request.turntable.is_some();
    output.pictures.map_or(Ok(()), |path| check_output(path, many(path)))?;
    output.page.map_or(Ok(()), |folder| check_output(folder, true))?;
    let studio = Studio::open(job, request, request.before_after || output.page.is_some(), task)?;
    let mut report =
        ProofReport { images: Vec::new(), page: None, adapter: studio.adapter().clone(), triangles: 0, adapter_bytes: 0 };
    if let Some(path) = output.pictures {
        let drawn = studio.draw(request, request.before_after, job, task, |surface, scene: &Scene<'_>| {
            shots(&studio.session, surface, scene, request, job)
        })?;
        report.images = task.stage("write", || if many(path) { write_many(&drawn, path) } else { write_one(&drawn, path) })?;
        report.note(drawn.triangles, drawn.adapter_bytes);
    }
    if let Some(folder) = output.page {
        let (page, drawn) = page::write(&studio, request, job, folder, task)?;
        report.page = Some(page);
        report.note(drawn.triangles, drawn.adapter_bytes);
    }
    Ok(report)
}

impl ProofReport {
    fn note(&mut self, triangles: usize, adapter_bytes: u64) {
        self.triangles = triangles;
        self.adapter_bytes = self.adapter_bytes.max(adapter_bytes);
    }
}

fn check_output(output: &Path, many: bool) -> Result<(), ProofError> {
    let failed = |error| ProofError::Write(error, output.to_owned());
    if many {
        return probe_folder(output).map_err(failed);
    }
    let folder = output.parent().filter(|folder| !folder.as_os_str().is_empty()).unwrap_or(Path::new("."));
    probe_folder(folder).map_err(failed)
}

fn write_many(drawn: &Drawn, folder: &Path) -> Result<Vec<ProofImage>, ProofError> {
    let state = |pictures: &[Picture], suffix: &str| {
        drawn
            .names
            .iter()
            .zip(pictures)
            .map(|(name, picture)| {
                let path = folder.join(format!("{}{suffix}.png", file_name(name)));
                write(picture, &path)?;
                Ok(ProofImage { path, views: vec![name.clone()], size: [picture.width, picture.height] })
            })
            .collect::<Result<Vec<_>, ProofError>>()
    };
    let mut images = state(&drawn.before, "-before")?;
    images.extend(state(&drawn.after, if drawn.before.is_empty() { "" } else { "-after" })?);
    Ok(images)
}

/// An id as part of a file name: what could lead elsewhere is replaced.
pub(crate) fn file_name(id: &str) -> String {
    id.chars().map(|c| if c.is_alphanumeric() || matches!(c, '-' | '_' | '.') { c } else { '_' }).collect()
}

/// All views on one picture: side by side, what was above what becomes.
fn write_one(drawn: &Drawn, path: &Path) -> Result<Vec<ProofImage>, ProofError> {
    let rows: Vec<&[Picture]> = [&drawn.before[..], &drawn.after[..]].into_iter().filter(|row| !row.is_empty()).collect();
    let sheet = beside(&rows);
    write(&sheet, path)?;
    Ok(vec![ProofImage { path: path.to_owned(), views: drawn.names.clone(), size: [sheet.width, sheet.height] }])
}

fn beside(rows: &[&[Picture]]) -> Picture {
    let first = &rows[0][0];
    if let [[only]] = rows {
        return only.clone();
    }
    let (columns, count) = (rows[0].len() as u32, rows.len() as u32);
    let (width, height) = (columns * (first.width + GAP) - GAP, count * (first.height + GAP) - GAP);
    let mut rgb = vec![255; 3 * width as usize * height as usize];
    for (y, row) in rows.iter().enumerate() {
        for (x, picture) in row.iter().enumerate() {
            let (left, top) = (x * (first.width + GAP) as usize, y * (first.height + GAP) as usize);
            for (line, from) in picture.rgb.chunks_exact(3 * picture.width as usize).enumerate() {
                let at = 3 * ((top + line) * width as usize + left);
                rgb[at..at + from.len()].copy_from_slice(from);
            }
        }
    }
    Picture { width, height, rgb }
}

fn write(picture: &Picture, path: &Path) -> Result<(), ProofError> {
    let png = encode(&stored(picture), PictureFormat::Png, Effort::Fast)?;
    write_whole(path, &png).map_err(|error| ProofError::Write(error, path.to_owned()))
}

/// 8-bit sRGB, as drawn.
fn stored(picture: &Picture) -> Stored {
    Stored {
        size: Size::new(picture.width as usize, picture.height as usize),
        layout: Layout::Rgb,
        samples: Samples::U8(picture.rgb.clone()),
        tags: ColorTags::srgb(),
    }
}
