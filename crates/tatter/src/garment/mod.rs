//! `tatter garment`: reads a mesh and its textures, says what was understood, and starts a job.

mod add;
mod error;
mod gather;
mod measure;

use std::path::{Path, PathBuf};

use tatter_core::channel::Channel;
use tatter_core::model::{Garment, Job, JobGarment};
use tatter_core::task::Task;
use tatter_core::units::MmPerUv;
use tatter_files::limits::Limits;
use tatter_files::mesh::{AlphaMode, MeshFile, UnitSource};
use tatter_garment::surface::density::Density;

pub use add::add_plain_maps;
pub use error::GarmentError;

/// What is asked for.
#[derive(Clone, Debug, Default)]
pub struct GarmentRequest {
    /// A mesh file, or a folder with one, or a folder with textures alone.
    pub source: PathBuf,
    /// Where the textures are, when the mesh does not tell.
    pub maps: Option<PathBuf>,
    /// Millimetres in one unit of the mesh, when the file does not state it or states it wrongly.
    pub mm_per_unit: Option<f32>,
    /// Millimetres per UV unit, when known better than the mesh tells, or without a mesh.
    pub mm_per_uv: Option<f32>,
    /// Write textures that lie inside the mesh file into this folder, so that they can be redelivered.
    pub unpack: Option<PathBuf>,
    /// How much may be read.
    pub limits: Limits,
}

/// One material, as it lies on the garment.
#[derive(Clone, Debug, PartialEq)]
pub struct MaterialReport {
    /// Its name; empty when it has none.
    pub name: String,
    /// Names of the parts that have it.
    pub parts: Vec<String>,
    /// Their triangles.
    pub triangles: usize,
    /// Islands in the texture.
    pub islands: usize,
    /// How many of them show it reversed left to right.
    pub mirrored: usize,
    /// Share of the texture that is used, 0..1.
    pub used: f32,
    /// Share of the used texture that lies on several places of the garment, 0..1.
    pub shared: f32,
    /// Smallest and largest texture coordinates, v down.
    pub uv_range: [[f32; 2]; 2],
    /// How many times the texture repeats over the surface, at most; 1 when it does not.
    pub repeats: usize,
    /// Millimetres per UV unit: median and 5 to 95 % of the cloth; `None` when it has no area.
    pub density: Option<Density>,
    /// What its alpha means.
    pub alpha: AlphaMode,
    /// Whether both sides are seen.
    pub double_sided: bool,
    /// Textures left aside, with the reason.
    pub left_aside: Vec<String>,
}

/// One texture and how fine it lies on the cloth.
#[derive(Clone, Debug, PartialEq)]
pub struct MapReport {
    /// Its path, relative to the report's base.
    pub path: String,
    /// What it holds.
    pub channels: Vec<Channel>,
    /// Bits a sample.
    pub bits: u8,
    /// Texels on one millimetre of cloth.
    pub texels_per_mm: f32,
}

/// What was understood of a garment. Notes are left on the task.
#[derive(Clone, Debug)]
pub struct GarmentReport {
    /// The garment, ready to lay patches on.
    pub garment: Garment,
    /// The folder that paths in this report are relative to: the source, or the folder it lies in.
    pub base: PathBuf,
    /// The same as a job file beside it would say it.
    pub job: JobGarment,
    /// Where the mesh unit comes from; `None` without a mesh.
    pub unit_source: Option<UnitSource>,
    /// Whether `mm_per_unit` was given.
    pub unit_given: bool,
    /// Width, height and depth of the garment, mm; zeros without a mesh.
    pub size_mm: [f32; 3],
    /// Triangles of the whole garment.
    pub triangles: usize,
    /// Its materials.
    pub materials: Vec<MaterialReport>,
    /// Its textures.
    pub maps: Vec<MapReport>,
    /// Channels that no texture holds.
    pub missing: Vec<Channel>,
    /// Files whose role nobody can see.
    pub unknown: Vec<String>,
}

/// Reads a garment and its textures and says what they are. Every texture is decoded once; peak memory is the mesh and
/// the largest texture.
///
/// # Errors
/// [`GarmentError`]: nothing there, several meshes to choose from, a mesh that cannot be read, a scale that is no size.
pub fn describe(request: &GarmentRequest, task: &Task) -> Result<GarmentReport, GarmentError> {
    for (option, value) in [("--mm-per-unit", request.mm_per_unit), ("--mm-per-uv", request.mm_per_uv)] {
        if let Some(value) = value.filter(|v| !(v.is_finite() && *v > 0.0)) {
            return Err(GarmentError::Scale { option, value });
        }
    }
    let mesh_path = gather::mesh_path(&request.source)?;
    let base = gather::base(&request.source);
    let mut file: Option<MeshFile> = match &mesh_path {
        Some(path) => Some(task.stage("mesh", || tatter_files::mesh::read_mesh(path, &request.limits))?),
        None => None,
    };
    task.check()?;
    let given = request.mm_per_unit;
    for note in file.iter().flat_map(|f| &f.notes) {
        // A given scale answers the doubts about it.
        if given.is_none() || !matches!(note.code, "scale-small" | "scale-large" | "unit-assumed") {
            task.note(note.code, note.text.clone());
        }
    }
    let recognised = task.stage("textures", || gather::textures(request, &base, mesh_path.as_deref(), file.as_mut(), task))?;
    let mm_per_unit = given.or(file.as_ref().map(|f| f.mm_per_unit)).unwrap_or(1.0);
    let materials = file.as_ref().map(|f| measure::materials(f, mm_per_unit, &recognised.sets, task)).unwrap_or_default();
    let mm_per_uv = measure::mm_per_uv(request, file.as_ref(), mm_per_unit, &recognised.sets, task);
    let maps = measure::maps(&recognised, &materials, mm_per_uv);
    let size_mm = file.as_ref().map_or([0.0; 3], |f| {
        let (low, high) = f.mesh.bounds();
        ((high - low) * mm_per_unit).to_array()
    });
    let job = JobGarment {
        mesh: mesh_path.as_deref().map(|path| gather::relative_to(&base, path)),
        mm_per_unit,
        mm_per_uv: (request.mm_per_uv.is_some() || file.is_none()).then_some(mm_per_uv),
        sets: recognised.sets.clone(),
        grain: Vec::new(),
    };
    Ok(GarmentReport {
        base,
        unit_source: file.as_ref().map(|f| f.unit_source),
        unit_given: given.is_some(),
        size_mm,
        triangles: file.as_ref().map_or(0, |f| f.mesh.triangle_count()),
        materials,
        maps,
        missing: recognised.missing,
        unknown: recognised.unknown,
        garment: Garment { mesh: file.map(|f| f.mesh), sets: recognised.sets, mm_per_unit, mm_per_uv, grain: Vec::new() },
        job,
    })
}

/// A job without placements for a garment, its paths relative to the job file to be; writing it is
/// [`tatter_files::job::write_job`]'s.
pub fn start_job(report: &GarmentReport, job_path: &Path) -> Job {
    let file = job_path.file_name().unwrap_or_default().to_string_lossy().into_owned();
    let name = file.strip_suffix(".tatter.toml").or(file.strip_suffix(".toml")).unwrap_or(&file).to_owned();
    let folder = job_path.parent().unwrap_or(Path::new(""));
    let moved = |path: &str| gather::relative_to(folder, &report.base.join(path));
    let mut garment = report.job.clone();
    garment.mesh = garment.mesh.as_deref().map(moved);
    for file in garment.sets.iter_mut().flat_map(|set| &mut set.files) {
        file.path = moved(&file.path);
    }
    Job { name, garment, ..Job::default() }
}

/// Millimetres per UV unit of a bare map set nobody knows the size of: a texture of a metre is a common trim sheet.
const ASSUMED_MM_PER_UV: MmPerUv = MmPerUv(1000.0);
