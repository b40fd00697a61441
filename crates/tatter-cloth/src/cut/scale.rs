//! Millimetres per pixel, from whatever the person knows.

use tatter_core::explain::{Class, Explain};
use tatter_core::image::Rect;
use tatter_core::model::{CutRecipe, Photo, Scale, ScaleSource};
use tatter_core::task::Task;
use tatter_core::units::{MmPerTexel, PerCm};

use super::Flat;
use crate::measure::Measured;

/// Ends per cm assumed for cloth of unknown scale: the middle of light canvas, shirting and suiting, which run from 10 to
/// 40 (common practice, no source).
const ASSUMED_ENDS_PER_CM: f32 = 20.0;
/// Width assumed for a photo of unknown scale on which no weave is seen: a hand's breadth (common practice, no source).
const ASSUMED_WIDTH_MM: f32 = 100.0;

/// Millimetres a pixel of a told scale, least and most. Light of 0.4 micrometres resolves about half of that through the best lens
/// (Abbe: wavelength over twice the aperture), so nothing is seen at 0.1; and no thread or damage at 10 mm (common practice, no source).
const SEEN_MM: std::ops::RangeInclusive<f32> = 1e-4..=10.0;

/// Why no scale follows from what was told.
#[derive(Clone, Copy, Debug, PartialEq, thiserror::Error)]
pub enum ScaleError {
    /// A length or a count that cannot be.
    #[error("a scale must be a number above zero")]
    NotPositive,
    /// Millimetres a pixel that no photo of cloth has.
    #[error("by the scale told a pixel is {0:e} mm, and photos of cloth have 0.0001 to 10")]
    OutOfReach(f32),
    /// A ruler without length in the photo.
    #[error("the two points of the ruler are the same pixel")]
    NoRuler,
    /// A thread count helps only where threads can be counted.
    #[error("the thread count was given, but no weave was found in the photo to count")]
    NoWeave,
}

impl Explain for ScaleError {
    fn next(&self) -> String {
        match self {
            Self::NotPositive => "Give millimetres or threads per centimetre as a number above zero".to_owned(),
            Self::OutOfReach(_) => "Check the number and its unit: the width is the whole photo's, in millimetres".to_owned(),
            Self::NoRuler => "Give two points far apart on the ruler, and the millimetres between them".to_owned(),
            Self::NoWeave => "Give --mm-per-pixel, --width-mm or --ruler instead".to_owned(),
        }
    }

    fn class(&self) -> Class {
        Class::Request
    }
}

/// The scale of a photo.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Scaled {
    /// Millimetres per photo pixel.
    pub scale: MmPerTexel,
    /// Where it came from.
    pub source: ScaleSource,
    /// Standard deviation as a share of it, where one photo's pixels tell it.
    pub uncertainty: Option<f32>,
    /// Ends per cm at that scale, when a weave was found.
    pub ends_per_cm: Option<PerCm>,
    /// Picks per cm at that scale, when a weave was found.
    pub picks_per_cm: Option<PerCm>,
}

/// The scale that follows from the recipe and the measured cloth, in the middle of what is `cut`.
///
/// # Errors
/// When a number is not above zero or leads to no scale of a photo of cloth, the points of a ruler are the same, or a thread count was told and no weave is seen.
pub(super) fn resolve(
    photo: &Photo,
    recipe: &CutRecipe,
    flat: Option<&Flat>,
    cut: Rect,
    cloth: &Measured,
    task: &Task,
) -> Result<Scaled, ScaleError> {
    let ends_pitch = cloth.woven.then_some(cloth.pitch_px[0]);
    let (mm, source) = match recipe.scale {
        Scale::MmPerPixel(mm) => (mm.get(), ScaleSource::MmPerPixel),
        Scale::Width(width) => (width.get() / photo.color.width() as f32, ScaleSource::Width),
        Scale::Ruler { from, to, length } => {
            let pixels = (to[0] - from[0]).hypot(to[1] - from[1]);
            (if pixels > 0.0 { length.get() / pixels } else { return Err(ScaleError::NoRuler) }, ScaleSource::Ruler)
        }
        Scale::Rectangle { .. } | Scale::FoundRuler => {
            let Some(flat) = flat else { unreachable!("the head of the cut finds the rectangle or the ruler") };
            let middle = [cut.x + cut.right(), cut.y + cut.bottom()].map(|both| 0.5 * both as f32);
            (flat.scale_at(middle).get(), flat.source())
        }
        Scale::EndsPerCm(count) => {
            let pitch = ends_pitch.ok_or(ScaleError::NoWeave)?;
            (10.0 / count.get() / pitch, ScaleSource::ThreadCount)
        }
        Scale::Unknown => {
            let picks = recipe.picks_per_cm.filter(|_| cloth.woven);
            match (picks, ends_pitch) {
                (Some(count), _) => (10.0 / count.get() / cloth.pitch_px[1], ScaleSource::ThreadCount),
                (None, Some(pitch)) => (10.0 / ASSUMED_ENDS_PER_CM / pitch, ScaleSource::Assumed),
                (None, None) => (ASSUMED_WIDTH_MM / photo.color.width() as f32, ScaleSource::Assumed),
            }
        }
    };
    if !(mm.is_finite() && mm > 0.0) {
        return Err(ScaleError::NotPositive);
    }
    if source != ScaleSource::Assumed && !SEEN_MM.contains(&mm) {
        return Err(ScaleError::OutOfReach(mm));
    }
    if source == ScaleSource::Assumed {
        let basis = if cloth.woven {
            format!("{ASSUMED_ENDS_PER_CM} ends per cm were assumed")
        } else {
            format!("a photo width of {ASSUMED_WIDTH_MM} mm was assumed")
        };
        task.note(
            "scale-assumed",
            format!("The scale is not known: {basis}. Give --width-mm, --mm-per-pixel, --ruler, --ends-per-cm or --scale-by."),
        );
    }
    let per_cm = |pitch: f32| cloth.woven.then(|| PerCm(10.0 / (pitch * mm)));
    let uncertainty = match recipe.scale {
        Scale::Ruler { from, to, .. } => Some(ruler_uncertainty(from, to)),
        _ => None,
    };
    Ok(Scaled {
        scale: MmPerTexel(mm),
        source,
        uncertainty,
        ends_per_cm: per_cm(cloth.pitch_px[0]),
        picks_per_cm: per_cm(cloth.pitch_px[1]),
    })
}

/// Standard deviation of a length between two points marked by hand, as a share of it: each is off by 0.7 pixels either way (common
/// practice, no source).
#[must_use]
pub fn ruler_uncertainty(from: [f32; 2], to: [f32; 2]) -> f32 {
    const BY_HAND: f32 = 0.7;
    BY_HAND * std::f32::consts::SQRT_2 / (to[0] - from[0]).hypot(to[1] - from[1]).max(1.0)
}
