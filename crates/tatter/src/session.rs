//! A job opened: its garment, its pristine pictures, its patches.

use std::collections::BTreeMap;
use std::path::{Path, PathBuf};

use rayon::prelude::*;
use tatter_core::explain::{Class, Explain};
use tatter_core::image::{Size, Stored};
use tatter_core::model::{Garment, Job, MapFile, MapSet, Patch, Placement};
use tatter_core::task::Task;
use tatter_core::units::MmPerUv;
use tatter_files::job::{JobError, read_job};
use tatter_files::limits::Limits;
use tatter_files::mesh::{MeshError, read_mesh};
use tatter_files::patch::{PatchError, read_patch};
use tatter_files::picture::{PictureError, largest_first, read_hashed, read_stored};
use tatter_files::store::{KeptTiles, Store, StoreError};
use tatter_garment::place::Placed;
use tatter_garment::surface::density::density;

/// Why a job could not be opened.
#[derive(Debug, thiserror::Error)]
pub enum SessionError {
    /// The job file.
    #[error(transparent)]
    Job(#[from] JobError),
    /// The mesh.
    #[error(transparent)]
    Mesh(#[from] MeshError),
    /// The pristine store.
    #[error(transparent)]
    Store(#[from] StoreError),
    /// A texture.
    #[error(transparent)]
    Picture(#[from] PictureError),
    /// A patch.
    #[error(transparent)]
    Patch(#[from] PatchError),
    /// A bare map set has no mesh to tell its scale.
    #[error("the job has neither a mesh nor mm_per_uv, so nothing can be laid at true size: {0}")]
    NoScale(PathBuf),
}

impl Explain for SessionError {
    fn next(&self) -> String {
        match self {
            Self::Job(error) => error.next(),
            Self::Mesh(error) => error.next(),
            Self::Store(error) => error.next(),
            Self::Picture(error) => error.next(),
            Self::Patch(error) => error.next(),
            Self::NoScale(_) => "Write mm_per_uv under [garment]: millimetres of cloth that the whole texture spans".to_owned(),
        }
    }

    fn class(&self) -> Class {
        match self {
            Self::Job(error) => error.class(),
            Self::Mesh(error) => error.class(),
            Self::Store(error) => error.class(),
            Self::Picture(error) => error.class(),
            Self::Patch(error) => error.class(),
            Self::NoScale(_) => Class::Request,
        }
    }
}

/// A job with everything a build needs.
#[derive(Debug)]
pub(crate) struct Session {
    pub(crate) job: Job,
    pub(crate) garment: Garment,
    pub(crate) store: Store,
    /// By the name the job gives them; only those that lie on the garment; empty until they are first needed.
    pub(crate) patches: BTreeMap<String, Patch>,
    /// Textures that were new, decoded when it was seen whether they can be, until [`Session::load`] takes them.
    fresh: BTreeMap<String, Stored>,
    folder: PathBuf,
}

impl Session {
    /// Read the job and its mesh; make sure that every texture's pristine state is kept. Textures that are new are decoded for it, and
    /// held until they are loaded.
    pub(crate) fn open(path: &Path, task: &Task) -> Result<Self, SessionError> {
        let mut session = Self::look(path, task)?;
        let Self { garment, store, folder, fresh, .. } = &mut session;
        let files: Vec<&str> = garment.sets.iter().flat_map(|set| &set.files).map(|file| file.path.as_str()).collect();
        task.stage("pristine", || {
            // What cannot be read must not be kept for the pristine state: it would stay there after the file is mended.
            let new: Vec<&str> = files.iter().copied().filter(|file| !store.knows(file)).collect();
            let new = largest_first(new, |file| folder.join(file));
            let read: Vec<(&str, _)> = new
                .into_par_iter()
                .with_max_len(1)
                .map(|file| Ok((file, read_hashed(&folder.join(file), &Limits::default())?)))
                .collect::<Result<_, PictureError>>()?;
            store.ingest(&files)?;
            // One that was changed between both readings is read again.
            let kept = read.into_iter().filter(|(file, (_, (hash, _)))| store.pristine_hash(file) == Some(hash));
            *fresh = kept.map(|(file, (picture, _))| (file.to_owned(), picture)).collect();
            Ok::<(), SessionError>(())
        })?;
        Ok(session)
    }

    /// Read the job and its mesh and write nothing: to be looked at, not built. A texture that was never built on is pristine
    /// as it lies there.
    pub(crate) fn look(path: &Path, task: &Task) -> Result<Self, SessionError> {
        let job = read_job(path)?;
        let folder = path.parent().unwrap_or(Path::new(""));
        let garment = task.stage("mesh", || garment(&job, folder, path))?;
        Self::of(job, garment, path)
    }

    /// A job whose garment is known already; writes nothing, as [`Session::look`].
    pub(crate) fn of(job: Job, garment: Garment, path: &Path) -> Result<Self, SessionError> {
        let store = Store::open(path)?;
        let folder = path.parent().unwrap_or(Path::new("")).to_owned();
        Ok(Self { job, garment, store, patches: BTreeMap::new(), fresh: BTreeMap::new(), folder })
    }

    /// Read the patches that are placed, unless they were read; give every texture as it was before Tatter touched it, by set and file. Sizes of the
    /// textures are noted in the garment.
    pub(crate) fn load(&mut self, task: &Task) -> Result<Vec<Vec<Stored>>, SessionError> {
        let mut fresh = std::mem::take(&mut self.fresh);
        let held: Vec<Vec<Option<Stored>>> =
            self.garment.sets.iter().map(|set| set.files.iter().map(|file| fresh.remove(&file.path)).collect()).collect();
        let pristine = |(file, held): (&MapFile, Option<Stored>)| {
            held.map_or_else(|| pristine_picture(&self.store, &self.folder, &file.path), Ok)
        };
        let decoded = || {
            let of_set = |(set, held): (&MapSet, Vec<Option<Stored>>)| {
                set.files.par_iter().zip(held).with_max_len(1).map(pristine).collect()
            };
            self.garment.sets.par_iter().zip(held).map(of_set).collect::<Result<Vec<Vec<Stored>>, SessionError>>()
        };
        let known = std::mem::take(&mut self.patches);
        let patches = || if known.is_empty() { self.read_patches() } else { Ok(known) };
        // Both at once: neither alone keeps every core busy to its end.
        let (patches, pictures) = task.stage("read", || rayon::join(patches, decoded));
        self.patches = patches?;
        let pictures = pictures?;
        self.take_sizes(&pictures, |picture| picture.size);
        Ok(pictures)
    }

    /// What is kept of all textures, by set and file. `None` when some have nothing.
    pub(crate) fn open_tiles(&self) -> Option<Vec<Vec<KeptTiles>>> {
        let of_set = |set: &MapSet| set.files.par_iter().map(|file| self.store.tiles(&file.path)).collect::<Option<Vec<_>>>();
        self.garment.sets.par_iter().map(of_set).collect()
    }

    /// Learn the textures' sizes from something there is of each, by set and file.
    pub(crate) fn take_sizes<T>(&mut self, all: &[Vec<T>], size: impl Fn(&T) -> Size) {
        for (set, own) in self.garment.sets.iter_mut().zip(all) {
            for (file, one) in set.files.iter_mut().zip(own) {
                file.size = size(one);
            }
        }
    }

    /// The patches that are placed.
    pub(crate) fn read_patches(&self) -> Result<BTreeMap<String, Patch>, SessionError> {
        let job = &self.job;
        let used = job.patches.par_iter().filter(|patch| job.placements.iter().any(|placement| placement.patch == patch.name));
        let read: Vec<(String, Patch)> = used
            .map(|patch| Ok((patch.name.clone(), read_patch(&self.folder.join(&patch.path), &Limits::default())?)))
            .collect::<Result<_, PatchError>>()?;
        Ok(read.into_iter().collect())
    }

    /// The folder of the job file.
    pub(crate) fn folder(&self) -> &Path {
        &self.folder
    }

    /// Placements with their patches, in the job's order.
    pub(crate) fn placed(&self) -> Vec<Placed<'_>> {
        self.placed_of(&self.job)
    }

    /// Those of a variation of the job.
    pub(crate) fn placed_of<'a>(&'a self, job: &'a Job) -> Vec<Placed<'a>> {
        let with_patch = |placement: &'a Placement| Some(Placed { placement, patch: self.patches.get(&placement.patch)? });
        job.placements.iter().filter_map(with_patch).collect()
    }

    /// Where a texture is delivered, relative to the job file.
    pub(crate) fn target(&self, path: &str) -> String {
        match &self.job.delivery.folder {
            None => path.to_owned(),
            Some(folder) => {
                let name = path.rsplit('/').next().unwrap_or(path);
                format!("{}/{name}", folder.trim_end_matches('/'))
            }
        }
    }
}

/// A texture as it was before Tatter touched it: kept, or as it lies there.
pub(crate) fn pristine_picture(store: &Store, folder: &Path, file: &str) -> Result<Stored, SessionError> {
    let limits = Limits::default();
    if !store.knows(file) {
        return Ok(read_stored(&folder.join(file), &limits)?);
    }
    Ok(store.pristine_picture(file, &limits)?)
}

/// The garment of a job: its mesh read, its scale settled; sizes of textures are not known yet.
pub(crate) fn garment(job: &Job, folder: &Path, path: &Path) -> Result<Garment, SessionError> {
    let told = &job.garment;
    let mesh = told.mesh.as_ref().map(|mesh| read_mesh(&folder.join(mesh), &Limits::default())).transpose()?;
    let mm_per_unit = match &mesh {
        Some(read) if told.mm_per_unit <= 0.0 => read.mm_per_unit,
        _ => told.mm_per_unit,
    };
    let computed = mesh.as_ref().and_then(|read| density(&read.mesh.parts.iter().collect::<Vec<_>>(), mm_per_unit));
    let mm_per_uv: MmPerUv =
        told.mm_per_uv.or(computed.map(|found| found.median)).ok_or_else(|| SessionError::NoScale(path.to_owned()))?;
    let mesh = mesh.map(|read| read.mesh);
    Ok(Garment { mesh, sets: told.sets.clone(), mm_per_unit, mm_per_uv, grain: told.grain.clone() })
}
