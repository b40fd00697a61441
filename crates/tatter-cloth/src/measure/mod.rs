//! Thread count, grain and weave of cloth in a photo.
//!
//! The photo is looked at in layers of halving size. In each, averaged spectra of tiles give peaks and the lattice that
//! explains them; the cloth is folded by that lattice to its own repeat without noise; and every pair of thread families
//! that could have made the lattice is judged by how well a weave of them predicts the repeat. The strongest peak alone is
//! a trap: a plain weave's is its diagonal. Phases followed over the whole photo sharpen the pitches. Where no weave
//! predicts the cloth well, none is claimed.

mod fold;
mod judge;
mod lattice;
mod layers;
mod model;
mod refine;
mod spectrum;
pub(crate) mod structure;

use tatter_core::angle::Angle;
use tatter_core::explain::{Class, Explain};
use tatter_core::image::{Image, LinearRgb, Size};
pub use tatter_core::model::{Hand, Weave};
use tatter_core::task::{Cancelled, Task};

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

/// How the cloth is made.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Fabric {
    /// Nothing can be said.
    #[default]
    Unknown,
    /// Two families of threads that cross.
    Woven,
    /// Loops in wales and courses.
    Knit,
}

impl std::fmt::Display for Fabric {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.write_str(match self {
            Self::Unknown => "unknown",
            Self::Woven => "woven",
            Self::Knit => "knit",
        })
    }
}

/// What was found. When `woven` is false the numbers are the best guess and not to be used.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Measured {
    /// How the cloth is made.
    pub fabric: Fabric,
    /// Whether two families of threads were found.
    pub woven: bool,
    /// 0..1, that the cloth is woven of threads so far apart; below 0.5 nothing is claimed, from 0.6 on nineteen of twenty are
    /// right on the drawings of `tests/measure_drawn.rs`.
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

/// Confidence below which no weave is claimed.
const WOVEN: f64 = 0.5;

/// Confidence that it is a knit above which that is said.
const KNIT: f64 = 0.4;

/// Confidence of a weave above which no knit is claimed.
const DOUBTED: f64 = 0.15;

/// Confidence above which coarser layers are not looked at.
const ENOUGH: f64 = 0.6;

/// Probability above which a weave is named.
const NAMED: f64 = 0.65;

/// The points of a basket of four threads, of which twill of one hand has one.
const DIAGONALS: [[f64; 2]; 2] = [[0.25, 0.25], [0.25, -0.25]];

/// How much those two take turns over a herringbone at least: 0.87 on woven ones, 0.3 where both are noise.
const TURNING: f64 = 0.55;

const NO_WEAVE: &str = "no weave found in the photo; give the scale another way";

/// Count threads and find the grain. `color` in linear light; where `mask` is given only its true pixels count.
///
/// Working memory is about ten floats a pixel.
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
    let library = judge::library();
    let layers = layers::layers(color, mask);
    let mut readings: Vec<(usize, judge::Reading)> = Vec::new();
    for (index, layer) in layers.iter().enumerate() {
        task.check()?;
        let Some(mut reading) = judge::read(layer, &library, f64::from(settings.shortest_pitch_px.max(2.5))) else { continue };
        for (finer, before) in &readings {
            reading.heed(before, layer.shrink as f64 / layers[*finer].shrink as f64);
        }
        let enough = reading.woven() > ENOUGH && reading.interlaced && reading.fine;
        readings.push((index, reading));
        if enough {
            break;
        }
    }
    let Some((index, mut found)) = chosen(readings) else {
        task.note("no-weave", NO_WEAVE);
        return Ok(Measured::default());
    };
    let layer = &layers[index];
    if found.structure == structure::Structure::Basket && refine::take_turns(&layer.signal, &found.base, DIAGONALS) > TURNING {
        // Twill that turns, such as herringbone: its average is a basket, and is none.
        (found.structure_sure, found.repeat_sure) = (0.0, 0.0);
    }
    let base = refine::sharpen(&layer.signal, &found).map(|g| g.map(|c| c / layer.shrink as f64));
    task.check()?;
    Ok(describe(color.size(), &found, base, settings, task))
}

/// The surest weave; or a knit, where no layer shows anything of a weave.
fn chosen(readings: Vec<(usize, judge::Reading)>) -> Option<(usize, judge::Reading)> {
    let woven = readings.iter().map(|(_, r)| r.woven()).fold(0.0, f64::max);
    let worth = |r: &judge::Reading| if woven < DOUBTED { r.knit().max(r.woven()) } else { r.woven() };
    readings.into_iter().reduce(|a, b| if worth(&b.1) > worth(&a.1) { b } else { a })
}

/// Name the families, angles and the weave. Frequencies have y up.
fn describe(
    size: Size,
    found: &judge::Reading,
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
        if found.woven() >= WOVEN {
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
    let (confidence, knit) = (found.woven(), found.knit() >= KNIT);
    let woven = confidence >= WOVEN;
    if knit {
        task.note("knit", "the cloth looks knitted, so there are no ends and picks to count; give the scale another way");
    } else if !woven {
        task.note("no-weave", NO_WEAVE);
    }
    let fabric = if knit {
        Fabric::Knit
    } else if woven {
        Fabric::Woven
    } else {
        Fabric::Unknown
    };
    let weave = if !woven || !found.interlaced {
        Weave::Unknown
    } else if found.structure_sure >= NAMED {
        found.structure.weave(!second_is_warp)
    } else if found.repeat_sure >= NAMED {
        found.structure.repeat_only(second_is_warp)
    } else {
        Weave::Unknown
    };
    let twill =
        matches!(weave, Weave::Twill { .. } | Weave::TwillOn { .. }).then(|| Angle::radians((pitch[1] / pitch[0]).atan()));
    Measured {
        fabric,
        woven,
        confidence: confidence as f32,
        grain: line(g1),
        weft: line(g2),
        pitch_px: pitch,
        ends_per_width: size.width as f32 / pitch[0],
        picks_per_height: size.height as f32 / pitch[1],
        weave,
        twill,
    }
}
