//! Colours of photos corrected before anything is looked for in them: even light, a neutral place, a 24-patch chart.

use std::path::{Path, PathBuf};

use tatter_capture::color::{ColorError, Correction, chart, find_chart, grey};
use tatter_capture::lights::{Calibration, Flat};
use tatter_core::channel::Channel;
use tatter_core::explain::{Class, Explain};
use tatter_core::image::Size;
use tatter_core::model::{Patch, Photo};
use tatter_core::task::Task;
use tatter_files::limits::Limits;
use tatter_files::picture::{PictureError, read_photo};

pub use tatter_capture::color::{ChartFit, Edition, Grey, GreyPick};

/// What of known colour lies in the photo.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Known {
    /// A neutral place.
    Grey(GreyPick),
    /// A 24-patch chart, by its four corners in order around it, photo pixels.
    Chart([[f32; 2]; 4]),
    /// A 24-patch chart somewhere in the photo.
    ChartSomewhere,
}

/// What corrects the colours of a cut's photos.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct ColorRequest {
    /// What of known colour is in view.
    pub known: Option<Known>,
    /// A photo of an even card in the cloth's place: evens the light out. Not for shots under several lamps, whose file names theirs.
    pub flat_field: Option<PathBuf>,
}

impl ColorRequest {
    /// The same with a chart that was found in its place.
    pub(crate) fn settled(&self, corrected: Option<&Corrected>) -> Self {
        let known = match (self.known, corrected) {
            (Some(Known::ChartSomewhere), Some(Corrected::Chart(found))) => Some(Known::Chart(found.corners)),
            (known, _) => known,
        };
        Self { known, flat_field: self.flat_field.clone() }
    }
}

/// How colours were corrected.
#[derive(Clone, Debug)]
pub enum Corrected {
    /// By a neutral place.
    Grey(GreyPick, Grey),
    /// By a chart.
    Chart(ChartFit),
}

/// Why colours cannot be corrected.
#[derive(Debug, thiserror::Error)]
pub enum ColorFailed {
    /// What was told of the photo.
    #[error("{0}: {1}")]
    Color(ColorError, PathBuf),
    /// Shots under several lamps have their own.
    #[error("a lights file names its flat fields itself: {}", .0.display())]
    FlatTwice(PathBuf),
    /// The flat field cannot be read.
    #[error(transparent)]
    Picture(#[from] PictureError),
    /// The flat field is another picture's.
    #[error("the flat field is {found}, the photo {wanted}: {}", path.display())]
    Size {
        /// Its size.
        found: Size,
        /// The photo's.
        wanted: Size,
        /// The picture.
        path: PathBuf,
    },
}

impl Explain for ColorFailed {
    fn next(&self) -> String {
        match self {
            Self::Color(error, _) => error.next(),
            Self::FlatTwice(_) => "Write flat_field = \"FILE\" into the lights file".to_owned(),
            Self::Picture(error) => error.next(),
            Self::Size { .. } => "Take it with the same camera setting, and crop neither".to_owned(),
        }
    }

    fn class(&self) -> Class {
        match self {
            Self::Color(error, _) => error.class(),
            Self::Picture(error) => error.class(),
            Self::FlatTwice(_) | Self::Size { .. } => Class::Request,
        }
    }
}

/// Correct the colours of one photo.
pub(crate) fn correct(
    photo: &mut Photo,
    request: &ColorRequest,
    path: &Path,
    task: &Task,
) -> Result<Option<Corrected>, ColorFailed> {
    if let Some(flat_field) = &request.flat_field {
        even(&mut [&mut *photo], flat_field)?;
    }
    let corrected = request.known.map(|known| correction(photo, known, path, task)).transpose()?;
    if let Some(corrected) = &corrected {
        photo.color = corrected.correction().show(&photo.color);
    }
    Ok(corrected)
}

/// A flat field taken out of shots of one size.
pub(crate) fn even(shots: &mut [&mut Photo], path: &Path) -> Result<(), ColorFailed> {
    let card = read_photo(path, &Limits::default())?;
    let calibration = Calibration::new(None, Some(&Flat::Camera(card.color.clone())));
    for shot in shots {
        let (found, wanted) = (card.color.size(), shot.color.size());
        if found != wanted {
            return Err(ColorFailed::Size { found, wanted, path: path.to_path_buf() });
        }
        shot.color = calibration.show(&shot.color);
    }
    Ok(())
}

/// The correction that what is known of a photo's colours asks for.
pub(crate) fn correction(photo: &Photo, known: Known, path: &Path, task: &Task) -> Result<Corrected, ColorFailed> {
    let failed = |error| ColorFailed::Color(error, path.to_path_buf());
    Ok(match known {
        Known::Grey(pick) => {
            let found = grey(&photo.color, &pick).map_err(failed)?;
            if found.uneven > UNEVEN {
                let text = format!("The grey place varies by {:.0} % of its light; pick a plainer one", 100.0 * found.uneven);
                task.note("grey-uneven", text);
            }
            Corrected::Grey(pick, found)
        }
        Known::Chart(_) | Known::ChartSomewhere => {
            let found = match known {
                Known::Chart(corners) => chart(&photo.color, corners),
                _ => find_chart(&photo.color),
            }
            .map_err(failed)?;
            if found.burnt > 0 {
                let text = format!("{} burnt-out patches of the chart were left out; expose darker", found.burnt);
                task.note("chart-burnt", text);
            }
            if found.after[0] > POOR {
                let text = format!(
                    "The chart's colours are left off by {:.1} (CIEDE2000, mean): a picture style bends them, or the light on it is uneven",
                    found.after[0]
                );
                task.note("chart-poor", text);
            }
            Corrected::Chart(found)
        }
    })
}

/// The line of provenance that tells of it.
pub(crate) const KEY: &str = "color_correction";

/// Deviation of a grey place's light that is said.
const UNEVEN: f32 = 0.12;
/// Mean CIEDE2000 left by a chart from which it is said: cameras that bend no tones leave 1 to 2.5 (`algorithms.md` 6.3).
const POOR: f32 = 3.0;

impl Corrected {
    /// What is done to colours.
    #[must_use]
    pub const fn correction(&self) -> &Correction {
        match self {
            Self::Grey(_, Grey { correction, .. }) | Self::Chart(ChartFit { correction, .. }) => correction,
        }
    }

    /// One line for people.
    #[must_use]
    pub fn told(&self) -> String {
        match self {
            Self::Grey(pick, found) => {
                let seen = found.seen.0.map(|v| format!("{v:.4}")).join(", ");
                format!(
                    "grey place at {:.0}, {:.0} counted as {:.0} % reflectance, read {seen}",
                    pick.at[0],
                    pick.at[1],
                    100.0 * pick.reflectance
                )
            }
            Self::Chart(found) => format!(
                "24-patch chart, {}, {}: CIEDE2000 {:.1} before (greatest {:.1}), {:.1} after ({:.1})",
                found.edition.name(),
                found.correction.name(),
                found.before[0],
                found.before[1],
                found.after[0],
                found.after[1]
            ),
        }
    }

    /// Kept with the patch.
    pub(crate) fn record(&self, patch: &mut Patch) {
        patch.provenance.push((KEY.to_owned(), self.told()));
        patch.provenance.push(("color_factors".to_owned(), factors(self.correction())));
        let by = match self {
            Self::Grey(..) => "balanced by a grey place",
            Self::Chart(_) => "corrected by a 24-patch chart",
        };
        if let Some(base) = &mut patch.maps[Channel::BaseColor] {
            base.how = format!("{by}; {}", base.how);
        }
    }
}

/// Rows of factors, for repeating the work.
fn factors(correction: &Correction) -> String {
    let row = |row: &[f32]| row.iter().map(|v| format!("{v:.6}")).collect::<Vec<_>>().join(", ");
    match correction {
        Correction::Gains(gains) => row(gains),
        Correction::Matrix(rows) => rows.each_ref().map(|r| row(r)).join("; "),
        Correction::RootPolynomial(rows) => rows.each_ref().map(|r| row(r)).join("; "),
    }
}
