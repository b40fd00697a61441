//! The two backings, measured where the shots differ most.

use tatter_core::image::{Image, LinearRgb};
use tatter_core::kernel::{erode, gaussian};
use tatter_core::stats::quantile;

use super::{BackingsError, Shots};
use crate::lights::BURNT;
use crate::surface::BackingModel;

/// Least distance between the backings, linear light over three channels, for alpha to be told: at a sensor's noise of 0.01
/// a channel the deviation of alpha is then a tenth.
const LEAST_APART: f32 = 0.14;
/// Share of the greatest difference from which a pixel shows nothing but backing, in full light.
const BARE: f32 = 0.85;
/// Share of the picture that the backing must fill, and of its width and height that it must reach over, for its colour to be
/// followed from place to place; else one colour stands for all of it.
const WIDE: (f32, f32) = (0.02, 0.6);

/// Colours of both backings over the picture.
#[derive(Clone, Debug)]
pub(super) struct Cards {
    light: BackingModel,
    dark: BackingModel,
}

impl Cards {
    /// Light and dark backing at a pixel.
    #[inline]
    pub(super) fn at(&self, x: usize, y: usize) -> [LinearRgb; 2] {
        let (x, y) = (x as f32 + 0.5, y as f32 + 0.5);
        [self.light.at(x, y), self.dark.at(x, y)]
    }

    /// Light and dark backing in the middle of the picture.
    pub(super) fn mean(&self) -> [LinearRgb; 2] {
        [self.light.mean(), self.dark.mean()]
    }

    /// One colour each.
    pub(super) fn told([dark, light]: [LinearRgb; 2], width: usize, height: usize) -> Self {
        Self { light: BackingModel::constant(light, width, height), dark: BackingModel::constant(dark, width, height) }
    }

    /// How far apart they are in the middle, linear light over three channels.
    pub(super) fn apart(&self) -> f32 {
        let [light, dark] = self.mean();
        distance(light, dark)
    }
}

/// How far apart two colours are, linear light over three channels.
pub(super) fn distance(a: LinearRgb, b: LinearRgb) -> f32 {
    (0..3).map(|c| (a.0[c] - b.0[c]).powi(2)).sum::<f32>().sqrt()
}

/// The difference of the shots where they differ most: what a bare backing in full light shows.
pub(super) fn greatest(shots: &Shots<'_>) -> f32 {
    greatest_of(&differences(shots))
}

fn greatest_of(differences: &Image<f32>) -> f32 {
    let mut values = differences.texels().to_vec();
    let top = (400.0 / values.len() as f32).clamp(0.001, 0.02);
    quantile(&mut values, 1.0 - top)
}

/// How much the shots differ, freed of single pixels' noise; 0 where only one shows the place.
fn differences(shots: &Shots<'_>) -> Image<f32> {
    gaussian(&shots.light.zip(shots.dark, distance), 0.8).zip(shots.both, |d, both| if both { d } else { 0.0 })
}

/// Share of what the light card shows that is burnt out; 0 of a file that goes on above white.
pub(super) fn burnt(shots: &Shots<'_>) -> f32 {
    if shots.light.texels().iter().any(|c| c.0.iter().any(|v| *v > 1.0)) {
        return 0.0;
    }
    let differences = differences(shots);
    let least = BARE * greatest_of(&differences);
    let (mut bare, mut burnt) = (0u32, 0u32);
    for (color, difference) in shots.light.texels().iter().zip(differences.texels()) {
        if *difference > least {
            bare += 1;
            burnt += u32::from(color.0.iter().any(|v| *v >= BURNT));
        }
    }
    burnt as f32 / bare.max(1) as f32
}

/// Measure both backings. `shots` are of one exposure.
///
/// # Errors
/// When the shots hardly differ anywhere.
pub(super) fn cards(shots: &Shots<'_>) -> Result<Cards, BackingsError> {
    let (width, height) = (shots.light.width(), shots.light.height());
    let difference = differences(shots);
    let greatest = greatest_of(&difference);
    if greatest < LEAST_APART {
        return Err(BackingsError::Alike { apart: greatest, least: LEAST_APART });
    }
    let mut seeds = solid(&difference.map(|d| d > BARE * greatest));
    if !wide(&seeds) {
        return Ok(flat(shots, &seeds));
    }
    // Light falls off over a picture: what is bare is asked of the difference there, found round by round.
    for _ in 0..4 {
        let gray = difference.map(|d| LinearRgb([d; 3]));
        let Some(level) = BackingModel::fit(&gray, &seeds) else { break };
        seeds = solid(&Image::from_fn(width, height, |x, y| {
            let here = level.at(x as f32 + 0.5, y as f32 + 0.5).0[0].clamp(0.4 * greatest, 1.5 * greatest);
            difference.get(x, y) > BARE * here
        }));
    }
    match (BackingModel::fit(shots.light, &seeds), BackingModel::fit(shots.dark, &seeds)) {
        (Some(light), Some(dark)) => Ok(Cards { light, dark }),
        _ => Ok(flat(shots, &seeds)),
    }
}

/// Without its rim, when anything is left then.
fn solid(mask: &Image<bool>) -> Image<bool> {
    let inner = erode(mask, 2.0);
    if inner.texels().iter().filter(|m| **m).count() < 40 { mask.clone() } else { inner }
}

fn wide(mask: &Image<bool>) -> bool {
    let (width, height) = (mask.width(), mask.height());
    let (mut left, mut right, mut top, mut bottom, mut count) = (width, 0, height, 0, 0usize);
    for y in 0..height {
        for x in (0..width).filter(|&x| mask.get(x, y)) {
            (left, right, top, bottom) = (left.min(x), right.max(x), top.min(y), bottom.max(y));
            count += 1;
        }
    }
    let share = count as f32 / (width * height) as f32;
    share >= WIDE.0 && (right - left) as f32 >= WIDE.1 * width as f32 && (bottom - top) as f32 >= WIDE.1 * height as f32
}

/// The middle colours of the seeds.
fn flat(shots: &Shots<'_>, seeds: &Image<bool>) -> Cards {
    let middle = |image: &Image<LinearRgb>| {
        LinearRgb([0, 1, 2].map(|c| {
            let taken = image.texels().iter().zip(seeds.texels()).filter(|(_, s)| **s);
            quantile(&mut taken.map(|(p, _)| p.0[c]).collect::<Vec<_>>(), 0.5)
        }))
    };
    let size = seeds.size();
    Cards::told([middle(shots.dark), middle(shots.light)], size.width, size.height)
}
