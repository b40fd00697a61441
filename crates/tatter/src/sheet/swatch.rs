//! A patch under a lamp that is moved about: small maps kept ready, shaded anew for each place of the lamp.

use tatter_core::channel::Channel;
use tatter_core::image::{Image, LinearRgb, Map, Normal, Size, Unit};
use tatter_core::kernel::area_resize;
use tatter_core::model::Patch;

use super::lit::checker;

/// Longest side, texels: more is not seen in a corner of a window, and each place of the lamp shades all of it.
const SIDE: usize = 512;
/// Share of the light that comes evenly from the sky.
const SKY: f32 = 0.3;
/// Reflectance of fibres seen straight on: refractive index 1.5, as of cotton and wool (1.53 to 1.56, handbook values of fibres).
const F0: f32 = 0.04;
/// Roughness of cloth whose patch has no map of it.
const ROUGH: f32 = 0.85;

/// What shading needs of a patch.
#[derive(Clone, Debug)]
pub(crate) struct Swatch {
    texels: Image<Texel>,
    ground: Image<LinearRgb>,
}

#[derive(Clone, Copy, Debug)]
struct Texel {
    base: [f32; 3],
    normal: [f32; 3],
    alpha: f32,
    roughness: f32,
    occlusion: f32,
}

impl Swatch {
    /// Of a patch.
    pub(crate) fn of(patch: &Patch) -> Self {
        let size = patch.size();
        let longest = size.width.max(size.height).max(1);
        let side = |texels: usize| if longest > SIDE { (texels * SIDE / longest).max(1) } else { texels };
        let (width, height) = (side(size.width), side(size.height));
        let unit = |channel| patch.map(channel).and_then(Map::as_unit).map(|map: &Image<Unit>| area_resize(map, width, height));
        let [cover, opacity, roughness, occlusion] =
            [Channel::Cover, Channel::Opacity, Channel::Roughness, Channel::Occlusion].map(unit);
        let color = patch.map(Channel::BaseColor).and_then(Map::as_color).map(|map| area_resize(map, width, height));
        let normal = patch.map(Channel::Normal).and_then(Map::as_normal).map(|map| area_resize(map, width, height));
        let at = |map: &Option<Image<Unit>>, x, y, plain| map.as_ref().map_or(plain, |map| map.get(x, y).0);
        let texels = Image::from_fn(width, height, |x, y| Texel {
            base: color.as_ref().map_or([0.5; 3], |map| map.get(x, y).0),
            normal: normal.as_ref().map_or(Normal::FLAT, |map| map.get(x, y).normalized()).0,
            alpha: at(&cover, x, y, 1.0) * at(&opacity, x, y, 1.0),
            roughness: at(&roughness, x, y, ROUGH),
            occlusion: at(&occlusion, x, y, 1.0),
        });
        Self { texels, ground: checker(Size::new(width, height)) }
    }

    /// Under a lamp in that direction (+X right, +Y up, +Z to the eye; unit length): Lambert and the microfacets of GGX (Walter et al. 2007,
    /// eq. 33, with Schlick's approximations of Fresnel and shadowing), and an even sky that occlusion holds off. Seen straight on.
    pub(crate) fn lit(&self, lamp: [f32; 3]) -> Image<LinearRgb> {
        self.texels.zip(&self.ground, |texel, ground| {
            let shaded = texel.shaded(lamp);
            LinearRgb([0, 1, 2].map(|c: usize| ground.0[c] + (shaded[c] - ground.0[c]) * texel.alpha))
        })
    }
}

impl Texel {
    fn shaded(&self, lamp: [f32; 3]) -> [f32; 3] {
        let n = self.normal;
        let dot = |a: [f32; 3], b: [f32; 3]| a[0] * b[0] + a[1] * b[1] + a[2] * b[2];
        let (to_lamp, to_eye) = (dot(n, lamp).max(0.0), n[2].max(0.05));
        let between = [lamp[0], lamp[1], lamp[2] + 1.0];
        let length = dot(between, between).sqrt().max(1e-6);
        let along = dot(n, between).max(0.0) / length;
        let a2 = self.roughness.clamp(0.05, 1.0).powi(4);
        let spread = along * along * (a2 - 1.0) + 1.0;
        let facets = a2 / (std::f32::consts::PI * spread * spread);
        let k = 0.5 * a2.sqrt();
        let seen = 1.0 / (4.0 * (to_lamp * (1.0 - k) + k) * (to_eye * (1.0 - k) + k));
        let grazing = 1.0 - ((lamp[2] + 1.0) / length).clamp(0.0, 1.0);
        let fresnel = F0 + (1.0 - F0) * grazing.powi(5);
        // The lamp makes a white surface that faces it as bright as white is.
        let shine = std::f32::consts::PI * facets * seen * fresnel * to_lamp;
        self.base.map(|base| base * SKY * self.occlusion + (1.0 - SKY) * (base * to_lamp + shine))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn texel(slope: f32, roughness: f32) -> Texel {
        let normal = Normal::from_slopes(slope, 0.0).0;
        Texel { base: [0.2; 3], normal, alpha: 1.0, roughness, occlusion: 1.0 }
    }

    fn light(texel: Texel, x: f32) -> f32 {
        texel.shaded([x, 0.0, (1.0 - x * x).sqrt()])[0]
    }

    #[test]
    fn slopes_that_face_the_lamp_are_lighter() {
        let slope = texel(0.5, 0.9);
        let faces = if slope.normal[0] > 0.0 { 0.6 } else { -0.6 };
        assert!(light(slope, faces) > 1.5 * light(slope, -faces), "{} and {}", light(slope, faces), light(slope, -faces));
        let flat = texel(0.0, 0.9);
        assert!((light(flat, 0.6) - light(flat, -0.6)).abs() < 1e-6, "flat cloth sees no side");
        assert!(light(flat, 0.0) > light(flat, 0.6), "and is lightest from above");
    }

    #[test]
    fn smooth_cloth_shines_where_it_mirrors_the_lamp_and_nowhere_else() {
        let (smooth, dull) = (texel(0.0, 0.3), texel(0.0, 0.95));
        assert!(light(smooth, 0.0) > 1.5 * light(dull, 0.0), "{} and {}", light(smooth, 0.0), light(dull, 0.0));
        assert!(light(smooth, 0.8) <= light(dull, 0.8) + 1e-3, "beside its mirror direction it is no lighter");
        // Chalk of 20 % under a lamp from above: all of sky and lamp, and a little shine.
        let plain = light(dull, 0.0);
        assert!((0.2..0.24).contains(&plain), "{plain}");
    }
}
