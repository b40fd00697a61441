//! A job built in memory beside what it was, and what draws both.

use std::path::Path;

use glam::{Vec2, Vec4};
use rayon::prelude::*;
use tatter_core::channel::Kind;
use tatter_core::image::{Coding, Map, Size, Stored, Transfer};
use tatter_core::kernel::area_resize;
use tatter_core::mesh::{Part, tangents};
use tatter_core::model::{Garment, Job, Variation};
use tatter_core::task::Task;
use tatter_files::limits::Limits;
use tatter_files::picture::read_stored;
use tatter_garment::surface::Surface;
use tatter_garment::view::Viewer;
use tatter_proof::{
    AdapterInfo, Camera, Light, Material, Openings, Picture, Renderer, Scene, ScenePart, Show, Source, StillSettings,
    needed_reduction,
};

use super::shots::Shot;
use super::{LONGEST, ProofError, ProofRequest};
use crate::build::{Finished, finish};
use crate::session::Session;
use crate::variation::{Which, content, varied};

/// A job built in memory, and what draws it.
pub(super) struct Studio {
    renderer: Renderer,
    light: Light,
    pub(super) session: Session,
    /// The variation that was built; `None`: the job itself.
    pub(super) variation: Option<Variation>,
    /// The job as the variation has it.
    pub(super) job: Job,
    /// The textures as they were, when they are wanted.
    pub(super) before: Option<Vec<Vec<Stored>>>,
    /// As they become.
    pub(super) after: Vec<Vec<Stored>>,
    /// What became of placements and marks.
    pub(super) finished: Finished,
}

/// Views of the garment.
pub(super) struct Drawn {
    pub(super) names: Vec<String>,
    /// As it becomes.
    pub(super) after: Vec<Picture>,
    /// As it was, when asked.
    pub(super) before: Vec<Picture>,
    pub(super) triangles: usize,
    pub(super) adapter_bytes: u64,
}

impl Studio {
    /// Read a job, find an adapter, build in memory.
    pub(super) fn open(job: &Path, request: &ProofRequest, before: bool, task: &Task) -> Result<Self, ProofError> {
        let [width, height] = request.size;
        if width.max(height) > LONGEST || width.min(height) == 0 {
            return Err(ProofError::Large(width, height));
        }
        let light = request.environment.as_deref().map_or_else(|| Ok(Light::default()), surroundings)?;
        let mut session = Session::look(job, task)?;
        let which = request.variation.as_deref().map_or(Which::Job, Which::One);
        let variation = which.of(&session.job, job)?.pop().flatten();
        // Before what takes long, which would be for nothing without one; after what was asked is known to make sense.
        let renderer = task.stage("adapter", Renderer::new)?;
        let mut after = session.load(task)?;
        let before = before.then(|| after.clone());
        let finished = task.stage("build", || finish(&session, job, &mut after, variation.as_ref()))?;
        let state = varied(&session.job, &content(variation.as_ref()));
        Ok(Self { renderer, light, session, variation, job: state, before, after, finished })
    }

    /// What draws.
    pub(super) fn adapter(&self) -> &AdapterInfo {
        self.renderer.info()
    }

    /// Draw the shots that `choose` finds, as the garment becomes and, with `before`, as it was.
    pub(super) fn draw(
        &self,
        request: &ProofRequest,
        before: bool,
        job: &Path,
        task: &Task,
        choose: impl FnOnce(&Surface, &Scene<'_>) -> Result<Vec<Shot>, ProofError>,
    ) -> Result<Drawn, ProofError> {
        let garment = &self.session.garment;
        let viewer = Viewer::new(garment);
        let parts = parts(garment, &viewer);
        let scene = scene(garment, &self.after, &parts, request);
        if scene.triangles() == 0 {
            return Err(ProofError::Empty(job.to_owned()));
        }
        let shots = choose(viewer.surface(), &scene)?;
        let views: Vec<(Camera, [u32; 2])> = shots.iter().map(|shot| (shot.camera, shot.size)).collect();
        let needed = needed_reduction(&scene, &views);
        let (after, adapter_bytes) = self.stills(&scene, &needed, &shots, request, task)?;
        let before = match self.before.as_ref().filter(|_| before) {
            Some(pictures) => self.stills(&self::scene(garment, pictures, &parts, request), &needed, &shots, request, task)?.0,
            None => Vec::new(),
        };
        let names = shots.into_iter().map(|shot| shot.name).collect();
        Ok(Drawn { names, after, before, triangles: scene.triangles(), adapter_bytes })
    }

    fn stills(
        &self,
        scene: &Scene<'_>,
        needed: &[f32],
        shots: &[Shot],
        request: &ProofRequest,
        task: &Task,
    ) -> Result<(Vec<Picture>, u64), ProofError> {
        let loaded = task.stage("upload", || self.renderer.load(scene, needed));
        let still = |shot: &Shot| {
            let settings = StillSettings {
                width: shot.size[0],
                height: shot.size[1],
                samples: request.samples,
                show: request.channel.map_or(Show::Light, Show::Channel),
                transform: request.transform,
                exposure: request.exposure,
                relief: request.relief,
                ..StillSettings::default()
            };
            self.renderer.still(&loaded, &shot.camera, &self.light.carried(&shot.camera), &settings, task)
        };
        let pictures = task.stage("draw", || shots.iter().map(still).collect::<Result<_, _>>())?;
        Ok((pictures, loaded.bytes))
    }
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
pub(crate) fn parts(garment: &Garment, viewer: &Viewer<'_>) -> Vec<ScenePart> {
    parts_by(garment, viewer, &mesh_tangents(garment))
}

/// As [`parts`], with [`mesh_tangents`] found beside something else.
pub(crate) fn parts_by(garment: &Garment, viewer: &Viewer<'_>, mesh_tangents: &[Tangents]) -> Vec<ScenePart> {
    let none = garment.sets.len();
    let set_of = |triangle: usize| viewer.set_of(triangle).unwrap_or(none);
    let Some(mesh) = &garment.mesh else {
        let all = flat_parts(viewer.surface());
        let firsts = firsts(&all);
        return all.iter().zip(firsts).flat_map(|(part, first)| ScenePart::split(part, |t| set_of(first + t))).collect();
    };
    let all: Vec<_> = mesh.parts.iter().zip(firsts(&mesh.parts)).zip(mesh_tangents).collect();
    let split =
        |((part, first), tangents): &((&Part, usize), &Tangents)| ScenePart::split_by(part, tangents, |t| set_of(first + t));
    all.par_iter().map(split).collect::<Vec<_>>().into_iter().flatten().collect()
}

/// A part's tangents, three a triangle.
pub(crate) type Tangents = Vec<[Vec4; 3]>;

/// The tangents of the parts of a garment's mesh; of sheets that lie flat they are not worth finding ahead.
pub(crate) fn mesh_tangents(garment: &Garment) -> Vec<Tangents> {
    garment.mesh.as_ref().map_or_else(Vec::new, |mesh| mesh.parts.par_iter().map(tangents).collect())
}

/// The number among all triangles of each part's first.
fn firsts(parts: &[Part]) -> Vec<usize> {
    let next = |next: &mut usize, part: &Part| {
        let first = *next;
        *next += part.triangles.len();
        Some(first)
    };
    parts.iter().scan(0, next).collect()
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

/// What is drawn: `pictures` are those of the garment's sets.
pub(crate) fn scene<'a>(
    garment: &Garment,
    pictures: &'a [Vec<Stored>],
    parts: &[ScenePart],
    request: &ProofRequest,
) -> Scene<'a> {
    Scene { parts: parts.to_vec(), materials: materials(garment, pictures, request) }
}

/// The materials of map sets, in order, and one more for what shows none.
pub(crate) fn materials<'a>(garment: &Garment, pictures: &'a [Vec<Stored>], request: &ProofRequest) -> Vec<Material<'a>> {
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
    materials
}
