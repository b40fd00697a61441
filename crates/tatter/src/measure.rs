//! `measure`: thread count, grain, weave and colour of the cloth in a photo.

use std::path::PathBuf;

use tatter_capture::plane::{PlaneError, Straight, place, straighten};
use tatter_capture::ruler::{Ruler, RulerError, find_ruler};
use tatter_cloth::cut::ruler_uncertainty;
use tatter_cloth::measure::{MeasureError, MeasureSettings, Measured, Weave, measure};
use tatter_core::angle::Angle;
use tatter_core::explain::{Class, Explain};
use tatter_core::image::{Image, LinearRgb, inside_any};
use tatter_core::model::Scale;
use tatter_core::task::Task;
use tatter_core::units::PerCm;
use tatter_files::limits::Limits;
use tatter_files::picture::{PictureError, read_photo};

pub use tatter_cloth::measure::Fabric;

use crate::color::{ColorFailed, ColorRequest, Corrected, Known, correct};
use crate::cut::with_frame;

/// What to measure.
#[derive(Clone, Debug, Default)]
pub struct MeasureRequest {
    /// The photo.
    pub photo: PathBuf,
    /// How large the photographed cloth is.
    pub scale: Scale,
    /// Warp direction as told.
    pub grain: Option<Angle>,
    /// What corrects the colours.
    pub color: ColorRequest,
}

/// What was measured; fields as in the machine contract.
#[derive(Clone, Debug)]
pub struct MeasureReport {
    /// How the cloth is made, as far as it shows.
    pub fabric: Fabric,
    /// Whether two families of threads were found; when not, the numbers below are 0.
    pub woven: bool,
    /// Distance of neighbouring ends and of neighbouring picks, photo pixels, across them; `None` when not woven.
    pub pitch_px: Option<[f32; 2]>,
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
    /// That the cloth is woven of threads so far apart, 0..1; see [`SURE`].
    pub confidence: f32,
    /// Millimetres a pixel, when known; of the straightened photo where a rectangle of known size gave it.
    pub mm_per_px: Option<f32>,
    /// Standard deviation of that as a share of it, where the photo's pixels tell it.
    pub scale_uncertainty: Option<f32>,
    /// The camera's angle to the upright on the cloth, degrees, where perspective was taken out.
    pub straightened_deg: Option<f64>,
    /// Mean light of all that is neither chart nor card: the cloth's colour where the photo shows nothing else.
    pub cloth_color: LinearRgb,
    /// How colours were corrected before.
    pub corrected: Option<Corrected>,
}

/// Confidence from which the numbers can be relied on: right in nineteen of twenty drawings and made photos.
pub const SURE: f32 = 0.6;

/// Threads below which a count says little: standards of counting ask for lengths that hold more.
const FEW_THREADS: f32 = 20.0;

/// Why a photo could not be measured.
#[derive(Debug, thiserror::Error)]
pub enum MeasurePhotoError {
    /// The photo could not be read.
    #[error(transparent)]
    Picture(#[from] PictureError),
    /// The cloth could not be measured.
    #[error(transparent)]
    Measure(#[from] MeasureError),
    /// The rectangle of known size gives no scale.
    #[error("{0}: {1}")]
    Plane(PlaneError, PathBuf),
    /// The ruler gives no scale.
    #[error("{0}: {1}")]
    Ruler(RulerError, PathBuf),
    /// Colours cannot be corrected.
    #[error(transparent)]
    Color(#[from] ColorFailed),
}

impl Explain for MeasurePhotoError {
    fn next(&self) -> String {
        match self {
            Self::Picture(e) => e.next(),
            Self::Measure(e) => e.next(),
            Self::Plane(e, _) => e.next(),
            Self::Ruler(e, _) => e.next(),
            Self::Color(e) => e.next(),
        }
    }
    fn class(&self) -> Class {
        match self {
            Self::Picture(e) => e.class(),
            Self::Measure(e) => e.class(),
            Self::Plane(e, _) => e.class(),
            Self::Ruler(e, _) => e.class(),
            Self::Color(e) => e.class(),
        }
    }
}

/// Read a photo and count its threads.
///
/// # Errors
/// The photo cannot be read, is too small, holds nothing of the colour or size that is told, or the task was cancelled.
pub fn measure_photo(request: &MeasureRequest, task: &Task) -> Result<MeasureReport, MeasurePhotoError> {
    let mut photo = task.stage("read", || read_photo(&request.photo, &Limits::default()))?;
    let corrected = task.stage("color", || correct(&mut photo, &request.color, &request.photo, task))?;
    let straight = match request.scale {
        Scale::Rectangle { size, corners } => Some(
            task.stage("straighten", || place(&photo.color, size, corners, task).and_then(|p| straighten(p, photo.color.size())))
                .map_err(|error| MeasurePhotoError::Plane(error, request.photo.clone()))?,
        ),
        _ => None,
    };
    let ruler = match request.scale {
        Scale::FoundRuler => Some(
            task.stage("ruler", || find_ruler(&photo.color, task))
                .map_err(|error| MeasurePhotoError::Ruler(error, request.photo.clone()))?,
        ),
        _ => None,
    };
    let shown = straight.as_ref().map(|straight| straight.show(&photo.color));
    let color = shown.as_ref().unwrap_or(&photo.color);
    let cloth = cloth(color, straight.as_ref(), ruler.as_ref(), request.color.settled(corrected.as_ref()).known);
    let settings = MeasureSettings { grain: request.grain, ..MeasureSettings::default() };
    let found = task.stage("measure", || measure(color, cloth.as_ref(), &settings, task))?;
    let found =
        if found.woven { found } else { Measured { fabric: found.fabric, confidence: found.confidence, ..Measured::default() } };
    if found.woven && found.confidence < SURE {
        task.note("measure-unsure", "the threads are hard to make out: check the count by eye before you rely on it");
    }
    if found.woven && found.ends_per_width.min(found.picks_per_height) < FEW_THREADS {
        task.note("few-threads", "fewer than 20 threads in view: a photo of more cloth gives a surer count");
    }
    let middle = [0.5 * color.width() as f64, 0.5 * color.height() as f64];
    let mm_per_px = match request.scale {
        Scale::Unknown => None,
        Scale::MmPerPixel(scale) => Some(scale.get()),
        Scale::Width(width) => Some(width.get() / photo.color.width() as f32),
        Scale::Ruler { from, to, length } => Some(length.get() / (to[0] - from[0]).hypot(to[1] - from[1]).max(1e-3)),
        Scale::Rectangle { .. } => straight.as_ref().map(|straight| straight.scale.get()),
        Scale::FoundRuler => ruler.as_ref().map(|ruler| ruler.scale_at(middle) as f32),
        Scale::EndsPerCm(ends) => found.woven.then(|| 10.0 / (ends.get() * found.pitch_px[0])),
    };
    let scale_uncertainty = match request.scale {
        Scale::Ruler { from, to, .. } => Some(ruler_uncertainty(from, to)),
        Scale::FoundRuler => ruler.as_ref().map(|ruler| ruler.uncertainty_at(middle) as f32),
        _ => straight.as_ref().map(|straight| straight.uncertainty_at(middle, photo.color.size()) as f32),
    };
    let per_cm = |pitch: f32| mm_per_px.filter(|_| found.woven).map(|mm| PerCm(10.0 / (pitch * mm)));
    Ok(MeasureReport {
        fabric: found.fabric,
        woven: found.woven,
        pitch_px: found.woven.then_some(found.pitch_px),
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
        scale_uncertainty,
        straightened_deg: straight.as_ref().filter(|s| s.is_warped()).map(|straight| straight.placed.misfit.tilt_deg),
        cloth_color: mean(color, cloth.as_ref()),
        corrected,
    })
}

/// Where neither what gives the scale nor the chart lies; `None`: everywhere.
fn cloth(
    color: &Image<LinearRgb>,
    straight: Option<&Straight>,
    ruler: Option<&Ruler>,
    known: Option<Known>,
) -> Option<Image<bool>> {
    let aside = straight.map(|straight| straight.aside.clone()).or_else(|| ruler.map(Ruler::aside));
    let of_card = aside.map(|aside| aside.map(|aside| !aside));
    let Some(Known::Chart(corners)) = known else { return of_card };
    let to = straight.map(|straight| straight.photo_from_straight.inverse());
    let moved = with_frame(corners).map(|corner| to.as_ref().map_or(corner, |to| to.at(corner.map(f64::from)).map(|v| v as f32)));
    let of_chart = inside_any(color.size(), &[moved]).map(|inside| !inside);
    Some(of_card.map_or_else(|| of_chart.clone(), |of_card| of_card.zip(&of_chart, |a, b| a && b)))
}

fn mean(color: &Image<LinearRgb>, cloth: Option<&Image<bool>>) -> LinearRgb {
    let counted = |i: usize| cloth.is_none_or(|cloth| cloth.texels()[i]);
    let (mut sum, mut count) = ([0.0f64; 3], 0usize);
    for (_, texel) in color.texels().iter().enumerate().filter(|(i, _)| counted(*i)) {
        (0..3).for_each(|c| sum[c] += f64::from(texel.0[c]));
        count += 1;
    }
    LinearRgb(sum.map(|sum| (sum / count.max(1) as f64) as f32))
}
