//! `OpenEXR`: flat pictures of half or float samples, any lossless compression; the first flat part is read.

use std::io::Cursor;

use exr::block::reader::Reader;
use exr::image::{AnyChannel, AnyChannels, Encoding, FlatImage, FlatSamples, Image, Layer};
use exr::math::Vec2;
use exr::meta::attribute::{Chromaticities, IntegerBounds, SampleType, Text};
use exr::meta::header::{Header, LayerAttributes};
use exr::prelude::{ReadChannels as _, ReadLayers as _, SmallVec, WritableImage as _};
use half::f16;
use tatter_core::image::{ColorTags, Layout, Samples, Size, Stored};

use super::{Decoded, Effort, Fault, Limits, PictureFormat, PictureInfo, admit};

pub(super) fn is_exr(bytes: &[u8]) -> bool {
    bytes.starts_with(&[0x76, 0x2f, 0x31, 0x01])
}

fn fault(error: exr::error::Error) -> Fault {
    match error {
        exr::error::Error::NotSupported(what) => Fault::unsupported(what),
        other => Fault::damaged(other),
    }
}

/// What is read of a file: the part, and its channels in component order.
struct Plan {
    info: PictureInfo,
    names: Vec<String>,
    tags: ColorTags,
    display: IntegerBounds,
}

fn plan(bytes: &[u8], limits: &Limits) -> Result<Plan, Fault> {
    let reader = Reader::read_from_buffered(Cursor::new(bytes), false).map_err(fault)?;
    let headers = reader.headers();
    let header = headers.iter().find(|header| !header.deep).ok_or_else(|| Fault::unsupported("deep data"))?;
    let (layout, names) = components(header)?;
    let types = header.channels.list.iter().filter(|c| names.contains(&c.name.to_string())).map(|c| c.sample_type);
    let types: Vec<SampleType> = types.collect();
    if types.contains(&SampleType::U32) {
        return Err(Fault::unsupported("channels of whole numbers"));
    }
    let bits = if types.iter().all(|t| *t == SampleType::F16) { 16 } else { 32 };
    let display = header.shared_attributes.display_window;
    let window = header.own_attributes.layer_position;
    let bytes_per_texel = 8 * header.channels.list.len() as u64;
    admit(header.layer_size.0 as u64, header.layer_size.1 as u64, bytes_per_texel, limits)?;
    let size = admit(display.size.0 as u64, display.size.1 as u64, bytes_per_texel, limits)?;
    let whole = window == display.position && header.layer_size == display.size;
    let info = PictureInfo {
        format: PictureFormat::Exr,
        size,
        layout,
        bits,
        float: true,
        palette: false,
        ink: false,
        partial: !whole || headers.len() > 1 || names.len() < header.channels.list.len(),
        orientation: 1,
    };
    let tags = ColorTags {
        chromaticities: header.shared_attributes.chromaticities.map(|c| {
            let [w, r, g, b] = [c.white, c.red, c.green, c.blue].map(|p| [p.0, p.1].map(|v| (v * 100_000.0).round() as u32));
            [w[0], w[1], r[0], r[1], g[0], g[1], b[0], b[1]]
        }),
        channel_names: names.clone(),
        premultiplied: layout.has_alpha(),
        ..ColorTags::default()
    };
    Ok(Plan { info, names, tags, display })
}

/// Which channels make the picture: R, G, B or Y with A, then R, G, B with A of the first layer that is named before a dot, else up to
/// three unnamed ones in file order.
fn components(header: &Header) -> Result<(Layout, Vec<String>), Fault> {
    let found: Vec<String> = header.channels.list.iter().map(|channel| channel.name.to_string()).collect();
    let pick = |wanted: &[&str]| {
        let found = wanted.iter().map(|&name| found.iter().find(|f| *f == name).cloned());
        found.collect::<Option<Vec<String>>>()
    };
    let choices: [(Layout, &[&str]); 4] = [
        (Layout::Rgba, &["R", "G", "B", "A"]),
        (Layout::Rgb, &["R", "G", "B"]),
        (Layout::GrayAlpha, &["Y", "A"]),
        (Layout::Gray, &["Y"]),
    ];
    let subsampled = header.channels.list.iter().any(|channel| channel.sampling != Vec2(1, 1));
    if subsampled {
        return Err(Fault::unsupported("subsampled colour"));
    }
    for (layout, wanted) in choices {
        if let Some(names) = pick(wanted) {
            return Ok((layout, names));
        }
    }
    for layer in found.iter().filter_map(|name| name.strip_suffix(".R")) {
        let of = |wanted: &[&str]| {
            let names: Vec<String> = wanted.iter().map(|name| format!("{layer}.{name}")).collect();
            names.iter().all(|name| found.contains(name)).then_some(names)
        };
        let colour = choices.iter().filter(|(layout, _)| matches!(layout, Layout::Rgb | Layout::Rgba));
        if let Some(picked) = colour.into_iter().find_map(|(layout, wanted)| Some((*layout, of(wanted)?))) {
            return Ok(picked);
        }
    }
    match found.len() {
        1 => Ok((Layout::Gray, found)),
        3 => Ok((Layout::Rgb, found)),
        n => Err(Fault::unsupported(format!("a picture of {n} channels without R, G, B or Y"))),
    }
}

pub(super) fn probe(bytes: &[u8], limits: &Limits) -> Result<PictureInfo, Fault> {
    plan(bytes, limits).map(|plan| plan.info)
}

pub(super) fn decode(bytes: &[u8], limits: &Limits) -> Result<Decoded, Fault> {
    let Plan { info, names, tags, display } = plan(bytes, limits)?;
    let image: FlatImage = exr::image::read::read()
        .no_deep_data()
        .largest_resolution_level()
        .all_channels()
        .all_layers()
        .all_attributes()
        .from_buffered(Cursor::new(bytes))
        .map_err(fault)?;
    let layer = image.layer_data.into_iter().find(|layer| names.iter().all(|name| channel(&layer.channel_data, name).is_some()));
    let layer = layer.ok_or_else(|| Fault::damaged("its channels are missing"))?;
    let channels: Vec<&FlatSamples> = names.iter().filter_map(|name| channel(&layer.channel_data, name)).collect();
    let window = IntegerBounds { position: layer.attributes.layer_position, size: layer.size };
    let samples = if info.bits == 16 {
        Samples::F16(interleave(&channels, window, display, f16::ZERO, |samples, i| match samples {
            FlatSamples::F16(v) => v[i],
            _ => f16::ZERO,
        }))
    } else {
        Samples::F32(interleave(&channels, window, display, 0.0, |samples, i| match samples {
            FlatSamples::F16(v) => v[i].to_f32(),
            FlatSamples::F32(v) => v[i],
            FlatSamples::U32(_) => 0.0,
        }))
    };
    Ok(Decoded::plain(info, Stored { size: info.size, layout: info.layout, samples, tags }))
}

fn channel<'a>(channels: &'a AnyChannels<FlatSamples>, name: &str) -> Option<&'a FlatSamples> {
    channels.list.iter().find(|channel| channel.name.to_string() == name).map(|channel| &channel.sample_data)
}

/// Planes to texels; what the data window leaves of the display window is zero (technical introduction, "Overview").
fn interleave<T: Copy>(
    channels: &[&FlatSamples],
    window: IntegerBounds,
    display: IntegerBounds,
    zero: T,
    at: impl Fn(&FlatSamples, usize) -> T,
) -> Vec<T> {
    let Vec2(width, height) = display.size;
    let offset = |a: i32, b: i32| i64::from(a) - i64::from(b);
    let (dx, dy) = (offset(display.position.0, window.position.0), offset(display.position.1, window.position.1));
    let inside = |v: usize, d: i64, length: usize| usize::try_from(v as i64 + d).ok().filter(|&v| v < length);
    let mut out = Vec::with_capacity(width * height * channels.len());
    for y in 0..height {
        let row = inside(y, dy, window.size.1);
        for x in 0..width {
            let place = row.zip(inside(x, dx, window.size.0)).map(|(y, x)| y * window.size.0 + x);
            out.extend(channels.iter().map(|samples| place.map_or(zero, |i| at(samples, i))));
        }
    }
    out
}

pub(super) fn encode(stored: &Stored, _effort: Effort) -> Result<Vec<u8>, Fault> {
    let components = stored.layout.components();
    let usual: &[&str] = match stored.layout {
        Layout::Gray => &["Y"],
        Layout::GrayAlpha => &["Y", "A"],
        Layout::Rgb => &["R", "G", "B"],
        Layout::Rgba => &["R", "G", "B", "A"],
    };
    let kept = &stored.tags.channel_names;
    let name = |i: usize| if kept.len() == components { kept[i].clone() } else { usual[i].to_owned() };
    let mut list = SmallVec::new();
    for component in 0..components {
        let samples = match &stored.samples {
            Samples::F16(v) => FlatSamples::F16(v.iter().skip(component).step_by(components).copied().collect()),
            Samples::F32(v) => FlatSamples::F32(v.iter().skip(component).step_by(components).copied().collect()),
            Samples::U8(_) | Samples::U16(_) => return Err(Fault::unsupported("a picture of whole numbers")),
        };
        let text = Text::new_or_none(name(component)).ok_or_else(|| Fault::unsupported("a channel of that name"))?;
        list.push(AnyChannel::new(text, samples));
    }
    let Size { width, height } = stored.size;
    let layer = Layer::new((width, height), LayerAttributes::default(), Encoding::SMALL_LOSSLESS, AnyChannels::sort(list));
    let mut image = Image::from_layer(layer);
    image.attributes.chromaticities = stored.tags.chromaticities.map(|c| {
        let at = |i: usize| Vec2(c[i] as f32 / 100_000.0, c[i + 1] as f32 / 100_000.0);
        Chromaticities { white: at(0), red: at(2), green: at(4), blue: at(6) }
    });
    let mut out = Cursor::new(Vec::new());
    image.write().to_buffered(&mut out).map_err(fault)?;
    Ok(out.into_inner())
}
