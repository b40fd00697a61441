//! The scale of a photo from a flat rectangle of known size in it, and perspective taken out by it.
//!
//! Start at [`place`]: where the rectangle lies. [`straighten`] then shows the cloth as from straight above.

mod fill;
mod outline;
mod placed;
mod side;
mod straight;

pub use fill::fill;
pub use placed::{Misfit, Placed};
pub use straight::{Straight, straighten};

use crate::photo::Homography;
use outline::{Outline, distance, outlines};
use side::{Pass, Side, side};
use tatter_core::explain::{Class, Explain};
use tatter_core::image::{Image, LinearRgb, Size};
use tatter_core::model::KnownSize;
use tatter_core::task::{Cancelled, Task};

/// Outlines looked at closely.
const MOST_OUTLINES: usize = 16;
/// How far an outline may be from the size told before its sides are looked for exactly.
const ROUGHLY: f64 = 0.3;
/// Most disagreement with the size told: sheets of paper are 11 % from a card; lens, a crop and a bent sheet stay below.
const MOST_ASPECT: f64 = 0.04;
const MOST_SKEW_DEG: f64 = 3.0;
/// What is farther off than this, in per cent and degrees, is no rectangle of another size but none.
const OTHER: (f64, f64) = (25.0, 5.0);
/// Least share of places along a side that lie on it.
const LEAST_SHARE: f64 = 0.55;
/// Most deviation of the scale at the rectangle itself: thread counts are wanted to 1 %.
const MOST_UNSURE: f64 = 0.01;
/// Most tilt: beyond, the far side has too few pixels.
const MOST_TILT_DEG: f64 = 55.0;

/// Why a rectangle gives no scale.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum PlaneError {
    /// Nothing in the photo has four straight sides of that size.
    #[error("no {size} was found in the photo")]
    NotFound {
        /// What was looked for.
        size: &'static str,
    },
    /// It goes on beyond the photo.
    #[error("what looks like the {size} is cut off by the photo's edge")]
    CutOff {
        /// What was looked for.
        size: &'static str,
    },
    /// Sides that cannot be followed.
    #[error("a side of what looks like the {size} could be followed along {share:.0} % of its length only")]
    Blurred {
        /// What was looked for.
        size: &'static str,
        /// Per cent of the worst side.
        share: f64,
    },
    /// Another size.
    #[error(
        "the rectangle in the photo is no {size}: seen straight, its sides are to each other {aspect:+.1} % off and its corners {skew_deg:.1} degrees"
    )]
    Unlike {
        /// What was looked for.
        size: &'static str,
        /// Width over height, per cent too much.
        aspect: f64,
        /// Corners less 90 degrees.
        skew_deg: f64,
    },
    /// Too few pixels.
    #[error("the {size} is only {pixels:.0} pixels long, which leaves the scale unsure by {percent:.1} % (at most 1 % is taken)")]
    TooSmall {
        /// What was looked for.
        size: &'static str,
        /// Its longest side.
        pixels: f64,
        /// Deviation of the scale.
        percent: f64,
    },
    /// Seen too much from the side.
    #[error(
        "the photo was taken {tilt_deg:.0} degrees from straight above the {size}; at most {MOST_TILT_DEG:.0} can be straightened"
    )]
    Tilted {
        /// What was looked for.
        size: &'static str,
        /// Angle to the upright.
        tilt_deg: f64,
    },
    /// No quadrilateral.
    #[error("the four corners do not go around a rectangle in the photo")]
    Corners,
    /// A photo that must not be resampled is in perspective.
    #[error(
        "the {size} shows that the photos were taken {tilt_deg:.0} degrees from straight above; shots under several lamps are not straightened"
    )]
    NotAbove {
        /// What was looked for.
        size: &'static str,
        /// Angle to the upright.
        tilt_deg: f64,
    },
    /// The person stopped it.
    #[error(transparent)]
    Cancelled(#[from] Cancelled),
}

impl Explain for PlaneError {
    fn next(&self) -> String {
        match self {
            Self::NotFound { .. } => {
                "Lay it flat on the cloth, whole in the picture and unlike the cloth in colour, or mark it with --corners and --corners-mm"
            }
            Self::CutOff { .. } => "Photograph it whole, with some cloth all around, or mark it with --corners and --corners-mm",
            Self::Blurred { .. } => "Lay it flat with nothing over its sides, in focus, or mark it with --corners and --corners-mm",
            Self::Unlike { .. } => "Say what it is with --scale-by card, a4, a5 or a6, or with --corners-mm WIDTHxHEIGHT; it must lie flat",
            Self::TooSmall { .. } => "Go nearer, or lay down something larger",
            Self::Tilted { .. } => "Hold the camera straighter above the cloth",
            Self::Corners => "Give the corners one after the other around it, as x,y,x,y,x,y,x,y in photo pixels",
            Self::NotAbove { .. } => "Set the camera straight above the cloth, or give the scale with --ruler",
            Self::Cancelled(_) => "Start again when you like",
        }
        .to_owned()
    }

    fn class(&self) -> Class {
        Class::Request
    }
}

/// Where a rectangle of known size lies in a photo: found by its outline, or as its `corners` (photo pixels, in order around it) were
/// marked. Sides are fitted to a fraction of a pixel and corners are where they meet, so that round corners do no harm. Working memory
/// is about 20 floats a pixel of a copy of 640 pixels.
///
/// # Errors
/// When none is found, it is not of that size, or leaves the scale unsure.
pub fn place(
    color: &Image<LinearRgb>,
    size: KnownSize,
    corners: Option<[[f32; 2]; 4]>,
    task: &Task,
) -> Result<Placed, PlaneError> {
    let photo = color.size();
    let placed = match corners {
        Some(corners) => {
            Placed::marked(size, corners.map(|p| p.map(f64::from)), photo).ok_or(PlaneError::Corners).and_then(fitting)?
        }
        None => find(color, size, task)?,
    };
    if placed.misfit.is_odd() {
        let text = format!(
            "Only a lens of {:.1} times the photo's longer side explains the {}'s sides: is it one, whole and flat, and the photo not cropped to one side?",
            placed.misfit.focal,
            size.name()
        );
        task.note("rectangle-odd", text);
    }
    judged(placed, photo)
}

fn find(color: &Image<LinearRgb>, size: KnownSize, task: &Task) -> Result<Placed, PlaneError> {
    let (outlines, shrink) = outlines(color);
    task.check()?;
    let mut best: Option<(f64, Result<Placed, PlaneError>)> = None;
    for outline in outlines.iter().filter(|o| !o.cut_off && o.support > 0.3).take(MOST_OUTLINES) {
        task.check()?;
        let Some(rough) = Placed::marked(size, outline.corners, color.size()).filter(|p| p.misfit.size() < ROUGHLY) else {
            continue;
        };
        let (worth, tried) = closely(color, &rough, shrink);
        let worth = worth * outline.support;
        if best.as_ref().is_none_or(|(before, _)| worth > *before) {
            best = Some((worth, tried));
        }
    }
    match best {
        Some((_, Err(PlaneError::Unlike { aspect, skew_deg, .. }))) if aspect.abs() > OTHER.0 || skew_deg.abs() > OTHER.1 => {}
        Some((_, tried)) => return tried,
        None => {}
    }
    let size = size.name();
    let cut_off = outlines.iter().any(|o: &Outline| o.cut_off && o.support > 0.6);
    Err(if cut_off { PlaneError::CutOff { size } } else { PlaneError::NotFound { size } })
}

/// The rectangle with its sides found exactly, and how good it is beside others.
fn closely(color: &Image<LinearRgb>, rough: &Placed, shrink: f64) -> (f64, Result<Placed, PlaneError>) {
    let size = rough.size;
    let blurred = |share: f64| Err(PlaneError::Blurred { size: size.name(), share: 100.0 * share });
    let reach = 4.0 * shrink + 4.0;
    let pixels = 1.0 / rough.scale_at(rough.corners[0]);
    // A card's shadow is a millimetre or two broad; prints begin farther in.
    let fine = (1.6 * pixels).clamp(4.0, reach);
    let passes = [Pass::Near(reach), Pass::Near((reach / 3.0).max(3.0)), Pass::Exact(fine), Pass::Exact(fine)];
    let mut placed = rough.clone();
    let mut share = 0.0;
    for pass in passes {
        let Some(sides) = sides(color, &placed, pass) else { return (0.01 * rough_worth(rough), blurred(share)) };
        share = sides.iter().map(|s| s.share).fold(1.0, f64::min);
        let Some(next) = Placed::found(size, &sides, color.size()) else { return (0.01 * rough_worth(rough), blurred(share)) };
        placed = next;
    }
    let worth = share * rough_worth(&placed);
    if share < LEAST_SHARE { (0.1 * worth, blurred(share)) } else { (worth, fitting(placed)) }
}

fn rough_worth(placed: &Placed) -> f64 {
    let long = distance(placed.corners[0], placed.corners[2]);
    (-0.5 * (placed.misfit.size() / 0.05).powi(2)).exp().max(1e-6) * long.powf(0.3)
}

fn sides(color: &Image<LinearRgb>, placed: &Placed, pass: Pass) -> Option<[Side; 4]> {
    let sides = placed.size.mm();
    let mut found = Vec::new();
    for k in 0..4 {
        // Twice the radius of its corners is left out, and a twentieth: sheets bend there.
        let trim = f64::from(2.0 * placed.size.corner().get() / sides[k % 2].get()).max(0.05);
        found.push(side(color, [placed.corners[k], placed.corners[(k + 1) % 4]], trim, pass)?);
    }
    found.try_into().ok()
}

/// Photo places of places on a rectangle whose corners were marked in order around it; `None` when they are not those of a convex
/// quadrilateral.
pub(crate) fn corners_onto(size: KnownSize, corners: [[f64; 2]; 4], photo: Size) -> Option<Homography> {
    Placed::marked(size, corners, photo).map(|placed| placed.photo_from_mm)
}

/// Refuse what is not a rectangle of that size, or seen too much from the side.
fn fitting(placed: Placed) -> Result<Placed, PlaneError> {
    let (size, Misfit { aspect, skew_deg, tilt_deg, .. }) = (placed.size.name(), placed.misfit);
    if aspect.abs() > MOST_ASPECT || skew_deg.abs() > MOST_SKEW_DEG {
        return Err(PlaneError::Unlike { size, aspect: 100.0 * aspect, skew_deg });
    }
    if tilt_deg > MOST_TILT_DEG { Err(PlaneError::Tilted { size, tilt_deg }) } else { Ok(placed) }
}

/// Refuse what lies partly outside, or is too small to be sure of the scale.
fn judged(placed: Placed, photo: Size) -> Result<Placed, PlaneError> {
    let size = placed.size.name();
    let [w, h] = [photo.width as f64, photo.height as f64];
    if placed.corners.iter().any(|[x, y]| *x < 0.0 || *y < 0.0 || *x > w || *y > h) {
        return Err(PlaneError::CutOff { size });
    }
    let middle = [0, 1].map(|c: usize| placed.corners.iter().map(|p| p[c]).sum::<f64>() / 4.0);
    let unsure = placed.uncertainty_at(middle, photo);
    if unsure > MOST_UNSURE {
        let pixels = (0..4).map(|k| distance(placed.corners[k], placed.corners[(k + 1) % 4])).fold(0.0, f64::max);
        return Err(PlaneError::TooSmall { size, pixels, percent: 100.0 * unsure });
    }
    Ok(placed)
}
