//! What the adapter reads of the environment: its irradiance, its blurred mirror images, and how materials answer to it.

use glam::Vec3;
use half::f16;
use rayon::prelude::*;
use tatter_core::image::Pixel as _;
use tatter_core::image::{Image, LinearRgb};

use crate::light::Environment;

/// Side of the sharpest mirror image's faces, texels.
pub(crate) const SIDE: usize = 64;
/// Mirror images, each half as large as the one before and blurrier: the last is for roughness 1.
pub(crate) const LEVELS: usize = 6;
/// Side of the table of responses.
pub(crate) const RESPONSE: usize = 64;

/// Nine coefficients with which `harmonics` of `scene.wgsl` gives irradiance over pi. Source: Ramamoorthi and Hanrahan, An Efficient
/// Representation for Irradiance Environment Maps, 2001.
pub(crate) fn irradiance(environment: &Environment) -> [[f32; 4]; 9] {
    use std::f64::consts::PI;
    // Constants of the basis functions, in the order of the shader.
    let basis = |d: Vec3| {
        let [x, y, z] = d.to_array().map(f64::from);
        [
            0.282_095,
            0.488_603 * y,
            0.488_603 * z,
            0.488_603 * x,
            1.092_548 * x * y,
            1.092_548 * y * z,
            0.315_392 * (3.0 * z * z - 1.0),
            1.092_548 * x * z,
            0.546_274 * (x * x - y * y),
        ]
    };
    let mut sums = [[0.0_f64; 3]; 9];
    for (towards, light, _) in environment.texels() {
        for (sum, value) in sums.iter_mut().zip(basis(towards)) {
            *sum = [0, 1, 2].map(|i| sum[i] + f64::from(light[i]) * value);
        }
    }
    // The clamped cosine's own coefficients, over pi; and the basis constant that the shader leaves out.
    let cosine = [PI, 2.0 * PI / 3.0, PI / 4.0];
    let constants = [0.282_095, 0.488_603, 0.488_603, 0.488_603, 1.092_548, 1.092_548, 0.315_392, 1.092_548, 0.546_274];
    let band = [0, 1, 1, 1, 2, 2, 2, 2, 2];
    std::array::from_fn(|i| {
        let factor = cosine[band[i]] / PI * constants[i];
        let [r, g, b] = sums[i].map(|v| (v * factor) as f32);
        [r, g, b, 0.0]
    })
}

/// Mirror images: for each level six faces in the order +x, -x, +y, -y, +z, -z, RGBA halves.
pub(crate) fn mirrored(environment: &Environment) -> Vec<Vec<f16>> {
    let blurrier = blurrier(environment);
    (0..LEVELS)
        .map(|level| {
            let side = SIDE >> level;
            let roughness = level as f32 / (LEVELS - 1) as f32;
            let texel = |i: usize| {
                let (face, x, y) = (i / (side * side), i % side, i / side % side);
                let towards = of_face(face, (x as f32 + 0.5) / side as f32, (y as f32 + 0.5) / side as f32);
                let [r, g, b] = prefiltered(&blurrier, towards, roughness, side).0.map(|v| f16::from_f32(v.min(60_000.0)));
                [r, g, b, f16::ONE]
            };
            (0..6 * side * side).into_par_iter().flat_map_iter(texel).collect()
        })
        .collect()
}

/// The environment and its halves, down to a few texels.
fn blurrier(environment: &Environment) -> Vec<Image<LinearRgb>> {
    let mut all = vec![environment.picture.clone()];
    while let Some(last) = all.last().filter(|last| last.size().height > 8) {
        let size = last.size();
        all.push(tatter_core::kernel::area_resize(last, size.width.div_ceil(2), size.height.div_ceil(2)));
    }
    all
}

/// World direction of a place on a cube's face (the table of the OpenGL and Vulkan specifications).
fn of_face(face: usize, u: f32, v: f32) -> Vec3 {
    let (s, t) = (2.0 * u - 1.0, 2.0 * v - 1.0);
    let towards = match face {
        0 => Vec3::new(1.0, -t, -s),
        1 => Vec3::new(-1.0, -t, s),
        2 => Vec3::new(s, 1.0, t),
        3 => Vec3::new(s, -1.0, -t),
        4 => Vec3::new(s, -t, 1.0),
        _ => Vec3::new(-s, -t, -1.0),
    };
    towards.normalize_or(Vec3::Z)
}

fn looked_up(levels: &[Image<LinearRgb>], towards: Vec3, level: f32) -> LinearRgb {
    let picture = &levels[(level.round().max(0.0) as usize).min(levels.len() - 1)];
    let size = picture.size();
    let u = 0.5 + towards.x.atan2(-towards.z) / std::f32::consts::TAU;
    let v = towards.y.clamp(-1.0, 1.0).acos() / std::f32::consts::PI;
    // Around y the picture closes on itself.
    let x = u * size.width as f32;
    let inside = picture.bilinear(x, v * size.height as f32);
    let near = 0.5 - x.min(size.width as f32 - x);
    if near <= 0.0 {
        return inside;
    }
    let other = picture.bilinear(size.width as f32 - x, v * size.height as f32);
    LinearRgb::ZERO.plus(inside, 1.0 - near).plus(other, near)
}

/// Light that a surface of this roughness mirrors when looked at straight on: the mean over its microfacets (split-sum
/// approximation; Karis 2013), each look-up as blurred as it stands for solid angle.
fn prefiltered(levels: &[Image<LinearRgb>], normal: Vec3, roughness: f32, side: usize) -> LinearRgb {
    let texel = 4.0 * std::f32::consts::PI / (6 * side * side) as f32;
    let source = levels[0].size();
    let source_texel = 4.0 * std::f32::consts::PI / source.area() as f32;
    if roughness == 0.0 {
        return looked_up(levels, normal, 0.5 * (texel / source_texel).log2());
    }
    const COUNT: usize = 128;
    let alpha = roughness * roughness;
    let across = normal.any_orthonormal_vector();
    let along = normal.cross(across);
    let (mut sum, mut weight) = (LinearRgb::ZERO, 0.0);
    for i in 0..COUNT {
        let half = microfacet(i, COUNT, alpha);
        let h = across * half.x + along * half.y + normal * half.z;
        let towards = 2.0 * normal.dot(h) * h - normal;
        let n_l = normal.dot(towards);
        if n_l <= 0.0 {
            continue;
        }
        let t = half.z * half.z * (alpha * alpha - 1.0) + 1.0;
        // The density of this direction: distribution over 4, since the eye is at the normal.
        let density = alpha * alpha / (std::f32::consts::PI * t * t) / 4.0;
        let angle = 1.0 / (COUNT as f32 * density);
        let level = (0.5 * (angle / source_texel).log2() + 0.5).max(0.0);
        sum = sum.plus(looked_up(levels, towards, level), n_l);
        weight += n_l;
    }
    sum.times(1.0 / weight.max(1e-6))
}

/// A microfacet's normal about z, drawn by its share of the distribution.
fn microfacet(i: usize, count: usize, alpha: f32) -> Vec3 {
    let u = (i as f32 + 0.5) / count as f32;
    let turn = std::f32::consts::TAU * (i as f32 * 0.618_034).fract();
    let cos = ((1.0 - u) / (1.0 + (alpha * alpha - 1.0) * u)).sqrt();
    let sin = (1.0 - cos * cos).max(0.0).sqrt();
    Vec3::new(sin * turn.cos(), sin * turn.sin(), cos)
}

/// For each n.v (columns) and roughness (rows): what of a white sky a surface mirrors is `f0 * r + g`; a sheen sends `b`.
/// RGBA halves, texel centres at +0.5.
pub(crate) fn responses() -> Vec<f16> {
    let share = |i: usize| (i as f32 + 0.5) / RESPONSE as f32;
    let row = |row: usize| {
        let (rough, raised) = (Rough::new(share(row)), Raised::new(share(row)));
        let texel = move |column: usize| {
            let n_v = share(column);
            let (scale, bias) = rough.reflectance(n_v);
            [scale, bias, raised.reflectance(n_v), 1.0].map(f16::from_f32)
        };
        (0..RESPONSE).flat_map(texel)
    };
    (0..RESPONSE).into_par_iter().flat_map_iter(row).collect()
}

/// A surface of some roughness, its microfacets drawn once for all directions it is looked at from.
struct Rough {
    alpha: f32,
    facets: Vec<Vec3>,
}

impl Rough {
    fn new(roughness: f32) -> Self {
        // Grazing looks draw few facets that count: fewer samples leave the table two hundredths off there.
        const COUNT: usize = 4096;
        let alpha = (roughness * roughness).max(1e-3);
        Self { alpha, facets: (0..COUNT).map(|i| microfacet(i, COUNT, alpha)).collect() }
    }

    /// Shares of `f0` and of 1 in what it mirrors of a white sky.
    fn reflectance(&self, n_v: f32) -> (f32, f32) {
        let v = Vec3::new((1.0 - n_v * n_v).sqrt(), 0.0, n_v);
        let (mut scale, mut bias) = (0.0, 0.0);
        let a2 = self.alpha * self.alpha;
        for h in &self.facets {
            let v_h = v.dot(*h);
            let n_l = 2.0 * v_h * h.z - n_v;
            if n_l <= 0.0 || v_h <= 0.0 {
                continue;
            }
            let visibility = 0.5 / (n_v * (a2 + (1.0 - a2) * n_l * n_l).sqrt() + n_l * (a2 + (1.0 - a2) * n_v * n_v).sqrt());
            let share = 4.0 * visibility * n_l * v_h / h.z;
            let fresnel = (1.0 - v_h).clamp(0.0, 1.0).powi(5);
            scale += share * (1.0 - fresnel);
            bias += share * fresnel;
        }
        (scale / self.facets.len() as f32, bias / self.facets.len() as f32)
    }
}

/// A sheen of colour 1 and some roughness, and an even hemisphere of directions light comes from, each with its term of [`charlie_lambda`].
struct Raised {
    alpha: f32,
    lights: Vec<(Vec3, f32)>,
}

impl Raised {
    fn new(roughness: f32) -> Self {
        const COUNT: usize = 512;
        let alpha = roughness.max(0.07).powi(2);
        let light = |i: usize| {
            // Even over the hemisphere's area.
            let n_l = (i as f32 + 0.5) / COUNT as f32;
            let turn = std::f32::consts::TAU * (i as f32 * 0.618_034).fract();
            let r = (1.0 - n_l * n_l).max(0.0).sqrt();
            (Vec3::new(r * turn.cos(), r * turn.sin(), n_l), charlie_lambda(n_l, alpha))
        };
        Self { alpha, lights: (0..COUNT).map(light).collect() }
    }

    /// What it sends of a white sky: its distribution and visibility summed over the hemisphere.
    fn reflectance(&self, n_v: f32) -> f32 {
        let v = Vec3::new((1.0 - n_v * n_v).sqrt(), 0.0, n_v);
        let own = charlie_lambda(n_v, self.alpha);
        let mut sum = 0.0;
        for &(l, lambda) in &self.lights {
            let h = (v + l).normalize_or(Vec3::Z);
            let visibility = 1.0 / ((1.0 + own + lambda) * 4.0 * n_v * l.z);
            sum += charlie(h.z.clamp(0.0, 1.0), self.alpha) * visibility * l.z;
        }
        (sum * std::f32::consts::TAU / self.lights.len() as f32).min(1.0)
    }
}

fn charlie(n_h: f32, alpha: f32) -> f32 {
    let sin2 = (1.0 - n_h * n_h).max(0.0);
    (2.0 + 1.0 / alpha) * sin2.powf(0.5 / alpha) / std::f32::consts::TAU
}

fn charlie_lambda(cosine: f32, alpha: f32) -> f32 {
    let t = (1.0 - alpha) * (1.0 - alpha);
    let mix = |rough: f32, smooth: f32| rough + (smooth - rough) * t;
    let curve = |x: f32| {
        mix(21.5473, 25.3245) / (1.0 + mix(3.829_87, 3.324_35) * x.powf(mix(0.198_23, 0.168_01)))
            + mix(-1.977_6, -1.273_93) * x
            + mix(-4.320_54, -4.859_67)
    };
    if cosine < 0.5 { curve(cosine).exp() } else { (2.0 * curve(0.5) - curve(1.0 - cosine)).exp() }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// The same integral by quadrature in double precision, by an independent script: `ggx_directional_albedo` of the project's checks.
    const WHITE_FURNACE: [(f32, f32, f32); 16] = [
        (0.3, 1.0, 0.9907),
        (0.3, 0.7, 0.98511),
        (0.3, 0.3, 0.94666),
        (0.3, 0.1, 0.88383),
        (0.5, 1.0, 0.91581),
        (0.5, 0.7, 0.88534),
        (0.5, 0.3, 0.83782),
        (0.5, 0.1, 0.89334),
        (0.8, 1.0, 0.55517),
        (0.8, 0.7, 0.58211),
        (0.8, 0.3, 0.69216),
        (0.8, 0.1, 0.83316),
        (1.0, 1.0, 0.30685),
        (1.0, 0.7, 0.37889),
        (1.0, 0.3, 0.5601),
        (1.0, 0.1, 0.7602),
    ];

    #[test]
    fn mirrored_share_of_a_white_sky_agrees_with_quadrature_and_never_exceeds_it() {
        for (roughness, n_v, expected) in WHITE_FURNACE {
            // At f0 = 1 scale and bias add up to the whole lobe.
            let (scale, bias) = Rough::new(roughness).reflectance(n_v);
            assert!((scale + bias - expected).abs() < 6e-3, "roughness {roughness}, n.v {n_v}: {} not {expected}", scale + bias);
            // Nothing is sent that did not come: diffuse beneath a dielectric's mirror.
            let mirrored = 0.04 * scale + bias;
            assert!(mirrored + (1.0 - mirrored) <= 1.0 + 1e-6 && mirrored >= 0.0, "a dielectric mirrors {mirrored}");
            assert!(Raised::new(roughness).reflectance(n_v) <= 1.0, "a sheen sends more than comes");
        }
    }

    #[test]
    fn harmonics_of_an_even_sky_are_one_everywhere() {
        let even = Environment { picture: Image::filled(64, 32, LinearRgb([1.0, 0.5, 0.25])) };
        let sh = irradiance(&even);
        for n in [Vec3::Y, Vec3::X, Vec3::new(0.36, 0.48, -0.8)] {
            let value = |c: usize| {
                sh[0][c]
                    + sh[1][c] * n.y
                    + sh[2][c] * n.z
                    + sh[3][c] * n.x
                    + sh[4][c] * n.x * n.y
                    + sh[5][c] * n.y * n.z
                    + sh[6][c] * (3.0 * n.z * n.z - 1.0)
                    + sh[7][c] * n.x * n.z
                    + sh[8][c] * (n.x * n.x - n.y * n.y)
            };
            for (c, expected) in [1.0, 0.5, 0.25].into_iter().enumerate() {
                assert!((value(c) - expected).abs() < 5e-3, "{n}: {} not {expected}", value(c));
            }
        }
    }

    #[test]
    fn mirror_images_of_an_even_sky_stay_even_and_look_where_they_should() {
        let even = Environment { picture: Image::filled(64, 32, LinearRgb([2.0; 3])) };
        for (level, texels) in mirrored(&even).iter().enumerate() {
            let worst = texels.chunks_exact(4).map(|t| (t[0].to_f32() - 2.0).abs()).fold(0.0, f32::max);
            assert!(worst < 4e-3, "level {level} is {worst} off");
        }
        // A lamp at +x only: the face +x is bright, its opposite dark.
        let lamp = Environment {
            picture: Image::from_fn(64, 32, |x, y| {
                let d = Environment::towards((x as f32 + 0.5) / 64.0, (y as f32 + 0.5) / 32.0);
                LinearRgb([if d.x > 0.9 { 10.0 } else { 0.0 }; 3])
            }),
        };
        let sharp = &mirrored(&lamp)[0];
        let middle = |face: usize| sharp[4 * (face * SIDE * SIDE + SIDE * SIDE / 2 + SIDE / 2)].to_f32();
        assert!(middle(0) > 9.0, "+x sees {}", middle(0));
        for face in 1..6 {
            assert!(middle(face) < 0.5, "face {face} sees {}", middle(face));
        }
    }
}
