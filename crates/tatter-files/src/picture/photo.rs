//! From a decoded file to a [`Photo`]: linear, upright.

use rayon::prelude::*;
use tatter_core::image::{Image, Layout, LinearRgb, Samples, Stored, Unit};
use tatter_core::model::Photo;

use super::color::{self, Lookup};
use super::exif::{is_turned, stored_place};
use super::{Decoded, Fault, Limits};

/// Bytes a texel of a photo with alpha takes.
const PHOTO_TEXEL: u64 = 16;

pub(super) fn develop(decoded: Decoded, name: String, hash: String, limits: &Limits) -> Result<Photo, Fault> {
    let Decoded { info, stored, by_profile } = decoded;
    if !shows_light(&stored.tags.channel_names) {
        let names = stored.tags.channel_names.join(", ");
        return Err(Fault::unsupported(format!("a photo of the channels {names}, without R, G, B or Y,")));
    }
    super::admit(stored.size.width as u64, stored.size.height as u64, PHOTO_TEXEL, limits)?;
    let described = color::describe(&stored.tags, stored.is_float())?;
    let lookup = Lookup::new(&described.light, &stored.samples);
    let (width, height) = (stored.size.width, stored.size.height);
    let alpha = alpha(&stored);
    let mut texels = vec![LinearRgb::default(); width * height];
    let rows = texels.par_chunks_mut(width).enumerate().map(|(y, row)| {
        let row: &mut [[f32; 3]] = bytemuck::cast_slice_mut(row);
        develop_row(&stored, y, &lookup, row)
    });
    let unread = rows.try_reduce(|| 0, |a, b| Ok(a + b))?;
    if unread > 0 && unread == width * height {
        return Err(Fault::damaged("every pixel of it holds a value that is no finite number"));
    }
    let color = upright(Image::from_vec(width, height, texels), info.orientation);
    let alpha = alpha.map(|alpha| upright(alpha, info.orientation));
    let color_source = if info.ink {
        if by_profile { "embedded profile of inks" } else { "inks without a profile, plain conversion" }
    } else {
        described.source
    };
    Ok(Photo { name, color, alpha, unread, bits: info.bits, color_source: color_source.into(), hash })
}

/// Whether channels of these names are colours or light; where a format does not name them they are.
fn shows_light(names: &[String]) -> bool {
    let is = |name: &str, wanted: &str| name.rsplit('.').next() == Some(wanted);
    names.is_empty() || names.iter().any(|name| name == "Y") || ["R", "G", "B"].iter().all(|w| names.iter().any(|n| is(n, w)))
}

/// Make one row linear; how many of its pixels held a value that is no finite number.
fn develop_row(stored: &Stored, y: usize, lookup: &Lookup<'_>, row: &mut [[f32; 3]]) -> Result<usize, Fault> {
    let components = stored.layout.components();
    let step = usize::from(components >= 3);
    let start = y * stored.size.width * components;
    let has_alpha = stored.layout.has_alpha() && stored.tags.premultiplied;
    // Premultiplied whole numbers are divided first, so they have no code of their own.
    match &stored.samples {
        Samples::U8(v) if !has_alpha => lookup.row(row, |x, i| Some(usize::from(v[start + x * components + step * i])))?,
        Samples::U16(v) if !has_alpha => lookup.row(row, |x, i| Some(usize::from(v[start + x * components + step * i])))?,
        _ => {
            for (x, texel) in row.iter_mut().enumerate() {
                let alpha = if has_alpha { stored.value(x, y, components - 1) } else { 1.0 };
                let divisor = if alpha > 0.0 { alpha } else { 1.0 };
                *texel = std::array::from_fn(|i| stored.value(x, y, step * i) / divisor);
            }
            let unread = row.iter().filter(|texel| texel.iter().any(|value| !value.is_finite())).count();
            lookup.row(row, |_, _| None)?;
            // A float file may hold anything; past here no sum meets a NaN.
            for value in row.as_flattened_mut().iter_mut().filter(|value| !value.is_finite()) {
                *value = 0.0;
            }
            return Ok(unread);
        }
    }
    Ok(0)
}

/// The alpha of a file, if any texel of it is below 1.
fn alpha(stored: &Stored) -> Option<Image<Unit>> {
    let last = match stored.layout {
        Layout::GrayAlpha => 1,
        Layout::Rgba => 3,
        Layout::Gray | Layout::Rgb => return None,
    };
    let at = |x, y| {
        let value = stored.value(x, y, last);
        Unit(if value.is_finite() { value.clamp(0.0, 1.0) } else { 0.0 })
    };
    let alpha = Image::from_fn(stored.size.width, stored.size.height, at);
    alpha.texels().iter().any(|alpha| alpha.0 < 1.0).then_some(alpha)
}

fn upright<P: Copy + Send + Sync>(image: Image<P>, orientation: u8) -> Image<P> {
    let (width, height) = (image.width(), image.height());
    let (w, h) = if is_turned(orientation) { (height, width) } else { (width, height) };
    if orientation <= 1 {
        return image;
    }
    Image::from_fn(w, h, |x, y| {
        let (x, y) = stored_place(orientation, width, height, x, y);
        image.get(x, y)
    })
}
