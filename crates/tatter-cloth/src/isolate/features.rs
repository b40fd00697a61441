//! What a place of cloth looks like, as a few numbers: colour without slow light, energies of texture, direction.

use tatter_core::color::Lab;
use tatter_core::image::{Image, LinearRgb, Pixel as _};
use tatter_core::kernel::gaussian;

use super::surface::Surface;

/// L*, a*, b*, three bands, two gradients, their cross term.
pub(super) const FEATURES: usize = 9;
/// One place of cloth.
pub(super) type Feature = [f32; FEATURES];

/// Added to each feature's variance: below these differences (L* units, log energy) nothing is an injury, only noise of
/// 8-bit pictures. Tuned on scans and grey factory pictures; more hides faint stains.
pub(super) const RIDGE: Feature = [0.15, 0.06, 0.06, 0.01, 0.01, 0.01, 0.01, 0.01, 0.003];

/// CIELAB of the picture with its slow light and slow cast taken off: what remains varies around the cloth's mean.
pub(super) fn flat_lab(color: &Image<LinearRgb>, sigma: f32) -> Image<LinearRgb> {
    let lab = color.map(|c| {
        let lab = Lab::from(LinearRgb(c.0.map(|v| v.clamp(0.0, 4.0))));
        LinearRgb([lab.l, lab.a, lab.b])
    });
    let smooth = gaussian(&lab, sigma);
    let (width, height) = (lab.width(), lab.height());
    let step = ((width * height) as f32 / 2500.0).sqrt().max(1.0) as usize;
    let mut samples = Vec::new();
    for y in (step / 2..height).step_by(step) {
        for x in (step / 2..width).step_by(step) {
            samples.push(([x as f32 + 0.5, y as f32 + 0.5], smooth.get(x, y).0, 1.0));
        }
    }
    match Surface::<3>::fit([width, height], &samples) {
        Some(surface) => Image::from_fn(width, height, |x, y| {
            lab.get(x, y).plus(LinearRgb(surface.at([x as f32 + 0.5, y as f32 + 0.5])), -1.0)
        }),
        None => lab,
    }
}

/// Features of every pixel, smoothed over `sigma` pixels (about one thread pitch).
pub(super) fn features(lab: &Image<LinearRgb>, sigma: f32) -> Image<FeatureTexel> {
    let (width, height) = (lab.width(), lab.height());
    let light = lab.map(|c| c.0[0]);
    let octaves = [0.0, 1.0, 2.0, 4.0].map(|s| gaussian(&light, s));
    let band = |a: usize| octaves[a].zip(&octaves[a + 1], |p, q| (p - q) * (p - q));
    let slope = |dx: isize, dy: isize| {
        let image = &octaves[1];
        move |x: usize, y: usize| {
            let (x, y) = (x as isize, y as isize);
            0.5 * (image.get_clamped(x + dx, y + dy) - image.get_clamped(x - dx, y - dy))
        }
    };
    let (gx, gy) = (slope(1, 0), slope(0, 1));
    let gradients = Image::from_fn(width, height, |x, y| {
        let (p, q) = (gx(x, y), gy(x, y));
        LinearRgb([p * p, q * q, p * q])
    });
    let bands = [band(0), band(1), band(2)];
    let bands = Image::from_fn(width, height, |x, y| LinearRgb([0, 1, 2].map(|i: usize| bands[i].get(x, y))));
    let (color, bands, gradients) = (gaussian(lab, sigma), gaussian(&bands, sigma), gaussian(&gradients, sigma));
    Image::from_fn(width, height, |x, y| {
        let (c, b, g) = (color.get(x, y).0, bands.get(x, y).0, gradients.get(x, y).0);
        let log = |v: f32| 0.5 * (v.max(0.0) + 0.02).ln();
        let cross = g[2] / (g[0] * g[1]).max(0.0).sqrt().max(0.02);
        FeatureTexel([c[0], c[1], c[2], log(b[0]), log(b[1]), log(b[2]), log(g[0]), log(g[1]), cross])
    })
}

/// A feature as an image's texel.
#[derive(Clone, Copy, Debug)]
pub(super) struct FeatureTexel(pub(super) Feature);
