//! `proof`: lit pictures of the garment with what the job lays on it, before anything is delivered.

mod error;
mod shots;

use std::path::{Path, PathBuf};

use glam::Vec2;
use tatter_core::channel::{Channel, Kind};
use tatter_core::image::{Coding, ColorTags, Layout, LinearRgb, Map, Samples, Size, Stored, Transfer};
use tatter_core::kernel::area_resize;
use tatter_core::mesh::Part;
use tatter_core::model::Garment;
use tatter_core::task::Task;
use tatter_files::limits::Limits;
use tatter_files::picture::{Effort, PictureFormat, encode, read_stored};
use tatter_files::write::{probe_folder, write_whole};
use tatter_garment::surface::Surface;
use tatter_garment::view::Viewer;
pub use tatter_proof::{AdapterInfo, Sheen, Side, ViewTransform};
use tatter_proof::{
    Camera, Light, Material, Openings, Picture, Renderer, Scene, ScenePart, Show, Source, StillSettings, needed_reduction,
};

pub use error::ProofError;
pub use shots::PLACEMENTS;
use shots::{Shot, shots};

use crate::build::finish;
use crate::session::Session;
use crate::variation::Which;

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
    /// What drew them.
    pub adapter: AdapterInfo,
    /// Triangles of the garment.
    pub triangles: usize,
    /// Bytes of textures and triangles on the adapter.
    pub adapter_bytes: u64,
}

/// Views of one state of the garment.
pub(crate) struct Drawn {
    pub(crate) names: Vec<String>,
    /// As it becomes.
    pub(crate) after: Vec<Picture>,
    /// As it was, when asked.
    pub(crate) before: Vec<Picture>,
    pub(crate) adapter: AdapterInfo,
    pub(crate) triangles: usize,
    pub(crate) adapter_bytes: u64,
}

/// Draw a job's garment and write the views: into one PNG side by side, before above after where both are wanted, or one a view into a
/// folder (`output` is one, ends in a slash, or a turntable is asked). Garment and job stay as they are.
///
/// # Errors
/// As [`ProofError`] lists; pictures written so far are whole.
pub fn prove(job: &Path, request: &ProofRequest, output: &Path, task: &Task) -> Result<ProofReport, ProofError> {
    let many = output.is_dir() || output.as_os_str().to_string_lossy().ends_with('/') || request.turntable.is_some();
    check_output(output, many)?;
    let drawn = draw(job, request, task)?;
    let images = task.stage("write", || if many { write_many(&drawn, output) } else { write_one(&drawn, output) })?;
    let Drawn { adapter, triangles, adapter_bytes, .. } = drawn;
    Ok(ProofReport { images, adapter, triangles, adapter_bytes })
}

fn check_output(output: &Path, many: bool) -> Result<(), ProofError> {
    let failed = |error| ProofError::Write(error, output.to_owned());
    if many {
        return probe_folder(output).map_err(failed);
    }
    let folder = output.parent().filter(|folder| !folder.as_os_str().is_empty()).unwrap_or(Path::new("."));
    probe_folder(folder).map_err(failed)
}

/// Build the job in memory and draw the views.
pub(crate) fn draw(job: &Path, request: &ProofRequest, task: &Task) -> Result<Drawn, ProofError> {
    let [width, height] = request.size;
    if width.max(height) > LONGEST || width.min(height) == 0 {
        return Err(ProofError::Large(width, height));
    }
    // First, since without one the rest would be for nothing.
    let renderer = task.stage("adapter", Renderer::new)?;
    let light = request.environment.as_deref().map_or_else(|| Ok(Light::default()), surroundings)?;
    let mut session = Session::look(job, task)?;
    let which = request.variation.as_deref().map_or(Which::Job, Which::One);
    let state = which.of(&session.job, job)?.pop().flatten();
    let mut pictures = session.load(task)?;
    let before = request.before_after.then(|| pictures.clone());
    task.stage("build", || finish(&session, job, &mut pictures, state.as_ref()))?;
    let viewer = Viewer::new(&session.garment);
    let parts = parts(&session.garment, &viewer);
    let scene = scene(&session.garment, &pictures, &parts, request);
    if scene.triangles() == 0 {
        return Err(ProofError::Empty(job.to_owned()));
    }
    let shots = shots(&session, viewer.surface(), &scene, request, job)?;
    let views: Vec<(Camera, [u32; 2])> = shots.iter().map(|shot| (shot.camera, request.size)).collect();
    let needed = needed_reduction(&scene, &views);
    let (after, adapter_bytes) = drawn_all(&renderer, &scene, &needed, &shots, &light, request, task)?;
    let before = match &before {
        Some(pictures) => {
            let scene = self::scene(&session.garment, pictures, &parts, request);
            drawn_all(&renderer, &scene, &needed, &shots, &light, request, task)?.0
        }
        None => Vec::new(),
    };
    let names = shots.into_iter().map(|shot| shot.name).collect();
    let (adapter, triangles) = (renderer.info().clone(), scene.triangles());
    Ok(Drawn { names, after, before, adapter, triangles, adapter_bytes })
}

fn drawn_all(
    renderer: &Renderer,
    scene: &Scene<'_>,
    needed: &[f32],
    shots: &[Shot],
    light: &Light,
    request: &ProofRequest,
    task: &Task,
) -> Result<(Vec<Picture>, u64), ProofError> {
    let loaded = task.stage("upload", || renderer.load(scene, needed));
    let settings = StillSettings {
        width: request.size[0],
        height: request.size[1],
        samples: request.samples,
        show: request.channel.map_or(Show::Light, Show::Channel),
        transform: request.transform,
        exposure: request.exposure,
        relief: request.relief,
        ..StillSettings::default()
    };
    let pictures = task.stage("draw", || {
        let still = |shot: &Shot| renderer.still(&loaded, &shot.camera, &light.carried(shot.camera.turn()), &settings, task);
        shots.iter().map(still).collect::<Result<_, _>>()
    })?;
    Ok((pictures, loaded.bytes))
}

fn surroundings(path: &Path) -> Result<Light, ProofError> {
    let stored = read_stored(path, &Limits::default())?;
    let Size { width, height } = stored.size;
    if width != 2 * height {
        return Err(ProofError::Surroundings(width, height, path.to_owned()));
    }
    let transfer = if stored.is_float() { Transfer::Linear } else { Transfer::Srgb };
    let Map::Color(picture) = stored.decode_whole(Kind::Color, &Coding { transfer, ..Coding::default() }) else {
        unreachable!("colour decodes to colour");
    };
    // The sky is read blurred: more than this is not seen.
    let picture = if width > 256 { area_resize(&picture, 256, 128) } else { picture };
    Ok(Light::from_surroundings(picture))
}

/// The garment's triangles, by the map set they show; the last material is for those that show none.
fn parts(garment: &Garment, viewer: &Viewer<'_>) -> Vec<ScenePart> {
    let none = garment.sets.len();
    let mut first = 0;
    let flat = flat_parts(viewer.surface());
    let all = garment.mesh.as_ref().map_or(&flat, |mesh| &mesh.parts);
    let mut parts = Vec::new();
    for part in all {
        parts.extend(ScenePart::split(part, |triangle| viewer.set_of(first + triangle).unwrap_or(none)));
        first += part.triangles.len();
    }
    parts
}

/// A bare map set's sheets, in millimetres.
fn flat_parts(surface: &Surface) -> Vec<Part> {
    if !surface.is_flat() {
        return Vec::new();
    }
    let mut parts: Vec<Part> = surface.parts().iter().map(|part| Part { name: part.name.clone(), ..Part::default() }).collect();
    for face in surface.faces() {
        let part = &mut parts[face.part];
        let first = part.positions.len() as u32;
        part.positions.extend(face.corners.map(|p| p.as_vec3()));
        part.normals.extend(face.corner_normals.map(|n| n.as_vec3()));
        part.uvs.extend(face.uvs.map(|uv| Vec2::new(uv.x as f32, uv.y as f32)));
        part.triangles.push([first, first + 1, first + 2]);
    }
    parts
}

fn scene<'a>(garment: &Garment, pictures: &'a [Vec<Stored>], parts: &[ScenePart], request: &ProofRequest) -> Scene<'a> {
    let openings = request.cutoff.map_or(Openings::Share, Openings::Cutoff);
    let mut materials: Vec<Material<'a>> = garment
        .sets
        .iter()
        .zip(pictures)
        .map(|(set, pictures)| {
            let of_file = |(file, picture): (&tatter_core::model::MapFile, &'a Stored)| {
                file.roles.iter().map(|role| (role.channel, Source { picture, coding: role.coding })).collect::<Vec<_>>()
            };
            Material {
                name: format!("{} {}", set.material, 1001 + set.tile.u + 10 * set.tile.v),
                sources: set.files.iter().zip(pictures).flat_map(of_file).collect(),
                sheen: request.sheen,
                openings,
                mm_per_uv: garment.mm_per_uv.get(),
            }
        })
        .collect();
    materials.push(Material {
        name: "untextured".to_owned(),
        sources: Vec::new(),
        sheen: request.sheen,
        openings,
        mm_per_uv: garment.mm_per_uv.get(),
    });
    Scene { parts: parts.to_vec(), materials }
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
    let stored = Stored {
        size: Size::new(picture.width as usize, picture.height as usize),
        layout: Layout::Rgb,
        samples: Samples::U8(picture.rgb.clone()),
        tags: ColorTags::srgb(),
    };
    let png = encode(&stored, PictureFormat::Png, Effort::Fast)?;
    write_whole(path, &png).map_err(|error| ProofError::Write(error, path.to_owned()))
}
