//! Pictures of a patch for people: `thumb.png` and `sheet.png`.

mod draw;
mod lit;
mod swatch;

use tatter_core::channel::Channel;
use tatter_core::image::{Image, LinearRgb, Map, Unit};
use tatter_core::kernel::{area_resize, bilinear_resize};
use tatter_core::model::{Patch, PatchMap};
use tatter_core::stats::{quantile, sample};

use draw::{Panel, compose};
pub(crate) use lit::lit_maps;
use lit::{lit, lit_apart, plain};
pub(crate) use swatch::Swatch;

/// Side of one view on the sheet, texels.
const VIEW: usize = 448;
/// Side of the thumbnail, texels.
const THUMB: usize = 256;

/// All maps side by side with their names and kinds, and the patch lit on a checker. 8-bit sRGB values in linear light.
#[must_use]
pub fn sheet(patch: &Patch) -> Image<LinearRgb> {
    sheet_beside(patch, &lit(patch))
}

/// [`thumb`] and [`sheet`].
pub(crate) fn thumb_and_sheet(patch: &Patch) -> [Image<LinearRgb>; 2] {
    let lit = lit(patch);
    [thumb(patch), sheet_beside(patch, &lit)]
}

fn sheet_beside(patch: &Patch, lit: &Image<LinearRgb>) -> Image<LinearRgb> {
    let mut panels = vec![Panel::new("lit, on a checker", fit(lit, VIEW))];
    for channel in Channel::ALL {
        if let Some(entry) = &patch.maps[channel] {
            let title = format!("{channel} ({}){}", entry.origin.name(), range(channel, patch));
            panels.push(Panel::new(&title, small(channel, entry.map(), patch, VIEW)));
        }
    }
    compose(&panels, &caption(patch))
}

/// One view before and after.
pub(crate) struct Pair {
    pub(crate) title: String,
    pub(crate) before: Image<LinearRgb>,
    pub(crate) after: Image<LinearRgb>,
}

/// Views with their titles, each before above after.
#[must_use]
pub(crate) fn pairs(views: &[Pair]) -> Image<LinearRgb> {
    let panels: Vec<Panel> = views
        .iter()
        .map(|Pair { title, before, after }| {
            let mut pair = Image::filled(before.width(), before.height() + after.height(), LinearRgb([0.0; 3]));
            pair.paste(before, 0, 0);
            pair.paste(after, 0, before.height());
            Panel::new(title, pair)
        })
        .collect();
    compose(&panels, &["before above, after below".to_owned()])
}

/// A small lit picture of what there is of it.
#[must_use]
pub fn thumb(patch: &Patch) -> Image<LinearRgb> {
    fit(&lit_apart(patch), THUMB)
}

/// The patch in even light and under one lamp, over a checker where it is see-through or ends; the longer side `side` texels.
pub(crate) fn views(patch: &Patch, side: usize) -> [Image<LinearRgb>; 2] {
    [plain(patch), lit(patch)].map(|view| fit(&view, side))
}

/// Each map as people read it, its longer side `side` texels.
pub(crate) fn map_views(patch: &Patch, side: usize) -> Vec<(Channel, Image<LinearRgb>)> {
    let view = |(channel, entry): (Channel, &Option<PatchMap>)| {
        entry.as_ref().map(|entry| (channel, small(channel, entry.map(), patch, side)))
    };
    patch.maps.iter().filter_map(view).collect()
}

fn caption(patch: &Patch) -> [String; 2] {
    let size = patch.size();
    let [width, height] = patch.size_mm();
    let count = match (patch.ends_per_cm, patch.picks_per_cm) {
        (Some(ends), Some(picks)) => format!("{:.1} ends, {:.1} picks per cm", ends.get(), picks.get()),
        _ => "thread count unknown".to_owned(),
    };
    let grain = patch.grain.map_or_else(|| "no grain".to_owned(), |g| format!("grain {:.1} deg", g.to_degrees()));
    let sure = patch.scale_uncertainty.map_or_else(String::new, |share| format!(" to {:.2} %", 100.0 * share));
    let measures = format!("{} x {} texels - {:.1} x {:.1} mm", size.width, size.height, width.get(), height.get());
    [
        format!("{} - {} - {measures}", patch.name, patch.subject.name()),
        format!("scale: {}{sure} - {count} - {grain}", patch.scale_source.name()),
    ]
}

/// What translucency a patch has where it lies, in words for its title: the shares that a twentieth stay below and above.
fn range(channel: Channel, patch: &Patch) -> String {
    let unit = |channel| patch.map(channel).and_then(Map::as_unit);
    let (Channel::Translucency, Some(map), Some(cover)) = (channel, unit(Channel::Translucency), unit(Channel::Cover)) else {
        return String::new();
    };
    let mut inside = sample(&map.map(|v| v.0), &cover.map(|c| if c.0 > 0.5 { 1.0 } else { 0.0 }));
    if inside.is_empty() {
        return String::new();
    }
    let [low, high] = [0.05, 0.95].map(|share| 100.0 * quantile(&mut inside, share));
    format!(", {low:.0} to {high:.0} %")
}

/// A map as people read it: scalars grey, heights stretched over their range, normals in their usual coding; translucency as the light
/// that it lets through, since a tenth of it is much and would look black among shares evenly spaced.
pub(crate) fn visible(channel: Channel, map: &Map, patch: &Patch) -> Image<LinearRgb> {
    // What looks evenly spaced is evenly spaced in code values, hence the decoding of data as if it were sRGB.
    let gray = |v: f32| LinearRgb([tatter_core::color::decode_srgb(v.clamp(0.0, 1.0)); 3]);
    match map {
        Map::Color(image) => image.clone(),
        Map::Unit(image) if channel == Channel::Translucency => image.map(|Unit(v)| LinearRgb([v.clamp(0.0, 1.0); 3])),
        Map::Unit(image) => image.map(|Unit(v)| gray(v)),
        Map::Height(image) => {
            let range = patch.height_range;
            image.map(|h| gray((h.0 - range.low_mm) / range.span_mm().max(1e-6)))
        }
        Map::Normal(image) => {
            image.map(|n| LinearRgb(n.0.map(|axis| tatter_core::color::decode_srgb((0.5 * axis + 0.5).clamp(0.0, 1.0)))))
        }
    }
}

/// A map as people read it, its longer side `side` texels. A large one is averaged as the data that it is, and then shown.
fn small(channel: Channel, map: &Map, patch: &Patch, side: usize) -> Image<LinearRgb> {
    let size = map.size();
    let longest = size.width.max(size.height);
    if longest <= side {
        return fit(&visible(channel, map, patch), side);
    }
    let [width, height] = [size.width, size.height].map(|texels| (texels * side / longest).max(1));
    let map = match map {
        Map::Color(image) => Map::Color(area_resize(image, width, height)),
        Map::Unit(image) => Map::Unit(area_resize(image, width, height)),
        Map::Height(image) => Map::Height(area_resize(image, width, height)),
        Map::Normal(image) => Map::Normal(area_resize(image, width, height)),
    };
    visible(channel, &map, patch)
}

/// Scaled so that the longer side is `side`.
fn fit(image: &Image<LinearRgb>, side: usize) -> Image<LinearRgb> {
    let longest = image.width().max(image.height()).max(1);
    let scaled = |v: usize| (v * side / longest).max(1);
    let (width, height) = (scaled(image.width()), scaled(image.height()));
    if longest > side { area_resize(image, width, height) } else { bilinear_resize(image, width, height) }
}
