//! `handoff`: the finished garment as others want it: GLB, glTF, MaterialX, or maps named and packed by a profile. The job is
//! built in memory; the garment's own files stay as they are.

mod error;
mod gltf;
mod limits;
mod maps;
mod mtlx;
mod names;
mod place;
mod translucency;

use std::path::{Path, PathBuf};

use tatter_core::channel::Channel;
use tatter_core::image::{NormalY, Size, Stored};
use tatter_core::model::{AlphaChoice, HandoffProfile, MapSet, Variation};
use tatter_core::task::Task;
use tatter_files::handoff::{find_profile, give};
use tatter_garment::hand_on::{Openness, openness};

pub use error::HandoffFailed;

use crate::build::finish;
use crate::session::Session;
use crate::variation::Which;

/// What is handed on, told by the name of the output.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum HandoffKind {
    /// One file with mesh, materials and textures.
    Glb,
    /// Mesh and materials, with data and textures beside it.
    Gltf,
    /// A MaterialX document, with its maps beside it.
    MaterialX,
    /// Maps in a folder.
    Maps,
}

impl HandoffKind {
    /// Whether the mesh is handed on too.
    const fn has_mesh(self) -> bool {
        matches!(self, Self::Glb | Self::Gltf)
    }
}

/// What to hand on, and how.
#[derive(Clone, Debug, Default)]
pub struct HandoffRequest {
    /// The job file.
    pub job: PathBuf,
    /// `FILE.glb`, `FILE.gltf`, `FILE.mtlx`, or a folder.
    pub output: PathBuf,
    /// A profile by name, or a profile file; `None`: as the kind of output usually wants it.
    pub profile: Option<String>,
    /// Longest side of textures, over the profile's.
    pub max_texels: Option<usize>,
    /// Which way green points in normal maps, over the profile's.
    pub normal_y: Option<NormalY>,
    /// How opacity is treated, over the profile's.
    pub alpha: Option<AlphaChoice>,
    /// A variation of the job in place of the job itself.
    pub variation: Option<String>,
    /// Overwrite files that this job did not hand on.
    pub replace: bool,
}

/// One file that was handed on.
#[derive(Clone, Debug, PartialEq)]
pub struct HandedFile {
    /// Where it is.
    pub path: PathBuf,
    /// What it is: `garment`, `buffer`, `document`, or the name of a texture in its profile.
    pub role: String,
    /// The channels it holds.
    pub channels: Vec<Channel>,
    /// The size of a texture.
    pub size: Option<Size>,
    /// Its bytes.
    pub bytes: u64,
    /// Something of another origin had stood there.
    pub replaced: bool,
}

/// What was handed on.
#[derive(Clone, Debug)]
pub struct HandoffSummary {
    /// What it is.
    pub kind: HandoffKind,
    /// The profile that was followed.
    pub profile: String,
    /// Every file.
    pub files: Vec<HandedFile>,
    /// Textures that lie inside a file.
    pub inside: Vec<Inside>,
    /// Triangles of the mesh, where one was written.
    pub triangles: Option<usize>,
}

/// A texture inside a GLB.
#[derive(Clone, Debug, PartialEq)]
pub struct Inside {
    /// Its name.
    pub name: String,
    /// The channels it holds.
    pub channels: Vec<Channel>,
    /// Its size.
    pub size: Size,
    /// Its bytes.
    pub bytes: u64,
}

/// A file to be written.
struct Outgoing {
    path: PathBuf,
    bytes: Vec<u8>,
    role: String,
    channels: Vec<Channel>,
    size: Option<Size>,
}

/// Everything the writers look at.
struct Work<'a> {
    session: &'a Session,
    pictures: &'a [Vec<Stored>],
    profile: &'a HandoffProfile,
    /// By set.
    alpha: Vec<AlphaChoice>,
    output: &'a Path,
}

/// What a writer made.
#[derive(Default)]
struct Made {
    files: Vec<Outgoing>,
    inside: Vec<Inside>,
    triangles: Option<usize>,
    materials: usize,
}

/// Build a job in memory and hand it on. Files that this job handed on before are replaced; others are not, unless asked for.
/// Nothing is ever written into a folder of the garment's own textures.
///
/// # Errors
/// As [`HandoffFailed`] lists; nothing was then written, or, when the outside failed, each file is whole.
pub fn hand_on(request: &HandoffRequest, task: &Task) -> Result<HandoffSummary, HandoffFailed> {
    let kind = kind_of(&request.output)?;
    let profile = profile_of(request, kind)?;
    let mut session = Session::look(&request.job, task)?;
    if kind.has_mesh() && session.garment.mesh.is_none() {
        return Err(HandoffFailed::NoMesh(request.job.clone()));
    }
    place::check(&session, kind, &request.output)?;
    let variation = variation(&session, request)?;
    let mut pictures = session.load(task)?;
    if kind.has_mesh() {
        translucency::begin(&mut session, &mut pictures);
    }
    let built = task.stage("build", || finish(&session, &request.job, &mut pictures, variation.as_ref()))?;
    translucency::end(&mut session, &mut pictures, |set, file| built.report.texels_changed(set, file));
    let alpha = alphas(&profile, &session.garment.sets, &pictures);
    let work = Work { session: &session, pictures: &pictures, profile: &profile, alpha, output: &request.output };
    let made = task.stage("pack", || match kind {
        HandoffKind::Glb => gltf::glb(&work, task),
        HandoffKind::Gltf => gltf::gltf(&work, task),
        HandoffKind::MaterialX => mtlx::mtlx(&work, task),
        HandoffKind::Maps => maps::maps(&work),
    })?;
    limits::judge(kind, &made, task);
    let files: Vec<(PathBuf, Vec<u8>)> = made.files.iter().map(|file| (file.path.clone(), file.bytes.clone())).collect();
    let given = task.stage("write", || give(session.store.folder(), &files, request.replace))?;
    let handed = made.files.into_iter().zip(given).map(|(file, given)| HandedFile {
        path: file.path,
        role: file.role,
        channels: file.channels,
        size: file.size,
        bytes: given.bytes,
        replaced: given.replaced,
    });
    let files = handed.collect();
    Ok(HandoffSummary { kind, profile: profile.name.clone(), files, inside: made.inside, triangles: made.triangles })
}

fn kind_of(output: &Path) -> Result<HandoffKind, HandoffFailed> {
    let ending = output.extension().map(|ending| ending.to_string_lossy().to_ascii_lowercase());
    match ending.as_deref() {
        _ if output.is_dir() => Ok(HandoffKind::Maps),
        Some("glb") => Ok(HandoffKind::Glb),
        Some("gltf") => Ok(HandoffKind::Gltf),
        Some("mtlx") => Ok(HandoffKind::MaterialX),
        None => Ok(HandoffKind::Maps),
        Some(other) => Err(HandoffFailed::Kind(other.to_owned(), output.to_owned())),
    }
}

fn profile_of(request: &HandoffRequest, kind: HandoffKind) -> Result<HandoffProfile, HandoffFailed> {
    let usual = if kind.has_mesh() { "gltf" } else { "separate" };
    let mut profile = find_profile(request.profile.as_deref().unwrap_or(usual))?;
    profile.max_texels = profile.max_texels.into_iter().chain(request.max_texels).min();
    profile.normal_y = request.normal_y.unwrap_or(profile.normal_y);
    profile.alpha = request.alpha.unwrap_or(profile.alpha);
    if kind.has_mesh() && profile.normal_y == NormalY::Down {
        return Err(HandoffFailed::NormalDown);
    }
    // A renderer compares codes: the cutoff lies between two of them, so that none is ambiguous after rounding.
    let code = (profile.alpha_cutoff * 255.0).ceil().clamp(1.0, 255.0);
    profile.alpha_cutoff = (code - 0.5) / 255.0;
    Ok(profile)
}

fn variation(session: &Session, request: &HandoffRequest) -> Result<Option<Variation>, HandoffFailed> {
    let Some(name) = &request.variation else { return Ok(None) };
    Ok(Which::One(name).of(&session.job, &request.job).map_err(crate::build::BuildFailed::from)?.swap_remove(0))
}

/// By set; UV tiles of one material are treated alike.
fn alphas(profile: &HandoffProfile, sets: &[MapSet], pictures: &[Vec<Stored>]) -> Vec<AlphaChoice> {
    let rank = |choice: &AlphaChoice| match choice {
        AlphaChoice::Auto | AlphaChoice::Opaque => 0,
        AlphaChoice::Mask => 1,
        AlphaChoice::Blend => 2,
    };
    let own: Vec<AlphaChoice> = sets.iter().zip(pictures).map(|(set, pictures)| alpha_of(profile, set, pictures)).collect();
    let of_material = |set: &MapSet| {
        let alike = sets.iter().zip(&own).filter(|(other, _)| other.material == set.material).map(|(_, choice)| *choice);
        alike.max_by_key(rank).unwrap_or_default()
    };
    sets.iter().map(of_material).collect()
}

fn alpha_of(profile: &HandoffProfile, set: &MapSet, pictures: &[Stored]) -> AlphaChoice {
    match profile.alpha {
        AlphaChoice::Auto => match openness(set, pictures) {
            Openness::Opaque => AlphaChoice::Opaque,
            Openness::Holes => AlphaChoice::Mask,
            Openness::Sheer => AlphaChoice::Blend,
        },
        told => told,
    }
}
