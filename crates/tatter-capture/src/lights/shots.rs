//! The shots of one cloth, kept small.

use std::sync::Arc;

use rayon::prelude::*;
use tatter_core::image::{Image, LinearRgb, Size};

use super::Lamp;
use crate::color::Correction;

/// A code that stands for a burnt-out reading.
const CLIPPED: u16 = u16::MAX;
/// Code of the brightest reading.
const BRIGHTEST: f32 = 65_534.0;
/// Linear light from which an 8 or 16-bit picture counts as burnt out: the last three codes of 8-bit sRGB.
pub(crate) const BURNT: f32 = 0.975;
/// Reflectance of a white paper card (common practice, no source).
const CARD: f32 = 0.9;
/// A flat-field shot brightens its darkest corner that many times at most.
const MOST_GAIN: f32 = 20.0;

/// What a flat-field shot shows.
#[derive(Clone, Debug)]
pub enum Flat {
    /// Even light: only the lens and the sensor make it uneven, alike for every shot.
    Camera(Image<LinearRgb>),
    /// A white matte card in the cloth's place under the shot's own lamp.
    Card(Image<LinearRgb>),
}

/// What is taken out of every shot of a kind before it is used.
#[derive(Clone, Debug, Default)]
pub struct Calibration {
    /// All lamps off: light that was there anyway, taken away.
    dark: Option<Arc<Image<LinearRgb>>>,
    /// Factors by which readings are multiplied.
    gain: Option<Image<LinearRgb>>,
}

impl Calibration {
    /// From a shot with all lamps off and one of an evenly lit card, both linear.
    #[must_use]
    pub fn new(dark: Option<Image<LinearRgb>>, flat: Option<&Flat>) -> Self {
        Self { dark: dark.map(Arc::new), gain: None }.under(flat)
    }

    /// With the same dark frame, under another flat field.
    #[must_use]
    pub fn under(&self, flat: Option<&Flat>) -> Self {
        Self { dark: self.dark.clone(), gain: flat.map(|flat| self.gain(flat)) }
    }

    /// The shot with all lamps off.
    #[must_use]
    pub fn dark(&self) -> Option<&Image<LinearRgb>> {
        self.dark.as_deref()
    }

    /// A shot with dark frame and flat field taken out.
    ///
    /// # Panics
    /// When their sizes differ: a bug of the caller.
    #[must_use]
    pub fn show(&self, shot: &Image<LinearRgb>) -> Image<LinearRgb> {
        let less = self.dark.as_ref().map(|dark| shot.zip(dark, |s, d| LinearRgb([0, 1, 2].map(|c| (s.0[c] - d.0[c]).max(0.0)))));
        let less = less.as_ref().unwrap_or(shot);
        self.gain
            .as_ref()
            .map_or_else(|| less.clone(), |gain| less.zip(gain, |s, g| LinearRgb([0, 1, 2].map(|c| s.0[c] * g.0[c]))))
    }

    fn gain(&self, flat: &Flat) -> Image<LinearRgb> {
        let less = |x: usize, y: usize| self.dark.as_ref().map_or([0.0; 3], |dark| dark.get(x, y).0);
        let (image, with_dark) = match flat {
            Flat::Camera(image) => (image, false),
            Flat::Card(image) => (image, true),
        };
        let light = Image::from_fn(image.width(), image.height(), |x, y| {
            let (light, less) = (image.get(x, y).0, if with_dark { less(x, y) } else { [0.0; 3] });
            LinearRgb([0, 1, 2].map(|c| light[c] - less[c]))
        });
        let own = mean(&light).map(|c| c.max(1e-6));
        let top = if with_dark { [CARD; 3] } else { own };
        light.map(|light| LinearRgb([0, 1, 2].map(|c| top[c] / light.0[c].max(own[c] / MOST_GAIN))))
    }
}

fn mean(image: &Image<LinearRgb>) -> [f32; 3] {
    let rows = (0..image.height())
        .map(|y| image.row(y).iter().fold([0.0f64; 3], |sum, texel| [0, 1, 2].map(|c| sum[c] + f64::from(texel.0[c]))));
    let sum = rows.fold([0.0f64; 3], |sum, row| [0, 1, 2].map(|c| sum[c] + row[c]));
    sum.map(|total| (total / image.size().area().max(1) as f64) as f32)
}

/// Shots from one place, one lamp each, 6 bytes a pixel and shot: readings of linear light, dark frame and flat field taken
/// out, divided by the strengths of the lamps.
#[derive(Clone, Debug)]
pub struct Shots {
    size: Size,
    lamps: Vec<Lamp>,
    planes: Vec<Plane>,
    correction: Option<Correction>,
}

#[derive(Clone, Debug)]
struct Plane {
    codes: Vec<[u16; 3]>,
    unit: f32,
}

impl Shots {
    /// None yet.
    #[must_use]
    pub const fn new(size: Size) -> Self {
        Self { size, lamps: Vec::new(), planes: Vec::new(), correction: None }
    }

    /// Add a shot, linear light of this size; `strength` is its lamp's light relative to the others.
    ///
    /// # Panics
    /// When the sizes differ: a bug of the caller.
    pub fn add(&mut self, lamp: Lamp, strength: f32, shot: &Image<LinearRgb>, calibration: &Calibration) {
        assert_eq!(shot.size(), self.size, "shots have one size");
        let width = self.size.width.max(1);
        // Float files go on above white and don't burn out.
        let burns = !shot.texels().par_iter().any(|texel| texel.0.iter().any(|c| *c > 1.0));
        let reading = |i: usize, raw: &LinearRgb| -> [f32; 3] {
            let (x, y) = (i % width, i / width);
            let dark = calibration.dark.as_ref().map_or([0.0; 3], |dark| dark.get(x, y).0);
            let gain = calibration.gain.as_ref().map_or([1.0; 3], |gain| gain.get(x, y).0);
            [0, 1, 2].map(|c| ((raw.0[c] - dark[c]) * gain[c] / strength).max(0.0))
        };
        let most = shot
            .texels()
            .par_iter()
            .enumerate()
            .map(|(i, raw)| reading(i, raw).into_iter().fold(0.0, f32::max))
            .reduce(|| 0.0, f32::max);
        let unit = most.max(1e-6) / BRIGHTEST;
        let codes = shot
            .texels()
            .par_iter()
            .enumerate()
            .map(|(i, raw)| {
                let light = reading(i, raw);
                [0, 1, 2].map(|c| if burns && raw.0[c] >= BURNT { CLIPPED } else { (light[c] / unit).round() as u16 })
            })
            .collect();
        self.lamps.push(lamp);
        self.planes.push(Plane { codes, unit });
    }

    /// Lamps stand there, and were so bright relative to each other; a shot that was divided by a card under its lamp keeps its readings.
    ///
    /// # Panics
    /// When there is not one place and one strength a shot: a bug of the caller.
    pub fn place(&mut self, toward: &[[f32; 3]], strength: &[f32]) {
        assert!(toward.len() == self.lamps.len() && strength.len() == self.lamps.len(), "one place and one strength a shot");
        for ((lamp, plane), (toward, strength)) in self.lamps.iter_mut().zip(&mut self.planes).zip(toward.iter().zip(strength)) {
            lamp.toward = *toward;
            if !lamp.by_card {
                plane.unit /= strength;
            }
        }
    }

    /// Correct colours that follow from the shots; readings stay as they are. A correction of degree 1 does the same to a dye as to each
    /// of its readings.
    pub const fn correct(&mut self, correction: Correction) {
        self.correction = Some(correction);
    }

    /// A colour corrected.
    pub(super) fn corrected(&self, color: LinearRgb) -> LinearRgb {
        self.correction.map_or(color, |correction| correction.apply(color))
    }

    /// Columns and rows.
    #[must_use]
    pub const fn size(&self) -> Size {
        self.size
    }

    /// The lamps, in the order of the shots.
    #[must_use]
    pub fn lamps(&self) -> &[Lamp] {
        &self.lamps
    }

    /// One reading, and whether it can be used; burnt-out readings are given as the brightest.
    #[must_use]
    pub fn reading(&self, shot: usize, x: usize, y: usize) -> ([f32; 3], bool) {
        let Plane { codes, unit } = &self.planes[shot];
        let codes = codes[y * self.size.width + x];
        (codes.map(|code| f32::from(code.min(CLIPPED - 1)) * unit), codes.iter().all(|&code| code != CLIPPED))
    }

    /// The cloth lit from all around: the mean of all shots, as bright as flat cloth would be under one lamp straight above.
    #[must_use]
    pub fn even(&self) -> Image<LinearRgb> {
        let facing = self.lamps.iter().map(|lamp| lamp.at([0.0; 3])[2]).sum::<f32>();
        let share = 1.0 / facing.max(1e-6);
        Image::from_fn(self.size.width, self.size.height, |x, y| {
            let mut sum = [0.0f32; 3];
            for shot in 0..self.planes.len() {
                let (light, _) = self.reading(shot, x, y);
                for (total, c) in sum.iter_mut().zip(light) {
                    *total += c * share;
                }
            }
            self.corrected(LinearRgb(sum))
        })
    }
}
