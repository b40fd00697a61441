//! `demo`: the whole job on a sample made here: the ferryman's smock of *The Salt Ledger*.

mod canvas;
mod photos;
mod sample;
mod smock;
mod view;

use std::path::{Path, PathBuf};

use rayon::prelude::*;
use tatter_core::angle::Angle;
use tatter_core::channel::{Channel, PerChannel};
use tatter_core::explain::{Class, Explain};
use tatter_core::image::{Coding, Depth, Map, Stored, Transfer};
use tatter_core::model::{Match, Spot};
use tatter_core::task::{Cancelled, Task};
use tatter_core::units::MmPerTexel;
use tatter_files::job::JobError;
use tatter_files::picture::{Effort, PictureError, PictureFormat, encode};
use tatter_files::write::write_whole;
use tatter_weave::{Cloth, WeaveError};

use crate::cut::{CutFailed, CutReport, CutRequest, CutSource, cut_photo};
use crate::deliver::{DeliverFailed, DeliverySummary, Foreign, deliver_job};
use crate::garment::{GarmentError, GarmentRequest, describe, start_job};
use crate::place::{PlaceError, PlaceRequest, SizeChoice, place};

pub use sample::{Sample, SamplePhoto, folder_for_sample};

/// Why the sample job stopped.
#[derive(Debug, thiserror::Error)]
pub enum DemoError {
    /// It would mix with what is there.
    #[error("the folder for the sample job is not empty: {0}")]
    NotEmpty(PathBuf),
    /// The outside failed.
    #[error("the sample can't be written ({0}): {1}")]
    Write(std::io::Error, PathBuf),
    /// The stock of cloths lacks the sample's.
    #[error("the stock of cloths holds no canvas to make the sample from")]
    NoCanvas,
    /// The sample's cloth can't be woven.
    #[error(transparent)]
    Weave(#[from] WeaveError),
    /// A picture could not be made.
    #[error(transparent)]
    Picture(#[from] PictureError),
    /// Stopped.
    #[error(transparent)]
    Cancelled(#[from] Cancelled),
    /// A step of the job.
    #[error(transparent)]
    Cut(#[from] CutFailed),
    /// A step of the job.
    #[error(transparent)]
    Garment(#[from] GarmentError),
    /// A step of the job.
    #[error(transparent)]
    Job(#[from] JobError),
    /// A step of the job.
    #[error(transparent)]
    Place(#[from] PlaceError),
    /// A step of the job.
    #[error(transparent)]
    Deliver(#[from] DeliverFailed),
}

impl Explain for DemoError {
    fn next(&self) -> String {
        match self {
            Self::NotEmpty(_) => "Name a new folder, or delete this one first".to_owned(),
            Self::Write(..) => "Check free space and permissions, or name another folder".to_owned(),
            Self::NoCanvas => "Install Tatter again".to_owned(),
            Self::Cancelled(_) => "Start again when ready, in a new folder".to_owned(),
            Self::Weave(error) => error.next(),
            Self::Picture(error) => error.next(),
            Self::Cut(error) => error.next(),
            Self::Garment(error) => error.next(),
            Self::Job(error) => error.next(),
            Self::Place(error) => error.next(),
            Self::Deliver(error) => error.next(),
        }
    }

    fn class(&self) -> Class {
        match self {
            Self::NotEmpty(_) => Class::Request,
            Self::Write(..) => Class::Outside,
            Self::NoCanvas => Class::Outside,
            Self::Cancelled(_) => Class::Request,
            Self::Weave(error) => error.class(),
            Self::Picture(error) => error.class(),
            Self::Cut(error) => error.class(),
            Self::Garment(error) => error.class(),
            Self::Job(error) => error.class(),
            Self::Place(error) => error.class(),
            Self::Deliver(error) => error.class(),
        }
    }
}

/// What the sample job made.
#[derive(Clone, Debug)]
pub struct DemoReport {
    /// The job file.
    pub job: PathBuf,
    /// The cuts.
    pub cuts: Vec<CutReport>,
    /// The delivery.
    pub delivery: DeliverySummary,
    /// Pictures worth opening, in order.
    pub look_at: Vec<PathBuf>,
}

/// Where the three placements lie (front, front, sleeve), how they are turned, and which photo they come from.
const PLACEMENTS: [(usize, [f32; 2], f32); 3] = [(0, [0.17, 0.30], 12.0), (1, [0.33, 0.22], 0.0), (0, [0.75, 0.76], -70.0)];

/// Make photos and a garment, cut, place three, deliver. About 100 MB on disk.
///
/// # Errors
/// When the folder is not empty or a step fails.
pub fn demo(folder: &Path, task: &Task) -> Result<DemoReport, DemoError> {
    if folder.read_dir().is_ok_and(|mut entries| entries.next().is_some()) {
        return Err(DemoError::NotEmpty(folder.to_owned()));
    }
    let cloth = canvas::cloth().ok_or(DemoError::NoCanvas)?;
    let Sample { job, photos } = Sample::in_folder(folder);
    task.stage("photos", || photos::write(&photos, &cloth, task))?;
    task.check()?;
    task.stage("garment", || write_garment(folder, cloth, task))?;
    let cuts = photos
        .into_iter()
        .map(|photo| {
            let output = folder.join(format!("{}.patch", photo.name));
            let source = CutSource::Photo(photo.path);
            Ok(cut_photo(&CutRequest { source, output, recipe: photo.recipe, ..CutRequest::default() }, task)?)
        })
        .collect::<Result<Vec<_>, DemoError>>()?;

    let request =
        GarmentRequest { source: folder.join("smock.glb"), maps: Some(folder.join("textures")), ..GarmentRequest::default() };
    let started = start_job(&describe(&request, task)?, &job);
    tatter_files::job::write_job(&job, &started)?;
    let before = view::crops(folder, &PLACEMENTS)?;
    for (photo, at, turn) in PLACEMENTS {
        let request = PlaceRequest {
            job: job.clone(),
            patch: cuts[photo].folder.clone(),
            spot: Spot::Uv { at, part: None },
            turn: Angle::degrees(turn),
            size: SizeChoice::Own,
            mirror: false,
            rules: PerChannel::default(),
            matching: Match::default(),
        };
        place(&request, task)?;
    }
    let delivery = deliver_job(&job, Foreign::Refuse, task)?;
    let after = view::crops(folder, &PLACEMENTS)?;
    let pair = folder.join("before-after.png");
    write(&pair, &crate::cut::png(view::side_by_side(&before, &after))?)?;
    let mut look_at: Vec<PathBuf> = cuts.iter().map(|cut| cut.folder.join("sheet.png")).collect();
    look_at.push(pair);
    Ok(DemoReport { job, cuts, delivery, look_at })
}

/// The smock and its clean textures.
fn write_garment(folder: &Path, cloth: Cloth, task: &Task) -> Result<(), DemoError> {
    let glb = tatter_files::mesh::write_glb(&smock::smock(), &[]);
    write(&folder.join("smock.glb"), &glb)?;
    let scale = MmPerTexel(smock::MM_PER_UV / canvas::SIDE as f32);
    let channels = [Channel::BaseColor, Channel::Normal, Channel::Height, Channel::Roughness, Channel::Opacity];
    let maps: Vec<(Channel, Map)> = channels.into_iter().zip(canvas::canvas(cloth, scale, task)?).collect();
    maps.into_par_iter().try_for_each(|(channel, map)| {
        let transfer = if channel == Channel::BaseColor { Transfer::Srgb } else { Transfer::Linear };
        let coding = Coding { transfer, height_range: canvas::RANGE, ..Coding::default() };
        let depth = if channel == Channel::Height { Depth::Sixteen } else { Depth::Eight };
        let bytes = encode(&Stored::from_map(&map, &coding, depth), PictureFormat::Png, Effort::Fast)?;
        write(&folder.join("textures").join(format!("canvas_{channel}.png")), &bytes)
    })
}

fn write(path: &Path, bytes: &[u8]) -> Result<(), DemoError> {
    write_whole(path, bytes).map_err(|error| DemoError::Write(error, path.to_owned()))
}
