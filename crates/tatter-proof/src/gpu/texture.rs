//! A material's channels packed into three textures, at the size a view needs, with smaller ones for distance.

use glam::Vec3;
use rayon::prelude::*;
use tatter_core::channel::Channel;
use tatter_core::color::{decode_srgb, srgb_code};
use tatter_core::image::{Image, Map, Pixel, Rect, Size};
use tatter_core::kernel::area_resize;

use crate::scene::{Material, Source};

/// The three textures of a material, in the order of `scene.wgsl`.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Packing {
    /// Colour (sRGB) and opacity.
    Color,
    /// The mean normal's direction, and its length.
    Normal,
    /// Occlusion, roughness, metallic, height code.
    Surface,
}

impl Packing {
    pub(super) const ALL: [Self; 3] = [Self::Color, Self::Normal, Self::Surface];

    pub(super) const fn format(self) -> wgpu::TextureFormat {
        match self {
            Self::Color => wgpu::TextureFormat::Rgba8UnormSrgb,
            Self::Normal | Self::Surface => wgpu::TextureFormat::Rgba8Unorm,
        }
    }

    /// Channels with what stands where one is missing.
    fn channels(self) -> &'static [(Channel, f32)] {
        match self {
            Self::Color => &[(Channel::BaseColor, 0.45), (Channel::Opacity, 1.0)],
            Self::Normal => &[(Channel::Normal, 0.0)],
            Self::Surface => {
                &[(Channel::Occlusion, 1.0), (Channel::Roughness, 1.0), (Channel::Metallic, 0.0), (Channel::Height, 0.0)]
            }
        }
    }
}

/// A texture and its halves: sides, and four bytes a texel.
pub(super) struct Levels {
    pub(super) size: Size,
    pub(super) levels: Vec<Vec<u8>>,
}

/// So many halvings of a part of a texture need no texel beside it, when it begins and ends on multiples of two to their power.
pub(super) const APART: usize = 4;

/// The size a material's channels are packed at, with at least `needed` texels along a unit of texture coordinates, if their files have
/// as many.
pub(super) fn packed_size(material: &Material<'_>, packing: Packing, needed: f32) -> Size {
    let sizes = packing.channels().iter().filter_map(|(channel, _)| material.source(*channel)).map(|source| source.picture.size);
    reduced(sizes.max_by_key(|size| size.area()).unwrap_or(Size { width: 1, height: 1 }), needed)
}

/// Pack a material's channels at a size, all halvings. Rows are decoded 64 at a time, so beside the result (5.3 bytes a texel) a few MB
/// are needed.
pub(super) fn packed(material: &Material<'_>, packing: Packing, size: Size) -> Levels {
    packed_part(material, packing, size, Rect::whole(size), usize::MAX)
}

/// A part of it, with at most so many halvings. A part that ends within the texture begins and ends on a multiple of two to their power.
pub(super) fn packed_part(material: &Material<'_>, packing: Packing, size: Size, part: Rect, halvings: usize) -> Levels {
    const ROWS: usize = 64;
    let sources: Vec<(Channel, f32, Option<&Source<'_>>)> =
        packing.channels().iter().map(|(channel, plain)| (*channel, *plain, material.source(*channel))).collect();
    let mut whole = vec![0; 4 * part.width * part.height];
    whole.par_chunks_mut(4 * part.width * ROWS).enumerate().for_each(|(strip, out)| {
        let rows = out.len() / 4 / part.width;
        fill(packing, &sources, size, Rect::new(part.x, part.y + strip * ROWS, part.width, rows), out);
    });
    let levels = halvings_of(packing, whole, part.size(), halvings);
    Levels { size: part.size(), levels }
}

/// A packed texture and at most so many of its halvings.
pub(super) fn halvings_of(packing: Packing, whole: Vec<u8>, size: Size, halvings: usize) -> Vec<Vec<u8>> {
    let (mut levels, mut side) = (vec![whole], size);
    while (side.width > 1 || side.height > 1) && levels.len() <= halvings {
        let below = levels.last().map_or(&[][..], Vec::as_slice);
        let (next, smaller) = halved(packing, below, side);
        levels.push(smaller);
        side = next;
    }
    levels
}

/// Halve while more than enough is left and both sides divide.
fn reduced(mut size: Size, needed: f32) -> Size {
    while size.width.min(size.height) as f32 * 0.5 >= needed && size.width.is_multiple_of(2) && size.height.is_multiple_of(2) {
        size = Size { width: size.width / 2, height: size.height / 2 };
    }
    size
}

fn byte(value: f32) -> u8 {
    (value.clamp(0.0, 1.0) * 255.0 + 0.5) as u8
}

fn fill(packing: Packing, sources: &[(Channel, f32, Option<&Source<'_>>)], size: Size, part: Rect, out: &mut [u8]) {
    let maps: Vec<Option<Map>> =
        sources.iter().map(|(channel, _, source)| source.map(|s| strip(s, *channel, size, part))).collect();
    let unit = |i: usize, at: usize| match &maps[i] {
        Some(Map::Unit(image)) => image.texels()[at].0,
        Some(Map::Height(image)) => {
            let range = sources[i].2.map_or_else(Default::default, |source| source.coding.height_range);
            (image.texels()[at].0 - range.low_mm) / range.span_mm().max(1e-9)
        }
        _ => sources[i].1,
    };
    for (at, texel) in out.chunks_exact_mut(4).enumerate() {
        let packed = match packing {
            Packing::Color => {
                let color = match &maps[0] {
                    Some(Map::Color(image)) => image.texels()[at].0,
                    _ => [sources[0].1; 3],
                };
                let [r, g, b] = color.map(srgb_code);
                [r, g, b, byte(unit(1, at))]
            }
            Packing::Normal => match &maps[0] {
                Some(Map::Normal(image)) => directed(Vec3::from_array(image.texels()[at].0)),
                _ => directed(Vec3::Z),
            },
            Packing::Surface => std::array::from_fn(|i| byte(unit(i, at))),
        };
        texel.copy_from_slice(&packed);
    }
}

/// A mean normal as direction and length.
fn directed(mean: Vec3) -> [u8; 4] {
    let length = mean.length();
    let direction = if length > 1e-6 { mean / length } else { Vec3::Z };
    let [x, y, z] = direction.to_array().map(|v| byte(0.5 * v + 0.5));
    [x, y, z, byte(length)]
}

/// A part of a channel at another size.
fn strip(source: &Source<'_>, channel: Channel, size: Size, part: Rect) -> Map {
    let from = source.picture.size;
    let decode = |rows: Rect| source.picture.decode(channel.info().kind, &source.coding, rows);
    if from.width.is_multiple_of(size.width) && from.height.is_multiple_of(size.height) {
        let times = from.height / size.height;
        let across = from.width / size.width;
        let map = decode(Rect::new(part.x * across, part.y * times, part.width * across, part.height * times));
        return if from == size { map } else { resized(&map, &Resize::Shrink(part.size())) };
    }
    // Sides that do not divide: read between texels.
    let scale = [from.width as f32 / size.width as f32, from.height as f32 / size.height as f32];
    let first = ((part.y as f32 * scale[1]).floor() as usize).saturating_sub(1).min(from.height - 1);
    let last = ((part.bottom() as f32 * scale[1]).ceil() as usize + 2).min(from.height);
    let map = decode(Rect::new(0, first, from.width, last - first));
    resized(&map, &Resize::Read { part, scale, first })
}

enum Resize {
    /// The mean of whole blocks.
    Shrink(Size),
    /// Between texels: rows of `part` from a picture `scale` times as large, of which rows from `first` on are at hand.
    Read { part: Rect, scale: [f32; 2], first: usize },
}

fn resized(map: &Map, how: &Resize) -> Map {
    match map {
        Map::Color(image) => Map::Color(one_resized(image, how)),
        Map::Unit(image) => Map::Unit(one_resized(image, how)),
        Map::Height(image) => Map::Height(one_resized(image, how)),
        Map::Normal(image) => Map::Normal(one_resized(image, how)),
    }
}

fn one_resized<P: Pixel>(image: &Image<P>, how: &Resize) -> Image<P> {
    match how {
        Resize::Shrink(size) => area_resize(image, size.width, size.height),
        Resize::Read { part, scale, first } => Image::from_fn(part.width, part.height, |x, y| {
            image.bilinear(((part.x + x) as f32 + 0.5) * scale[0], ((part.y + y) as f32 + 0.5) * scale[1] - *first as f32)
        }),
    }
}

fn halved(packing: Packing, texels: &[u8], size: Size) -> (Size, Vec<u8>) {
    let next = Size { width: (size.width / 2).max(1), height: (size.height / 2).max(1) };
    let row = 4 * size.width;
    let four = |x: usize, y: usize| {
        let (x, y) = (2 * x, 2 * y);
        let (right, down) = ((x + 1).min(size.width - 1), (y + 1).min(size.height - 1));
        [[x, y], [right, y], [x, down], [right, down]].map(|[x, y]| {
            let at = y * row + 4 * x;
            [texels[at], texels[at + 1], texels[at + 2], texels[at + 3]]
        })
    };
    let mean = |texels: [[u8; 4]; 4], i: usize| texels.iter().map(|t| f32::from(t[i])).sum::<f32>() / (4.0 * 255.0);
    let light: Vec<f32> = (0..=255_u8).map(|v| decode_srgb(f32::from(v) / 255.0)).collect();
    let mut out = vec![0; 4 * next.area()];
    out.par_chunks_mut(4 * next.width).enumerate().for_each(|(y, line)| {
        for (x, texel) in line.chunks_exact_mut(4).enumerate() {
            let t = four(x, y);
            let packed = match packing {
                Packing::Color => {
                    let color = |i: usize| srgb_code(t.iter().map(|t| light[usize::from(t[i])]).sum::<f32>() / 4.0);
                    [color(0), color(1), color(2), byte(mean(t, 3))]
                }
                Packing::Normal => {
                    let vector = |t: [u8; 4]| {
                        let [x, y, z, length] = t.map(|v| f32::from(v) / 255.0);
                        (2.0 * Vec3::new(x, y, z) - 1.0).normalize_or_zero() * length
                    };
                    directed(t.into_iter().map(vector).sum::<Vec3>() / 4.0)
                }
                Packing::Surface => std::array::from_fn(|i| byte(mean(t, i))),
            };
            texel.copy_from_slice(&packed);
        }
    });
    (next, out)
}
