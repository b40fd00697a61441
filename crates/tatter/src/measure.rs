//! `measure`: thread count, grain and weave of the cloth in a photo.

use std::path::PathBuf;

use tatter_cloth::measure::{MeasureError, MeasureSettings, Weave, measure};
use tatter_core::angle::Angle;
use tatter_core::explain::{Class, Explain};
use tatter_core::model::Scale;
use tatter_core::task::Task;
use tatter_core::units::PerCm;
use tatter_files::limits::Limits;
use tatter_files::picture::{PictureError, read_photo};

/// What to measure.
#[derive(Clone, Debug, Default)]
pub struct MeasureRequest {
    /// The photo.
    pub photo: PathBuf,
    /// How large the photographed cloth is.
    pub scale: Scale,
    /// Warp direction as told.
    pub grain: Option<Angle>,
}

/// What was measured; fields as in the machine contract.
#[derive(Clone, Debug, PartialEq)]
pub struct MeasureReport {
    /// Whether two families of threads were found; when not, the numbers below are 0.
    pub woven: bool,
    /// Warp threads per cm; `None` without a scale.
    pub ends_per_cm: Option<PerCm>,
    /// Weft threads per cm; `None` without a scale.
    pub picks_per_cm: Option<PerCm>,
    /// Ends in one photo width of cloth, measured across them.
    pub ends_per_width: f32,
    /// Picks in one photo height of cloth, measured across them.
    pub picks_per_height: f32,
    /// Line of the warp.
    pub grain: Angle,
    /// Line of the weft.
    pub weft: Angle,
    /// How they interlace.
    pub weave: Weave,
    /// Angle of the twill line from the weft.
    pub twill: Option<Angle>,
    /// 0..1.
    pub confidence: f32,
    /// Millimetres a pixel, when known.
    pub mm_per_px: Option<f32>,
}

/// Why a photo could not be measured.
#[derive(Debug, thiserror::Error)]
pub enum MeasurePhotoError {
    /// The photo could not be read.
    #[error(transparent)]
    Picture(#[from] PictureError),
    /// The cloth could not be measured.
    #[error(transparent)]
    Measure(#[from] MeasureError),
}

impl Explain for MeasurePhotoError {
    fn next(&self) -> String {
        match self {
            Self::Picture(e) => e.next(),
            Self::Measure(e) => e.next(),
        }
    }
    fn class(&self) -> Class {
        match self {
            Self::Picture(e) => e.class(),
            Self::Measure(e) => e.class(),
        }
    }
}

/// Read a photo and count its threads.
///
/// # Errors
/// The photo cannot be read, is too small, or the task was cancelled.
pub fn measure_photo(request: &MeasureRequest, task: &Task) -> Result<MeasureReport, MeasurePhotoError> {
    let photo = task.stage("read", || read_photo(&request.photo, &Limits::default()))?;
    let settings = MeasureSettings { grain: request.grain, ..MeasureSettings::default() };
    let found = task.stage("measure", || measure(&photo.color, None, &settings, task))?;
    let found =
        if found.woven { found } else { tatter_cloth::measure::Measured { confidence: found.confidence, ..Default::default() } };
    let mm_per_px = match request.scale {
        Scale::Unknown => None,
        Scale::MmPerPixel(scale) => Some(scale.get()),
        Scale::Width(width) => Some(width.get() / photo.color.width() as f32),
        Scale::Ruler { from, to, length } => Some(length.get() / (to[0] - from[0]).hypot(to[1] - from[1]).max(1e-3)),
        Scale::EndsPerCm(ends) => found.woven.then(|| 10.0 / (ends.get() * found.pitch_px[0])),
    };
    let per_cm = |pitch: f32| mm_per_px.filter(|_| found.woven).map(|mm| PerCm(10.0 / (pitch * mm)));
    Ok(MeasureReport {
        woven: found.woven,
        ends_per_cm: per_cm(found.pitch_px[0]),
        picks_per_cm: per_cm(found.pitch_px[1]),
        ends_per_width: found.ends_per_width,
        picks_per_height: found.picks_per_height,
        grain: found.grain,
        weft: found.weft,
        weave: found.weave,
        twill: found.twill,
        confidence: found.confidence,
        mm_per_px,
    })
}
