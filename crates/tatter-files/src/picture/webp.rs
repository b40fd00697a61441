//! WebP: both codings read, the lossless one written.

use std::io::Cursor;

use image_webp::{ColorType, DecodingError, WebPDecoder, WebPEncoder};
use tatter_core::image::{ColorTags, Layout, Samples, Stored};

use super::{Decoded, Effort, Fault, Limits, PictureFormat, PictureInfo, admit, exif};

pub(super) fn is_webp(bytes: &[u8]) -> bool {
    bytes.starts_with(b"RIFF") && bytes.get(8..12) == Some(b"WEBP")
}

/// Four samples a texel and the planes of the lossy coding.
const WORKING_BYTES: u64 = 8;

type Decoder<'a> = WebPDecoder<Cursor<&'a [u8]>>;

fn fault(error: DecodingError) -> Fault {
    match error {
        DecodingError::MemoryLimitExceeded => Fault::damaged("it unpacks to more than its size"),
        DecodingError::UnsupportedFeature(what) => Fault::unsupported(what),
        other => Fault::damaged(other),
    }
}

fn open<'a>(bytes: &'a [u8], limits: &Limits) -> Result<(Decoder<'a>, PictureInfo), Fault> {
    let mut decoder = WebPDecoder::new(Cursor::new(bytes)).map_err(fault)?;
    decoder.set_memory_limit(usize::try_from(limits.max_bytes).unwrap_or(usize::MAX));
    let (width, height) = decoder.dimensions();
    let size = admit(width.into(), height.into(), WORKING_BYTES, limits)?;
    let info = PictureInfo {
        format: PictureFormat::WebP,
        size,
        layout: if decoder.has_alpha() { Layout::Rgba } else { Layout::Rgb },
        bits: 8,
        float: false,
        palette: false,
        ink: false,
        partial: decoder.is_animated(),
        orientation: decoder.exif_metadata().map_err(fault)?.as_deref().map_or(1, exif::orientation),
    };
    Ok((decoder, info))
}

pub(super) fn probe(bytes: &[u8], limits: &Limits) -> Result<PictureInfo, Fault> {
    open(bytes, limits).map(|(_, info)| info)
}

pub(super) fn decode(bytes: &[u8], limits: &Limits) -> Result<Decoded, Fault> {
    let (mut decoder, info) = open(bytes, limits)?;
    let length = decoder.output_buffer_size().ok_or_else(|| Fault::damaged("its size overflows"))?;
    let mut samples = vec![0; length];
    decoder.read_image(&mut samples).map_err(fault)?;
    let tags = ColorTags { icc: decoder.icc_profile().map_err(fault)?, ..ColorTags::default() };
    Ok(Decoded::plain(info, Stored { size: info.size, layout: info.layout, samples: Samples::U8(samples), tags }))
}

pub(super) fn encode(stored: &Stored, _effort: Effort) -> Result<Vec<u8>, Fault> {
    let (Samples::U8(samples), Layout::Rgb | Layout::Rgba) = (&stored.samples, stored.layout) else {
        return Err(Fault::unsupported("anything but 8-bit colour"));
    };
    let color = if stored.layout == Layout::Rgb { ColorType::Rgb8 } else { ColorType::Rgba8 };
    let side = |length: usize| u32::try_from(length).ok().filter(|&l| l <= 16_384);
    let (Some(width), Some(height)) = (side(stored.size.width), side(stored.size.height)) else {
        return Err(Fault::unsupported("a side longer than 16384 texels"));
    };
    let mut out = Vec::new();
    let mut encoder = WebPEncoder::new(&mut out);
    if let Some(icc) = &stored.tags.icc {
        encoder.set_icc_profile(icc.clone());
    }
    encoder.encode(samples, width, height, color).map_err(Fault::unsupported)?;
    Ok(out)
}
