//! Small pieces of cloth woven and lit in memory: what shading a known relief makes, to learn from.
//!
//! Coarser than the scenes they are judged on and of another build on purpose: elliptic yarns on their two levels (Peirce, "The Geometry
//! of Cloth Structure", 1937), a lamp with shadows, a sky with horizons.

use tatter_core::angle::Angle;
use tatter_core::image::{HeightMm, Image};
use tatter_core::kernel::{OcclusionSettings, occlusion};
use tatter_core::rng::{hash_unit, value_noise};
use tatter_core::units::MmPerTexel;

use crate::measure::structure::Structure;

/// Texels of a swatch each way.
pub(super) const SIDE: usize = 128;
/// Texels to a mean thread spacing.
pub(super) const PER_PITCH: f32 = 8.0;
/// Samples a texel each way.
const SAMPLES: usize = 2;
/// Yarn breadth over spacing (cover of canvas and shirting, common practice, no source).
const FILL: f32 = 0.9;
/// Thickness over breadth of yarn in finished cloth (common practice 0.6 to 0.8, no source).
const FLATNESS: f32 = 0.62;
/// How the dye of single threads, and of places in them, varies as a share. More makes the relief doubt its photo more.
const DYE: f32 = 0.06;
/// Share of light that cloth throws back into its own hollows: a middling dye.
const BOUNCE: f32 = 0.35;

/// How a swatch is woven and lit.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Swatch {
    pub weave: Structure,
    /// The line the warp runs along.
    pub grain: Angle,
    /// Spacing of ends and of picks, in mean spacings.
    pub spacing: [f32; 2],
    /// The lamp's direction and its elevation; none is a sky.
    pub lamp: Option<[Angle; 2]>,
    /// Share of light from the sky where there is a lamp.
    pub ambient: f32,
    pub seed: u64,
}

/// The light a swatch throws back, the same without its dye, and its height in spacings, row by row.
#[derive(Debug)]
pub(super) struct Woven {
    pub light: Vec<f32>,
    pub shading: Vec<f32>,
    pub height: Vec<f32>,
}

/// A sample of the surface.
#[derive(Clone, Copy, Debug)]
struct Sample {
    z: f32,
    dye: f32,
    open: bool,
}

/// Where one thread differs from the others, each -1..1 with a bias to 0, and a phase of its slow wander.
#[derive(Clone, Copy, Debug)]
struct Own {
    aside: f32,
    stout: f32,
    dye: f32,
    phase: f32,
}

/// Threads numbered from minus this to this may be asked for: the swatch's diagonal at the closest spacing.
const THREADS: i32 = 64;

impl Swatch {
    pub(super) fn weave(&self) -> Woven {
        let side = SIDE * SAMPLES;
        let step = 1.0 / (PER_PITCH * SAMPLES as f32);
        let (sin, cos) = self.grain.sin_cos();
        let threads = self.threads();
        let samples = Image::from_fn(side, side, |x, y| {
            let (x, y) = (x as f32 * step, -(y as f32) * step);
            self.sample(&threads, [x * sin - y * cos, x * cos + y * sin])
        });
        let height = Image::from_fn(SIDE, SIDE, |x, y| HeightMm(mean(&samples, x, y, |s| s.z)));
        let reach = OcclusionSettings { azimuths: 8, radius_texels: 1.5 * PER_PITCH, growth: 1.5 };
        let sky = occlusion(&height, MmPerTexel(1.0 / PER_PITCH), &reach);
        let light = Image::from_fn(side, side, |x, y| {
            let sky = sky.get(x / SAMPLES, y / SAMPLES).0;
            let sample = samples.get(x, y);
            let lit = if sample.open { 0.5 * sky } else { self.lit(&samples, x, y, sky) };
            [lit, lit * sample.dye]
        });
        let share = |i: usize| (0..SIDE * SIDE).map(|n| mean(&light, n % SIDE, n / SIDE, |l| l[i])).collect();
        Woven { shading: share(0), light: share(1), height: height.texels().iter().map(|h| h.0).collect() }
    }

    fn threads(&self) -> [Vec<Own>; 2] {
        [0u32, 1].map(|family| {
            (0..2 * THREADS as u32)
                .map(|n| {
                    let own =
                        |salt: u64| hash_unit(self.seed ^ salt, n, family) + hash_unit(self.seed ^ salt, n, family + 2) - 1.0;
                    let phase = std::f32::consts::TAU * hash_unit(self.seed ^ 4, n, family);
                    Own { aside: own(1), stout: own(2), dye: own(3), phase }
                })
                .collect()
        })
    }

    /// What lies on top at a place, `[across the ends, along them]` in spacings.
    fn sample(&self, threads: &[Vec<Own>; 2], [a, b]: [f32; 2]) -> Sample {
        let thick = 0.5 * FLATNESS * FILL * self.spacing[0].min(self.spacing[1]);
        let lift = 0.85 * thick;
        let mut top = Sample { z: -lift - thick, dye: 1.0, open: true };
        let mut found = None;
        for (family, numbers) in threads.iter().enumerate() {
            let ([across, own], [along, cross]) = if family == 0 {
                ([a, self.spacing[0]], [b, self.spacing[1]])
            } else {
                ([b, self.spacing[1]], [a, self.spacing[0]])
            };
            let index = (across / own).floor() as i32;
            let thread = numbers[(index + THREADS).clamp(0, 2 * THREADS - 1) as usize];
            let slow = (along / cross + thread.phase).sin();
            let stout = 1.0 + 0.14 * thread.stout + 0.06 * slow;
            let half = 0.5 * FILL * own * stout;
            let centre = index as f32 + 0.5 + 0.09 * thread.aside + 0.05 * (0.6 * along / cross - thread.phase).sin();
            let off = (across - centre * own) / half;
            let round = 1.0 - off * off;
            if round > 0.0 {
                let z = lift * self.rise(family == 0, index, along / cross) + thick * stout * round.sqrt();
                if z > top.z {
                    top = Sample { z, dye: 1.0, open: false };
                    found = Some((thread, along / half, off, half));
                }
            }
        }
        if let Some((thread, along, off, half)) = found {
            // Fibres wind around the yarn; the rest of its roughness is half relief, half dye.
            let wind = (std::f32::consts::TAU * (along / 4.2 + 0.32 * off)).sin();
            let seed = self.seed ^ (f64::from(thread.phase).to_bits() >> 8);
            top.z += half * (0.03 * wind + 0.05 * value_noise(seed ^ 7, 3.0 * along, 5.0 * off));
            let dye = DYE * (2.4 * thread.dye + wind + 2.0 * value_noise(seed ^ 9, 2.0 * along, 4.0 * off));
            top.dye = (1.0 + dye).max(0.3);
        }
        top
    }

    /// -1 under, 1 over, smooth between crossings.
    fn rise(&self, warp: bool, index: i32, crossing: f32) -> f32 {
        let from = (crossing - 0.5).floor();
        let t = std::f32::consts::PI * (crossing - 0.5 - from);
        let side = |other: i32| {
            let over = if warp { self.weave.end_on_top(index, other) } else { !self.weave.end_on_top(other, index) };
            if over { 1.0 } else { -1.0f32 }
        };
        let (a, b) = (side(from as i32), side(from as i32 + 1));
        if a == b { a * (1.0 + 0.12 * t.sin()) } else { a + (b - a) * (0.5 - 0.5 * t.cos()) }
    }

    /// Light off a sample of a white cloth; a flat one gives 1.
    fn lit(&self, samples: &Image<Sample>, x: usize, y: usize, sky: f32) -> f32 {
        let step = 1.0 / (PER_PITCH * SAMPLES as f32);
        let z = |x: isize, y: isize| samples.get_clamped(x, y).z;
        let (cx, cy) = (x as isize, y as isize);
        let (p, q) = ((z(cx + 1, cy) - z(cx - 1, cy)) / (2.0 * step), (z(cx, cy - 1) - z(cx, cy + 1)) / (2.0 * step));
        let up = 1.0 / (1.0 + p * p + q * q).sqrt();
        let sky = sky * (0.5 + 0.5 * up);
        let sky = sky / (1.0 - BOUNCE * (1.0 - sky));
        let Some([from, elevation]) = self.lamp else { return sky };
        let (sin, cos) = from.sin_cos();
        let lean = 1.0 / elevation.to_radians().tan().max(0.05);
        let facing = (up * (1.0 - lean * (p * cos + q * sin))).max(0.0);
        let gain = step / lean.max(1e-3);
        let own = samples.get(x, y).z + 0.02;
        let far = (0.5 * PER_PITCH * SAMPLES as f32 * lean.min(3.0)) as usize + 2;
        let shadowed = (1..far).any(|n| {
            let d = 1.5 * n as f32;
            z((x as f32 + 0.5 + d * cos).floor() as isize, (y as f32 + 0.5 - d * sin).floor() as isize) > own + d * gain
        });
        self.ambient * sky + (1.0 - self.ambient) * if shadowed { 0.0 } else { facing }
    }
}

fn mean<P: Copy + Send + Sync>(image: &Image<P>, x: usize, y: usize, f: impl Fn(P) -> f32) -> f32 {
    let mut sum = 0.0;
    for n in 0..SAMPLES * SAMPLES {
        sum += f(image.get(x * SAMPLES + n % SAMPLES, y * SAMPLES + n / SAMPLES));
    }
    sum / (SAMPLES * SAMPLES) as f32
}
