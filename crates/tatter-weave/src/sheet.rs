//! The skin of a yarn unrolled: fibres laid side by side, wandering in and out, as heights and shades.
//!
//! After the fibre bundles of Zhao, Luan, Bala, "Fitting Procedural Yarn Models for Realistic Cloth Rendering" (2016): fibres
//! migrate between the heart and the surface, so each shows for a part of its length.

use tatter_core::rng::Rng;

use crate::maths::sin_cos_turns;
use crate::noise::pick;
use crate::yarn::Fibre;

/// Texels around a yarn and along it: powers of two, so that they wrap by their low bits.
const AROUND: usize = 256;
const ALONG: usize = 512;

/// Heights 0..1 and shades -1..1 of a yarn's skin, repeating both ways.
#[derive(Debug)]
pub(crate) struct Sheet {
    texels: Vec<[f32; 2]>,
}

/// How fibres lie in the skin of a yarn.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Lie {
    /// Length of the sheet as a multiple of the yarn's diameter.
    diameters: f32,
    /// Deviation of their direction and depth of their crimp, texels around for one along, and texels around.
    slant: f32,
    crimp: f32,
    /// Waves of crimp in the sheet.
    waves: f32,
    /// Least share of the sheet over which one shows, and how much longer some do; hundredths.
    shown: [usize; 2],
    /// Deviation of their shade.
    shades: f32,
}

impl Lie {
    /// Straight fibres lie side by side; crimped ones hold each other off and cross, and each shows for some millimetres only (by
    /// eye, beside what is known of woollen yarns: their fibres are carded, not combed).
    pub(crate) fn of(fibre: Fibre, diameter: f32) -> Self {
        let straight = Self { diameters: 70.0, slant: 0.045, crimp: 0.0, waves: 0.0, shown: [55, 40], shades: 0.45 };
        match fibre.crimp_wave() {
            None => straight,
            Some(wave) => {
                let diameters = 24.0;
                Self { diameters, slant: 0.9, crimp: 6.0, waves: diameters * diameter / wave.get(), shown: [8, 26], shades: 0.75 }
            }
        }
    }

    /// Length of the sheet of a yarn of that diameter, in the same unit.
    pub(crate) fn length(&self, diameter: f32) -> f32 {
        self.diameters * diameter
    }
}

impl Sheet {
    /// Of a yarn of that diameter, mm, seen by samples `sample_mm` wide.
    pub(crate) fn new(diameter: f32, fibre: Fibre, sample_mm: f32, seed: u64) -> Self {
        let lie = Lie::of(fibre, diameter);
        let round = std::f32::consts::PI * diameter;
        let visible = (round / fibre.diameter().get()).clamp(10.0, 110.0);
        // Breadth of a ridge in texels, and steps of the wander.
        let half = 0.62 * AROUND as f32 / visible;
        let mut texels = vec![[0.0f32, 0.0]; AROUND * ALONG];
        let mut rng = Rng::new(seed ^ 0x5EE7);
        // The shorter they show, the more of them.
        let layers = if lie.crimp > 0.0 { 9.0 } else { 2.6 };
        for _ in 0..(visible * layers) as usize {
            lay(&mut texels, &lie, half, seed, &mut rng);
        }
        let mut sheet = Self { texels };
        sheet.level();
        sheet.soften((0.5 * sample_mm / round * AROUND as f32) as usize);
        sheet
    }

    /// Stretch heights to 0..1.
    fn level(&mut self) {
        let (mut low, mut high) = (f32::MAX, f32::MIN);
        for [h, _] in &self.texels {
            low = low.min(*h);
            high = high.max(*h);
        }
        let scale = 1.0 / (high - low).max(1e-6);
        for [h, _] in &mut self.texels {
            *h = (*h - low) * scale;
        }
    }

    /// Box filter around the yarn, for samples wider than fibres.
    fn soften(&mut self, radius: usize) {
        if radius == 0 {
            return;
        }
        let radius = radius.min(AROUND / 4);
        let share = 1.0 / (2 * radius + 1) as f32;
        for row in self.texels.chunks_mut(AROUND) {
            let source = row.to_vec();
            for (x, target) in row.iter_mut().enumerate() {
                let mut sum = [0.0f32; 2];
                for k in 0..=2 * radius {
                    let [h, s] = source[(x + AROUND + k - radius) % AROUND];
                    sum = [sum[0] + h, sum[1] + s];
                }
                *target = [sum[0] * share, sum[1] * share];
            }
        }
    }

    /// Height and shade at `around` turns and `along` sheet lengths.
    #[inline]
    pub(crate) fn at(&self, around: f32, along: f32) -> [f32; 2] {
        let (x0, fx) = split(around * AROUND as f32);
        let (y0, fy) = split(along * ALONG as f32);
        let (xa, xb) = (x0 & (AROUND - 1), (x0 + 1) & (AROUND - 1));
        let (ya, yb) = ((y0 & (ALONG - 1)) * AROUND, ((y0 + 1) & (ALONG - 1)) * AROUND);
        let (a, b, c, d) = (self.texels[ya + xa], self.texels[ya + xb], self.texels[yb + xa], self.texels[yb + xb]);
        [0, 1].map(|k| {
            let top = a[k] + (b[k] - a[k]) * fx;
            let bottom = c[k] + (d[k] - c[k]) * fx;
            top + (bottom - top) * fy
        })
    }
}

/// Whole part, counted far from zero so that it wraps by its low bits, and the rest.
#[inline]
fn split(x: f32) -> (usize, f32) {
    let cut = x as i32;
    let whole = cut - i32::from(x < cut as f32);
    (whole.wrapping_add(1 << 24) as usize, x - whole as f32)
}

/// Lay one fibre: it wanders sideways and sinks in and out; the highest at a place shows.
fn lay(texels: &mut [[f32; 2]], lie: &Lie, half: f32, seed: u64, rng: &mut Rng) {
    let place = rng.range(0.0, AROUND as f32);
    let slant = lie.slant * rng.normal();
    let [least, more] = lie.shown;
    let (start, run) = (rng.below(ALONG), ALONG * least / 100 + rng.below(ALONG * more / 100));
    let sway = [rng.range(0.6, 2.2) * half, rng.range(0.3, 0.9) * half];
    let (phase, waves) = ([rng.unit(), rng.unit(), rng.unit()], [rng.range(1.0, 2.6), rng.range(3.0, 7.0), rng.range(1.0, 3.5)]);
    // Fibres lie in strands, some of which stand out.
    let strand = pick(seed ^ 0xB0, (place / AROUND as f32 * 11.0) as i32, 0);
    let (level, shade) =
        (rng.range(0.0, 0.55) + 0.35 * strand, (rng.normal() * lie.shades + 0.35 * (strand - 0.5)).clamp(-1.0, 1.0));
    let own = half * rng.range(0.75, 1.25);
    for step in 0..run {
        let t = step as f32 / ALONG as f32;
        let ends = (8.0 * step.min(run - 1 - step) as f32 / run as f32).min(1.0);
        let wander = sway[0] * sin_cos_turns(waves[0] * t + phase[0]).0 + sway[1] * sin_cos_turns(waves[1] * t + phase[1]).0;
        let wander =
            if lie.crimp > 0.0 { wander + lie.crimp * sin_cos_turns(lie.waves * t + phase[0] + phase[1]).0 } else { wander };
        let middle = place + slant * step as f32 + wander;
        let up = level + 0.45 * sin_cos_turns(waves[2] * t + phase[2]).0 - 0.6 * (1.0 - ends);
        let row = (start + step) % ALONG * AROUND;
        let (from, to) = ((middle - own).ceil() as i32, (middle + own).floor() as i32);
        for x in from..=to {
            let off = (x as f32 - middle) / own;
            let height = up + 0.8 * (1.0 - off * off).max(0.0).sqrt();
            let texel = &mut texels[row + x.rem_euclid(AROUND as i32) as usize];
            if height > texel[0] {
                *texel = [height, shade];
            }
        }
    }
}
