//! How high each texel's thread lies among its neighbours: from the height map, else from the normals, else guessed from
//! the brightness of the weave.

use tatter_core::channel::Channel;
use tatter_core::image::{Image, LinearRgb, Map, Normal, Rect, Size, Stored};
use tatter_core::kernel::{box_blur, gaussian};
use tatter_core::model::{MapRole, MapSet};

use crate::build::plan::Bounds;

/// Threads are told from slow relief by a Gaussian of this deviation, texels: between two texels, which is the finest thread
/// that can be drawn, and a dozen.
const SIGMA: f32 = 5.0;
/// Deviation of heights is measured over a square of this half side, texels.
const AROUND: usize = 40;
/// What is read around a part.
const APRON: usize = AROUND + 22;
/// Probes for the relief of the whole texture, along one side, and their side in texels.
const PROBES: (usize, usize) = (5, 96);
/// Relief below this deviation is noise of 8 bits or compression: of heights in mm, of slopes, of lightness.
const NOISE: [f32; 3] = [0.004, 0.012, 0.006];

/// Where relief is read from.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Source {
    Height,
    Normal,
    Brightness,
}

/// The relief of one map set's threads.
#[derive(Debug)]
pub(super) struct Relief<'a> {
    source: Option<(Source, &'a Stored, &'a MapRole)>,
    /// Usual deviation over the texture.
    usual: f32,
}

/// Relief of a window.
#[derive(Debug)]
pub(super) struct Threads {
    /// Deviations above (below) the cloth around, -2.5 to 2.5; 0 where the cloth shows no threads.
    pub(super) raised: Image<f32>,
    /// Millimetres above the cloth around; `None` without a height map.
    pub(super) crown_mm: Option<Image<f32>>,
}

impl<'a> Relief<'a> {
    pub(super) fn of(set: &'a MapSet, pictures: &'a [Stored]) -> Self {
        let sources =
            [(Source::Height, Channel::Height), (Source::Normal, Channel::Normal), (Source::Brightness, Channel::BaseColor)];
        for (source, channel) in sources {
            if let Some((stored, role)) = role_of(set, pictures, channel) {
                let mut relief = Self { source: Some((source, stored, role)), usual: 0.0 };
                relief.usual = relief.probe(stored.size);
                // A level map knows nothing of threads: what comes after it may.
                if relief.usual > NOISE[source as usize] {
                    return relief;
                }
            }
        }
        Self { source: None, usual: 0.0 }
    }

    /// What it was found to be, to be told to [`Relief::again`].
    pub(super) fn found(&self) -> Option<(Source, f32)> {
        self.source.map(|(source, ..)| (source, self.usual))
    }

    /// Of the same textures again, as it was found to be.
    pub(super) fn again(set: &'a MapSet, pictures: &'a [Stored], found: Option<(Source, f32)>) -> Self {
        let Some((source, usual)) = found else { return Self { source: None, usual: 0.0 } };
        let channel = match source {
            Source::Height => Channel::Height,
            Source::Normal => Channel::Normal,
            Source::Brightness => Channel::BaseColor,
        };
        let of = role_of(set, pictures, channel);
        Self { source: of.map(|(stored, role)| (source, stored, role)), usual }
    }

    /// What the person should hear of it.
    pub(super) fn note(&self, material: &str) -> Option<(&'static str, String)> {
        let on = if material.is_empty() { "the garment".to_owned() } else { format!("'{material}'") };
        match self.source {
            Some((Source::Height | Source::Normal, ..)) => None,
            Some((Source::Brightness, ..)) => Some((
                "relief-guessed",
                format!(
                    "{on} shows no threads in a height or normal map, so light threads of the base colour are taken for the high ones; add a height map to wear them truly"
                ),
            )),
            None => Some((
                "no-relief",
                format!(
                    "{on} shows no threads in any map, so all of them are worn alike; use larger textures or add a height map"
                ),
            )),
        }
    }

    /// The middle of the deviations over probes spread over the texture.
    fn probe(&self, size: Size) -> f32 {
        let (count, side) = (PROBES.0, PROBES.1.min(size.width).min(size.height).max(1));
        let mut deviations: Vec<f32> = (0..count * count)
            .map(|i| {
                let at = |i: usize, of: usize| (of - side) * i / (count - 1);
                let part = Rect::new(at(i % count, size.width), at(i / count, size.height), side, side);
                let high = self.high_pass(part);
                (high.texels().iter().map(|v| v * v).sum::<f32>() / high.texels().len().max(1) as f32).sqrt()
            })
            .collect();
        deviations.retain(|v| v.is_finite() && *v > 0.0);
        deviations.sort_by(f32::total_cmp);
        // The upper third: half of a texture may be empty.
        deviations.get(deviations.len() * 2 / 3).copied().unwrap_or(0.0)
    }

    /// Threads of a part of the source, slow relief taken away.
    fn high_pass(&self, part: Rect) -> Image<f32> {
        let Some((source, stored, role)) = self.source else { return Image::filled(part.width, part.height, 0.0) };
        let high = |image: &Image<f32>| {
            let slow = gaussian(image, SIGMA);
            image.zip(&slow, |v, slow| v - slow)
        };
        match (source, stored.decode(role.channel.info().kind, &role.coding, part)) {
            (_, Map::Height(image)) => high(&image.map(|h| h.0)),
            (_, Map::Color(image)) => high(&gaussian(&image.map(lightness), 0.7)),
            (Source::Normal, Map::Normal(image)) => high(&from_slopes(&image)),
            _ => Image::filled(part.width, part.height, 0.0),
        }
    }

    /// Of a window of a target of this size.
    pub(super) fn threads(&self, window: Bounds, size: Size) -> Threads {
        let (width, height) = ((window.x1 - window.x0) as usize, (window.y1 - window.y0) as usize);
        let Some((source, stored, _)) = self.source else {
            return Threads { raised: Image::filled(width, height, 0.0), crown_mm: None };
        };
        let scale = [stored.size.width as f32 / size.width as f32, stored.size.height as f32 / size.height as f32];
        let span = |from: i64, to: i64, scale: f32, limit: usize| {
            let low = ((from as f32 * scale) as usize).saturating_sub(APRON);
            let high = ((to as f32 * scale).ceil() as usize + APRON).min(limit);
            (low.min(limit - 1), high.max(low + 1).min(limit))
        };
        let (x0, x1) = span(window.x0, window.x1, scale[0], stored.size.width);
        let (y0, y1) = span(window.y0, window.y1, scale[1], stored.size.height);
        let high = self.high_pass(Rect::new(x0, y0, x1 - x0, y1 - y0));
        let squares = box_blur(&high.map(|v| v * v), AROUND);
        let noise = NOISE[source as usize];
        let raised = high.zip(&squares, |v, square| {
            // Half by what is usual: smooth cloth beside coarse is not torn up by its noise.
            let deviation = (0.5 * square.max(0.0) + 0.5 * self.usual * self.usual).sqrt().max(noise);
            (v / deviation).clamp(-2.5, 2.5)
        });
        let own = |image: &Image<f32>| {
            Image::from_fn(width, height, |x, y| {
                let at = |i: usize, from: i64, scale: f32, start: usize| ((from + i as i64) as f32 + 0.5) * scale - start as f32;
                image.bilinear(at(x, window.x0, scale[0], x0), at(y, window.y0, scale[1], y0))
            })
        };
        Threads { raised: own(&raised), crown_mm: (source == Source::Height).then(|| own(&high)) }
    }
}

/// The file and the role of a channel.
fn role_of<'a>(set: &'a MapSet, pictures: &'a [Stored], channel: Channel) -> Option<(&'a Stored, &'a MapRole)> {
    set.files.iter().zip(pictures).find_map(|(file, stored)| {
        let role = file.roles.iter().find(|role| role.channel == channel)?;
        Some((stored, role))
    })
}

/// Lightness: equal steps look equal.
fn lightness(color: LinearRgb) -> f32 {
    color.luminance().max(0.0).cbrt()
}

/// The height of threads from their slopes, in slopes: for relief of one wavelength the fall of the slopes is the height, up
/// to a factor.
fn from_slopes(normals: &Image<Normal>) -> Image<f32> {
    let fall = Image::from_fn(normals.width(), normals.height(), |x, y| {
        let at = |dx: isize, dy: isize| normals.get_clamped(x as isize + dx, y as isize + dy).slopes();
        // Slopes run up of the picture, rows down.
        0.5 * (at(-1, 0).0 - at(1, 0).0) + 0.5 * (at(0, 1).1 - at(0, -1).1)
    });
    gaussian(&fall, 1.2)
}
