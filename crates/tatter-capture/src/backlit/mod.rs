//! A lamp behind the cloth: openings show the lamp itself, thin cloth glows.
//!
//! Start at [`backlit`]. What comes through a pixel is `B = L (o + (1 - o) t)`: the lamp `L`, the share `o` that is open, and what cloth
//! lets through, `t`. The lamp is known from a shot of it alone, or from what the openings show and how the light behind cloth falls
//! off; `t` is slow beside the openings.

mod lamp;

use tatter_core::explain::{Class, Explain};
use tatter_core::image::{Image, LinearRgb, Size, Unit};
use tatter_core::kernel::{bleed, erode, gaussian, weighted};
use tatter_core::stats::{median, quantile, sample};
use tatter_core::task::{Cancelled, Task};

use crate::backings::beyond;
use crate::lights::BURNT;
use crate::photo::{AlignError, Alignment, Likeness, align, inside, warp};

/// Deviations of what cloth lets through that are cloth still.
const DEVIATIONS: f32 = 2.5;
/// Reach over which cloth lets through alike, as a share of the picture's shorter side.
const REACH: f32 = 0.03;
/// Weight of what is no cloth.
const ELSEWHERE: f32 = 0.003;
/// Alpha from which a pixel tells what cloth lets through.
const WHOLE: f32 = 0.98;
/// Light of the lamp in the shot below which nothing can be told.
const LEAST_LAMP: f32 = 0.02;
/// Share of what shows the lamp that may be burnt out before it is said.
const MOST_BURNT: f32 = 0.5;

/// What a lamp behind the cloth tells; images have the front shot's size.
#[derive(Clone, Debug)]
pub struct Backlit {
    /// Share of each pixel that is cloth.
    pub alpha: Image<Unit>,
    /// Share of the lamp's light that comes through cloth; in openings that of the cloth around.
    pub translucency: Image<Unit>,
    /// The middle of that over all cloth.
    pub through: f32,
    /// Deviation by noise and unevenness of what comes through whole cloth, as a share of the lamp.
    pub noise: f32,
    /// How the shot lay on the front one; `None`: taken as it stands.
    pub alignment: Option<Alignment>,
}

/// Why a shot with the lamp behind tells nothing.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum BacklitError {
    /// Shots of unlike size.
    #[error("the shot with the lamp {what} is {found} pixels, the one from the front {front}")]
    Size {
        /// Behind the cloth, or alone.
        what: &'static str,
        /// Its size.
        found: Size,
        /// Of the shot from the front.
        front: Size,
    },
    /// No place shows the lamp itself.
    #[error(
        "nowhere the shot shows the lamp itself: its brightest places have {ratio:.1} times the light that comes through the cloth, where {least} \
         are needed"
    )]
    NoOpening {
        /// Brightest places over cloth.
        ratio: f32,
        /// What is needed.
        least: f32,
    },
    /// Too dark.
    #[error("the lamp behind the cloth reads {lamp:.3} of full light, where {least} are needed")]
    Dark {
        /// What was read.
        lamp: f32,
        /// What is needed.
        least: f32,
    },
    /// The shots cannot be compared.
    #[error(transparent)]
    Align(#[from] AlignError),
    /// Stopped by the person.
    #[error(transparent)]
    Cancelled(#[from] Cancelled),
}

impl Explain for BacklitError {
    fn next(&self) -> String {
        match self {
            Self::Size { .. } => "Take all shots with one camera that stands still, and crop none of them".to_owned(),
            Self::NoOpening { .. } => {
                "Take one more shot of the lamp alone, without the cloth, and give it with --lamp".to_owned()
            }
            Self::Dark { .. } => "Expose longer: the lamp should read 220 to 245 of 255 in the openings".to_owned(),
            Self::Align(error) => error.next(),
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

/// Openings and thinness of the cloth in `front` by a shot with a lamp `behind` it, laid on the front one; `lamp` shows it alone from the
/// same place. Some 20 floats a pixel.
///
/// # Errors
/// As [`BacklitError`] lists.
pub fn backlit(
    front: &Image<LinearRgb>,
    behind: &Image<LinearRgb>,
    lamp: Option<&Image<LinearRgb>>,
    task: &Task,
) -> Result<Backlit, BacklitError> {
    let size = front.size();
    for (what, shot) in [("behind", Some(behind)), ("alone", lamp)] {
        let Some(found) = shot.map(Image::size).filter(|found| *found != size) else { continue };
        return Err(BacklitError::Size { what, found, front: size });
    }
    let Laid { shot, both, alignment } = laid(front, behind, task)?;
    task.check()?;
    let light = shot.map(|c| c.luminance().max(0.0));
    let lamp = match lamp {
        Some(shot) => gaussian(&shot.map(|c| c.luminance().max(0.0)), 2.0),
        None => lamp::behind(&light, &both)?,
    };
    let strongest = quantile(&mut lamp.texels().to_vec(), 0.99);
    if strongest < LEAST_LAMP {
        return Err(BacklitError::Dark { lamp: strongest, least: LEAST_LAMP });
    }
    let through = light.zip(&lamp, |b, l| b / l.max(0.1 * strongest));
    note_burnt(&shot, &through, task);
    task.check()?;
    Ok(Backlit { alignment, ..parted(&through, &both) })
}

/// Alpha and what cloth lets through, from the share of the lamp's light in each pixel.
fn parted(through: &Image<f32>, both: &Image<bool>) -> Backlit {
    let seen = both.map(|b| if b { 1.0 } else { 0.0 });
    // Half way between cloth and lamp as light multiplies.
    let usual = median(&mut sample(through, &seen)).min(0.5);
    let middle = usual.max(0.01).sqrt();
    let cloth = erode(&through.zip(both, |t, b| b && t < middle), 1.0).map(|c| if c { 1.0 } else { 0.0 });
    // Far from all cloth the middle of it stands for it.
    let usual = if cloth.texels().iter().any(|c| *c > 0.0) { median(&mut sample(through, &cloth)) } else { usual };
    let reach = REACH * through.width().min(through.height()) as f32;
    // Beyond its reach the weight of cloth is rounding, and what is divided by it anything: all else counts a little as usual cloth.
    let weight = cloth.map(|c| c.max(ELSEWHERE));
    let mean = weighted(&through.zip(&cloth, |t, c| if c > 0.0 { t } else { usual }), &weight, reach, usual);
    let off = through.zip(&mean, |t, m| (t - m) * (t - m)).zip(&cloth, |off, c| off * c);
    let spread = weighted(&off, &weight, reach, 0.0).map(f32::sqrt);
    let noise = median(&mut sample(&spread, &cloth));
    // Fuzz at a rim is no unevenness of cloth.
    let limits = mean.zip(&spread, |m, s| (m, s.clamp(0.5 * noise, 1.5 * noise)));
    let alpha = through.zip(&limits, |t, (mean, spread)| {
        let left = (1.0 - mean).max(0.05);
        let open = beyond((t - mean) / left, DEVIATIONS * spread / left).min(1.0);
        // As bright as the lamp but for noise is the lamp.
        Unit(if open > 1.0 - DEVIATIONS * noise.min(0.04) { 0.0 } else { 1.0 - open })
    });
    let whole = alpha.zip(both, |a, b| if b && a.0 >= WHOLE { 1.0 } else { 0.0 });
    let usual = median(&mut sample(through, &whole));
    let translucency = bleed(&through.map(|t| Unit(t.clamp(0.0, 1.0))), &whole);
    Backlit { alpha: bleed(&alpha, &seen), translucency, through: usual, noise, alignment: None }
}

/// A shot on the front one's pixels.
struct Laid {
    shot: Image<LinearRgb>,
    /// Where both show the cloth.
    both: Image<bool>,
    /// How it lay; `None`: taken as it stands.
    alignment: Option<Alignment>,
}

/// The shot on the front one's pixels.
fn laid(front: &Image<LinearRgb>, behind: &Image<LinearRgb>, task: &Task) -> Result<Laid, BacklitError> {
    // Openings are the brightest in one shot and may be the darkest in the other.
    let by = |likeness| align(front, behind, likeness, task).and_then(Alignment::judged);
    match by(Likeness::Outlines).or_else(|_| by(Likeness::Shades)) {
        Ok(alignment) => {
            let map = alignment.other_from_reference;
            let (shot, both) = (warp(behind, &map, front.size()), inside(behind.size(), &map, front.size()));
            Ok(Laid { shot, both, alignment: Some(alignment) })
        }
        Err(AlignError::Cancelled(stopped)) => Err(stopped.into()),
        Err(why @ AlignError::TooSmall { .. }) => Err(why.into()),
        Err(why) => {
            let text = format!(
                "The shot with the lamp behind could not be laid on the one from the front and was taken as it stands; it must be from the same tripod \
                 ({why})"
            );
            task.note("not-aligned", text);
            Ok(Laid { shot: behind.clone(), both: front.map(|_| true), alignment: None })
        }
    }
}

fn note_burnt(shot: &Image<LinearRgb>, through: &Image<f32>, task: &Task) {
    let mut counts = [0u32; 2];
    for (color, _) in shot.texels().iter().zip(through.texels()).filter(|(_, t)| **t > 0.9) {
        counts[0] += 1;
        counts[1] += u32::from(color.0.iter().any(|v| *v >= BURNT));
    }
    let share = counts[1] as f32 / counts[0].max(1) as f32;
    if share > MOST_BURNT {
        let text = format!(
            "The lamp is burnt out in {:.0} % of what shows it: cloth lets less through than is read, and openings look wider; expose less, or give \
             the lamp alone with --lamp",
            100.0 * share
        );
        task.note("lamp-burnt", text);
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A lamp that falls off, cloth that lets a tenth through, a round hole with a soft rim, and a thread across it.
    fn scene(size: usize) -> (Image<f32>, Image<LinearRgb>) {
        let alpha = Image::from_fn(size, size, |x, y| {
            let (x, y) = (x as f32 + 0.5, y as f32 + 0.5);
            let out = (x - 70.0).hypot(y - 60.0) - 20.0;
            let thread = 2.5 - (y - 62.0).abs();
            (out + 0.5).clamp(0.0, 1.0).max((thread + 0.5).clamp(0.0, 1.0))
        });
        let shot = Image::from_fn(size, size, |x, y| {
            let lamp = 0.8 - 0.3 * (x as f32 / size as f32) - 0.1 * (y as f32 / size as f32);
            let weave = 0.1 + 0.02 * ((0.9 * x as f32).sin() * (0.9 * y as f32).sin());
            let alpha = alpha.get(x, y);
            let noise = 0.004 * (tatter_core::rng::hash_unit(5, x as u32, y as u32) - 0.5);
            LinearRgb([lamp * (1.0 - alpha + alpha * weave) + noise; 3])
        });
        (alpha, shot)
    }

    fn far(found: &Backlit, alpha: &Image<f32>) -> f32 {
        let sum: f32 = found.alpha.texels().iter().zip(alpha.texels()).map(|(a, b)| (a.0 - b).abs()).sum();
        sum / alpha.texels().len() as f32
    }

    #[test]
    fn openings_and_thinness_come_out_of_a_constructed_shot() {
        let (alpha, shot) = scene(160);
        let front = shot.map(|c| LinearRgb(c.0.map(|v| 0.5 - 0.4 * v)));
        let found = backlit(&front, &shot, None, &Task::new()).unwrap();
        assert!(far(&found, &alpha) < 0.004, "alpha is off by {} in the mean", far(&found, &alpha));
        assert!((found.through - 0.1).abs() < 0.01, "{} comes through", found.through);
        // The lamp told, nothing need be fitted.
        let lamp = Image::from_fn(160, 160, |x, y| LinearRgb([0.8 - 0.3 * (x as f32 / 160.0) - 0.1 * (y as f32 / 160.0); 3]));
        let told = backlit(&front, &shot, Some(&lamp), &Task::new()).unwrap();
        assert!(far(&told, &alpha) < 0.003 && (told.through - 0.1).abs() < 0.004, "{} {}", far(&told, &alpha), told.through);
    }

    #[test]
    fn whole_cloth_needs_the_lamp_alone() {
        let shot = Image::from_fn(96, 96, |x, y| LinearRgb([0.1 + 0.02 * ((0.9 * x as f32).sin() * (0.9 * y as f32).sin()); 3]));
        let refused = backlit(&shot, &shot, None, &Task::new());
        assert!(matches!(refused, Err(BacklitError::NoOpening { .. })), "{refused:?}");
        let lamp = Image::filled(96, 96, LinearRgb([0.5; 3]));
        let told = backlit(&shot, &shot, Some(&lamp), &Task::new()).unwrap();
        let open = told.alpha.texels().iter().filter(|a| a.0 < 0.99).count();
        assert!(open < 20 && (told.through - 0.2).abs() < 0.01, "{open} pixels open, {} comes through", told.through);
    }
}
