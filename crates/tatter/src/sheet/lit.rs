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
    Surface::of(patch).lit(&checker(patch.size()))
}

/// What there is of the lit patch, over an even ground: dark beneath light cloth, light beneath dark cloth. In a picture that is too small for a checker
/// and a few threads across an opening, those threads are seen. A square around all that is covered.
#[must_use]
pub(super) fn lit_apart(patch: &Patch) -> Image<LinearRgb> {
    let of = Surface::of(patch);
    let size = patch.size();
    let [cover, opacity] = [of.cover, of.opacity].map(|map| map.and_then(Map::as_unit));
    let unit = |map: Option<&Image<Unit>>, at: usize| map.map_or(1.0, |map| map.texels()[at].0);
    let (mut sum, mut all) = (0.0, 1e-6);
    let (mut low, mut high) = ([size.width, size.height], [0, 0]);
    for at in 0..size.area() {
        let own = unit(cover, at);
        let share = f64::from(own * unit(opacity, at));
        if own > COVERED {
            let place = [at % size.width, at / size.width];
            (low, high) = ([0, 1].map(|i| low[i].min(place[i])), [0, 1].map(|i| high[i].max(place[i] + 1)));
        }
        if let Some(color) = of.color.and_then(Map::as_color) {
            // Y of linear Rec.709 colour (IEC 61966-2-1).
            let [r, g, b] = color.texels()[at].0.map(f64::from);
            sum += share * (0.2126 * r + 0.7152 * g + 0.0722 * b);
            all += share;
        }
    }
    // Half as light as white to the eye is 0.18 (CIE 1976 L* of 50).
    let ground = if sum / all > 0.18 { INSIDE } else { LinearRgb([0.6; 3]) };
    let whole = of.lit(&Image::filled(size.width, size.height, ground));
    if low[0] >= high[0] {
        return whole;
    }
    let longest = (high[0] - low[0]).max(high[1] - low[1]);
    let side = longest + longest / 8;
    let first = [0, 1].map(|i| (low[i] + high[i]) as isize / 2 - side as isize / 2);
    Image::from_fn(side, side, |x, y| {
        let [x, y] = [first[0] + x as isize, first[1] + y as isize];
        let inside = (0..size.width as isize).contains(&x) && (0..size.height as isize).contains(&y);
        if inside { whole.get(x as usize, y as usize) } else { ground }
    })
}

/// Less cover than this is not seen.
const COVERED: f32 = 0.03;

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

impl<'a> Surface<'a> {
    fn of(patch: &'a Patch) -> Self {
        let [color, normal, cover, opacity, occlusion] =
            [Channel::BaseColor, Channel::Normal, Channel::Cover, Channel::Opacity, Channel::Occlusion]
                .map(|channel| patch.map(channel));
        Self { color, normal, cover, opacity, occlusion }
    }

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
