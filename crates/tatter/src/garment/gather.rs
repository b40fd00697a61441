//! Which files belong to a garment, and what they hold.

use std::path::{Path, PathBuf};

use tatter_core::image::{ColorTags, Rect, Samples, Stored};
use tatter_core::task::Task;
use tatter_files::limits::Limits;
use tatter_files::mesh::{EXTENSIONS, MeshFile, TextureRef, TextureSource, find_files, unpack_textures};
use tatter_files::picture::read_with_info;
use tatter_garment::recognise::{Candidate, Recognised, Told, recognise};

use super::{GarmentError, GarmentRequest};
use crate::paths::relative;

/// Endings of files that may be textures.
const PICTURES: &[&str] = &["png", "jpg", "jpeg", "tif", "tiff", "exr", "webp", "hdr", "tga"];

/// Side of the part of every texture that is looked at closely, texels.
const SAMPLE: usize = 512;

fn list(folder: &Path, endings: &[&str], depth: usize) -> Result<Vec<PathBuf>, GarmentError> {
    find_files(folder, endings, depth).map_err(|e| GarmentError::Folder { reason: e.to_string(), path: folder.to_owned() })
}

/// The mesh file, or `None` for a folder of textures.
pub(super) fn mesh_path(path: &Path) -> Result<Option<PathBuf>, GarmentError> {
    if !path.is_dir() {
        return Ok(Some(path.to_owned()));
    }
    let found = list(path, &EXTENSIONS, 1)?;
    match found.as_slice() {
        [only] => Ok(Some(only.clone())),
        [] if list(path, PICTURES, 2)?.is_empty() => Err(GarmentError::Nothing { path: path.to_owned() }),
        [] => Ok(None),
        several => {
            let names =
                several.iter().take(5).map(|p| p.file_name().unwrap_or_default().to_string_lossy().into_owned()).collect();
            Err(GarmentError::SeveralMeshes { names, path: path.to_owned() })
        }
    }
}

/// The folder that a garment's paths are relative to.
pub(super) fn base(source: &Path) -> PathBuf {
    if source.is_dir() { source.to_owned() } else { source.parent().unwrap_or(Path::new("")).to_owned() }
}

/// A path as seen from a folder, `/` between folders; as written when no way leads there.
pub(super) fn relative_to(base: &Path, path: &Path) -> String {
    relative(base, path).unwrap_or_else(|| path.to_string_lossy().into_owned())
}

/// Whether two paths lead to one file, through whatever links.
fn is_same_file(a: &Path, b: &Path) -> bool {
    a == b || matches!((a.canonicalize(), b.canonicalize()), (Ok(a), Ok(b)) if a == b)
}

/// Finds, reads and recognises the textures.
pub(super) fn textures(
    request: &GarmentRequest,
    base: &Path,
    mesh_path: Option<&Path>,
    mut file: Option<&mut MeshFile>,
    task: &Task,
) -> Result<Recognised, GarmentError> {
    if let (Some(file), Some(folder)) = (file.as_deref_mut(), &request.unpack) {
        let failed = |e: std::io::Error| GarmentError::Unpack { reason: e.to_string(), path: folder.clone() };
        let mesh_folder = mesh_path.and_then(Path::parent).unwrap_or(Path::new("")).to_owned();
        unpack_textures(&mut file.materials, folder, |path| relative_to(&mesh_folder, path)).map_err(failed)?;
    }
    let (mut paths, told) = match (file.as_deref(), mesh_path) {
        (Some(file), Some(mesh)) => named_by_materials(request, base, file, mesh, task),
        _ => Default::default(),
    };
    let folder = match (&request.maps, mesh_path) {
        (Some(maps), _) => Some(maps.clone()),
        (None, None) => Some(request.source.clone()),
        // What materials name is trusted; a folder is searched only when they name nothing that is there.
        (None, Some(mesh)) => told.is_empty().then(|| mesh.parent().unwrap_or(Path::new("")).to_owned()),
    };
    if let Some(folder) = folder {
        let folder = if folder.as_os_str().is_empty() { PathBuf::from(".") } else { folder };
        // Named by nobody, textures beside other meshes are theirs.
        let others = if request.maps.is_none() && mesh_path.is_some() { other_garments(&folder)? } else { Vec::new() };
        for path in list(&folder, PICTURES, 2)? {
            if !others.iter().any(|other| path.starts_with(other)) && !paths.iter().any(|known| is_same_file(known, &path)) {
                paths.push(path);
            }
        }
    }
    let mut candidates = Vec::new();
    for (n, path) in paths.iter().enumerate() {
        task.check()?;
        task.progress("textures", n as f32 / paths.len() as f32);
        candidates.extend(candidate(path, relative_to(base, path), &request.limits, task));
    }
    let embedded = |texture: &TextureRef| matches!(texture.source, TextureSource::Embedded { .. });
    let inside = file.iter().flat_map(|f| &f.materials).any(|material| material.textures.iter().any(embedded));
    let materials: Vec<String> = file.map(|f| f.materials.iter().map(|m| m.name.clone()).collect()).unwrap_or_default();
    let found = recognise(&candidates, &told, &materials);
    for note in &found.notes {
        task.note(note.code, note.text.clone());
    }
    if candidates.is_empty() && !inside {
        task.note("no-textures", "No texture was found, so nothing can be laid on it yet; name their folder with --maps");
    }
    Ok(found)
}

/// Folders below one that hold meshes of their own.
fn other_garments(folder: &Path) -> Result<Vec<PathBuf>, GarmentError> {
    let meshes = list(folder, &EXTENSIONS, 2)?;
    let beside = meshes.iter().filter_map(|mesh| mesh.parent()).filter(|beside| *beside != folder);
    Ok(beside.map(Path::to_owned).collect())
}

/// Textures that materials name, where they are or where they moved to.
fn named_by_materials(
    request: &GarmentRequest,
    base: &Path,
    file: &MeshFile,
    mesh: &Path,
    task: &Task,
) -> (Vec<PathBuf>, Vec<Told>) {
    let (mut paths, mut told): (Vec<PathBuf>, Vec<Told>) = (Vec::new(), Vec::new());
    let folder = mesh.parent().unwrap_or(Path::new(""));
    for material in &file.materials {
        for texture in &material.textures {
            let name = match &texture.source {
                TextureSource::File(name) => name,
                TextureSource::Embedded { name, extension, .. } => {
                    let text = format!(
                        "\"{name}.{extension}\" lies inside the mesh file; --unpack DIR writes it out, so that it can be redelivered"
                    );
                    task.note("texture-embedded", text);
                    continue;
                }
            };
            let short = Path::new(name).file_name().unwrap_or_default();
            let places = [Some(folder.join(name)), request.maps.as_ref().map(|maps| maps.join(short)), Some(folder.join(short))];
            let Some(path) = places.into_iter().flatten().find(|path| path.is_file()) else {
                task.note("texture-missing", format!("Material \"{}\" names \"{name}\", which is not there", material.name));
                continue;
            };
            let relative = relative_to(base, &path);
            told.push(Told { path: relative.clone(), material: material.name.clone(), roles: texture.roles.clone() });
            if !paths.contains(&path) {
                paths.push(path);
            }
        }
    }
    (paths, told)
}

/// Reads one texture; one that cannot be read is told of and passed over.
fn candidate(path: &Path, name: String, limits: &Limits, task: &Task) -> Option<Candidate> {
    match read_with_info(path, limits) {
        Ok((stored, info)) => {
            let (size, layout) = (stored.size, stored.layout);
            Some(Candidate { path: name, size, layout, bits: info.bits, sample: Some(middle(&stored)) })
        }
        Err(error) => {
            task.note("texture-unreadable", format!("Passed over: {error}"));
            None
        }
    }
}

/// The middle of a picture at full resolution.
fn middle(stored: &Stored) -> Stored {
    let (width, height) = (stored.size.width.min(SAMPLE), stored.size.height.min(SAMPLE));
    let part = Rect::new((stored.size.width - width) / 2, (stored.size.height - height) / 2, width, height);
    let components = stored.layout.components();
    let rows = (part.y..part.bottom()).map(|y| {
        let start = (y * stored.size.width + part.x) * components;
        start..start + part.width * components
    });
    let samples = match &stored.samples {
        Samples::U8(v) => Samples::U8(rows.flat_map(|row| &v[row]).copied().collect()),
        Samples::U16(v) => Samples::U16(rows.flat_map(|row| &v[row]).copied().collect()),
        Samples::F16(v) => Samples::F16(rows.flat_map(|row| &v[row]).copied().collect()),
        Samples::F32(v) => Samples::F32(rows.flat_map(|row| &v[row]).copied().collect()),
    };
    Stored { size: part.size(), layout: stored.layout, samples, tags: ColorTags::default() }
}
