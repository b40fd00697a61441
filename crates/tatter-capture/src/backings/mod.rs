//! The same cloth over a dark and a light backing: its exact alpha and colour, with nothing guessed.
//!
//! Start at [`two_backings`]. What alpha is where one cannot see both shots is bled in from around.

mod agree;
mod cards;
mod cast;
mod exposure;
mod lay;
mod settle;
mod shade;
mod thrown;
mod triangulate;

use self::cards::Cards;
use self::settle::Noise;
use tatter_core::explain::{Class, Explain};
use tatter_core::image::{Image, LinearRgb, Size, Unit};
use tatter_core::kernel::bleed;
use tatter_core::task::{Cancelled, Task};

use crate::photo::AlignError;

pub use lay::{Laid, lay};
pub(crate) use settle::beyond;
pub use triangulate::{PixelMatte, triangulate};

/// Share of the light card that may be burnt out: glints of a grain, not the card.
const MOST_BURNT: f32 = 0.05;
/// Factors of the exposure tie beyond which a person should know.
const UNLIKE_EXPOSURE: f32 = 0.04;
/// Alpha above which cloth that lets the light backing shine through counts as whole (algorithm notes 1.8).
const THIN_IS_WHOLE: f32 = 0.95;

/// The same cloth in the same light over two backings, pixel on pixel; all images have one size.
#[derive(Clone, Copy, Debug)]
pub struct Shots<'a> {
    /// Over the lighter backing.
    pub light: &'a Image<LinearRgb>,
    /// Over the darker backing.
    pub dark: &'a Image<LinearRgb>,
    /// Where both show the cloth.
    pub both: &'a Image<bool>,
}

/// What was measured with two backings; all images have the shots' size.
#[derive(Clone, Debug)]
pub struct Matte {
    /// Share of each pixel that is cloth.
    pub alpha: Image<Unit>,
    /// The cloth's light, premultiplied by alpha, at the light shot's exposure.
    pub front: Image<LinearRgb>,
    /// Colours of the light and the dark backing in the middle of the picture.
    pub cards: [LinearRgb; 2],
    /// Deviation of alpha at whole cloth by noise.
    pub noise: f32,
    /// What the dark shot was multiplied by, a channel.
    pub gain: [f32; 3],
}

/// Why two shots gave no alpha.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum BackingsError {
    /// Shots of unlike size.
    #[error("the shot over the dark backing is {dark} pixels, the one over the light backing {light}")]
    Size {
        /// Of the dark shot.
        dark: Size,
        /// Of the light shot.
        light: Size,
    },
    /// The shots cannot be laid on each other.
    #[error(transparent)]
    Align(#[from] AlignError),
    /// They show different cloth, or the light changed.
    #[error(
        "the two shots do not match: {:.0} % of the cloth is darker over the lighter backing, where {:.0} % at most may be \
        (fine contrast of what does match correlates by {correlation:.2})",
        100.0 * against, 100.0 * most
    )]
    Unlike {
        /// Share of the cloth.
        against: f32,
        /// What is let pass.
        most: f32,
        /// Correlation on what agrees.
        correlation: f32,
    },
    /// The same backing twice, or nothing to see it through.
    #[error(
        "the two shots differ by {apart:.3} of full light at most, where {least} is needed: \
        both are over the same backing, or nowhere one sees through the cloth"
    )]
    Alike {
        /// Greatest difference, linear light over three channels.
        apart: f32,
        /// What is needed.
        least: f32,
    },
    /// The light card tells neither its colour nor what comes through.
    #[error("{:.0} % of the light card is burnt out, where {:.0} % at most may be", 100.0 * burnt, 100.0 * most)]
    Burnt {
        /// Share of what is seen of it.
        burnt: f32,
        /// What is let pass.
        most: f32,
    },
    /// Stopped by the person.
    #[error(transparent)]
    Cancelled(#[from] Cancelled),
}

impl Explain for BackingsError {
    fn next(&self) -> String {
        match self {
            Self::Size { .. } => "Give two shots of one size from one camera that stood still, neither cropped".to_owned(),
            Self::Alike { .. } => {
                "Photograph once over black and once over white card, the card in view beside the cloth or through its openings, or cut one photo alone".to_owned()
            }
            Self::Align(error) => error.next(),
            Self::Unlike { .. } => {
                "Give two shots of the same cloth in the same light; change only what lies behind it, and touch neither cloth nor lamp"
                    .to_owned()
            }
            Self::Burnt { .. } => {
                "Photograph both again with less exposure, until the light card reads 220 to 245 of 255".to_owned()
            }
            Self::Cancelled(_) => "Start again when ready".to_owned(),
        }
    }

    fn class(&self) -> Class {
        match self {
            Self::Align(error) => error.class(),
            _ => Class::Request,
        }
    }
}

/// Alpha and colour of the cloth in two shots that lie pixel on pixel. `told` are the colours of the dark and the light
/// backing, when a person knows them. Some 30 floats a pixel.
///
/// # Errors
/// As [`BackingsError`] lists.
///
/// # Panics
/// When the images of `shots` differ in size: a bug of the caller.
pub fn two_backings(shots: &Shots<'_>, told: Option<[LinearRgb; 2]>, task: &Task) -> Result<Matte, BackingsError> {
    let size = shots.light.size();
    assert!(shots.dark.size() == size && shots.both.size() == size, "aligned shots have one size");
    let tied = exposure::tie(shots, cards::greatest(shots));
    let gain = tied.map_or([1.0; 3], |(gain, _)| gain);
    note_exposure(tied, task);
    task.check()?;
    let dark = exposure::exposed(shots.dark, gain);
    let shots = Shots { dark: &dark, ..*shots };
    let burnt = cards::burnt(&shots);
    if burnt > MOST_BURNT {
        return Err(BackingsError::Burnt { burnt, most: MOST_BURNT });
    }
    let cards = match told {
        Some([dark, light]) => {
            let dark = LinearRgb([0, 1, 2].map(|c| dark.0[c] * gain[c]));
            Cards::told([dark, light], size.width, size.height)
        }
        None => cards::cards(&shots)?,
    };
    task.check()?;
    let parted = Image::from_fn(size.width, size.height, |x, y| {
        triangulate([shots.light.get(x, y), shots.dark.get(x, y)], cards.at(x, y))
    });
    let noise = Noise::of(&parted.map(|p| p.through));
    let shade = shade::shade(&parted, noise.cloth, cards.apart());
    if !shade.told {
        task.note("cloth-dark", "The cloth is as dark as the noise, so shade in its openings may count as cloth; light it more");
    }
    task.check()?;
    let whole = if gain.iter().any(|g| (g - 1.0).abs() > UNLIKE_EXPOSURE) { THIN_IS_WHOLE } else { 1.0 };
    let through = parted.map(|p| p.through);
    let first = settle::settle(&through, &shade, noise, whole);
    let shade = cast::cast(&through, shade, &first.map(|a| 1.0 - a.0), shots.both, task)?;
    let noise = noise.above(&through, &shade.level);
    let alpha = settle::settle(&through, &shade, noise, whole);
    let front = Image::from_fn(size.width, size.height, |x, y| {
        let through = (1.0 - alpha.get(x, y).0) * shade.level.get(x, y);
        let both = [shots.light.get(x, y), shots.dark.get(x, y)];
        LinearRgb(triangulate::front(both, cards.at(x, y), through).0.map(|v| v.max(0.0)))
    });
    let seen = shots.both.map(|b| if b { 1.0 } else { 0.0 });
    Ok(Matte { alpha: bleed(&alpha, &seen), front: bleed(&front, &seen), cards: cards.mean(), noise: noise.cloth, gain })
}

fn note_exposure(tied: Option<([f32; 3], f32)>, task: &Task) {
    match tied {
        None => task.note(
            "no-opaque-cloth",
            "Hardly any cloth is opaque, so the exposures of the two shots could not be compared; expose both alike by hand",
        ),
        Some((gain, _)) if gain.iter().any(|g| (g - 1.0).abs() > UNLIKE_EXPOSURE) => {
            let [r, g, b] = gain.map(|g| 100.0 * (g - 1.0));
            task.note(
                "exposures-unlike",
                format!(
                    "Opaque cloth is {r:+.0} %, {g:+.0} %, {b:+.0} % (red, green, blue) lighter over the light backing and was \
                    evened out: the exposure or the white balance changed, or thin cloth lets the backing shine through"
                ),
            );
        }
        Some(_) => {}
    }
}
