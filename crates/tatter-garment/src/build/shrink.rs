//! Smaller copies of finished textures: every channel averaged as what it is.

use rayon::prelude::*;
use tatter_core::channel::{Channel, Kind};
use tatter_core::image::{Image, Layout, Map, MapRow, Pixel, Rect, Size, Stored, Unit};
use tatter_core::kernel::{area_resize, area_resize_rows, bilinear_resize};
use tatter_core::model::MapRole;

/// A picture a whole number of times smaller: colour averaged in linear light, normals as directions, roughness by its fourth power
/// (the breadth of a highlight), heights and other scalars as they are; components without a role by their codes. Works on rows
/// of 16 texels of the result; holds the result beside the picture.
///
/// # Panics
/// When `times` does not divide the size: a bug of the caller.
#[must_use]
pub fn shrink(stored: &Stored, roles: &[MapRole], times: usize) -> Stored {
    const ROWS: usize = 16;
    let size = Size::new(stored.size.width / times, stored.size.height / times);
    assert!(
        size.width * times == stored.size.width && size.height * times == stored.size.height,
        "a whole number of times smaller"
    );
    let mut out = Stored { tags: stored.tags.clone(), ..Stored::zeros(size, stored.layout, &stored.samples) };
    let bands: Vec<usize> = (0..size.height).step_by(ROWS).collect();
    for some in bands.chunks(64) {
        let parts: Vec<Stored> = some
            .par_iter()
            .map(|&y| band(stored, roles, times, Rect::new(0, y, size.width, ROWS.min(size.height - y))))
            .collect();
        some.iter().zip(parts).for_each(|(&y, part)| out.paste(&part, 0, y));
    }
    out
}

fn band(stored: &Stored, roles: &[MapRole], times: usize, part: Rect) -> Stored {
    let source = Rect::new(0, part.y * times, part.width * times, part.height * times);
    let mut out = Stored::zeros(part.size(), stored.layout, &stored.samples);
    let share = 1.0 / (times * times) as f32;
    for component in without_role(stored.layout, roles) {
        for y in 0..part.height {
            for x in 0..part.width {
                let own =
                    (0..times * times).map(|i| stored.value(x * times + i % times, source.y + y * times + i / times, component));
                out.set_value(x, y, component, own.sum::<f32>() * share);
            }
        }
    }
    let all = Image::filled(part.width, part.height, true);
    for role in roles {
        let map = averaged(stored, role, source, part.size());
        out.encode(&role.coding, Rect::whole(out.size), &map, &all);
    }
    out
}

/// Whole rows of a channel at another size, as [`resized`], decoded a row at a time: what a core holds is in its own cache.
fn averaged(stored: &Stored, role: &MapRole, source: Rect, Size { width, height }: Size) -> Map {
    macro_rules! rows {
        ($kind:ident, $each:expr) => {
            area_resize_rows(source.size(), width, height, |y| {
                match stored.decode_row(role.channel.info().kind, &role.coding, source.y + y, 0..source.width) {
                    MapRow::$kind(row) => row.iter().map($each).collect(),
                    _ => Vec::new(),
                }
            })
        };
    }
    match role.channel.info().kind {
        Kind::Color => Map::Color(rows!(Color, |v| *v)),
        Kind::Height => Map::Height(rows!(Height, |v| *v)),
        Kind::Normal => Map::Normal(rows!(Normal, |v| *v).map(|n| n.normalized())),
        Kind::Unit if role.channel == Channel::Roughness => {
            Map::Unit(rows!(Unit, |r| Unit(r.0.powi(4))).map(|r| Unit(r.0.max(0.0).sqrt().sqrt())))
        }
        Kind::Unit => Map::Unit(rows!(Unit, |v| *v)),
    }
}

/// Components that no channel is written into.
fn without_role(layout: Layout, roles: &[MapRole]) -> impl Iterator<Item = usize> {
    let count = layout.components();
    let has = move |component: usize| {
        roles.iter().any(|role| {
            let (first, kind) = (role.coding.component, role.channel.info().kind);
            let three = kind == Kind::Normal || kind == Kind::Color && count >= 3;
            (first..first + if three { 3 } else { 1 }).contains(&component)
        })
    };
    (0..count).filter(move |component| !has(*component))
}

/// A channel at another size, as what it is: smaller by means of the area a texel covers, larger by straight lines between texels.
pub(crate) fn resized(map: Map, channel: Channel, size: Size) -> Map {
    if map.size() == size {
        return map;
    }
    match map {
        Map::Color(image) => Map::Color(filtered(&image, size)),
        Map::Height(image) => Map::Height(filtered(&image, size)),
        Map::Normal(image) => Map::Normal(filtered(&image, size).map(|n| n.normalized())),
        Map::Unit(image) if channel == Channel::Roughness => {
            let fourth = filtered(&image.map(|r| Unit(r.0.powi(4))), size);
            Map::Unit(fourth.map(|r| Unit(r.0.max(0.0).sqrt().sqrt())))
        }
        Map::Unit(image) => Map::Unit(filtered(&image, size)),
    }
}

fn filtered<P: Pixel>(image: &Image<P>, Size { width, height }: Size) -> Image<P> {
    if width * height <= image.size().area() { area_resize(image, width, height) } else { bilinear_resize(image, width, height) }
}

#[cfg(test)]
mod tests {
    use super::*;
    use tatter_core::image::{Coding, Samples, Transfer};

    /// IEC 61966-2-1: a black and a white texel mix to half the light, code 188; roughness 0 and 1 to the fourth root of a half, 0.841.
    #[test]
    fn every_channel_is_averaged_as_what_it_is() {
        let role =
            |channel, component, transfer| MapRole { channel, coding: Coding { component, transfer, ..Coding::default() } };
        let color = Stored {
            samples: Samples::U8([[0u8; 3], [255; 3]].concat().repeat(2)),
            ..Stored::zeros(Size::new(2, 2), Layout::Rgb, &Samples::U8(Vec::new()))
        };
        let small = shrink(&color, &[role(Channel::BaseColor, 0, Transfer::Srgb)], 2);
        assert_eq!(small.samples, Samples::U8(vec![188; 3]), "half the light");
        let packed = shrink(&color, &[role(Channel::Roughness, 1, Transfer::Linear)], 2);
        assert_eq!(packed.samples, Samples::U8(vec![128, 214, 128]), "roughness by highlight, the rest by code");
    }
}
