//! Laying a job over textures of a screen's size, and drawing it, again and again.

use std::path::{Path, PathBuf};
use std::sync::Arc;

use rayon::prelude::*;
use tatter_core::channel::{Channel, Kind};
use tatter_core::explain::Explain as _;
use tatter_core::image::{Image, LinearRgb, Map, Rect, Size, Stored};
use tatter_core::kernel::area_resize;
use tatter_core::model::{Garment, Job, Wear};
use tatter_core::task::Task;
use tatter_files::limits::Limits;
use tatter_files::patch::read_patch;
use tatter_garment::build::{BuildSettings, build_on, shrink};
use tatter_garment::surface::Surface;
use tatter_proof::{Camera, Light, Loaded, LoadedLight, Picture, Renderer, StillSettings, ViewTransform};

use super::Form;
use crate::build::BuildFailed;
use crate::library::shown;
use crate::proof::studio::scene;
use crate::proof::{ProofError, ProofRequest};
use crate::session::{Session, SessionError};
use crate::wear;

/// How finely a garment is dressed.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Fineness {
    /// Textures of 512 texels: while something moves.
    Coarse,
    /// Textures of 2048 texels: as much as a screen shows of a whole garment.
    Fine,
}

impl Fineness {
    const ALL: [Self; 2] = [Self::Coarse, Self::Fine];

    /// Longest side of a texture.
    const fn texels(self) -> usize {
        match self {
            Self::Coarse => 512,
            Self::Fine => 2048,
        }
    }
}

/// Which garment is drawn.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum State {
    /// As it was before Tatter touched it.
    Before,
    /// With what the job lays on it.
    After,
}

/// One look at the garment.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct View {
    /// Where the eye stands.
    pub camera: Camera,
    /// Columns and rows.
    pub size: [u32; 2],
    /// Pictures averaged; see [`StillSettings::samples`].
    pub samples: u32,
    /// Something moves: the light of the last look does, and the sky throws no shadows.
    pub quick: bool,
    /// Backdrop at the top and at the bottom, as the screen shows it, linear.
    pub backdrop: [LinearRgb; 2],
}

/// Textures at one fineness.
struct Level {
    session: Session,
    pristine: Vec<Vec<Stored>>,
    /// Wear, and the textures worn by it: it costs more than placements do, and changes more seldom.
    worn: Option<(Vec<Wear>, Vec<Vec<Stored>>)>,
    /// The job that was laid last, and what came of it.
    laid: Option<(Arc<Job>, Vec<Vec<Stored>>)>,
    /// On the adapter: as they were, and as they become.
    loaded: [Option<Loaded>; 2],
}

impl Level {
    /// The textures as the wear of its job leaves them.
    fn worn(&mut self, surface: &Surface, path: &Path, task: &Task) -> Result<Vec<Vec<Stored>>, ProofError> {
        let job = &self.session.job;
        if job.wear.is_empty() {
            self.worn = None;
            return Ok(self.pristine.clone());
        }
        if let Some((_, pictures)) = self.worn.as_ref().filter(|(wear, _)| *wear == job.wear) {
            return Ok(pictures.clone());
        }
        let mut pictures = self.pristine.clone();
        wear::apply_on(surface, &self.session, &mut pictures, path, task).map_err(BuildFailed::from)?;
        self.worn = Some((job.wear.clone(), pictures.clone()));
        Ok(pictures)
    }
}

/// Textures and an adapter, made ready once.
pub struct Dresser {
    path: PathBuf,
    form: Arc<Form>,
    levels: Vec<Level>,
    renderer: Result<Renderer, String>,
    light: Light,
    lit: Option<LoadedLight>,
}

impl std::fmt::Debug for Dresser {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.debug_struct("Dresser").field("path", &self.path).finish_non_exhaustive()
    }
}

impl Dresser {
    /// Read a job's textures, keep them at the size of a screen, and look for an adapter; without one, garments are dressed but not
    /// drawn. Peak memory is that of all textures at full size, once; 4096² textures keep a quarter of it.
    ///
    /// # Errors
    /// When a texture cannot be read.
    pub fn open(path: &Path, form: Arc<Form>, task: &Task) -> Result<Self, SessionError> {
        let mut session = Session::look(path, task)?;
        // Patches are read when a job that is laid wants them.
        session.job.placements.clear();
        let pictures = session.load(task)?;
        let garment = &session.garment;
        let small = task.stage("shrink", || Fineness::ALL.map(|fineness| small(garment, &pictures, fineness.texels())));
        drop(pictures);
        let levels = small.into_iter().map(|pristine| level(path, pristine, task)).collect::<Result<Vec<_>, _>>()?;
        let renderer = task.stage("adapter", Renderer::new).map_err(|error| format!("{error}. {}.", error.next()));
        Ok(Self { path: path.to_owned(), form, levels, renderer, light: Light::default(), lit: None })
    }

    /// Why nothing can be drawn, in two sentences; `None` when it can.
    pub fn without_adapter(&self) -> Option<&str> {
        self.renderer.as_ref().err().map(String::as_str)
    }

    /// Whether a program draws, not a card.
    pub fn is_software(&self) -> bool {
        self.renderer.as_ref().is_ok_and(|renderer| renderer.info().software)
    }

    /// Lay a job over the textures, unless it is laid already; whether it was not. Patches are read when they first appear.
    ///
    /// # Errors
    /// As a build, also when the task is cancelled: what was laid before is then still shown.
    pub fn lay(&mut self, job: &Arc<Job>, fineness: Fineness, task: &Task) -> Result<bool, ProofError> {
        let level = &mut self.levels[fineness as usize];
        if level.laid.as_ref().is_some_and(|(laid, _)| looks_same(laid, job)) {
            return Ok(false);
        }
        let folder = self.path.parent().unwrap_or(Path::new(""));
        for patch in &job.patches {
            let used = job.placements.iter().any(|placement| placement.patch == patch.name);
            if used && !level.session.patches.contains_key(&patch.name) {
                let read = read_patch(&folder.join(&patch.path), &Limits::default()).map_err(SessionError::from)?;
                level.session.patches.insert(patch.name.clone(), read);
            }
        }
        level.session.job = Job::clone(job);
        let surface = self.form.surface();
        let mut pictures = level.worn(surface, &self.path, task)?;
        let session = &level.session;
        build_on(surface, &session.garment, &mut pictures, &session.placed(), &BuildSettings::default(), task)
            .map_err(BuildFailed::from)?;
        level.laid = Some((Arc::clone(job), pictures));
        level.loaded[State::After as usize] = None;
        Ok(true)
    }

    /// The base colour of a map set as it was laid last, at most `most` pixels to a side, for screens; `None` before anything was laid,
    /// or without one.
    pub fn flat(&self, set: usize, fineness: Fineness, most: usize) -> Option<Picture> {
        let level = &self.levels[fineness as usize];
        let (_, pictures) = level.laid.as_ref()?;
        let of_set = level.session.garment.sets.get(set)?;
        let (file, role) = of_set
            .files
            .iter()
            .enumerate()
            .find_map(|(number, file)| Some((number, file.roles.iter().find(|role| role.channel == Channel::BaseColor)?)))?;
        let picture = &pictures[set][file];
        let Map::Color(color) = picture.decode(Kind::Color, &role.coding, Rect::whole(picture.size)) else { return None };
        Some(shown(&reduced(color, most)))
    }

    /// Draw the garment as it was laid last; `None` before anything was laid.
    ///
    /// # Errors
    /// When there is no adapter, it refuses, or the task is cancelled.
    pub fn draw(&mut self, state: State, fineness: Fineness, view: &View, task: &Task) -> Result<Option<Picture>, ProofError> {
        let Ok(renderer) = &self.renderer else { return Ok(None) };
        let level = &mut self.levels[fineness as usize];
        let Some((_, after)) = &level.laid else { return Ok(None) };
        let pictures = if state == State::Before { &level.pristine } else { after };
        let loaded = &mut level.loaded[state as usize];
        if loaded.is_none() {
            let request = ProofRequest::default();
            let scene = scene(&level.session.garment, pictures, self.form.parts(), &request);
            // All of each texture: what is asked for next may be nearer.
            let whole = vec![f32::MAX; scene.materials.len()];
            *loaded = Some(renderer.load(&scene, &whole));
        }
        let Some(loaded) = loaded else { return Ok(None) };
        let light = match &self.lit {
            Some(lit) if view.quick => lit.with_key_of(&self.light.with_key_carried(&view.camera)),
            _ => renderer.load_light(&self.light.carried(&view.camera)),
        };
        let settings = StillSettings {
            width: view.size[0],
            height: view.size[1],
            samples: view.samples,
            shadow_side: view.quick.then_some(512),
            open_sky: view.quick,
            backdrop: view.backdrop.map(|wanted| ViewTransform::default().undone(wanted)),
            ..StillSettings::default()
        };
        let picture = renderer.still_in(loaded, &view.camera, &light, &settings, task)?;
        self.lit = Some(light);
        Ok(Some(picture))
    }
}

/// Whether two jobs give the same pictures.
fn looks_same(one: &Job, other: &Job) -> bool {
    one.placements == other.placements && one.wear == other.wear && one.patches == other.patches
}

fn level(path: &Path, pristine: Vec<Vec<Stored>>, task: &Task) -> Result<Level, SessionError> {
    let mut session = Session::look(path, task)?;
    for (set, pictures) in session.garment.sets.iter_mut().zip(&pristine) {
        for (file, picture) in set.files.iter_mut().zip(pictures) {
            file.size = picture.size;
        }
    }
    Ok(Level { session, pristine, worn: None, laid: None, loaded: [None, None] })
}

/// Pictures no more than `texels` to a side, or as little more as a whole number of times smaller allows.
fn small(garment: &Garment, pictures: &[Vec<Stored>], texels: usize) -> Vec<Vec<Stored>> {
    let of_set = |(set, pictures): (&tatter_core::model::MapSet, &Vec<Stored>)| {
        let files = set.files.par_iter().zip(pictures);
        files
            .map(|(file, picture)| match times_smaller(picture.size, texels) {
                1 => picture.clone(),
                times => shrink(picture, &file.roles, times),
            })
            .collect()
    };
    garment.sets.iter().zip(pictures).map(of_set).collect()
}

/// The least whole number of times that a size can be divided by to have sides of at most `texels`; 1 when none does.
fn times_smaller(size: Size, texels: usize) -> usize {
    let fits = |times: &usize| size.width.max(size.height) <= texels * times;
    let divides = |times: &usize| size.width.is_multiple_of(*times) && size.height.is_multiple_of(*times);
    (1..=64).find(|times| fits(times) && divides(times)).unwrap_or(1)
}

/// A picture at most `most` to its longer side.
fn reduced(image: Image<LinearRgb>, most: usize) -> Image<LinearRgb> {
    let size = image.size();
    let longest = size.width.max(size.height);
    if longest <= most {
        return image;
    }
    let side = |side: usize| (side * most / longest).max(1);
    area_resize(&image, side(size.width), side(size.height))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn textures_are_divided_without_rest() {
        for (size, texels, times) in
            [([4096, 4096], 512, 8), ([4096, 2048], 2048, 2), ([500, 500], 512, 1), ([1536, 1000], 512, 4)]
        {
            assert_eq!(times_smaller(Size::new(size[0], size[1]), texels), times, "{size:?} to {texels}");
        }
        assert_eq!(times_smaller(Size::new(1021, 1021), 512), 1, "a prime stays whole");
    }
}
