//! Thread count, grain and weave of cloth in a photo.
//!
//! Averaged spectra of tiles give peaks; a lattice of two thread families is fitted to all of them (the strongest peak
//! alone is a trap: weave repeats, harmonics and slubs are often stronger than the threads); phases followed over the
//! whole photo sharpen the pitches.

mod lattice;
mod refine;
mod spectrum;

use tatter_core::angle::Angle;
use tatter_core::explain::{Class, Explain};
use tatter_core::image::{Image, LinearRgb, Size};
use tatter_core::task::{Cancelled, Task};

pub use crate::made::Hand;

/// How to measure.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct MeasureSettings {
    /// Shortest thread pitch looked for, pixels. Below 2.5 the pixel grid and the threads make moiré.
    pub shortest_pitch_px: f32,
    /// Warp direction as told; decides which family is the warp.
    pub grain: Option<Angle>,
}

impl Default for MeasureSettings {
    fn default() -> Self {
        Self { shortest_pitch_px: 2.5, grain: None }
    }
}

/// The interlacing as recognised.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Weave {
    /// Not recognised.
    #[default]
    Unknown,
    /// Over one, under one.
    Plain,
    /// Plain with doubled ends and picks.
    Basket,
    /// Diagonal lines; `repeat` threads in the repeat, split as `over`/`under`.
    Twill {
        /// Picks the end lies over.
        over: u8,
        /// Picks the end lies under.
        under: u8,
        /// Which way the lines climb.
        hand: Hand,
    },
    /// Scattered binding points on that many ends.
    Satin {
        /// Ends in the repeat.
        ends: u8,
    },
}

impl std::fmt::Display for Weave {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        match self {
            Self::Unknown => f.write_str("unknown"),
            Self::Plain => f.write_str("plain"),
            Self::Basket => f.write_str("basket"),
            Self::Twill { over, under, hand } => write!(f, "twill {over}/{under} {hand:?}"),
            Self::Satin { ends } => write!(f, "satin {ends}"),
        }
    }
}

/// What was found. When `woven` is false the numbers are the best guess and not to be used.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Measured {
    /// Whether two families of threads were found.
    pub woven: bool,
    /// 0..1; below 0.35 nothing is claimed.
    pub confidence: f32,
    /// The line the warp runs along, 0..180 degrees counter-clockwise from image right.
    pub grain: Angle,
    /// The line the weft runs along.
    pub weft: Angle,
    /// Distance of neighbouring ends and of neighbouring picks, pixels, measured across them.
    pub pitch_px: [f32; 2],
    /// Ends in one photo width of cloth, measured across them.
    pub ends_per_width: f32,
    /// Picks in one photo height of cloth, measured across them.
    pub picks_per_height: f32,
    /// How they interlace.
    pub weave: Weave,
    /// Angle of the twill line from the weft, when there is one.
    pub twill: Option<Angle>,
}

/// Why cloth could not be measured.
#[derive(Clone, Copy, Debug, PartialEq, Eq, thiserror::Error)]
pub enum MeasureError {
    /// Too few pixels to see a weave in.
    #[error("a photo of {size} pixels is too small to count threads in")]
    TooSmall {
        /// Its size.
        size: Size,
    },
    /// Stopped by the person.
    #[error(transparent)]
    Cancelled(#[from] Cancelled),
}

impl Explain for MeasureError {
    fn next(&self) -> String {
        match self {
            Self::TooSmall { .. } => "Give a photo of at least 96 x 96 pixels that shows twenty threads or more".into(),
            Self::Cancelled(_) => "Start again when ready".into(),
        }
    }
    fn class(&self) -> Class {
        match self {
            Self::TooSmall { .. } => Class::Input,
            Self::Cancelled(_) => Class::Request,
        }
    }
}

/// Confidence below which no weave is claimed; between felt (under 0.2) and blurred plain cloth (above 0.5) on made scenes.
const WOVEN: f32 = 0.35;

/// Confidence above which larger tiles are not tried: they cost time and smear bent cloth.
const SURE: f32 = 0.7;

/// Count threads and find the grain. `color` in linear light; where `mask` is given only its true pixels count.
///
/// Measured: 0.05 to 0.24 s for 512² on two cores; larger photos were not timed.
///
/// # Errors
/// The photo is smaller than 96 pixels a side, or the task was cancelled. Cloth without a weave is no error: `woven` is false.
pub fn measure(
    color: &Image<LinearRgb>,
    mask: Option<&Image<bool>>,
    settings: &MeasureSettings,
    task: &Task,
) -> Result<Measured, MeasureError> {
    if color.width().min(color.height()) < 96 {
        return Err(MeasureError::TooSmall { size: color.size() });
    }
    task.check()?;
    let signal = spectrum::signal(color, mask);
    let mut found: Option<lattice::Lattice> = None;
    for side in tile_sides(color.size()) {
        task.check()?;
        let spectrum = spectrum::averaged(&signal, side);
        let peaks = spectrum.peaks(settings.shortest_pitch_px);
        let next = lattice::fit(&spectrum, &peaks, settings.shortest_pitch_px);
        if next.as_ref().map_or(0.0, |n| n.confidence) > found.as_ref().map_or(0.0, |f| f.confidence) {
            found = next;
        }
        if found.as_ref().is_some_and(|f| f.confidence > SURE) {
            break;
        }
    }
    let Some(found) = found else {
        task.note("no-weave", "no weave found in the photo; give the scale another way");
        return Ok(Measured::default());
    };
    let base = refine::sharpen(&signal, &found);
    task.check()?;
    let measured = describe(color.size(), &found, base, settings, task);
    if !measured.woven {
        task.note("no-weave", "no weave found in the photo; give the scale another way");
    }
    Ok(measured)
}

/// Sides of tiles to try: first many small ones (steady spectrum, forgiving of bent cloth), then larger ones for coarse cloth.
fn tile_sides(size: Size) -> Vec<usize> {
    let shorter = size.width.min(size.height);
    let below = |limit: usize| if limit.is_power_of_two() { limit } else { limit.next_power_of_two() / 2 };
    let first = below(shorter / 2).clamp(64, 512);
    let last = below(shorter).clamp(64, 1024);
    if last > first { vec![first, last] } else { vec![first] }
}

/// Name the families, angles and the weave. Frequencies have y up.
fn describe(
    size: Size,
    found: &lattice::Lattice,
    [mut g1, mut g2]: [[f64; 2]; 2],
    settings: &MeasureSettings,
    task: &Task,
) -> Measured {
    // A family runs across its reciprocal vector.
    let line = |g: [f64; 2]| Angle::radians((g[1].atan2(g[0]) + std::f64::consts::FRAC_PI_2) as f32).as_line();
    let upright = |g: [f64; 2]| (line(g).to_degrees() - 90.0).abs();
    let (n1, n2) = (g1[0].hypot(g1[1]), g2[0].hypot(g2[1]));
    let second_is_warp = if let Some(told) = settings.grain {
        let off = |g| ((line(g) - told).as_line().to_degrees() - 90.0).abs();
        off(g2) > off(g1)
    } else if n1.max(n2) / n1.min(n2) < 1.1 {
        if found.confidence > WOVEN {
            task.note("warp-guessed", "both thread families are about equally dense; the more upright one is taken as the warp");
        }
        upright(g2) < upright(g1)
    } else {
        n2 > n1
    };
    if second_is_warp {
        (g1, g2) = (g2, g1);
    }
    // Point the pair so that turning the first a quarter left gives the second: ends to the right, picks upwards.
    if g1[0] * g2[1] - g1[1] * g2[0] < 0.0 {
        g2 = [-g2[0], -g2[1]];
    }
    let pitch = [1.0 / g1[0].hypot(g1[1]), 1.0 / g2[0].hypot(g2[1])].map(|p| p as f32);
    let weave = found.weave(g1, g2);
    let twill = matches!(weave, Weave::Twill { .. }).then(|| Angle::radians((pitch[1] / pitch[0]).atan()));
    Measured {
        woven: found.confidence >= WOVEN,
        confidence: found.confidence,
        grain: line(g1),
        weft: line(g2),
        pitch_px: pitch,
        ends_per_width: size.width as f32 / pitch[0],
        picks_per_height: size.height as f32 / pitch[1],
        weave,
        twill,
    }
}
