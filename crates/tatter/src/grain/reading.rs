//! The weave of a piece of a garment's cloth, read from its base colour, else from its normal map.

use std::path::{Path, PathBuf};

use tatter_cloth::measure::{MeasureSettings, measure};
use tatter_core::angle::Angle;
use tatter_core::channel::Channel;
use tatter_core::image::{Image, LinearRgb, Normal, Size, Stored};
use tatter_core::model::{Garment, MapFile, MapRole, Weave};
use tatter_core::task::Task;
use tatter_core::units::PerCm;
use tatter_files::limits::Limits;
use tatter_files::picture::{PictureError, read_stored};
use tatter_files::store::Store;
use tatter_garment::view::Flat;

/// Pixels of the piece of cloth that is looked at: some dozens of threads where they can be read at all.
pub(super) const PIXELS: usize = 448;
/// A count below this confidence is not told.
pub(super) const SURE: f32 = 0.6;

/// The weave of a piece of cloth.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) struct Reading {
    pub(crate) ends_per_cm: PerCm,
    pub(crate) picks_per_cm: PerCm,
    /// From the picture's upright to the warp, counter-clockwise as seen from outside, -90..90 degrees.
    pub(crate) off_upright: Angle,
    pub(crate) weave: Weave,
    pub(crate) confidence: f32,
}

impl Reading {
    /// Geometric mean of the counts.
    pub(crate) fn threads_per_cm(&self) -> f32 {
        (self.ends_per_cm.get() * self.picks_per_cm.get()).sqrt()
    }
}

/// Read a piece that was laid flat, one pixel `mm_per_pixel`; the family of threads nearer to upright is taken for the warp.
/// `None` where threads cannot be counted: too coarse a texture, a knit, a print.
pub(super) fn read(flat: &Flat, mm_per_pixel: f64) -> Option<Reading> {
    let cloth = flat.opacity.map(|o| o.0 > 0.5);
    let lit = || flat.normal.map(shade);
    counted(&flat.color, &cloth, mm_per_pixel).or_else(|| counted(&lit(), &cloth, mm_per_pixel))
}

/// A grey card of that slope in light from the upper right, which shows threads of both families; mid grey where it is flat.
fn shade(normal: Normal) -> LinearRgb {
    let (right, up) = normal.slopes();
    LinearRgb([(0.4 + 0.25 * (right + up)).clamp(0.02, 0.9); 3])
}

fn counted(color: &Image<LinearRgb>, cloth: &Image<bool>, mm_per_pixel: f64) -> Option<Reading> {
    let settings = MeasureSettings { grain: Some(Angle::degrees(90.0)), ..MeasureSettings::default() };
    // Its notes are about photos.
    let found = measure(color, Some(cloth), &settings, &Task::new()).ok()?;
    if !found.woven || found.confidence < SURE {
        return None;
    }
    let per_cm = |pitch: f32| PerCm(10.0 / (pitch * mm_per_pixel as f32));
    Some(Reading {
        ends_per_cm: per_cm(found.pitch_px[0]),
        picks_per_cm: per_cm(found.pitch_px[1]),
        off_upright: Angle::degrees(found.grain.as_line().to_degrees() - 90.0),
        weave: found.weave,
        confidence: found.confidence,
    })
}

/// The base colour and the normals of a garment's map sets, as they were before Tatter touched it.
#[derive(Debug)]
pub(super) struct Colors {
    /// The garment with no textures but these.
    pub(super) garment: Garment,
    store: Option<Store>,
    folder: PathBuf,
}

impl Colors {
    /// Of a job's garment; no picture is read.
    pub(super) fn new(garment: &Garment, job: &Path) -> Self {
        let mut garment = garment.clone();
        for set in &mut garment.sets {
            let shows = |role: &MapRole| matches!(role.channel, Channel::BaseColor | Channel::Normal);
            set.files.retain(|file| file.roles.iter().any(shows));
        }
        Self { garment, store: Store::open(job).ok(), folder: job.parent().unwrap_or(Path::new("")).to_owned() }
    }

    /// Whether a set has any.
    pub(super) fn has(&self, set: usize) -> bool {
        !self.garment.sets[set].files.is_empty()
    }

    /// Size of the largest of a set, where sizes are known.
    pub(super) fn size(&self, set: usize) -> Size {
        largest(self.garment.sets[set].files.iter().map(|file| file.size))
    }

    /// Read those of a set; by set, all others empty.
    pub(super) fn read(&self, set: usize) -> Result<Vec<Vec<Stored>>, PictureError> {
        let mut pictures: Vec<Vec<Stored>> = self.garment.sets.iter().map(|_| Vec::new()).collect();
        for file in &self.garment.sets[set].files {
            pictures[set].push(read_stored(&self.path(file), &Limits::default())?);
        }
        Ok(pictures)
    }

    /// Where the file of a set lies as it was.
    pub(super) fn path(&self, file: &MapFile) -> PathBuf {
        let kept = self.store.as_ref().and_then(|store| store.pristine(&file.path).ok());
        kept.unwrap_or_else(|| self.folder.join(&file.path))
    }
}

/// The size of most texels.
pub(super) fn largest(sizes: impl Iterator<Item = Size>) -> Size {
    sizes.max_by_key(|size| size.area()).unwrap_or_default()
}
