//! A patch under one lamp, for pictures that need no graphics adapter.

use tatter_core::channel::Channel;
use tatter_core::image::{Image, LinearRgb, Map, Normal, Size, Unit};
use tatter_core::model::Patch;

/// Towards the lamp: from the upper left, 45 degrees above the cloth; low enough to show relief.
const LAMP: [f32; 3] = [-0.5, 0.5, std::f32::consts::FRAC_1_SQRT_2];
/// Share of the light that comes evenly from the sky.
const SKY: f32 = 0.35;

/// The lit patch over a checker, where it is see-through or ends.
#[must_use]
pub(super) fn lit(patch: &Patch) -> Image<LinearRgb> {
    Surface {
        color: patch.map(Channel::BaseColor),
        normal: patch.map(Channel::Normal),
        cover: patch.map(Channel::Cover),
        opacity: patch.map(Channel::Opacity),
        occlusion: patch.map(Channel::Occlusion),
    }
    .lit(&checker(patch.size()))
}

/// The patch's own colours over a checker.
#[must_use]
pub(super) fn plain(patch: &Patch) -> Image<LinearRgb> {
    let [color, cover, opacity] = [Channel::BaseColor, Channel::Cover, Channel::Opacity].map(|channel| patch.map(channel));
    let shadeless = Surface { color, normal: None, cover, opacity, occlusion: None };
    shadeless.lit(&checker(patch.size()))
}

/// Linear light of the unlit inside of a garment, as it shows through a hole.
const INSIDE: LinearRgb = LinearRgb([0.018, 0.016, 0.014]);

/// A part of a garment's textures, lit likewise, over the dark inside of the garment.
#[must_use]
pub(crate) fn lit_maps(size: Size, color: &Map, normal: &Map, opacity: &Map) -> Image<LinearRgb> {
    Surface { color: Some(color), normal: Some(normal), cover: None, opacity: Some(opacity), occlusion: None }
        .lit(&Image::filled(size.width, size.height, INSIDE))
}

/// Maps of one size; those that are missing are plain.
struct Surface<'a> {
    color: Option<&'a Map>,
    normal: Option<&'a Map>,
    cover: Option<&'a Map>,
    opacity: Option<&'a Map>,
    occlusion: Option<&'a Map>,
}

impl Surface<'_> {
    /// Lambert, and sky times occlusion, over `ground`.
    fn lit(&self, ground: &Image<LinearRgb>) -> Image<LinearRgb> {
        let unit = |map: Option<&Image<Unit>>, x: usize, y: usize| map.map_or(1.0, |i| i.get(x, y).0);
        let [cover, opacity, occlusion] = [self.cover, self.opacity, self.occlusion].map(|map| map.and_then(Map::as_unit));
        let (color, normal) = (self.color.and_then(Map::as_color), self.normal.and_then(Map::as_normal));
        Image::from_fn(ground.width(), ground.height(), |x, y| {
            let base = color.map_or(LinearRgb([0.5; 3]), |i| i.get(x, y));
            let n = normal.map_or(Normal::FLAT, |i| i.get(x, y));
            let direct: f32 = (0..3).map(|i| n.0[i] * LAMP[i]).sum::<f32>().max(0.0) / LAMP[2];
            let light = SKY * unit(occlusion, x, y) + (1.0 - SKY) * direct;
            let alpha = unit(cover, x, y) * unit(opacity, x, y);
            let back = ground.get(x, y);
            LinearRgb(std::array::from_fn(|i| back.0[i] + (base.0[i] * light - back.0[i]) * alpha))
        })
    }
}

/// Two greys in squares, sixteen across: whatever is see-through shows it.
#[must_use]
pub(super) fn checker(size: Size) -> Image<LinearRgb> {
    let cell = (size.width.max(size.height) / 16).max(1);
    Image::from_fn(size.width, size.height, |x, y| {
        LinearRgb([if (x / cell + y / cell).is_multiple_of(2) { 0.55 } else { 0.3 }; 3])
    })
}
