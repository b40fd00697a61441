//! Made photographs: woven maps under a lamp and a sky, over a card or a lining, through a lens onto a sensor.
//!
//! The maps are the truth of the photo. Light is a lamp with a disc that casts soft shadows, and a sky that hollows see
//! less of, brightened by light that goes from thread to thread (Jimenez et al., "Practical Realtime Strategies for Accurate
//! Indirect Occlusion", 2016). Cloth scatters light a little past its edge of shadow, and its fuzz shines at grazing angles.

use rayon::prelude::*;
use tatter_core::angle::Angle;
use tatter_core::image::{HeightMm, Image, LinearRgb, Normal, Unit};
use tatter_core::kernel::gaussian;
use tatter_core::task::{Cancelled, Task};
use tatter_core::units::MmPerTexel;

use crate::maths::{length, sin_cos, smoothstep};
use crate::noise::{normal, plane};
use crate::render::Maps;

/// Under what light, over what, with what camera.
#[derive(Clone, Debug, PartialEq)]
pub struct Shot {
    /// Where the lamp stands, counter-clockwise from image right.
    pub light_from: Angle,
    /// How high it stands above the cloth.
    pub elevation: Angle,
    /// How broad its disc is: the sun 0.5 degrees, a window 15 and more.
    pub lamp_size: Angle,
    /// Share of the light that comes from the sky, 0..1.
    pub sky: f32,
    /// Colour of what lies behind, linear light.
    pub backing: LinearRgb,
    /// How far behind the cloth it lies, mm.
    pub distance_mm: f32,
    /// Threads per cm of a lining; 0 for a card.
    pub lining_per_cm: f32,
    /// How high the cloth ripples over some centimetres, mm; 0 for pressed cloth.
    pub ripple_mm: f32,
    /// Lens blur, sigma in pixels.
    pub blur: f32,
    /// Sensor noise at mid grey, deviation in linear light.
    pub noise: f32,
    /// How much darker the corners are, 0..1.
    pub vignette: f32,
    /// How much darker the side away from the lamp is, 0..1.
    pub falloff: f32,
    /// White balance error: what a grey card reads in red, green and blue.
    pub cast: [f32; 3],
    /// A white card in full light reads this.
    pub exposure: f32,
    /// Seed of ripples and noise.
    pub seed: u64,
}

impl Default for Shot {
    /// A window to the upper left, a light card close behind.
    fn default() -> Self {
        Self {
            light_from: Angle::degrees(130.0),
            elevation: Angle::degrees(48.0),
            lamp_size: Angle::degrees(9.0),
            sky: 0.38,
            backing: LinearRgb([0.74, 0.75, 0.74]),
            distance_mm: 1.5,
            lining_per_cm: 0.0,
            ripple_mm: 0.35,
            blur: 0.65,
            noise: 0.006,
            vignette: 0.14,
            falloff: 0.12,
            cast: [1.0, 1.0, 1.0],
            exposure: 1.15,
            seed: 1,
        }
    }
}

/// A photo and what the ripples add to its truth.
#[derive(Clone, Debug)]
pub struct Photograph {
    /// Linear light, as the camera wrote it.
    pub photo: Image<LinearRgb>,
    /// Height of the cloth as it lay, ripples and all.
    pub height: Image<HeightMm>,
    /// Its normals.
    pub normal: Image<Normal>,
}

/// Photograph woven maps: one pixel a texel.
///
/// # Errors
/// When the task is cancelled.
pub fn shoot(maps: &Maps, scale: MmPerTexel, shot: &Shot, task: &Task) -> Result<Photograph, Cancelled> {
    let studio = task.stage("studio", || Studio::new(maps, scale, shot));
    task.check()?;
    let light = task.stage("light", || studio.light());
    task.check()?;
    let photo = task.stage("camera", || develop(shot, &light));
    Ok(Photograph { photo, height: studio.height, normal: studio.normal })
}

struct Studio<'a> {
    maps: &'a Maps,
    shot: &'a Shot,
    scale: f32,
    /// Towards the lamp, x right, y up, z to the camera.
    lamp: [f32; 3],
    height: Image<HeightMm>,
    normal: Image<Normal>,
    /// Share of the lamp and of the sky that reaches the backing.
    below: [Image<f32>; 2],
    top: f32,
}

impl<'a> Studio<'a> {
    fn new(maps: &'a Maps, scale: MmPerTexel, shot: &'a Shot) -> Self {
        let (s, c) = sin_cos(shot.light_from.to_radians());
        let (up, flat) = sin_cos(shot.elevation.to_radians());
        let lamp = [c * flat, s * flat, up];
        let mm = scale.get();
        let (width, rows) = (maps.height.width(), maps.height.height());
        let ripple = |x: f32, y: f32| ripple(shot, [x * mm, y * mm]);
        let height =
            Image::from_fn(width, rows, |x, y| HeightMm(maps.height.get(x, y).0 + ripple(x as f32 + 0.5, y as f32 + 0.5)));
        let normal = Image::from_fn(width, rows, |x, y| {
            let (x1, y1) = (x as f32 + 0.5, y as f32 + 0.5);
            let (p, q) = maps.normal.get(x, y).slopes();
            let (dp, dq) = (
                (ripple(x1 + 1.0, y1) - ripple(x1 - 1.0, y1)) / (2.0 * mm),
                (ripple(x1, y1 - 1.0) - ripple(x1, y1 + 1.0)) / (2.0 * mm),
            );
            Normal::from_slopes(p + dp, q + dq)
        });
        let top = maps.height.texels().iter().fold(f32::MIN, |h, v| h.max(v.0));
        let below = shadows(maps, shot, mm, lamp);
        Self { maps, shot, scale: mm, lamp, height, normal, below, top: top + 2.0 * shot.ripple_mm }
    }

    /// Light that reaches the lens.
    fn light(&self) -> Image<LinearRgb> {
        let mut out = Image::filled(self.height.width(), self.height.height(), LinearRgb::default());
        out.par_rows_mut().for_each(|(y, row)| {
            for (x, pixel) in row.iter_mut().enumerate() {
                let opacity = self.maps.opacity.get(x, y).0;
                let cloth = if opacity > 0.0 { self.cloth(x, y) } else { [0.0; 3] };
                let back = if opacity < 1.0 { self.backing(x, y) } else { [0.0; 3] };
                *pixel = LinearRgb([0, 1, 2].map(|k| cloth[k] * opacity + back[k] * (1.0 - opacity)));
            }
        });
        out
    }

    fn cloth(&self, x: usize, y: usize) -> [f32; 3] {
        let n = self.normal.get(x, y).0;
        let facing = n[0] * self.lamp[0] + n[1] * self.lamp[1] + n[2] * self.lamp[2];
        // Fibres pass light on around the edge of shadow.
        let wrapped = ((facing + 0.12) / 1.12).max(0.0);
        let sun = if wrapped > 0.0 { wrapped * self.lit(x, y) / self.lamp[2].max(0.15) } else { 0.0 };
        let open = self.maps.occlusion.get(x, y).0;
        let rim = (1.0 - n[2]).clamp(0.0, 1.0);
        let albedo = self.maps.base_color.get(x, y).0;
        let rough = self.maps.roughness.get(x, y).0;
        let gloss = self.gloss(n, rough) * sun.min(1.0) + self.sheen(x, y, n, rough) * self.lit(x, y) * facing.max(0.0).sqrt();
        albedo.map(|a| {
            // Light that bounces in a hollow takes the cloth's colour: bright cloth is less dark in its hollows.
            let bounced = open.max(((open * (2.0404 * a - 0.3324) + (-4.7951 * a + 0.6417)) * open + 2.7552 * a + 0.6903) * open);
            let sky = self.shot.sky * bounced * (0.55 + 0.45 * n[2]);
            let fuzz = 0.20 * rim * rim * (0.3 + 0.7 * a);
            (a + fuzz) * (sky + (1.0 - self.shot.sky) * sun) + (1.0 - self.shot.sky) * gloss
        })
    }

    /// Shine of smooth fibres lying side by side: brightest where the thread runs across the light (Kajiya, Kay, "Rendering
    /// Fur with Three Dimensional Textures", 1989). Silk shows which way its floats run, wool does not.
    fn sheen(&self, x: usize, y: usize, n: [f32; 3], rough: f32) -> f32 {
        let id = self.maps.thread_id.get(x, y);
        if id == 0 || id >= crate::damage::MENDING {
            return 0.0;
        }
        let [s, c] = self.maps.grain;
        let [tx, ty] = if id % 2 == 1 { [c, s] } else { [s, -c] };
        // The thread's line within the surface.
        let up = n[0] * tx + n[1] * ty;
        let t = [tx - up * n[0], ty - up * n[1], -up * n[2]];
        let size = (t[0] * t[0] + t[1] * t[1] + t[2] * t[2]).sqrt().max(1e-6);
        let half = [self.lamp[0], self.lamp[1], self.lamp[2] + 1.0];
        let reach = (half[0] * half[0] + half[1] * half[1] + half[2] * half[2]).sqrt().max(1e-6);
        let along = (t[0] * half[0] + t[1] * half[1] + t[2] * half[2]) / (size * reach);
        let width = 0.08 + 0.35 * rough * rough;
        let smooth = 1.0 - rough;
        0.30 * smooth * smooth * crate::maths::exp(-0.5 * (along / width) * (along / width))
    }

    /// Broad shine of fibre surfaces: a microfacet lobe seen from straight above, reflectance 4 % at normal incidence.
    fn gloss(&self, n: [f32; 3], rough: f32) -> f32 {
        let half = [self.lamp[0], self.lamp[1], self.lamp[2] + 1.0];
        let size = (half[0] * half[0] + half[1] * half[1] + half[2] * half[2]).sqrt().max(1e-6);
        let along = (n[0] * half[0] + n[1] * half[1] + n[2] * half[2]).max(0.0) / size;
        let a = rough.max(0.2) * rough.max(0.2);
        let a2 = a * a;
        let d = along * along * (a2 - 1.0) + 1.0;
        0.04 * a2 / (4.0 * d * d) / n[2].max(0.3)
    }

    /// Share of the lamp's disc that is seen from a texel.
    fn lit(&self, x: usize, y: usize) -> f32 {
        let flat = length(self.lamp[0], self.lamp[1]);
        if flat < 1e-3 {
            return 1.0;
        }
        let (width, rows) = (self.height.width() as f32, self.height.height() as f32);
        let climb = self.lamp[2] / flat * self.scale;
        let (dx, dy) = (self.lamp[0] / flat, -self.lamp[1] / flat);
        let start = self.height.get(x, y).0;
        let tan = (0.5 * self.shot.lamp_size.to_radians()).max(0.004) / (self.lamp[2] * self.lamp[2]).max(0.05);
        let mut least = 1.0f32;
        let mut distance = 1.3f32;
        while start + distance * climb < self.top && distance < 220.0 {
            let (px, py) = (x as f32 + 0.5 + dx * distance, y as f32 + 0.5 + dy * distance);
            if px < 0.0 || py < 0.0 || px >= width || py >= rows {
                break;
            }
            // How far the ray passes above what stands there, against the breadth of the disc at that distance.
            let clear = start + distance * climb - self.height.bilinear(px, py).0 + 0.5 * climb;
            least = least.min(clear / (distance * self.scale * tan).max(1e-5));
            if least < -1.0 {
                return 0.0;
            }
            distance += (0.12 * distance).max(1.0);
        }
        smoothstep(-1.0, 1.0, least)
    }

    fn backing(&self, x: usize, y: usize) -> [f32; 3] {
        let mm = [x as f32 * self.scale, y as f32 * self.scale];
        let seed = self.shot.seed ^ 0xCA2D;
        let far = [1 << 20, 1 << 20];
        let grain = if self.shot.lining_per_cm > 0.0 {
            let u = [0, 1].map(|k| mm[k] * 0.1 * self.shot.lining_per_cm);
            let wave = |v: f32| crate::maths::sin_cos_turns(v).0;
            1.0 + 0.16 * wave(u[0]) * wave(u[1])
                + 0.08 * wave(u[0] * 2.0 + 0.13)
                + 0.08 * plane(seed, [u[0] * 0.6, u[1] * 4.0], far)
        } else {
            1.0 + 0.012 * plane(seed, [mm[0] / 0.25, mm[1] / 0.18], far) + 0.02 * plane(seed ^ 1, [mm[0] / 9.0, mm[1] / 7.0], far)
        };
        let light = self.shot.sky * self.below[1].get(x, y) + (1.0 - self.shot.sky) * self.below[0].get(x, y);
        self.shot.backing.0.map(|c| c * grain * light)
    }
}

/// Shadow of the cloth on what lies behind: where the lamp's rays and the sky's pass the plane of the cloth.
fn shadows(maps: &Maps, shot: &Shot, mm: f32, lamp: [f32; 3]) -> [Image<f32>; 2] {
    let solid = maps.opacity.map(|Unit(o)| o);
    let shift = shot.distance_mm / lamp[2].max(0.1) / mm;
    let (dx, dy) = (lamp[0] * shift, -lamp[1] * shift);
    let penumbra = 0.25 * shot.lamp_size.to_radians() * shot.distance_mm / lamp[2].max(0.1) / mm;
    let soft = gaussian(&solid, penumbra.clamp(0.3, 60.0));
    let wide = gaussian(&solid, (0.9 * shot.distance_mm / mm).clamp(0.5, 90.0));
    let lit = Image::from_fn(solid.width(), solid.height(), |x, y| 1.0 - soft.bilinear(x as f32 + 0.5 + dx, y as f32 + 0.5 + dy));
    [lit, wide.map(|o| 1.0 - 0.8 * o)]
}

/// Slow ripples of cloth that was not pressed, mm.
fn ripple(shot: &Shot, [x, y]: [f32; 2]) -> f32 {
    if shot.ripple_mm <= 0.0 {
        return 0.0;
    }
    let far = [1 << 20, 1 << 20];
    let seed = shot.seed ^ 0x21F7;
    shot.ripple_mm
        * (plane(seed, [x / 31.0 + 0.3 * y / 40.0, y / 52.0], far) + 0.4 * plane(seed ^ 1, [x / 13.0, y / 17.0 + x / 29.0], far))
}

/// Lens and sensor: fall of light, blur, cast, photon and read noise, clipped at white.
fn develop(shot: &Shot, light: &Image<LinearRgb>) -> Image<LinearRgb> {
    let blurred = gaussian(light, shot.blur);
    let (s, c) = sin_cos(shot.light_from.to_radians());
    let (width, rows) = (light.width() as f32, light.height() as f32);
    let longer = width.max(rows);
    Image::from_fn(light.width(), light.height(), |x, y| {
        let (u, v) = ((x as f32 + 0.5 - 0.5 * width) / longer, (0.5 * rows - y as f32 - 0.5) / longer);
        let fall = (1.0 - shot.vignette * 2.0 * (u * u + v * v)) * (1.0 - shot.falloff * (0.5 - (u * c + v * s)).clamp(0.0, 1.2));
        let texel = blurred.get(x, y).0;
        let gray = normal(shot.seed ^ 0x901, x as i32, y as i32);
        LinearRgb([0usize, 1, 2].map(|k| {
            let value = shot.exposure * shot.cast[k] * texel[k] * fall;
            let own = normal(shot.seed ^ (0xC0 + k as u64), x as i32, y as i32);
            let grain = shot.noise * (0.7 * gray + 0.7 * own) * (0.1 + value.max(0.0) / 0.21).sqrt().min(2.2);
            (value + grain).clamp(0.0, 1.0)
        }))
    })
}
