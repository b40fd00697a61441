//! Whether a garment is see-through, and whether by degrees.

use rayon::prelude::*;
use tatter_core::channel::Channel;
use tatter_core::image::{Rect, Stored};
use tatter_core::model::MapSet;

/// What the opacity of some textures is like.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Openness {
    /// Nothing is see-through, or there is no opacity.
    Opaque,
    /// Cloth and holes with soft rims: an alpha test shows them.
    Holes,
    /// Sheer cloth: much of it is half see-through.
    Sheer,
}

/// Above this a texel is cloth, below one minus it a hole: what 8-bit files and rims leave uncertain lies between.
const CERTAIN: f32 = 0.9;
/// Sheer: this share of all texels, and more than half of those that are not cloth, are neither cloth nor hole. A patch of
/// thread gaps has rims too, but covers less of a texture.
const SHEER_SHARE: f64 = 0.05;

/// What the opacity of a set of finished textures is like. Reads one row at a time.
pub fn openness(set: &MapSet, pictures: &[Stored]) -> Openness {
    let Some((stored, role)) = finished(set, pictures, Channel::Opacity) else { return Openness::Opaque };
    let (width, height) = (stored.size.width, stored.size.height);
    let count = |y: usize| {
        let row = stored.decode(Channel::Opacity.info().kind, &role.coding, Rect::new(0, y, width, 1));
        let values = row.as_unit().map(|image| image.texels().to_vec()).unwrap_or_default();
        values.iter().fold([0_usize; 2], |[between, open], value| {
            let between_them = value.0 < CERTAIN && value.0 > 1.0 - CERTAIN;
            [between + usize::from(between_them), open + usize::from(value.0 <= 1.0 - CERTAIN)]
        })
    };
    let [between, open] = (0..height).into_par_iter().map(count).reduce(|| [0; 2], |a, b| [a[0] + b[0], a[1] + b[1]]);
    if between + open == 0 {
        return Openness::Opaque;
    }
    let share = between as f64 / (width * height).max(1) as f64;
    if share > SHEER_SHARE && between > open { Openness::Sheer } else { Openness::Holes }
}

/// The finished picture of a channel, and how it lies in it.
pub(super) fn finished<'a>(
    set: &'a MapSet,
    pictures: &'a [Stored],
    channel: Channel,
) -> Option<(&'a Stored, &'a tatter_core::model::MapRole)> {
    set.files
        .iter()
        .zip(pictures)
        .find_map(|(file, stored)| file.roles.iter().find(|role| role.channel == channel).map(|role| (stored, role)))
}
