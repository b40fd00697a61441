//! A flat thing of known size on cloth, photographed from anywhere: what is where is known exactly.

use rayon::prelude::*;
use tatter_core::image::{Image, LinearRgb, Pixel as _, Size};
use tatter_core::kernel::gaussian;
use tatter_core::rng::Rng;

use crate::rulers::Ruled;

/// A map of the plane, row major.
pub type Matrix = [[f64; 3]; 3];

/// What is on the face of a flat thing.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Face {
    /// One colour.
    Plain,
    /// A dark stripe, a bright block and lines of letters.
    Printed,
    /// Marks along its upper edge.
    Ruled(Ruled),
}

/// A flat thing of known size.
#[derive(Clone, Copy, Debug)]
pub struct Laid {
    /// Width and height, mm.
    pub mm: [f64; 2],
    /// Radius of its corners, mm.
    pub corner: f64,
    /// Its middle on the cloth, mm.
    pub at: [f64; 2],
    /// Radians from the cloth's x towards its y.
    pub turn: f64,
    /// Colour of its face.
    pub color: LinearRgb,
    /// What is printed on it.
    pub face: Face,
    /// How far and where its shadow falls, mm.
    pub shadow: [f64; 2],
}

/// Cloth with a thing on it, in millimetres from its upper left corner.
#[derive(Debug)]
pub struct OnCloth<'a> {
    /// The cloth as lit from far away.
    pub cloth: &'a Image<LinearRgb>,
    /// Millimetres in one of its pixels.
    pub mm_per_px: f64,
    /// What lies on it.
    pub laid: &'a [Laid],
}

/// Lens and sensor.
#[derive(Clone, Copy, Debug)]
pub struct Camera {
    /// Place on the cloth, mm, of a photo place (first centre at 0.5, 0.5).
    pub mm_from_photo: Matrix,
    /// Columns and rows.
    pub size: Size,
    /// Sigma of the lens, pixels.
    pub blur: f32,
    /// Deviation at mid grey, linear light.
    pub noise: f32,
    /// Of the noise.
    pub seed: u64,
}

/// Where a map takes a place.
#[must_use]
pub fn at(matrix: &Matrix, [x, y]: [f64; 2]) -> [f64; 2] {
    let [a, b, c] = matrix.map(|r| r[0] * x + r[1] * y + r[2]);
    [a / c, b / c]
}

/// Photo place of a place on the cloth for a pinhole at `distance` mm over `middle` (mm), tilted by radians about the axis that is
/// `axis` radians from the photo's x, whose focal length is `focal` pixels.
#[must_use]
pub fn pinhole(size: Size, focal: f64, distance: f64, middle: [f64; 2], tilt: f64, axis: f64) -> Matrix {
    let (sin, cos) = tilt.sin_cos();
    let (s, c) = axis.sin_cos();
    // Cloth places turned so that the axis lies along x, tilted, turned back.
    let rotate = |m: [[f64; 2]; 3]| {
        let [x, y, z] = m;
        [[c * x[0] - s * y[0], c * x[1] - s * y[1]], [s * x[0] + c * y[0], s * x[1] + c * y[1]], z]
    };
    let plane = rotate([[c, s], [-s * cos, c * cos], [-s * sin, c * sin]]);
    let [cx, cy] = [0.5 * size.width as f64, 0.5 * size.height as f64];
    let [x, y, z] = plane;
    let depth = |k: usize| z[k];
    let row = |r: [f64; 2], c: f64| [focal * r[0] + c * depth(0), focal * r[1] + c * depth(1), c * distance];
    let raw = [row(x, cx), row(y, cy), [depth(0), depth(1), distance]];
    raw.map(|[a, b, d]| [a, b, d - a * middle[0] - b * middle[1]])
}

/// The way back.
#[must_use]
pub fn inverse(m: &Matrix) -> Matrix {
    let minor = |i: usize, j: usize| {
        let (r, c) = ([(i + 1) % 3, (i + 2) % 3], [(j + 1) % 3, (j + 2) % 3]);
        m[r[0]][c[0]] * m[r[1]][c[1]] - m[r[0]][c[1]] * m[r[1]][c[0]]
    };
    std::array::from_fn(|i| std::array::from_fn(|j| minor(j, i)))
}

impl Laid {
    /// Its corners on the cloth, mm, clockwise as seen.
    #[must_use]
    pub fn corners(&self) -> [[f64; 2]; 4] {
        let (s, c) = self.turn.sin_cos();
        let [w, h] = self.mm.map(|v| 0.5 * v);
        [[-w, -h], [w, -h], [w, h], [-w, h]].map(|[x, y]| [self.at[0] + c * x - s * y, self.at[1] + s * x + c * y])
    }

    fn own(&self, [x, y]: [f64; 2]) -> [f64; 2] {
        let (s, c) = self.turn.sin_cos();
        let (x, y) = (x - self.at[0], y - self.at[1]);
        [c * x + s * y, -s * x + c * y]
    }

    /// Distance to its outline, mm, below 0 inside.
    fn outside(&self, place: [f64; 2]) -> f64 {
        let [x, y] = self.own(place);
        let q = [x.abs() - 0.5 * self.mm[0] + self.corner, y.abs() - 0.5 * self.mm[1] + self.corner];
        q[0].max(0.0).hypot(q[1].max(0.0)) + q[0].max(q[1]).min(0.0) - self.corner
    }

    fn shown(&self, place: [f64; 2]) -> LinearRgb {
        let [x, y] = self.own(place);
        let [u, v] = [x / self.mm[0] + 0.5, y / self.mm[1] + 0.5];
        let within = |u0: f64, v0: f64, u1: f64, v1: f64| u > u0 && u < u1 && v > v0 && v < v1;
        if let Face::Ruled(ruled) = self.face {
            ruled.shown([x + 0.5 * self.mm[0], y + 0.5 * self.mm[1]], self.mm, self.color)
        } else if self.face == Face::Plain {
            self.color
        } else if within(-1.0, 0.12, 2.0, 0.32) {
            LinearRgb([0.02, 0.02, 0.025])
        } else if within(0.65, 0.45, 0.9, 0.85) {
            LinearRgb([0.55, 0.12, 0.08])
        } else if within(0.08, 0.5, 0.55, 0.9) && (v * 22.0).fract() < 0.5 && (u * 61.0).fract() < 0.7 {
            LinearRgb([0.05, 0.05, 0.06])
        } else {
            self.color
        }
    }
}

impl OnCloth<'_> {
    fn seen(&self, place: [f64; 2]) -> LinearRgb {
        if let Some(on_top) = self.laid.iter().find(|laid| laid.outside(place) < 0.0) {
            return on_top.shown(place);
        }
        // Beyond its rim the cloth goes on mirrored.
        let mirrored = |v: f64, side: usize| {
            let t = (v / self.mm_per_px).rem_euclid(2.0 * side as f64);
            t.min(2.0 * side as f64 - t) as f32
        };
        let mut light = self.cloth.bilinear(mirrored(place[0], self.cloth.width()), mirrored(place[1], self.cloth.height()));
        for laid in self.laid {
            let away = laid.outside([place[0] - laid.shadow[0], place[1] - laid.shadow[1]]);
            // Half a millimetre of half-shade; a third of the light comes from the sky.
            let shade = (0.5 - away / 0.5).clamp(0.0, 1.0);
            light = light.times(1.0 - 0.66 * shade as f32);
        }
        light
    }

    /// A photo, in steps of 8-bit sRGB.
    #[must_use]
    pub fn photograph(&self, camera: &Camera) -> Image<LinearRgb> {
        const TAPS: usize = 3;
        let Size { width, height } = camera.size;
        let sharp = Image::from_fn(width, height, |x, y| {
            let mut sum = LinearRgb([0.0; 3]);
            for k in 0..TAPS * TAPS {
                let sub = |k: usize| (k as f64 + 0.5) / TAPS as f64;
                let place = at(&camera.mm_from_photo, [x as f64 + sub(k % TAPS), y as f64 + sub(k / TAPS)]);
                sum = sum.plus(self.seen(place), 1.0 / (TAPS * TAPS) as f32);
            }
            sum
        });
        let mut photo = gaussian(&sharp, camera.blur);
        photo.par_rows_mut().for_each(|(y, row)| {
            let mut rng = Rng::new(camera.seed ^ (y as u64).wrapping_mul(0x9E37_79B9_7F4A_7C15));
            for texel in row {
                let noisy = texel.0.map(|v| v + camera.noise * (0.3 + v.max(0.0) / 0.21).sqrt() * rng.normal());
                *texel = LinearRgb::from_codes(
                    noisy.map(|v| (255.0 * tatter_core::color::encode_srgb(v.clamp(0.0, 1.0))).round() as u8),
                );
            }
        });
        photo
    }
}
