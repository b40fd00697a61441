//! The smock's own cloth: coarse ochre canvas, woven from the weaver's numbers that also made the cloth of the photos.

use tatter_core::image::{HeightRange, Image, LinearRgb, Map, Pixel, Unit};
use tatter_core::kernel::normals_from_height;
use tatter_core::rng::value_noise;
use tatter_core::task::Task;
use tatter_core::units::{MmPerTexel, PerCm};
use tatter_weave::{Cloth, Count, TileSpec, WeaveError, weave_tile};

/// Side of the textures, texels.
pub(super) const SIDE: usize = 4096;
/// Side of the woven swatch that repeats over them, texels.
const SWATCH: usize = 1024;
/// The millimetres its height texture codes.
pub(super) const RANGE: HeightRange = HeightRange { low_mm: -2.0, high_mm: 2.0 };

/// The ferryman's canvas: ten ends and nine picks of heavy single cotton, so that a thread is three texels broad on the
/// garment. `None` if the stock had no canvas.
pub(super) fn cloth() -> Option<Cloth> {
    let mut cloth = tatter_weave::stock("canvas")?;
    (cloth.ends_per_cm, cloth.picks_per_cm) = (PerCm(10.0), PerCm(9.0));
    (cloth.warp.count, cloth.weft.count) = (Count::Ne(2.3), Count::Ne(2.3));
    // Dyed in the hank to the heart, which is but a little paler: frayed ends do not glow.
    for yarn in [&mut cloth.warp, &mut cloth.weft] {
        let dye = &mut yarn.dye;
        dye.core = LinearRgb([0, 1, 2].map(|i| dye.color.0[i] + 0.2 * (dye.core.0[i] - dye.color.0[i])));
    }
    Some(cloth)
}

/// Base colour, normal, height, roughness, opacity at `scale`: the swatch, its height laid over a slow unevenness so that
/// the repeat does not show. The smock is lined in its maker's eyes: intact, it is opaque.
///
/// # Errors
/// When the cloth cannot be woven or the task is cancelled.
pub(super) fn canvas(cloth: Cloth, scale: MmPerTexel, task: &Task) -> Result<[Map; 5], WeaveError> {
    let width_mm = scale.get() * SWATCH as f32;
    let swatch = weave_tile(&TileSpec { cloth, side: SWATCH, width_mm, seed: 41 }, task)?.maps;
    let color = repeated(&swatch.base_color, |LinearRgb(rgb), x, y| {
        let slow = 1.0 + 0.05 * value_noise(11, x as f32 / 310.0, y as f32 / 260.0);
        LinearRgb(rgb.map(|c| c * slow))
    });
    let height = repeated(&swatch.height, |h, _, _| h);
    let roughness =
        repeated(&swatch.roughness, |Unit(r), x, y| Unit(r - 0.02 * value_noise(13, x as f32 / 80.0, y as f32 / 80.0).abs()));
    let normal = normals_from_height(&height, scale);
    let opacity = Image::filled(SIDE, SIDE, Unit(1.0));
    Ok([Map::Color(color), Map::Normal(normal), Map::Height(height), Map::Unit(roughness), Map::Unit(opacity)])
}

fn repeated<P: Pixel>(swatch: &Image<P>, change: impl Fn(P, usize, usize) -> P + Sync) -> Image<P> {
    Image::from_fn(SIDE, SIDE, |x, y| change(swatch.get(x % SWATCH, y % SWATCH), x, y))
}
