//! TIFF 6.0, first page: whole numbers of 1 to 16 bits, half and full floats, grey, RGB, palette and CMYK.

use std::io::Cursor;

use tatter_core::image::{ColorTags, Layout, Samples, Stored};
use tiff::decoder::{Decoder, DecodingResult, Limits as TiffLimits};
use tiff::encoder::colortype::{Gray8, Gray16, Gray32Float, RGB8, RGB16, RGB32Float};
use tiff::encoder::{Compression, DeflateLevel, ImageEncoder, Predictor, TiffEncoder, TiffKind, TiffValue};
use tiff::tags::{ExtraSamples, PhotometricInterpretation, Tag};
use tiff::{ColorType, TiffError};

use super::{Decoded, Effort, Fault, Limits, PictureFormat, PictureInfo, admit, color};

pub(super) fn is_tiff(bytes: &[u8]) -> bool {
    [b"II\x2a\0", b"MM\0\x2a", b"II\x2b\0", b"MM\0\x2b"].iter().any(|mark| bytes.starts_with(*mark))
}

type Reader<'a> = Decoder<Cursor<&'a [u8]>>;

fn fault(error: TiffError) -> Fault {
    match error {
        TiffError::UnsupportedError(what) => Fault::unsupported(what),
        TiffError::LimitsExceeded => Fault::damaged("it asks for more memory than its size needs"),
        other => Fault::damaged(other),
    }
}

/// Bytes a texel while decoding, at most.
const WORKING_BYTES: u64 = 16;

fn open<'a>(bytes: &'a [u8], limits: &Limits) -> Result<(Reader<'a>, PictureInfo, ColorType), Fault> {
    let most = usize::try_from(limits.max_bytes).unwrap_or(usize::MAX);
    let mut bounds = TiffLimits::default();
    bounds.decoding_buffer_size = most;
    bounds.intermediate_buffer_size = most;
    bounds.ifd_value_size = 16 << 20;
    let mut reader = Decoder::new(Cursor::new(bytes)).map_err(fault)?.with_limits(bounds);
    let (width, height) = reader.dimensions().map_err(fault)?;
    let size = admit(width.into(), height.into(), WORKING_BYTES, limits)?;
    let color = reader.colortype().map_err(fault)?;
    let formats: Vec<u16> = reader.find_tag_unsigned_vec(Tag::SampleFormat).map_err(fault)?.unwrap_or_default();
    let float = formats.first() == Some(&3);
    if formats.first() == Some(&2) {
        return Err(Fault::unsupported("a picture of signed numbers"));
    }
    let bits = color.bit_depth();
    if !matches!((bits, float), (1 | 2 | 4 | 8 | 16, false) | (16 | 32, true)) {
        return Err(Fault::unsupported(format!("a depth of {bits} bits")));
    }
    let orientation: Option<u16> = reader.find_tag_unsigned(Tag::Orientation).map_err(fault)?;
    let info = PictureInfo {
        format: PictureFormat::Tiff,
        size,
        layout: layout(&mut reader, color)?,
        bits,
        float,
        palette: false,
        ink: matches!(color, ColorType::CMYK(_) | ColorType::CMYKA(_)),
        partial: reader.more_images(),
        orientation: orientation.and_then(|o| u8::try_from(o).ok()).filter(|o| (1..=8).contains(o)).unwrap_or(1),
    };
    Ok((reader, info, color))
}

fn layout(reader: &mut Reader<'_>, color: ColorType) -> Result<Layout, Fault> {
    let photometric: Option<u16> = reader.find_tag_unsigned(Tag::PhotometricInterpretation).map_err(fault)?;
    let gray = photometric.is_some_and(|p| {
        p == PhotometricInterpretation::BlackIsZero.to_u16() || p == PhotometricInterpretation::WhiteIsZero.to_u16()
    });
    match color {
        ColorType::Gray(_) => Ok(Layout::Gray),
        ColorType::GrayA(_) => Ok(Layout::GrayAlpha),
        ColorType::Multiband { num_samples: 2, .. } if gray => Ok(Layout::GrayAlpha),
        ColorType::RGB(_) | ColorType::CMYK(_) => Ok(Layout::Rgb),
        ColorType::RGBA(_) | ColorType::CMYKA(_) => Ok(Layout::Rgba),
        other => Err(Fault::unsupported(format!("the colour type {other:?}"))),
    }
}

/// The decoder knows no palettes, so their first page is shown to it as grey: a copy of the file with that one tag changed.
/// The colours are looked up here.
fn palette_as_gray(bytes: &[u8]) -> Option<Vec<u8>> {
    let little = match bytes.first_chunk::<4>()? {
        b"II\x2a\0" => true,
        b"MM\0\x2a" => false,
        _ => return None,
    };
    let two = |at: usize| {
        let pair: [u8; 2] = bytes.get(at..at.checked_add(2)?)?.try_into().ok()?;
        Some(if little { u16::from_le_bytes(pair) } else { u16::from_be_bytes(pair) })
    };
    let four: [u8; 4] = bytes.get(4..8)?.try_into().ok()?;
    let directory = usize::try_from(if little { u32::from_le_bytes(four) } else { u32::from_be_bytes(four) }).ok()?;
    let entries = (0..usize::from(two(directory)?)).map(|i| directory + 2 + 12 * i);
    let entry = entries.into_iter().find(|&entry| two(entry) == Some(Tag::PhotometricInterpretation.to_u16()))?;
    (two(entry + 8)? == PhotometricInterpretation::RGBPalette.to_u16()).then(|| {
        let mut copy = bytes.to_vec();
        copy[entry + 8 + usize::from(!little)] = PhotometricInterpretation::BlackIsZero.to_u16() as u8;
        copy
    })
}

/// What [`open`] says, palettes included.
fn open_any<'a>(bytes: &'a [u8], gray: Option<&'a [u8]>, limits: &Limits) -> Result<(Reader<'a>, PictureInfo, ColorType), Fault> {
    let (reader, mut info, color) = open(gray.unwrap_or(bytes), limits)?;
    if gray.is_some() {
        info.palette = true;
        info.layout = Layout::Rgb;
    }
    Ok((reader, info, color))
}

pub(super) fn probe(bytes: &[u8], limits: &Limits) -> Result<PictureInfo, Fault> {
    open_any(bytes, palette_as_gray(bytes).as_deref(), limits).map(|(_, info, _)| info)
}

pub(super) fn decode(bytes: &[u8], limits: &Limits) -> Result<Decoded, Fault> {
    let gray = palette_as_gray(bytes);
    let (mut reader, info, color) = open_any(bytes, gray.as_deref(), limits)?;
    let extra: Vec<u16> = reader.find_tag_unsigned_vec(Tag::ExtraSamples).map_err(fault)?.unwrap_or_default();
    let icc = reader.find_tag(Tag::IccProfile).map_err(fault)?.and_then(|value| value.into_u8_vec().ok());
    let tags = ColorTags { icc, premultiplied: info.layout.has_alpha() && extra.first() == Some(&1), ..ColorTags::default() };
    let mut result = DecodingResult::U8(Vec::new());
    let planes = reader.read_image_to_buffer(&mut result).map_err(fault)?.planes;
    let components = usize::from(color.num_samples());
    let samples = match result {
        DecodingResult::U8(v) if info.bits < 8 => Samples::U8(widen(&v, info, components)),
        DecodingResult::U8(v) => Samples::U8(chunky(v, planes)),
        DecodingResult::U16(v) => Samples::U16(chunky(v, planes)),
        DecodingResult::F16(v) => Samples::F16(chunky(v, planes)),
        DecodingResult::F32(v) => Samples::F32(chunky(v, planes)),
        _ => return Err(Fault::unsupported("this kind of sample")),
    };
    if count(&samples) != info.size.area() * components {
        return Err(Fault::damaged("its strips don't fill its size"));
    }
    if info.palette {
        let map: Vec<u16> = reader.find_tag_unsigned_vec(Tag::ColorMap).map_err(fault)?.unwrap_or_default();
        let samples = through_palette(&samples, info.bits, &map)?;
        return Ok(Decoded::plain(info, Stored { size: info.size, layout: info.layout, samples, tags }));
    }
    if info.ink {
        return from_inks(&samples, info, tags.icc.as_deref());
    }
    Ok(Decoded::plain(info, Stored { size: info.size, layout: info.layout, samples, tags }))
}

fn from_inks(samples: &Samples, info: PictureInfo, icc: Option<&[u8]>) -> Result<Decoded, Fault> {
    let values: Vec<u16> = match samples {
        Samples::U8(v) => v.iter().map(|&v| u16::from(v) * 257).collect(),
        Samples::U16(v) => v.clone(),
        _ => return Err(Fault::unsupported("inks of floats")),
    };
    let (codes, by_profile) = if info.layout == Layout::Rgba {
        let inks: Vec<u16> = values.as_chunks::<5>().0.iter().flat_map(|&[c, m, y, k, _]| [c, m, y, k]).collect();
        let (codes, by_profile) = color::from_inks(&inks, icc);
        let alpha = values.iter().skip(4).step_by(5);
        let texels = codes.as_chunks::<3>().0.iter().zip(alpha);
        (texels.flat_map(|(&[r, g, b], &a)| [r, g, b, a]).collect(), by_profile)
    } else {
        color::from_inks(&values, icc)
    };
    let stored = Stored { size: info.size, layout: info.layout, samples: Samples::U16(codes), tags: ColorTags::srgb() };
    Ok(Decoded { info, stored, by_profile })
}

fn count(samples: &Samples) -> usize {
    match samples {
        Samples::U8(v) => v.len(),
        Samples::U16(v) => v.len(),
        Samples::F16(v) => v.len(),
        Samples::F32(v) => v.len(),
    }
}

/// Planes one after the other (planar configuration 2) to interleaved texels.
fn chunky<T: Copy>(samples: Vec<T>, planes: usize) -> Vec<T> {
    if planes <= 1 {
        return samples;
    }
    let texels = samples.len() / planes;
    (0..texels * planes).map(|i| samples[i % planes * texels + i / planes]).collect()
}

/// Packed samples of 1, 2 or 4 bits, rows on byte boundaries, to bytes; grey scaled to 255, palette indices as they are.
fn widen(packed: &[u8], info: PictureInfo, components: usize) -> Vec<u8> {
    let bits = usize::from(info.bits);
    let row = info.size.width * components;
    let stride = (row * bits).div_ceil(8);
    let full = (1_u8 << bits) - 1;
    let factor = if info.palette { 1 } else { 255 / full };
    let sample = |i: usize| (packed[i / 8] >> (8 - bits - i % 8)) & full;
    let rows = packed.len() / stride.max(1);
    (0..rows).flat_map(|y| (0..row).map(move |x| sample(y * stride * 8 + x * bits) * factor)).collect()
}

/// Palettes are of 16 bits (TIFF 6.0 section 8); those whose entries are exact bytes become 8-bit colour.
fn through_palette(indices: &Samples, bits: u8, map: &[u16]) -> Result<Samples, Fault> {
    let Samples::U8(indices) = indices else {
        return Err(Fault::unsupported("a palette of more than 256 colours"));
    };
    let entries = 1_usize << bits;
    if map.len() != 3 * entries {
        return Err(Fault::damaged(format!("its palette has {} entries", map.len())));
    }
    let colors = indices.iter().flat_map(|&i| [0, 1, 2].map(|c| map[c * entries + usize::from(i)]));
    // Old writers put the byte in the high half and zero below.
    let shifted = map.iter().all(|v| v & 0xff == 0);
    let exact = map.iter().all(|v| v % 257 == 0);
    Ok(if shifted || exact { Samples::U8(colors.map(|v| (v >> 8) as u8).collect()) } else { Samples::U16(colors.collect()) })
}

pub(super) fn encode(stored: &Stored, effort: Effort) -> Result<Vec<u8>, Fault> {
    let side = |length: usize| u32::try_from(length).map_err(|_too_long| Fault::unsupported("a side this long"));
    let size = (side(stored.size.width)?, side(stored.size.height)?);
    let level = if effort == Effort::Fast { DeflateLevel::Fast } else { DeflateLevel::Balanced };
    // The predictor of the encoder counts colour components only, so it is left out where there is alpha.
    let whole = !stored.is_float() && !stored.layout.has_alpha();
    let predictor = if whole { Predictor::Horizontal } else { Predictor::None };
    let mut out = Cursor::new(Vec::new());
    let mut tiff =
        TiffEncoder::new(&mut out).map_err(fault)?.with_compression(Compression::Deflate(level)).with_predictor(predictor);
    let gray = stored.layout.components() < 3;
    let (w, h) = size;
    match (&stored.samples, gray) {
        (Samples::U8(v), true) => write(tiff.new_image::<Gray8>(w, h).map_err(fault)?, v, stored)?,
        (Samples::U8(v), false) => write(tiff.new_image::<RGB8>(w, h).map_err(fault)?, v, stored)?,
        (Samples::U16(v), true) => write(tiff.new_image::<Gray16>(w, h).map_err(fault)?, v, stored)?,
        (Samples::U16(v), false) => write(tiff.new_image::<RGB16>(w, h).map_err(fault)?, v, stored)?,
        (Samples::F32(v), true) => write(tiff.new_image::<Gray32Float>(w, h).map_err(fault)?, v, stored)?,
        (Samples::F32(v), false) => write(tiff.new_image::<RGB32Float>(w, h).map_err(fault)?, v, stored)?,
        (Samples::F16(_), _) => return Err(Fault::unsupported("a picture of half floats")),
    }
    Ok(out.into_inner())
}

fn write<W, C, K>(mut image: ImageEncoder<'_, W, C, K>, samples: &[C::Inner], stored: &Stored) -> Result<(), Fault>
where
    W: std::io::Write + std::io::Seek,
    C: tiff::encoder::colortype::ColorType,
    K: TiffKind,
    [C::Inner]: TiffValue,
{
    if stored.layout.has_alpha() {
        let alpha = if stored.tags.premultiplied { ExtraSamples::AssociatedAlpha } else { ExtraSamples::UnassociatedAlpha };
        image.extra_samples(&[alpha]).map_err(fault)?;
    }
    if let Some(icc) = &stored.tags.icc {
        image.encoder().write_tag(Tag::IccProfile, icc.as_slice()).map_err(fault)?;
    }
    image.write_data(samples).map_err(fault)
}
