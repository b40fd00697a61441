//! From shading to height, one gain for each wave: the best linear estimate (Wiener, 1949) learned from woven swatches under
//! the same light.
//!
//! Where the light is blind, or dye speaks louder than relief, little is believed; where the weave repeats, waves that the
//! light shows poorly are known from those that it shows well.

use rayon::prelude::*;
use rustfft::FftPlanner;
use rustfft::num_complex::Complex32;
use tatter_core::angle::Angle;

use super::spectrum::{frequency, transform};
use super::woven::{PER_PITCH, SIDE, Swatch};
use crate::made::{Hand, Weave};

/// Floor under shading, as a share of its middle, before the logarithm; as in the photo.
const FLOOR: f32 = 0.02;
/// Smoothing of both spectra in bins: less follows one weave closer, more averages more waves.
const BLEND: f32 = 1.5;
/// Cycles a spacing beyond which swatches tell nothing; finer waves take the gain found there, falling as slopes do.
const FINEST: f32 = 0.44 * PER_PITCH;

/// Under a sky dark is deep, but how deep depends on dye and light that no photo shows: too flat is less wrong than too
/// deep. On 16 made scenes the best was 0.6 to 1.0.
const SKY_TIMID: f32 = 0.75;

/// The weaves learned from, all with one weight: which one it is need not be known, since each has waves of its own.
const WEAVES: [Weave; 10] = [
    Weave::Plain,
    Weave::Plain,
    Weave::Basket,
    Weave::Twill { over: 2, under: 2, hand: Hand::Z },
    Weave::Twill { over: 2, under: 2, hand: Hand::S },
    Weave::Twill { over: 3, under: 1, hand: Hand::Z },
    Weave::Twill { over: 3, under: 1, hand: Hand::S },
    Weave::Twill { over: 1, under: 2, hand: Hand::Z },
    Weave::Twill { over: 1, under: 3, hand: Hand::S },
    Weave::Satin { ends: 5 },
];

/// What is known of cloth and light.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Known {
    /// The line the warp runs along; none: any.
    pub grain: Option<Angle>,
    /// Spacing of ends and of picks, in mean spacings.
    pub spacing: [f32; 2],
    /// The lamp's direction and elevation.
    pub lamp: Option<[Angle; 2]>,
    /// How sure the lamp is; the rest is learned under a sky.
    pub trust: f32,
    /// How far off its direction may be.
    pub spread: Angle,
    /// Share of light from the sky where there is a lamp.
    pub ambient: f32,
}

/// Height in spacings over log shading, for each wave.
#[derive(Debug)]
pub(super) struct Gain {
    cells: Vec<Complex32>,
}

impl Gain {
    pub(super) fn learn(known: &Known) -> Self {
        let mut swatches = Vec::new();
        for (n, &weave) in WEAVES.iter().enumerate() {
            let grain = known.grain.unwrap_or_else(|| Angle::degrees(180.0 / WEAVES.len() as f32 * n as f32));
            let (spacing, ambient, seed) = (known.spacing, known.ambient, 0x5EED + n as u64);
            let off = Angle::radians(known.spread.to_radians() * if n % 2 == 0 { 1.0 } else { -1.0 });
            let lamp = known.lamp.map(|[from, elevation]| [from + off, elevation]);
            for (lamp, weight) in [(lamp, known.trust), (None, 1.0 - known.trust)] {
                if weight > 0.05 {
                    let timid = if lamp.is_some() { 1.0 } else { SKY_TIMID };
                    swatches.push((Swatch { weave, grain, spacing, lamp, ambient, seed }, [weight, timid]));
                }
            }
        }
        let spectra: Vec<Vec<(Complex32, f32)>> = swatches.par_iter().map(|(swatch, weight)| spectra(swatch, *weight)).collect();
        let mut sum = vec![(Complex32::ZERO, 0.0f32); SIDE * SIDE];
        for one in &spectra {
            for (total, (cross, power)) in sum.iter_mut().zip(one) {
                total.0 += cross;
                total.1 += power;
            }
        }
        let sum = turned(&blended(&turned(&blended(&sum))));
        let most = sum.iter().fold(0.0f32, |most, (_, power)| most.max(*power));
        Self { cells: sum.iter().map(|(cross, power)| cross / (power + 1e-6 * most)).collect() }
    }

    /// Gain for a wave, cycles a spacing to the right and downwards.
    pub(super) fn at(&self, fx: f32, fy: f32) -> Complex32 {
        let fast = fx.hypot(fy);
        let beyond = (FINEST / fast.max(1e-6)).min(1.0);
        let bins = SIDE as f32 / PER_PITCH * beyond;
        let (u, v) = (fx * bins, fy * bins);
        let (iu, iv) = (u.floor(), v.floor());
        let (tu, tv) = (u - iu, v - iv);
        let cell = |du: isize, dv: isize| {
            let wrap = |i: isize| i.rem_euclid(SIDE as isize) as usize;
            self.cells[wrap(iv as isize + dv) * SIDE + wrap(iu as isize + du)]
        };
        let low = cell(0, 0) * (1.0 - tu) + cell(1, 0) * tu;
        let high = cell(0, 1) * (1.0 - tu) + cell(1, 1) * tu;
        (low * (1.0 - tv) + high * tv) * beyond
    }
}

/// Cross spectrum of height and shading, and power of shading.
fn spectra(swatch: &Swatch, [weight, timid]: [f32; 2]) -> Vec<(Complex32, f32)> {
    let woven = swatch.weave();
    let mean = |values: &[f32]| values.iter().sum::<f32>() / values.len() as f32;
    let floor = FLOOR * mean(&woven.shade);
    let shade: Vec<f32> = woven.shade.iter().map(|s| (s + floor).ln()).collect();
    let (shade_mean, height_mean) = (mean(&shade), mean(&woven.height));
    let window = |i: usize| 0.5 - 0.5 * (std::f32::consts::TAU * (i as f32 + 0.5) / SIDE as f32).cos();
    let mut field: Vec<Complex32> = (0..SIDE * SIDE)
        .map(|i| {
            let w = window(i % SIDE) * window(i / SIDE);
            Complex32::new((shade[i] - shade_mean) * w, (woven.height[i] - height_mean) * w)
        })
        .collect();
    transform(&mut field, SIDE, SIDE, &mut FftPlanner::new(), true);
    (0..SIDE * SIDE)
        .map(|i| {
            let (u, v) = (i % SIDE, i / SIDE);
            let mirror = field[(SIDE - u) % SIDE + ((SIDE - v) % SIDE) * SIDE].conj();
            let (s, h) = ((field[i] + mirror) * 0.5, (field[i] - mirror) * Complex32::new(0.0, -0.5));
            // Slower than a few threads, shading is dye, fold or dirt more often than relief.
            let slow = 2.5 * frequency(u, SIDE).hypot(frequency(v, SIDE)) * PER_PITCH;
            let high = 1.0 - (-slow * slow).exp();
            (h * s.conj() * (weight * timid * high), s.norm_sqr() * weight)
        })
        .collect()
}

/// Rows smoothed by a Gaussian of [`BLEND`] bins, around the end.
fn blended(sum: &[(Complex32, f32)]) -> Vec<(Complex32, f32)> {
    let reach = (3.0 * BLEND).ceil() as isize;
    let kernel: Vec<f32> = (-reach..=reach).map(|i| (-((i * i) as f32) / (2.0 * BLEND * BLEND)).exp()).collect();
    let mut out = Vec::with_capacity(sum.len());
    for row in sum.chunks(SIDE) {
        for x in 0..SIDE as isize {
            let mut total = (Complex32::ZERO, 0.0);
            for (i, k) in (-reach..=reach).zip(&kernel) {
                let (cross, power) = row[(x + i).rem_euclid(SIDE as isize) as usize];
                total.0 += cross * *k;
                total.1 += power * k;
            }
            out.push(total);
        }
    }
    out
}

fn turned(sum: &[(Complex32, f32)]) -> Vec<(Complex32, f32)> {
    (0..SIDE * SIDE).map(|i| sum[(i % SIDE) * SIDE + i / SIDE]).collect()
}
