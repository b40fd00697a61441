//! The whole picture: a normal and a dye for every pixel.

use rayon::prelude::*;
use tatter_core::image::{Image, LinearRgb, Normal, Rect};
use tatter_core::task::{Cancelled, Task};

use super::solve::{Fit, least_squares, solve};
use super::{MOST, Shots};

/// Rows between two looks at cancel.
const BAND: usize = 128;
/// Least height of a normal: steeper faces no camera well enough to be measured (84 degrees).
const STEEPEST: f64 = 0.1;

/// What the shots say of a part of the picture.
#[derive(Clone, Debug)]
pub struct Stereo {
    /// The part of the picture.
    pub part: Rect,
    /// Normals as measured: x right, y up, z to the camera.
    pub normal: Image<Normal>,
    /// Colour free of shading and of shadows cast: what a flat cloth would show under one lamp straight above it.
    pub color: Image<LinearRgb>,
    /// Where fewer than three readings could be used, and the normal is a guess.
    pub blind: Image<bool>,
    /// Median of what the readings lie off matte cloth, as a share of the dye.
    pub off: f32,
    /// Deviation of a reading, as found by repeated sampling.
    pub noise: f32,
}

/// Solve every pixel of `part`; `mm` is the size of a pixel, needed where a lamp's distance is known. Beside the shots it takes 25
/// bytes a pixel.
///
/// # Errors
/// When cancelled.
pub fn stereo(shots: &Shots, part: Rect, mm: Option<f32>, task: &Task) -> Result<Stereo, Cancelled> {
    let rig = Rig::new(shots, mm);
    let noise = rig.noise(part);
    let (width, height) = (part.width, part.height);
    let mut normal = Image::filled(width, height, Normal::FLAT);
    let mut color = Image::filled(width, height, LinearRgb::default());
    let mut blind = Image::filled(width, height, false);
    for y0 in (0..height).step_by(BAND) {
        task.check()?;
        task.progress("lights", y0 as f32 / height as f32);
        let span = y0 * width..(y0 + BAND).min(height) * width;
        let rows = normal.texels_mut()[span.clone()]
            .par_chunks_mut(width)
            .zip(color.texels_mut()[span.clone()].par_chunks_mut(width))
            .zip(blind.texels_mut()[span].par_chunks_mut(width));
        rows.enumerate().for_each(|(dy, ((normal, color), blind))| {
            for x in 0..width {
                let solved = rig.solve(part.x + x, part.y + y0 + dy, noise);
                (normal[x], color[x], blind[x]) = (solved.normal, shots.corrected(solved.color), solved.blind);
            }
        });
    }
    let off = rig.off(part, noise);
    Ok(Stereo { part, normal, color, blind, off, noise })
}

/// Shots and where their lamps stand for a pixel.
struct Rig<'a> {
    shots: &'a Shots,
    far: [[f32; 3]; MOST],
    near: Option<f32>,
}

struct Solved {
    normal: Normal,
    color: LinearRgb,
    blind: bool,
}

impl<'a> Rig<'a> {
    fn new(shots: &'a Shots, mm: Option<f32>) -> Self {
        let mut far = [[0.0; 3]; MOST];
        for (place, lamp) in far.iter_mut().zip(shots.lamps()) {
            *place = lamp.at([0.0; 3]);
        }
        let near = mm.filter(|_| shots.lamps().iter().any(|lamp| lamp.distance.is_some()));
        Self { shots, far, near }
    }

    /// Lights of a pixel.
    fn lights(&self, x: usize, y: usize) -> [[f32; 3]; MOST] {
        let Some(mm) = self.near else { return self.far };
        let size = self.shots.size();
        let place = [(x as f32 + 0.5 - 0.5 * size.width as f32) * mm, (0.5 * size.height as f32 - y as f32 - 0.5) * mm, 0.0];
        let mut lights = [[0.0; 3]; MOST];
        for (light, lamp) in lights.iter_mut().zip(self.shots.lamps()) {
            *light = lamp.at(place);
        }
        lights
    }

    /// Brightness of all shots at a pixel, and which can be used. All channels count alike: it is signal, not what an eye sees.
    fn readings(&self, x: usize, y: usize) -> ([f32; MOST], u32) {
        let mut brightness = [0.0; MOST];
        let mut usable = 0;
        for (k, value) in brightness.iter_mut().enumerate().take(self.shots.lamps().len()) {
            let ([r, g, b], good) = self.shots.reading(k, x, y);
            *value = (r + g + b) / 3.0;
            usable |= u32::from(good) << k;
        }
        (brightness, usable)
    }

    fn fit(&self, lights: &[[f32; 3]; MOST], x: usize, y: usize, noise: f32) -> Option<Fit> {
        let count = self.shots.lamps().len();
        let (readings, usable) = self.readings(x, y);
        solve(&lights[..count], &readings[..count], usable, noise).filter(|fit| fit.dye() > 0.0)
    }

    fn solve(&self, x: usize, y: usize, noise: f32) -> Solved {
        let lights = self.lights(x, y);
        let count = self.shots.lamps().len();
        let (g, used, blind) = match self.fit(&lights, x, y, noise) {
            Some(fit) => (fit.g, fit.used, false),
            None => ([0.0, 0.0, 1.0], u32::MAX, true),
        };
        let length = g.iter().map(|c| c * c).sum::<f64>().sqrt();
        let mut n = g.map(|c| c / length);
        n[2] = n[2].max(STEEPEST);
        let normal = Normal(n.map(|c| c as f32)).normalized();
        let (mut light, mut weight) = ([0.0f32; 3], 0.0f32);
        for (k, l) in lights.iter().enumerate().take(count).filter(|(k, _)| used >> k & 1 == 1) {
            let facing = (0..3).map(|i| l[i] * normal.0[i]).sum::<f32>().max(0.0);
            let (reading, _) = self.shots.reading(k, x, y);
            for (total, c) in light.iter_mut().zip(reading) {
                *total += c * facing;
            }
            weight += facing * facing;
        }
        Solved { normal, color: LinearRgb(light.map(|c| c / weight.max(1e-6))), blind }
    }

    /// Some pixels, evenly spread.
    fn some(&self, part: Rect) -> Vec<(usize, usize)> {
        let step = ((part.width * part.height) as f32 / 20_000.0).sqrt().ceil().max(1.0) as usize;
        let rows = (part.y..part.bottom()).step_by(step);
        rows.flat_map(|y| (part.x..part.right()).step_by(step).map(move |x| (x, y))).collect()
    }

    /// Deviation of a reading: what plain least squares leaves over at a tenth of the pixels, as if it were noise alone there.
    fn noise(&self, part: Rect) -> f32 {
        let count = self.shots.lamps().len();
        if count < 4 {
            return 0.0;
        }
        let left = self.some(part).into_par_iter().filter_map(|(x, y)| {
            let (readings, _) = self.readings(x, y);
            least_squares(&self.lights(x, y)[..count], &readings[..count]).map(|fit| fit.off)
        });
        // The lower tenth of a mean of squares (Wilson, Hilferty, "The Distribution of Chi-Square", 1931).
        let spread = 2.0 / (9.0 * (count - 3) as f64);
        let usual = (1.0 - spread - 1.2816 * spread.sqrt()).max(0.1).powf(1.5);
        (quantile(&mut left.collect::<Vec<f64>>(), 0.1) / usual) as f32
    }

    fn off(&self, part: Rect, noise: f32) -> f32 {
        let mut left: Vec<f64> = self
            .some(part)
            .into_par_iter()
            .filter_map(|(x, y)| self.fit(&self.lights(x, y), x, y, noise).map(|fit| fit.off / fit.dye()))
            .collect();
        quantile(&mut left, 0.5) as f32
    }
}

fn quantile(values: &mut [f64], share: f64) -> f64 {
    if values.is_empty() {
        return 0.0;
    }
    let place = ((values.len() - 1) as f64 * share) as usize;
    *values.select_nth_unstable_by(place, f64::total_cmp).1
}
