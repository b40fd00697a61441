//! The same woven cloth photographed twice, the camera nudged between the shots: over two backings, or once with a lamp behind it.

use tatter_core::image::{Image, LinearRgb, Pixel as _, Unit};
use tatter_core::kernel::{area_resize, gaussian};
use tatter_core::rng::hash_unit;
use tatter_core::task::Task;
use tatter_core::units::MmPerTexel;
use tatter_weave::{Shot, shoot};

use crate::scene::Spec;

/// Where a place of the first shot lies in the second, pixels with the first centre at (0.5, 0.5); row major.
pub type Nudge = [[f64; 3]; 3];

/// The camera stood still.
pub const STILL: Nudge = [[1.0, 0.0, 0.0], [0.0, 1.0, 0.0], [0.0, 0.0, 1.0]];

/// Two shots and their truth at the first one's pixels.
#[derive(Debug)]
pub struct Pair {
    /// Over the light backing.
    pub light: Image<LinearRgb>,
    /// Over the dark backing, seen from where the nudge says.
    pub dark: Image<LinearRgb>,
    /// Share of each pixel that is cloth, before the lens.
    pub alpha: Image<Unit>,
    /// Size of a pixel.
    pub scale: MmPerTexel,
}

/// Light and dark card.
pub const CARDS: [LinearRgb; 2] = [LinearRgb([0.78, 0.78, 0.76]), LinearRgb([0.02, 0.02, 0.022])];

/// Turned by degrees about the middle of a picture of `side`, then moved.
pub fn nudge(side: usize, degrees: f64, [x, y]: [f64; 2]) -> Nudge {
    let (s, c) = degrees.to_radians().sin_cos();
    let m = 0.5 * side as f64;
    [[c, -s, m - c * m + s * m + x], [s, c, m - s * m - c * m + y], [0.0, 0.0, 1.0]]
}

/// Photograph `spec` over both of `cards` (light, dark). The cloth is woven twice as fine as the photos and each pixel is the
/// mean of what it covers, so that the nudge is no resampling of a photo. Noise of `noise` at mid grey falls anew on each.
pub fn pair(spec: &Spec, cards: [LinearRgb; 2], nudge: &Nudge, noise: f32) -> Pair {
    let fine = Spec { side: 2 * spec.side, pitch_px: 2.0 * spec.pitch_px, ..spec.clone() };
    let woven = fine.weave();
    let taken = |backing: LinearRgb| {
        let shot = Shot { backing, noise: 0.0, blur: 2.0 * spec.shot.blur, ..spec.shot.clone() };
        match shoot(&woven.maps, woven.scale, &shot, &Task::new()) {
            Ok(taken) => taken.photo,
            Err(cancelled) => unreachable!("nobody cancels: {cancelled}"),
        }
    };
    let [light, dark] = cards.map(taken);
    let small = |image: &Image<LinearRgb>, nudge: &Nudge| seen(image, spec.side, &inverse(nudge));
    Pair {
        light: noisy(&small(&light, &STILL), noise, 11),
        dark: noisy(&small(&dark, nudge), noise, 12),
        alpha: area_resize(&woven.maps.opacity, spec.side, spec.side),
        scale: MmPerTexel(2.0 * woven.scale.get()),
    }
}

/// A shot from the front, one with a lamp behind, and their truth at the first one's pixels.
#[derive(Debug)]
pub struct Backlit {
    /// Over a dark table.
    pub front: Image<LinearRgb>,
    /// With the lamp behind, seen from where the nudge says.
    pub behind: Image<LinearRgb>,
    /// The lamp alone, seen from there too.
    pub lamp: Image<LinearRgb>,
    /// Share of each pixel that is cloth, before the lens.
    pub alpha: Image<Unit>,
    /// Share of the lamp that cloth lets through; 0 where there is none.
    pub translucency: Image<Unit>,
    /// Size of a pixel.
    pub scale: MmPerTexel,
}

/// Photograph `spec` from the front, and with a lamp behind that falls off by a third across the picture and reads `lamp` at most. Light falls in
/// cloth by the law of Beer and Lambert, so that `through` of it is left behind its middle thickness.
pub fn backlit(spec: &Spec, [lamp, through]: [f32; 2], nudge: &Nudge, noise: f32) -> Backlit {
    let fine = Spec { side: 2 * spec.side, pitch_px: 2.0 * spec.pitch_px, ..spec.clone() };
    let woven = fine.weave();
    let shot = Shot { backing: CARDS[1], noise: 0.0, blur: 2.0 * spec.shot.blur, ..spec.shot.clone() };
    let Ok(taken) = shoot(&woven.maps, woven.scale, &shot, &Task::new()) else { unreachable!("nobody cancels") };
    let heights = woven.maps.height.map(|h| h.0);
    let (low, high) = heights.texels().iter().fold((f32::MAX, f32::MIN), |(low, high), h| (low.min(*h), high.max(*h)));
    let translucency = heights.map(|h| Unit(through.powf(0.5 + (h - low) / (high - low).max(1e-6))));
    let alone = Image::from_fn(fine.side, fine.side, |x, y| {
        let fall = 1.0 - (0.25 * x as f32 + 0.1 * y as f32) / fine.side as f32;
        LinearRgb([lamp * fall, 0.98 * lamp * fall, 0.92 * lamp * fall])
    });
    let lit = Image::from_fn(fine.side, fine.side, |x, y| {
        let (alpha, through) = (woven.maps.opacity.get(x, y).0, translucency.get(x, y).0);
        alone.get(x, y).times(1.0 - alpha + alpha * through)
    });
    let lens = |image: &Image<LinearRgb>| gaussian(image, shot.blur);
    let small = |image: &Image<LinearRgb>, nudge: &Nudge| seen(image, spec.side, &inverse(nudge));
    Backlit {
        front: noisy(&small(&taken.photo, &STILL), noise, 11),
        behind: noisy(&small(&lens(&lit), nudge), noise, 12),
        lamp: noisy(&small(&alone, nudge), noise, 13),
        alpha: area_resize(&woven.maps.opacity, spec.side, spec.side),
        translucency: area_resize(&translucency, spec.side, spec.side),
        scale: MmPerTexel(2.0 * woven.scale.get()),
    }
}

/// Each pixel the mean of 16 places of a picture twice as fine.
fn seen(fine: &Image<LinearRgb>, side: usize, back: &Nudge) -> Image<LinearRgb> {
    Image::from_fn(side, side, |x, y| {
        let mut sum = LinearRgb::ZERO;
        for k in 0..16 {
            let (px, py) = (x as f64 + (f64::from(k % 4) + 0.5) / 4.0, y as f64 + (f64::from(k / 4) + 0.5) / 4.0);
            let [a, b, c] = back.map(|r| r[0] * px + r[1] * py + r[2]);
            sum = sum.plus(fine.bilinear((2.0 * a / c) as f32, (2.0 * b / c) as f32), 1.0 / 16.0);
        }
        sum
    })
}

/// The inverse of a projective map.
fn inverse(m: &Nudge) -> Nudge {
    let minor = |i: usize, j: usize| {
        let (r, c) = ([(i + 1) % 3, (i + 2) % 3], [(j + 1) % 3, (j + 2) % 3]);
        m[r[0]][c[0]] * m[r[1]][c[1]] - m[r[0]][c[1]] * m[r[1]][c[0]]
    };
    let raw: Nudge = std::array::from_fn(|i| std::array::from_fn(|j| minor(j, i)));
    raw.map(|row| row.map(|v| v / raw[2][2]))
}

/// Photon and read noise, as `shoot` has it.
fn noisy(image: &Image<LinearRgb>, noise: f32, seed: u64) -> Image<LinearRgb> {
    Image::from_fn(image.width(), image.height(), |x, y| {
        let value = image.get(x, y).0;
        LinearRgb(std::array::from_fn(|c| {
            // Twelve uniform numbers less six are nearly normal (central limit theorem).
            let normal = (0..12u64).map(|j| hash_unit(seed + 100 * j + 1000 * c as u64, x as u32, y as u32)).sum::<f32>() - 6.0;
            (value[c] + noise * normal * (0.1 + value[c].max(0.0) / 0.21).sqrt().min(2.2)).clamp(0.0, 1.0)
        }))
    })
}
