//! JPEG (ITU-T T.81): baseline and progressive, grey, YCbCr, RGB, CMYK and YCCK are read. Written are photos only, never maps:
//! samples do not come back as they were.

use image::ExtendedColorType;
use image::codecs::jpeg::JpegEncoder;
use tatter_core::image::{ColorTags, Layout, Samples, Stored};
use zune_core::bytestream::ZCursor;
use zune_core::colorspace::ColorSpace;
use zune_core::options::DecoderOptions;
use zune_jpeg::JpegDecoder;

use super::{Decoded, Fault, Limits, PictureFormat, PictureInfo, admit, color, exif};

pub(super) fn is_jpeg(bytes: &[u8]) -> bool {
    bytes.starts_with(&[0xff, 0xd8, 0xff])
}

/// What the segments before the first scan say.
struct Header {
    width: u16,
    height: u16,
    bits: u8,
    components: u8,
    orientation: u8,
    /// The Adobe segment's transform, if there is one: its inks are stored inverted.
    adobe: Option<u8>,
    /// Where entropy-coded data begins.
    scan: usize,
}

fn header(bytes: &[u8]) -> Result<Header, Fault> {
    let mut found = Header { width: 0, height: 0, bits: 0, components: 0, orientation: 1, adobe: None, scan: 0 };
    let short = || Fault::damaged("it ends inside its header");
    let mut at = 2;
    loop {
        // Any number of fill bytes may stand before a marker (B.1.1.2).
        while *bytes.get(at).ok_or_else(short)? != 0xff || *bytes.get(at + 1).ok_or_else(short)? == 0xff {
            at += 1;
        }
        let marker = bytes[at + 1];
        at += 2;
        if matches!(marker, 0x00 | 0x01 | 0xd0..=0xd8) {
            continue;
        }
        let length = bytes.get(at..at + 2).map(|l| usize::from(u16::from_be_bytes([l[0], l[1]]))).ok_or_else(short)?;
        let body = bytes.get(at + 2..at + length.max(2)).ok_or_else(short)?;
        match (marker, body) {
            (0xc0..=0xc2, &[bits, h1, h0, w1, w0, components, ..]) => {
                found.bits = bits;
                found.height = u16::from_be_bytes([h1, h0]);
                found.width = u16::from_be_bytes([w1, w0]);
                found.components = components;
            }
            (0xc3 | 0xc5..=0xc7 | 0xc9..=0xcb | 0xcd..=0xcf, _) => {
                return Err(Fault::unsupported("lossless, hierarchical or arithmetic coding"));
            }
            (0xd9, _) => return Err(Fault::damaged("it holds no picture")),
            (0xe1, [b'E', b'x', b'i', b'f', ..]) => found.orientation = exif::orientation(body),
            (0xee, [b'A', b'd', b'o', b'b', b'e', _, _, _, _, _, _, transform, ..]) => found.adobe = Some(*transform),
            (0xda, _) => {
                found.scan = at + length;
                return if found.components == 0 { Err(Fault::damaged("its first scan has no frame")) } else { Ok(found) };
            }
            _ => {}
        }
        at += length.max(2);
    }
}

fn describe(header: &Header) -> Result<PictureInfo, Fault> {
    if header.bits != 8 {
        return Err(Fault::unsupported(format!("a depth of {} bits", header.bits)));
    }
    let layout = match header.components {
        1 => Layout::Gray,
        3 | 4 => Layout::Rgb,
        n => return Err(Fault::unsupported(format!("a picture of {n} components"))),
    };
    Ok(PictureInfo {
        format: PictureFormat::Jpeg,
        size: tatter_core::image::Size::new(header.width.into(), header.height.into()),
        layout,
        bits: 8,
        float: false,
        palette: false,
        ink: header.components == 4,
        partial: false,
        orientation: header.orientation,
    })
}

/// Bytes a texel while decoding, at most: coefficients of a progressive picture of four components.
const WORKING_BYTES: u64 = 12;

pub(super) fn probe(bytes: &[u8], limits: &Limits) -> Result<PictureInfo, Fault> {
    let header = header(bytes)?;
    admit(header.width.into(), header.height.into(), WORKING_BYTES, limits)?;
    describe(&header)
}

pub(super) fn decode(bytes: &[u8], limits: &Limits) -> Result<Decoded, Fault> {
    let header = header(bytes)?;
    let size = admit(header.width.into(), header.height.into(), WORKING_BYTES, limits)?;
    let info = describe(&header)?;
    // Inside entropy-coded data this pair can't occur, so a file without it was cut off (B.1.1.5).
    if !bytes[header.scan..].windows(2).any(|pair| pair == [0xff, 0xd9]) {
        return Err(Fault::damaged("it ends before its picture does"));
    }
    let wanted = match (info.layout, info.ink, header.adobe) {
        (Layout::Gray, ..) => ColorSpace::Luma,
        (_, true, Some(2)) => ColorSpace::YCCK,
        (_, true, _) => ColorSpace::CMYK,
        _ => ColorSpace::RGB,
    };
    let options =
        DecoderOptions::default().set_max_width(u16::MAX.into()).set_max_height(u16::MAX.into()).jpeg_set_out_colorspace(wanted);
    let mut decoder = JpegDecoder::new_with_options(ZCursor::new(bytes), options);
    let samples = decoder.decode().map_err(Fault::damaged)?;
    let icc = decoder.icc_profile();
    if samples.len() != size.area() * wanted.num_components() {
        return Err(Fault::damaged("its scans don't fill its size"));
    }
    if info.ink {
        let inks = inks(&samples, wanted == ColorSpace::YCCK, header.adobe.is_some());
        let (codes, by_profile) = color::from_inks(&inks, icc.as_deref());
        let stored = Stored { size, layout: Layout::Rgb, samples: Samples::U16(codes), tags: ColorTags::srgb() };
        return Ok(Decoded { info, stored, by_profile });
    }
    let tags = ColorTags { icc, ..ColorTags::default() };
    Ok(Decoded::plain(info, Stored { size, layout: info.layout, samples: Samples::U8(samples), tags }))
}

/// Baseline, colour at full resolution; 8-bit sRGB without an alpha.
pub(super) fn encode_photo(stored: &Stored, quality: u8) -> Result<Vec<u8>, Fault> {
    let (Samples::U8(samples), Layout::Rgb) = (&stored.samples, stored.layout) else {
        return Err(Fault::unsupported("anything but 8-bit colour"));
    };
    let side = |length: usize| u32::try_from(length).ok().filter(|&l| l <= u16::MAX.into());
    let (Some(width), Some(height)) = (side(stored.size.width), side(stored.size.height)) else {
        return Err(Fault::unsupported("a side longer than 65535 texels"));
    };
    let mut out = Vec::new();
    JpegEncoder::new_with_quality(&mut out, quality.clamp(1, 100))
        .encode(samples, width, height, ExtendedColorType::Rgb8)
        .map_err(Fault::unsupported)?;
    Ok(out)
}

/// Four stored components to inks of 16 bits, 0 none and 65535 full.
fn inks(samples: &[u8], ycck: bool, inverted: bool) -> Vec<u16> {
    let texels = samples.as_chunks::<4>().0.iter();
    texels
        .flat_map(|&[a, b, c, k]| {
            // YCCK holds 255 - ink as YCbCr (the colour model of ITU-T T.872, 6.3), each with the ink's own sense.
            let [c, m, y] = if ycck { rgb_from_ycc(a, b, c).map(|v| 255 - v) } else { [a, b, c] };
            [c, m, y, k].map(|v| u16::from(if inverted { 255 - v } else { v }) * 257)
        })
        .collect()
}

/// ITU-T T.871 (JFIF), clause 7.
fn rgb_from_ycc(y: u8, cb: u8, cr: u8) -> [u8; 3] {
    let (y, cb, cr) = (f32::from(y), f32::from(cb) - 128.0, f32::from(cr) - 128.0);
    [y + 1.402 * cr, y - 0.344_136 * cb - 0.714_136 * cr, y + 1.772 * cb].map(|v| v.round() as u8)
}
