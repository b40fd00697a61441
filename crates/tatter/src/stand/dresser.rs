//! Laying a job over textures of a screen's size, and drawing it, again and again.

use std::path::{Path, PathBuf};
use std::sync::Arc;

use tatter_core::image::{LinearRgb, Stored};
use tatter_core::model::Job;
use tatter_core::task::Task;
use tatter_files::limits::Limits;
use tatter_files::patch::read_patch;
use tatter_proof::{Camera, Loaded, LoadedShape, Picture, StillSettings, ViewTransform};

use super::level::{Level, Matching};
use super::textures::small;
use super::{Brush, Form, Textures};
use crate::build::BuildFailed;
use crate::proof::studio::materials;
use crate::proof::{ProofError, ProofRequest};
use crate::session::SessionError;

/// How finely a garment is dressed.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Fineness {
    /// Textures of 512 texels: while something moves.
    Coarse,
    /// Textures of 2048 texels: as much as a screen shows of a whole garment.
    Fine,
}

impl Fineness {
    /// Longest side of a texture.
    pub(super) const fn texels(self) -> usize {
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
    /// The lamp's shadow may stay what it was in the last picture of this size from this eye.
    pub keeps_shadow: bool,
    /// Backdrop at the top and at the bottom, as the screen shows it, linear.
    pub backdrop: [LinearRgb; 2],
}

/// Textures and an adapter, made ready once.
pub struct Dresser {
    path: PathBuf,
    form: Arc<Form>,
    brush: Brush,
    /// The job as it was opened.
    job: Arc<Job>,
    /// The garment's triangles, once they are on the adapter.
    shape: Option<Arc<LoadedShape>>,
    clay: Option<Loaded>,
    /// The textures at full size, until they are kept at the finer of both sizes.
    whole: Option<Vec<Vec<Stored>>>,
    /// By fineness.
    levels: [Option<Level>; 2],
}

impl std::fmt::Debug for Dresser {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.debug_struct("Dresser").field("path", &self.path).finish_non_exhaustive()
    }
}

impl Dresser {
    /// Read a job's textures and look for an adapter; without one, garments are dressed but not drawn. What it takes is made one after the
    /// other; see [`Dresser::new`].
    ///
    /// # Errors
    /// When a texture cannot be read.
    pub fn open(job: Arc<Job>, path: &Path, form: Arc<Form>, task: &Task) -> Result<Self, SessionError> {
        let textures = Textures::read(&job, path, task)?;
        let mut dresser = Self::new(job, path.to_owned(), form, task.stage("adapter", Brush::find));
        dresser.dress(textures)?;
        Ok(dresser)
    }

    /// A garment without its textures: it can be seen in clay. `job` says which they are.
    pub const fn new(job: Arc<Job>, path: PathBuf, form: Arc<Form>, brush: Brush) -> Self {
        Self { path, form, brush, job, shape: None, clay: None, whole: None, levels: [None, None] }
    }

    /// Give it its textures. They are held at full size until they are first laid finely; of 4096² then a quarter is kept.
    ///
    /// # Errors
    /// When what is kept beside the job cannot be read.
    pub fn dress(&mut self, textures: Textures) -> Result<(), SessionError> {
        let Textures { whole, coarse } = textures;
        self.levels = [Some(Level::new(&self.job, self.form.garment().clone(), coarse, &self.path)?), None];
        self.whole = Some(whole);
        self.clay = None;
        Ok(())
    }

    /// Why nothing can be drawn, in two sentences; `None` when it can.
    pub fn without_adapter(&self) -> Option<&str> {
        self.brush.renderer().err()
    }

    /// Whether a program draws, not a card.
    pub fn is_software(&self) -> bool {
        self.brush.renderer().is_ok_and(|renderer| renderer.info().software)
    }

    /// Whether anything was laid coarsely yet.
    pub fn is_laid(&self) -> bool {
        self.level(Fineness::Coarse).is_some_and(|level| level.laid.is_some())
    }

    const fn level(&self, fineness: Fineness) -> Option<&Level> {
        self.levels[fineness as usize].as_ref()
    }

    /// Lay a job over the textures, unless it is laid already; whether it was not. Patches are read when they first appear. Before there are
    /// textures nothing is laid.
    ///
    /// # Errors
    /// As a build, also when the task is cancelled: what was laid before is then still shown.
    pub fn lay(&mut self, job: &Arc<Job>, fineness: Fineness, task: &Task) -> Result<bool, ProofError> {
        self.lay_matched(job, fineness, Matching::Own, task)
    }

    /// As [`Self::lay`] coarsely, for a quick look: placements keep the match they had before something moved, or borrow that of one like them.
    /// Laid again, they are matched to the cloth where they lie.
    ///
    /// # Errors
    /// As [`Self::lay`].
    pub fn lay_quickly(&mut self, job: &Arc<Job>, task: &Task) -> Result<bool, ProofError> {
        self.lay_matched(job, Fineness::Coarse, Matching::Kept, task)
    }

    fn lay_matched(&mut self, job: &Arc<Job>, fineness: Fineness, matching: Matching, task: &Task) -> Result<bool, ProofError> {
        if let Some(whole) = self.whole.take_if(|_| fineness == Fineness::Fine) {
            let garment = self.form.garment();
            let pristine = task.stage("shrink", || small(&garment.sets, &whole, fineness.texels()));
            drop(whole);
            self.levels[1] = Some(Level::new(&self.job, garment.clone(), pristine, &self.path).map_err(ProofError::from)?);
        }
        let Some(level) = &mut self.levels[fineness as usize] else { return Ok(false) };
        if level.laid.as_ref().is_some_and(|laid| laid.is_of(job, matching)) {
            return Ok(false);
        }
        let folder = self.path.parent().unwrap_or(Path::new(""));
        for patch in &job.patches {
            let used = job.placements.iter().any(|placement| placement.patch == patch.name);
            if used && !level.session.patches.contains_key(&patch.name) {
                let read = read_patch(&folder.join(&patch.path), &Limits::default()).map_err(SessionError::from)?;
                level.session.patches.insert(patch.name.clone(), read);
                // Others may have moved in memory, by which a ground tells them apart.
                level.ground = None;
            }
        }
        level.session.job = Job::clone(job);
        level.wear(self.form.surface(), &self.path, task)?;
        level.lay(job, &self.form, matching, task).map_err(BuildFailed::from)?;
        Ok(true)
    }

    /// The base colour of a map set as it was laid last, at most `most` pixels to a side, for screens; `None` before anything was laid,
    /// or without one. Where it was asked before, only what was laid since is made anew.
    pub fn flat(&mut self, set: usize, fineness: Fineness, most: usize) -> Option<Picture> {
        self.levels[fineness as usize].as_mut()?.flat(set, most)
    }

    /// Draw the garment as it was laid last; `None` before anything was laid.
    ///
    /// # Errors
    /// When there is no adapter, it refuses, or the task is cancelled.
    pub fn draw(&mut self, state: State, fineness: Fineness, view: &View, task: &Task) -> Result<Option<Picture>, ProofError> {
        let (Ok(renderer), Some(level)) = (self.brush.renderer(), &mut self.levels[fineness as usize]) else { return Ok(None) };
        let shape = self.shape.get_or_insert_with(|| renderer.shape(self.form.parts()));
        let Some(loaded) = level.load(renderer, state, shape) else { return Ok(None) };
        paint(&mut self.brush, loaded, view, task)
    }

    /// Draw the garment as if it were of grey clay: its shape is known before its textures are. `None` without an adapter.
    ///
    /// # Errors
    /// As [`Self::draw`].
    pub fn draw_clay(&mut self, view: &View, task: &Task) -> Result<Option<Picture>, ProofError> {
        let Ok(renderer) = self.brush.renderer() else { return Ok(None) };
        let shape = self.shape.get_or_insert_with(|| renderer.shape(self.form.parts()));
        let garment = self.form.garment();
        let loaded = self.clay.get_or_insert_with(|| {
            let clay = materials(garment, &[], &ProofRequest::default());
            // What shows no map set shows clay anyway; all others do as well.
            let clay: Vec<_> = std::iter::repeat_n(clay, garment.sets.len() + 1).flatten().collect();
            renderer.dressed(Arc::clone(shape), &clay, &vec![1.0; clay.len()])
        });
        paint(&mut self.brush, loaded, view, task)
    }
}

fn paint(brush: &mut Brush, loaded: &Loaded, view: &View, task: &Task) -> Result<Option<Picture>, ProofError> {
    let light = task.stage("light", || brush.light(&view.camera, view.quick));
    let (Ok(renderer), Some(light)) = (brush.renderer(), light) else { return Ok(None) };
    let settings = StillSettings {
        width: view.size[0],
        height: view.size[1],
        samples: view.samples,
        shadow_side: view.quick.then_some(512),
        open_sky: view.quick,
        keeps_shadow: view.keeps_shadow,
        backdrop: view.backdrop.map(|wanted| ViewTransform::default().undone(wanted)),
        ..StillSettings::default()
    };
    Ok(Some(renderer.still_in(loaded, &view.camera, &light, &settings, task)?))
}
