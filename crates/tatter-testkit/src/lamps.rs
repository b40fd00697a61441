//! Woven cloth photographed under lamps that go round it.

use tatter_core::angle::Angle;
use tatter_weave::Shot;

/// Azimuth of a lamp of `count` evenly around the cloth.
pub fn azimuth(i: usize, count: usize) -> Angle {
    Angle::degrees(20.0 + 360.0 * i as f32 / count as f32)
}

/// Towards that lamp: x right, y up, z to the camera.
pub fn toward(i: usize, count: usize, elevation: Angle) -> [f32; 3] {
    let ((s, c), (up, flat)) = (azimuth(i, count).sin_cos(), elevation.sin_cos());
    [c * flat, s * flat, up]
}

/// A made photograph under it: a lamp 3 degrees wide in a dark room, a soft lens, noise.
pub fn shot(i: usize, count: usize, elevation: Angle) -> Shot {
    Shot {
        light_from: azimuth(i, count),
        elevation,
        lamp_size: Angle::degrees(3.0),
        sky: 0.0,
        ripple_mm: 0.0,
        vignette: 0.0,
        falloff: 0.0,
        noise: 0.004,
        exposure: 0.8,
        seed: i as u64 + 1,
        ..Shot::default()
    }
}
