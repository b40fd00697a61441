//! Where lamps stood that nobody wrote down, but about.
//!
//! Readings of matte cloth under any lamps are a product of lamps and normals, known but for a 3 × 3 matrix (Hayakawa, "Photometric Stereo under
//! a Light Source with Arbitrary Motion", 1994). What is known about the lamps, that they went round by the clock at some height, chooses
//! the matrix, and cloth that lies flat its tilt; so each lamp is found where its own shot puts it among the others. What all lamps have in common,
//! where the clock began and how high they stood, stays as it is said.

use tatter_core::angle::Angle;
use tatter_core::explain::{Class, Explain};
use tatter_core::image::{Image, Rect};
use tatter_core::kernel::gaussian;
use tatter_core::stats::median;

use super::Shots;
use super::linear::{cross, dot, eigen};

/// Longest side of the part of the picture that is looked at, pixels.
const SIDE: usize = 768;
/// Blur before slopes are taken, pixels: single pixels are noise.
const BLUR: f32 = 1.0;
/// Share of a place's mean light below which a reading may be a shadow.
const SHADOW: f32 = 0.25;
/// Rounds in which the half of the places is kept that lamps and normals explain best: edges of shadows and light that cloth throws on cloth
/// follow no lamp.
const ROUNDS: usize = 4;
/// Share of the places that must be free of shadow and glare.
const LEAST_SEEN: f32 = 0.05;
/// Fewest shots.
const LEAST: usize = 4;
/// Third over first singular value of the readings below which cloth shows no relief.
const LEAST_RELIEF: f64 = 2e-3;

/// What the shots tell of their lamps.
#[derive(Clone, Debug, PartialEq)]
pub struct Found {
    /// Unit vectors towards the lamps: x right, y up, z to the camera.
    pub toward: Vec<[f32; 3]>,
    /// Their light, 1 in the middle.
    pub strength: Vec<f32>,
    /// How far they lie from where they were said to stand, in the mean.
    pub moved: Angle,
}

/// Why lamps were not found.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum UnknownError {
    /// Too few shots.
    #[error("{found} shots under unknown lamps were given, and {LEAST} are needed")]
    Few {
        /// How many.
        found: usize,
    },
    /// Hardly any place is lit by all lamps.
    #[error("only {:.1} % of the cloth is lit by every lamp, where {:.0} % are needed", 100.0 * seen, 100.0 * LEAST_SEEN)]
    Shadow {
        /// Share of the picture.
        seen: f32,
    },
    /// Flat as paper, or lamps in one row.
    #[error("the shots do not tell where their lamps stood: the cloth shows hardly any relief, or the lamps stood in one row")]
    Flat,
}

impl Explain for UnknownError {
    fn next(&self) -> String {
        match self {
            Self::Few { .. } => "Take eight, all around the cloth, or write down where each lamp stood".to_owned(),
            Self::Shadow { .. } | Self::Flat => {
                "Lay a white matte ball beside the cloth and name it under [ball], or write down where each lamp stood".to_owned()
            }
        }
    }

    fn class(&self) -> Class {
        Class::Request
    }
}

/// Find the lamps of shots, whose own are not looked at, from where they stood `about`: unit vectors, one a shot.
///
/// # Errors
/// As [`UnknownError`] lists.
///
/// # Panics
/// When there is not one vector a shot: a bug of the caller.
pub fn find_lamps(shots: &Shots, about: &[[f32; 3]]) -> Result<Found, UnknownError> {
    let count = shots.lamps().len();
    assert_eq!(count, about.len(), "one place a shot");
    if count < LEAST {
        return Err(UnknownError::Few { found: count });
    }
    let mut readings = Readings::of(shots, count);
    if readings.seen() < LEAST_SEEN {
        return Err(UnknownError::Shadow { seen: readings.seen() });
    }
    for _ in 0..ROUNDS {
        let (_, vectors) = eigen(&readings.gram(count), count);
        readings.keep_likely(&vectors[..3]);
    }
    let (values, vectors) = eigen(&readings.gram(count), count);
    if values[2] < LEAST_RELIEF * LEAST_RELIEF * values[0] {
        return Err(UnknownError::Flat);
    }
    // Lamps but for a matrix: rows of three orthonormal columns.
    let lamps: Vec<[f64; 3]> = (0..count).map(|j| [0, 1, 2].map(|c: usize| vectors[c][j])).collect();
    // The matrix that brings them nearest to where they are said to stand, by least squares.
    let matrix = |about: &[[f64; 3]]| -> [[f64; 3]; 3] {
        std::array::from_fn(|r| std::array::from_fn(|c| lamps.iter().zip(about).map(|(lamp, l)| l[r] * lamp[c]).sum()))
    };
    let said: Vec<[f64; 3]> = about.iter().map(|l| l.map(f64::from)).collect();
    let first = matrix(&said);
    // Cloth lies flat: lamps lean as its slopes seem to.
    let [p, q] = tilt(&readings.normals(&lamps), first).ok_or(UnknownError::Flat)?;
    let [right, up, ahead] = first;
    let leant = [right, up, [0, 1, 2].map(|c: usize| ahead[c] + p * right[c] + q * up[c])];
    let placed: Vec<[f64; 3]> = lamps.iter().map(|lamp| leant.map(|row| dot(row, *lamp))).collect();
    let lengths: Vec<f64> = placed.iter().map(|l| dot(*l, *l).sqrt().max(1e-12)).collect();
    let usual = f64::from(median(&mut lengths.iter().map(|v| *v as f32).collect::<Vec<_>>()));
    let toward: Vec<[f32; 3]> = placed.iter().zip(&lengths).map(|(l, length)| l.map(|v| (v / length) as f32)).collect();
    let moved = toward.iter().zip(about).map(|(a, b)| a.iter().zip(b).map(|(a, b)| a * b).sum::<f32>().clamp(-1.0, 1.0).acos());
    let moved = Angle::radians(moved.sum::<f32>() / count as f32);
    Ok(Found { toward, strength: lengths.iter().map(|length| (length / usual) as f32).collect(), moved })
}

/// Luminance under every lamp, blurred, and where all can be used.
struct Readings {
    light: Vec<Image<f32>>,
    /// Free of glare and deep shadow.
    clear: Image<bool>,
    usable: Image<bool>,
}

impl Readings {
    fn of(shots: &Shots, count: usize) -> Self {
        let size = shots.size();
        let (width, height) = (size.width.min(SIDE), size.height.min(SIDE));
        let part = Rect::new((size.width - width) / 2, (size.height - height) / 2, width, height);
        let light: Vec<Image<f32>> = (0..count)
            .map(|shot| {
                let raw = Image::from_fn(width, height, |x, y| {
                    let (light, _) = shots.reading(shot, part.x + x, part.y + y);
                    (light[0] + light[1] + light[2]) / 3.0
                });
                gaussian(&raw, BLUR)
            })
            .collect();
        let mean = |x: usize, y: usize| light.iter().map(|l| l.get(x, y)).sum::<f32>() / count as f32;
        let usual = median(&mut (0..height).step_by(7).map(|y| mean(width / 2, y)).collect::<Vec<_>>());
        let usable = Image::from_fn(width, height, |x, y| {
            let mean = mean(x, y);
            let clear = (0..count).all(|shot| shots.reading(shot, part.x + x, part.y + y).1);
            clear && mean > 0.1 * usual && light.iter().all(|l| l.get(x, y) > SHADOW * mean)
        });
        Self { light, clear: usable.clone(), usable }
    }

    fn seen(&self) -> f32 {
        self.usable.texels().iter().filter(|u| **u).count() as f32 / self.usable.size().area().max(1) as f32
    }

    /// Keep the half of what could be used at first that is nearest to the space of some vectors, as a share of its own light.
    fn keep_likely(&mut self, vectors: &[Vec<f64>]) {
        let left = Image::from_fn(self.clear.width(), self.clear.height(), |x, y| {
            let light: Vec<f64> = self.light.iter().map(|l| f64::from(l.get(x, y))).collect();
            let whole: f64 = light.iter().map(|v| v * v).sum();
            let told: f64 = vectors.iter().map(|v| v.iter().zip(&light).map(|(a, b)| a * b).sum::<f64>().powi(2)).sum();
            ((whole - told).max(0.0) / whole.max(1e-12)) as f32
        });
        let all = left.texels().iter().zip(self.clear.texels()).filter(|(_, c)| **c).map(|(l, _)| *l);
        let middle = median(&mut all.collect::<Vec<_>>());
        self.usable = self.clear.zip(&left, |clear, left| clear && left <= middle);
    }

    fn gram(&self, count: usize) -> Vec<f64> {
        let mut gram = vec![0.0; count * count];
        for (i, _) in self.usable.texels().iter().enumerate().filter(|(_, u)| **u) {
            for a in 0..count {
                for b in 0..=a {
                    gram[a * count + b] += f64::from(self.light[a].texels()[i]) * f64::from(self.light[b].texels()[i]);
                }
            }
        }
        for a in 0..count {
            for b in 0..a {
                gram[b * count + a] = gram[a * count + b];
            }
        }
        gram
    }

    /// Pseudo-normals; `None` where a reading cannot be used.
    fn normals(&self, lamps: &[[f64; 3]]) -> Image<Option<[f64; 3]>> {
        Image::from_fn(self.usable.width(), self.usable.height(), |x, y| {
            self.usable.get(x, y).then(|| {
                let mut sum = [0.0; 3];
                for (lamp, light) in lamps.iter().zip(&self.light) {
                    let light = f64::from(light.get(x, y));
                    sum = [0, 1, 2].map(|c: usize| sum[c] + lamp[c] * light);
                }
                sum
            })
        })
    }
}

/// Slopes right and up of the cloth in the middle of all, for normals that go with these lamps.
fn tilt(normals: &Image<Option<[f64; 3]>>, from_lamps: [[f64; 3]; 3]) -> Option<[f64; 2]> {
    // Normals are taken by the inverse of the transpose of what takes lamps: cross products over the determinant.
    let [a, b, c] = from_lamps;
    let whole = dot(a, cross(b, c));
    let rows = [cross(b, c), cross(c, a), cross(a, b)].map(|row| row.map(|v| v / whole));
    let slopes = |axis: usize| {
        let slope = |n: &[f64; 3]| (dot(*n, rows[axis]) / dot(*n, rows[2]).max(1e-12)) as f32;
        f64::from(median(&mut normals.texels().iter().step_by(5).flatten().map(slope).collect::<Vec<_>>()))
    };
    (whole.abs() > 1e-9).then(|| [slopes(0), slopes(1)])
}
