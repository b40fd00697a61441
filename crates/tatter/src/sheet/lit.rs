//! A patch under one lamp, for pictures that need no graphics adapter.

use tatter_core::channel::Channel;
use tatter_core::image::{Image, LinearRgb, Normal, Size, Unit};
use tatter_core::model::Patch;

/// Towards the lamp: from the upper left, 45 degrees above the cloth; low enough to show relief.
const LAMP: [f32; 3] = [-0.5, 0.5, std::f32::consts::FRAC_1_SQRT_2];
/// Share of the light that comes evenly from the sky.
const SKY: f32 = 0.35;

/// The lit patch over a checker, where it is see-through or ends. Lambert plus sky times occlusion.
#[must_use]
pub(super) fn lit(patch: &Patch) -> Image<LinearRgb> {
    let size = patch.size();
    let ground = checker(size);
    let unit = |channel: Channel| patch.map(channel).and_then(|m| m.as_unit());
    let (cover, opacity, occlusion) = (unit(Channel::Cover), unit(Channel::Opacity), unit(Channel::Occlusion));
    let color = patch.map(Channel::BaseColor).and_then(|m| m.as_color());
    let normal = patch.map(Channel::Normal).and_then(|m| m.as_normal());
    let at = |image: Option<&Image<Unit>>, x: usize, y: usize| image.map_or(1.0, |i| i.get(x, y).0);
    Image::from_fn(size.width, size.height, |x, y| {
        let base = color.map_or(LinearRgb([0.5; 3]), |i| i.get(x, y));
        let n = normal.map_or(Normal::FLAT, |i| i.get(x, y));
        let direct: f32 = (0..3).map(|i| n.0[i] * LAMP[i]).sum::<f32>().max(0.0) / LAMP[2];
        let light = SKY * at(occlusion, x, y) + (1.0 - SKY) * direct;
        let alpha = at(cover, x, y) * at(opacity, x, y);
        let back = ground.get(x, y);
        LinearRgb(std::array::from_fn(|i| back.0[i] + (base.0[i] * light - back.0[i]) * alpha))
    })
}

/// Two greys in squares, sixteen across: whatever is see-through shows it.
#[must_use]
fn checker(size: Size) -> Image<LinearRgb> {
    let cell = (size.width.max(size.height) / 16).max(1);
    Image::from_fn(size.width, size.height, |x, y| {
        LinearRgb([if (x / cell + y / cell).is_multiple_of(2) { 0.55 } else { 0.3 }; 3])
    })
}
