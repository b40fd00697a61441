//! The smock's own cloth as a clean texture set: coarse ochre canvas, new from the loom.

use tatter_core::image::{HeightMm, HeightRange, Image, LinearRgb, Map, Unit};
use tatter_core::kernel::normals_from_height;
use tatter_core::rng::{hash_unit, value_noise};
use tatter_core::units::MmPerTexel;

/// Side of the textures, texels.
pub(super) const SIDE: usize = 4096;
/// Ends and picks per centimetre: the cloth of the photos, three texels a thread.
pub(super) const THREADS_PER_CM: [f32; 2] = [9.0, 8.0];
/// The millimetres its height texture codes.
pub(super) const RANGE: HeightRange = HeightRange { low_mm: -2.0, high_mm: 2.0 };
/// Undyed canvas washed with ochre, linear light.
const OCHRE: [f32; 3] = [0.42, 0.30, 0.155];

/// Base colour, normal, height, roughness, opacity of plain-weave canvas at `scale`.
pub(super) fn canvas(scale: MmPerTexel) -> [Map; 5] {
    let woven = Image::from_fn(SIDE, SIDE, |x, y| weave(x, y, scale));
    let height = woven.map(|(h, _)| HeightMm(h));
    let color = Image::from_fn(SIDE, SIDE, |x, y| {
        let (_, thread) = woven.get(x, y);
        let slow = 1.0 + 0.06 * value_noise(11, x as f32 / 190.0, y as f32 / 150.0);
        let fibre = 1.0 + 0.08 * (hash_unit(12, x as u32, y as u32) - 0.5);
        LinearRgb(OCHRE.map(|c| c * slow * fibre * (1.0 + 0.16 * (thread - 0.5))))
    });
    let roughness = Image::from_fn(SIDE, SIDE, |x, y| Unit(0.86 + 0.03 * value_noise(13, x as f32 / 40.0, y as f32 / 40.0)));
    let normal = normals_from_height(&height, scale);
    let opacity = Image::filled(SIDE, SIDE, Unit(1.0));
    [Map::Color(color), Map::Normal(normal), Map::Height(height), Map::Unit(roughness), Map::Unit(opacity)]
}

/// Height in mm and a shade 0..1 of the thread on top. Spacing wanders a little, as on a hand loom.
fn weave(x: usize, y: usize, scale: MmPerTexel) -> (f32, f32) {
    let [u, v] = [(x, 0), (y, 1)].map(|(at, system): (usize, usize)| at as f32 * scale.get() * 0.1 * THREADS_PER_CM[system]);
    let u = u + 0.15 * value_noise(21, u * 0.13, v * 0.02);
    let v = v + 0.15 * value_noise(22, u * 0.02, v * 0.13);
    let (i, j) = (u.floor(), v.floor());
    let (fu, fv) = (u - i - 0.5, v - j - 0.5);
    let warp_up = (i as i32 + j as i32).rem_euclid(2) == 0;
    let (across, thread) = if warp_up { (fu, hash_unit(31, i as u32, 0)) } else { (fv, hash_unit(32, j as u32, 0)) };
    let along = if warp_up { fv } else { fu };
    let round = (1.0 - (2.0 * across).powi(2)).max(0.0).sqrt();
    let crown = (std::f32::consts::PI * along).cos().max(0.0);
    (0.30 * (round * (0.35 + 0.65 * crown) - 0.5) * (0.9 + 0.2 * thread), thread)
}
