//! What a texture's texels say: whether they are normals, grey, see-through, and which way green points.

use tatter_core::image::{NormalY, Stored};
use tatter_core::model::MapRole;

/// Texels looked at along each side: every n-th of them.
const SAMPLES: usize = 96;

/// What texels look like.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Look {
    /// Share of texels whose components are a unit vector that faces out.
    pub(super) unit_vectors: f32,
    /// Whether red, green and blue are alike everywhere.
    pub(super) gray: bool,
    /// Mean of the first component.
    pub(super) mean: f32,
    /// Spread of the first component, largest less smallest.
    pub(super) range: f32,
    /// Whether an alpha component says anything but one.
    pub(super) alpha_used: bool,
}

/// Looks at an evenly spread part of the texels.
pub(super) fn look(picture: &Stored) -> Look {
    let (width, height) = (picture.size.width, picture.size.height);
    let components = picture.layout.components();
    let (mut count, mut units, mut coloured) = (0_u32, 0_u32, 0_u32);
    let (mut sum, mut low, mut high) = (0.0_f64, f32::INFINITY, f32::NEG_INFINITY);
    let mut alpha_used = false;
    for y in (0..height).step_by((height / SAMPLES).max(1)) {
        for x in (0..width).step_by((width / SAMPLES).max(1)) {
            let first = picture.value(x, y, 0);
            sum += f64::from(first);
            low = low.min(first);
            high = high.max(first);
            count += 1;
            if components >= 3 {
                let rgb = [first, picture.value(x, y, 1), picture.value(x, y, 2)];
                let axes = if picture.is_float() { rgb } else { rgb.map(|c| 2.0 * c - 1.0) };
                let length = axes.iter().map(|a| a * a).sum::<f32>().sqrt();
                // A tenth allows for 8 bits and for JPEG.
                units += u32::from((length - 1.0).abs() < 0.1 && axes[2] > 0.0);
                coloured += u32::from((rgb[0] - rgb[1]).abs().max((rgb[1] - rgb[2]).abs()) > 0.03);
            }
            if picture.layout.has_alpha() {
                alpha_used |= picture.value(x, y, components - 1) < 0.99;
            }
        }
    }
    let all = count.max(1) as f32;
    Look {
        unit_vectors: units as f32 / all,
        gray: (coloured as f32) < 0.01 * all,
        mean: (sum / f64::from(count.max(1))) as f32,
        range: high - low,
        alpha_used,
    }
}

impl Look {
    /// Whether the texels are a tangent-space normal map.
    pub(super) fn is_normals(&self) -> bool {
        self.unit_vectors > 0.9 && !self.gray
    }
}

/// Which way green points, and how sure that is, 0..1.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct GreenPoints {
    /// The likelier way.
    pub(super) way: NormalY,
    /// Size of the correlation it rests on.
    pub(super) confidence: f32,
}

/// Running sums of a correlation, added row by row.
#[derive(Default)]
struct Correlation {
    ab: f64,
    aa: f64,
    bb: f64,
}

impl Correlation {
    fn add(&mut self, a: f32, b: f32) {
        self.ab += f64::from(a) * f64::from(b);
        self.aa += f64::from(a) * f64::from(a);
        self.bb += f64::from(b) * f64::from(b);
    }

    fn green(&self) -> GreenPoints {
        let size = (self.aa * self.bb).sqrt();
        let value = if size > 1e-12 { (self.ab / size) as f32 } else { 0.0 };
        GreenPoints { way: if value < 0.0 { NormalY::Down } else { NormalY::Up }, confidence: value.abs() }
    }
}

/// Slopes to the right and (if green points up) downwards at a texel, read as +Y up.
fn slopes(normals: &Stored, first: usize, x: usize, y: usize) -> (f32, f32) {
    let axis = |i: usize| {
        let value = normals.value(x, y, first + i);
        if normals.is_float() { value } else { 2.0 * value - 1.0 }
    };
    let z = axis(2).max(0.05);
    (-axis(0) / z, axis(1) / z)
}

/// Against the height of the same cloth: where height rises downwards, an up-pointing green is bright.
/// `None` when the sizes differ.
pub(super) fn green_against_height(normals: &Stored, normal: &MapRole, height: &Stored, role: &MapRole) -> Option<GreenPoints> {
    if normals.size != height.size || normals.layout.components() < 3 {
        return None;
    }
    let at = |x: usize, y: usize| height.value(x, y, role.coding.component);
    let mut sum = Correlation::default();
    for y in 1..normals.size.height.saturating_sub(1) {
        for x in 0..normals.size.width {
            sum.add(slopes(normals, normal.coding.component, x, y).1, at(x, y + 1) - at(x, y - 1));
        }
    }
    Some(sum.green())
}

/// From the normals alone: slopes of one surface have no curl, so the change of the right slope downwards equals the
/// change of the down slope to the right (Frankot, Chellappa 1988, integrability); with the wrong sign they oppose.
pub(super) fn green_from_curl(normals: &Stored, normal: &MapRole) -> Option<GreenPoints> {
    if normals.layout.components() < 3 {
        return None;
    }
    let at = |x: usize, y: usize| slopes(normals, normal.coding.component, x, y);
    let mut sum = Correlation::default();
    for y in 1..normals.size.height.saturating_sub(1) {
        for x in 1..normals.size.width.saturating_sub(1) {
            sum.add(at(x, y + 1).0 - at(x, y - 1).0, at(x + 1, y).1 - at(x - 1, y).1);
        }
    }
    Some(sum.green())
}

#[cfg(test)]
mod tests {
    use tatter_core::channel::Channel;
    use tatter_core::image::{Coding, Depth, HeightMm, Image, LinearRgb, Map, Normal};

    use super::*;

    /// A bumpy cloth of known height, h = 0.4 sin(x/5) cos(y/7) + 0.2 sin((x + 2y)/9) mm at 1 mm a texel, with its
    /// normal from the derivatives worked by hand.
    fn cloth(way: NormalY) -> (Stored, Stored) {
        let height = |x: f32, y: f32| 0.4 * (x / 5.0).sin() * (y / 7.0).cos() + 0.2 * ((x + 2.0 * y) / 9.0).sin();
        let heights = Image::from_fn(64, 64, |x, y| HeightMm(height(x as f32, y as f32)));
        let normals = Image::from_fn(64, 64, |x, y| {
            let (x, y) = (x as f32, y as f32);
            let wave = ((x + 2.0 * y) / 9.0).cos();
            let right = 0.08 * (x / 5.0).cos() * (y / 7.0).cos() + 0.2 / 9.0 * wave;
            let down = -0.4 / 7.0 * (x / 5.0).sin() * (y / 7.0).sin() + 0.4 / 9.0 * wave;
            Normal::from_slopes(right, -down)
        });
        let coding = Coding { normal_y: way, ..Coding::default() };
        let stored = |map: &Map| Stored::from_map(map, &coding, Depth::Eight);
        (stored(&Map::Normal(normals)), stored(&Map::Height(heights)))
    }

    #[test]
    fn green_is_found_both_ways() {
        let role = |channel| MapRole { channel, coding: Coding::default() };
        for way in [NormalY::Up, NormalY::Down] {
            let (normals, heights) = cloth(way);
            let against =
                green_against_height(&normals, &role(Channel::Normal), &heights, &role(Channel::Height)).expect("one size");
            assert!(against.way == way && against.confidence > 0.9, "against the height: {against:?}");
            let alone = green_from_curl(&normals, &role(Channel::Normal)).expect("three components");
            assert!(alone.way == way && alone.confidence > 0.5, "from curl: {alone:?}");
        }
    }

    #[test]
    fn normals_are_known_by_their_length() {
        let (normals, heights) = cloth(NormalY::Up);
        assert!(look(&normals).is_normals(), "{:?}", look(&normals));
        let gray = look(&heights);
        assert!(!gray.is_normals(), "a height is none: {gray:?}");
        let flat =
            Stored::from_map(&Map::Color(Image::filled(8, 8, LinearRgb([0.5, 0.3, 0.1]))), &Coding::default(), Depth::Eight);
        assert!(!look(&flat).is_normals(), "nor is a plain colour");
    }
}
