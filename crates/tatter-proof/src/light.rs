//! Where the light comes from.

use glam::{Mat3, Vec3};
use rayon::prelude::*;
use tatter_core::angle::Angle;
use tatter_core::image::{Image, LinearRgb, Pixel as _};

use crate::camera::Camera;

/// One lamp, far away.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct KeyLight {
    /// World direction towards it, unit length.
    pub towards: Vec3,
    /// What falls on a surface that faces it, linear.
    pub irradiance: LinearRgb,
    /// Half the angle its disc spans: larger is softer.
    pub radius: Angle,
}

/// Light from everywhere around; [`Environment::towards`] says where a place of its picture lies.
#[derive(Clone, Debug)]
pub struct Environment {
    /// Radiance, linear, twice as wide as high: the top row is straight up.
    pub picture: Image<LinearRgb>,
}

/// All of it.
#[derive(Clone, Debug)]
pub struct Light {
    /// The lamp.
    pub key: KeyLight,
    /// The rest.
    pub environment: Environment,
    /// What a hidden piece of sky would have sent, this share cloth in its place sends (one bounce off cloth of middling
    /// lightness, common practice, no source).
    pub bounce: f32,
}

impl Default for Light {
    /// A built-in studio: a lamp to the wearer's right and above, soft panels left, right and overhead, a dim room.
    fn default() -> Self {
        Self {
            key: KeyLight {
                towards: Vec3::new(-0.55, 0.62, 0.75).normalize_or(Vec3::Y),
                irradiance: LinearRgb([2.35, 2.28, 2.17]),
                radius: Angle::degrees(2.5),
            },
            environment: Environment::studio(),
            bounce: 0.12,
        }
    }
}

impl Light {
    /// Light of a picture of surroundings. Its strongest lamp (what is brighter than a tenth of its brightest texel, within 15 degrees of
    /// it, if that carries an eighth of the light or more) becomes the key light, which throws sharp shadows; the whole is exposed so
    /// that what is lit most is as bright as in the built-in studio.
    pub fn from_surroundings(picture: Image<LinearRgb>) -> Self {
        let mut environment = Environment { picture };
        let studio = Self::default();
        let dark = KeyLight { irradiance: LinearRgb([0.0; 3]), ..studio.key };
        let scale = brightest(&studio.environment, &studio.key) / brightest(&environment, &dark).max(1e-9);
        environment.picture = environment.picture.map(|c| LinearRgb(c.0.map(|v| v.max(0.0) * scale)));
        let key = environment.take_lamp();
        Self { key, environment, bounce: studio.bounce }
    }
}

impl Light {
    /// Only the lamp carried along with the eye, as [`Light::carried`] carries it: costs nothing.
    #[must_use]
    pub fn with_key_carried(&self, camera: &Camera) -> Self {
        let mut light = self.clone();
        light.key.towards = Mat3::from_mat4(camera.camera_from_world()).transpose() * self.key.towards;
        light
    }

    /// The same light carried around with the eye: the garment turns, eye and lamps stay. Surroundings go around the upright axis, the
    /// lamp keeps its place beside the eye, so that a close-up of what faces the floor is lit as well.
    #[must_use]
    pub fn carried(&self, camera: &Camera) -> Self {
        let mut light = self.with_key_carried(camera);
        let turn = camera.turn();
        let picture = &self.environment.picture;
        let size = picture.size();
        let shift = -turn.to_radians() / std::f32::consts::TAU * size.width as f32;
        // A turn moves columns; between two of them their mean.
        let (whole, part) = (shift.floor(), shift - shift.floor());
        let column = |x: usize, more: f32| (x as f32 + more - whole).rem_euclid(size.width as f32) as usize % size.width;
        light.environment.picture = Image::from_fn(size.width, size.height, |x, y| {
            LinearRgb::ZERO.plus(picture.get(column(x, 0.0), y), 1.0 - part).plus(picture.get(column(x, -1.0), y), part)
        });
        light
    }
}

/// The most light that falls on any side, as luminance.
fn brightest(environment: &Environment, key: &KeyLight) -> f32 {
    const SIDES: usize = 64;
    let texels: Vec<(Vec3, f32)> = environment.texels().map(|(towards, light, _)| (towards, luminance(light))).collect();
    let on = |side: usize| {
        let normal = fibonacci(side, SIDES);
        let sky: f32 = texels.iter().map(|(towards, light)| towards.dot(normal).max(0.0) * light).sum();
        sky + luminance(key.irradiance.0) * key.towards.dot(normal).max(0.0)
    };
    (0..SIDES).map(on).fold(0.0, f32::max)
}

/// Y of linear Rec.709 colour (IEC 61966-2-1).
fn luminance([r, g, b]: [f32; 3]) -> f32 {
    0.2126 * r + 0.7152 * g + 0.0722 * b
}

/// A soft panel of the studio.
struct Panel {
    towards: Vec3,
    half: Angle,
    light: [f32; 3],
}

impl Environment {
    /// The direction a place of the picture shows; `u` and `v` run 0..1, v down. The middle of the picture (u = 0.5) is -z, u = 0.75
    /// is +x.
    pub fn towards(u: f32, v: f32) -> Vec3 {
        let (turn_sin, turn_cos) = (std::f32::consts::TAU * (u - 0.5)).sin_cos();
        let (sin, cos) = (std::f32::consts::PI * v).sin_cos();
        Vec3::new(sin * turn_sin, cos, -sin * turn_cos)
    }

    /// The studio, made by code: 128 by 64.
    pub fn studio() -> Self {
        let panel = |towards: Vec3, degrees: f32, light: [f32; 3]| Panel {
            towards: towards.normalize_or(Vec3::Y),
            half: Angle::degrees(degrees),
            light,
        };
        let panels = [
            panel(Vec3::new(-0.8, 0.35, 0.55), 26.0, [2.0, 1.98, 1.93]),
            panel(Vec3::new(0.95, 0.15, 0.25), 30.0, [0.95, 1.0, 1.07]),
            panel(Vec3::new(0.0, 1.0, 0.05), 34.0, [1.5, 1.5, 1.5]),
            panel(Vec3::new(0.25, 0.45, -0.9), 24.0, [1.5, 1.55, 1.68]),
        ];
        let at = |x: usize, y: usize| {
            let towards = Self::towards((x as f32 + 0.5) / 128.0, (y as f32 + 0.5) / 64.0);
            let height = 0.5 * towards.y + 0.5;
            let room = 0.2 + 0.3 * height;
            let lit = panels.iter().fold([room; 3], |sum, panel| {
                let away = towards.dot(panel.towards).clamp(-1.0, 1.0).acos() / panel.half.to_radians();
                let share = 1.0 - smooth((away - 0.75) / 0.5);
                [0, 1, 2].map(|i| sum[i] + share * panel.light[i])
            });
            LinearRgb(lit)
        };
        Self { picture: Image::from_fn(128, 64, at) }
    }

    /// Solid angle of a texel of row `y`.
    fn solid_angle(&self, y: usize) -> f32 {
        let size = self.picture.size();
        let (top, bottom) = (y as f32 / size.height as f32, (y + 1) as f32 / size.height as f32);
        let rows = (std::f32::consts::PI * top).cos() - (std::f32::consts::PI * bottom).cos();
        rows * std::f32::consts::TAU / size.width as f32
    }

    /// Take the strongest lamp out of the picture; a lamp without light when there is none.
    fn take_lamp(&mut self) -> KeyLight {
        let none = KeyLight { towards: Vec3::Y, irradiance: LinearRgb([0.0; 3]), radius: Angle::degrees(1.0) };
        let size = self.picture.size();
        let texels: Vec<(Vec3, [f32; 3], f32)> = self.texels().collect();
        let radiance = |at: usize| luminance(texels[at].1) / texels[at].2.max(1e-12);
        let Some(brightest) = (0..texels.len()).max_by(|a, b| radiance(*a).total_cmp(&radiance(*b))) else { return none };
        let (middle, least) = (texels[brightest].0, 0.1 * radiance(brightest));
        let lamp: Vec<usize> = (0..texels.len())
            .filter(|at| texels[*at].0.dot(middle) > Angle::degrees(15.0).to_radians().cos() && radiance(*at) >= least)
            .collect();
        let whole: f32 = texels.iter().map(|(_, light, _)| luminance(*light)).sum();
        let own: f32 = lamp.iter().map(|at| luminance(texels[*at].1)).sum();
        if own < 0.125 * whole {
            return none;
        }
        let mean = |f: &dyn Fn(usize) -> Vec3| lamp.iter().map(|at| f(*at)).sum::<Vec3>();
        let towards = mean(&|at| texels[at].0 * luminance(texels[at].1)).normalize_or(middle);
        let taken = |at: usize| 1.0 - (least / radiance(at).max(1e-12)).min(1.0);
        let irradiance = mean(&|at| Vec3::from_array(texels[at].1) * taken(at));
        let angle: f32 = lamp.iter().map(|at| texels[*at].2).sum();
        // What is left there is as bright as what counts as lamp begins.
        for at in lamp {
            let (x, y) = (at % size.width, at / size.width);
            let factor = least / radiance(at).max(1e-12);
            self.picture.set(x, y, LinearRgb(self.picture.get(x, y).0.map(|v| v * factor.min(1.0))));
        }
        KeyLight {
            towards,
            irradiance: LinearRgb(irradiance.to_array()),
            radius: Angle::radians((angle / std::f32::consts::PI).sqrt()),
        }
    }

    /// Every texel: where it is, its light times its solid angle.
    pub(crate) fn texels(&self) -> impl Iterator<Item = (Vec3, [f32; 3], f32)> + '_ {
        let size = self.picture.size();
        (0..size.height).flat_map(move |y| {
            let angle = self.solid_angle(y);
            (0..size.width).map(move |x| {
                let towards = Self::towards((x as f32 + 0.5) / size.width as f32, (y as f32 + 0.5) / size.height as f32);
                (towards, self.picture.get(x, y).0.map(|v| v * angle), angle)
            })
        })
    }

    /// The environment as `count` lamps spread evenly over the sphere (a spherical Fibonacci lattice), each with the light of
    /// the texels nearest to it: all light is kept. Linear in texels times `count`.
    pub(crate) fn lamps(&self, count: usize) -> Vec<(Vec3, [f32; 3])> {
        let places: Vec<Vec3> = (0..count).map(|i| fibonacci(i, count)).collect();
        let texels: Vec<(Vec3, [f32; 3], f32)> = self.texels().collect();
        let nearest: Vec<usize> = texels
            .par_iter()
            .map(|(towards, ..)| {
                let near = |best: (usize, f32), (i, p): (usize, &Vec3)| {
                    let cosine = p.dot(*towards);
                    if cosine > best.1 { (i, cosine) } else { best }
                };
                places.iter().enumerate().fold((0, f32::NEG_INFINITY), near).0
            })
            .collect();
        let mut lamps: Vec<(Vec3, [f32; 3])> = places.into_iter().map(|p| (p, [0.0; 3])).collect();
        for ((_, light, _), at) in texels.iter().zip(nearest) {
            let sum = &mut lamps[at].1;
            *sum = [0, 1, 2].map(|i| sum[i] + light[i]);
        }
        lamps
    }
}

fn smooth(t: f32) -> f32 {
    let t = t.clamp(0.0, 1.0);
    t * t * (3.0 - 2.0 * t)
}

/// A place of an even lattice on the sphere.
fn fibonacci(i: usize, count: usize) -> Vec3 {
    let y = 1.0 - (2 * i + 1) as f32 / count as f32;
    let turn = std::f32::consts::TAU * (i as f32 * 0.618_034).fract();
    let r = (1.0 - y * y).max(0.0).sqrt();
    Vec3::new(r * turn.cos(), y, r * turn.sin())
}

/// The direction of a lamp for one of `count` samples: spread over its disc (a Fibonacci spiral), so that shadows come out soft.
pub(crate) fn within_disc(key: &KeyLight, sample: usize, count: usize) -> Vec3 {
    let out = ((sample as f32 + 0.5) / count as f32).sqrt() * key.radius.to_radians().tan();
    let turn = std::f32::consts::TAU * (sample as f32 * 0.618_034).fract();
    let across = key.towards.any_orthonormal_vector();
    let along = key.towards.cross(across);
    (key.towards + (across * turn.cos() + along * turn.sin()) * out).normalize_or(key.towards)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Where the light of an environment comes from in the mean.
    fn mean(environment: &Environment) -> Vec3 {
        environment.texels().map(|(towards, light, _)| towards * light[1]).sum::<Vec3>().normalize_or_zero()
    }

    #[test]
    fn carried_light_turns_as_the_eye_does() {
        let lamp = Environment {
            picture: Image::from_fn(128, 64, |x, y| {
                let d = Environment::towards((x as f32 + 0.5) / 128.0, (y as f32 + 0.5) / 64.0);
                LinearRgb([if d.dot(Vec3::Z) > 0.95 { 5.0 } else { 0.0 }; 3])
            }),
        };
        let key = KeyLight { towards: Vec3::Z, irradiance: LinearRgb([1.0; 3]), radius: Angle::ZERO };
        let light = Light { key, environment: lamp, bounce: 0.0 };
        for degrees in [0.0, 37.0, 90.0, 180.0, 300.0] {
            let camera = Camera::around([Vec3::ONE, Vec3::NEG_ONE].into_iter(), Angle::degrees(degrees), Angle::ZERO, 1.0);
            let carried = light.carried(&camera);
            let (sin, cos) = Angle::degrees(degrees).sin_cos();
            let expected = Vec3::new(sin, 0.0, cos);
            assert!(carried.key.towards.dot(expected) > 0.9999, "{degrees}: the lamp stands at {}", carried.key.towards);
            assert!(mean(&carried.environment).dot(expected) > 0.999, "{degrees}: the sky's at {}", mean(&carried.environment));
        }
    }

    #[test]
    fn the_lamp_of_a_picture_becomes_the_key_light() {
        let at = Vec3::new(0.6, 0.64, 0.48);
        let picture = Image::from_fn(256, 128, |x, y| {
            let d = Environment::towards((x as f32 + 0.5) / 256.0, (y as f32 + 0.5) / 128.0);
            LinearRgb([if d.dot(at) > 0.9986 { 400.0 } else { 0.3 }; 3])
        });
        let light = Light::from_surroundings(picture);
        assert!(light.key.towards.dot(at) > 0.9999, "it stands at {}", light.key.towards);
        // A disc of 3 degrees: 1 - cos of its radius is 0.0014.
        assert!((light.key.radius.to_degrees() - 3.0).abs() < 0.2, "it spans {}", light.key.radius.to_degrees());
        let lamp = light.key.irradiance.0[1];
        let sky: f32 = light.environment.texels().map(|(d, l, _)| d.dot(light.key.towards).max(0.0) * l[1]).sum();
        // By the numbers: 400 x 0.0086 sr and 0.3 x pi; a tenth of the lamp's brightness stays in the sky.
        let expected = 0.9 * 400.0 * std::f32::consts::TAU * 0.0014 / (0.3 * std::f32::consts::PI);
        assert!((lamp / (sky - lamp / 9.0) / expected - 1.0).abs() < 0.15, "{lamp} beside {sky}, expected ratio {expected}");
    }

    #[test]
    fn an_even_sky_lights_a_flat_surface_by_pi() {
        // Irradiance under constant radiance 1 is pi: Lambert's cosine law.
        let even = Environment { picture: Image::filled(64, 32, LinearRgb([1.0; 3])) };
        let whole: f32 = even.texels().map(|(_, light, _)| light[0]).sum();
        assert!((whole - 4.0 * std::f32::consts::PI).abs() < 1e-3, "the sphere has {whole}");
        for count in [16, 64, 256] {
            let lamps = even.lamps(count);
            for normal in [Vec3::Y, Vec3::X, Vec3::new(0.6, -0.48, 0.64)] {
                let fallen: f32 = lamps.iter().map(|(towards, light)| towards.dot(normal).max(0.0) * light[0]).sum();
                let allowed = 0.6 / (count as f32).sqrt();
                assert!((fallen / std::f32::consts::PI - 1.0).abs() < allowed, "{count} lamps on {normal}: {fallen}");
            }
        }
    }
}
