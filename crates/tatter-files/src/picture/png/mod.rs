//! PNG (third edition): read with the `png` crate, written in bands of rows over all cores.

mod deflate;
mod filter;
mod huffman;
mod write;

use std::io::{BufRead, Cursor, ErrorKind, Seek};

use libdeflater::{CompressionLvl, Compressor};
use png::{ColorType, DecodeOptions, Decoder, DecodingError, Info, Transformations};
use tatter_core::image::{ColorTags, Layout, Samples, Size, Stored};

pub(super) use write::{encode, encode_banded, rewrite, unpack};

use super::{Decoded, Fault, Limits, PictureFormat, PictureInfo, admit, exif, from_big_endian};

const MARK: &[u8] = b"\x89PNG\r\n\x1a\n";

/// A mark broken by a transfer in text mode, which is what it is made to show (5.2), still means PNG.
pub(super) fn is_png(bytes: &[u8]) -> bool {
    bytes.starts_with(MARK) || bytes.get(1..4) == Some(b"PNG")
}

/// Whether they begin a PNG that no transfer has spoilt.
pub(super) fn is_whole_png(bytes: &[u8]) -> bool {
    bytes.starts_with(MARK)
}

fn checked(bytes: &[u8]) -> Result<&[u8], Fault> {
    if is_whole_png(bytes) {
        return Ok(bytes);
    }
    Err(Fault::damaged("its first bytes were changed, as by a transfer in text mode"))
}

fn decoder<R: BufRead + Seek>(source: R, limits: &Limits) -> Decoder<R> {
    let mut options = DecodeOptions::default();
    options.set_ignore_checksums(false);
    options.set_skip_ancillary_crc_failures(false);
    options.set_ignore_text_chunk(true);
    let mut decoder = Decoder::new_with_options(source, options);
    decoder.set_limits(png::Limits { bytes: usize::try_from(limits.max_bytes).unwrap_or(usize::MAX) });
    decoder.set_transformations(Transformations::EXPAND);
    decoder
}

fn fault(error: DecodingError) -> Fault {
    match error {
        DecodingError::IoError(why) if why.kind() == ErrorKind::UnexpectedEof => {
            Fault::damaged("it ends before its picture does")
        }
        DecodingError::LimitsExceeded => Fault::damaged("it unpacks to more than its size needs"),
        other => {
            let text = other.to_string();
            match text.strip_prefix("CRC error") {
                Some(_) => Fault::damaged("a checksum is wrong"),
                None => Fault::damaged(format!("the decoder says: {}", text.trim_end_matches('.'))),
            }
        }
    }
}

fn describe(info: &Info<'_>) -> PictureInfo {
    let transparent = info.trns.is_some();
    let layout = match (info.color_type, transparent) {
        (ColorType::Grayscale, false) => Layout::Gray,
        (ColorType::Grayscale, true) | (ColorType::GrayscaleAlpha, _) => Layout::GrayAlpha,
        (ColorType::Rgb | ColorType::Indexed, false) => Layout::Rgb,
        (ColorType::Rgb | ColorType::Indexed, true) | (ColorType::Rgba, _) => Layout::Rgba,
    };
    PictureInfo {
        format: PictureFormat::Png,
        size: Size::new(info.width as usize, info.height as usize),
        layout,
        bits: info.bit_depth as u8,
        float: false,
        palette: info.color_type == ColorType::Indexed,
        ink: false,
        partial: info.animation_control.is_some(),
        orientation: info.exif_metadata.as_deref().map_or(1, exif::orientation),
    }
}

/// Bytes a texel once expanded, at most.
const WORKING_BYTES: u64 = 8;

pub(super) fn probe(bytes: &[u8], limits: &Limits) -> Result<PictureInfo, Fault> {
    let mut decoder = decoder(Cursor::new(checked(bytes)?), limits);
    let header = decoder.read_header_info().map_err(fault)?;
    admit(header.width.into(), header.height.into(), WORKING_BYTES, limits)?;
    let reader = decoder.read_info().map_err(fault)?;
    Ok(describe(reader.info()))
}

pub(super) fn decode(bytes: &[u8], limits: &Limits) -> Result<Decoded, Fault> {
    decode_from(Cursor::new(checked(bytes)?), limits)
}

/// As [`decode`], from the file's first byte on; reads no further than the picture's last chunk.
pub(super) fn decode_from(source: impl BufRead + Seek, limits: &Limits) -> Result<Decoded, Fault> {
    let mut decoder = decoder(source, limits);
    let header = decoder.read_header_info().map_err(fault)?;
    let size = admit(header.width.into(), header.height.into(), WORKING_BYTES, limits)?;
    let mut reader = decoder.read_info().map_err(fault)?;
    let info = describe(reader.info());
    let tags = tags(reader.info());
    let length = reader.output_buffer_size().ok_or_else(|| Fault::damaged("its size overflows"))?;
    let samples = if info.bits == 16 {
        let mut samples = vec![0u16; length / 2];
        let turned = |part: &mut [u16]| part.iter_mut().for_each(|sample| *sample = u16::from_be(*sample));
        if reader.info().interlaced {
            reader.next_frame(bytemuck::cast_slice_mut(&mut samples)).map_err(fault)?;
            turned(&mut samples);
        } else {
            // Row by row, each while it is at hand.
            for row in samples.chunks_exact_mut((length / 2 / size.height).max(1)) {
                reader.read_row(bytemuck::cast_slice_mut(row)).map_err(fault)?;
                turned(row);
            }
        }
        Samples::U16(samples)
    } else {
        let mut samples = vec![0; length];
        reader.next_frame(&mut samples).map_err(fault)?;
        Samples::U8(samples)
    };
    reader.finish().map_err(fault)?;
    Ok(Decoded::plain(info, Stored { size, layout: info.layout, samples, tags }))
}

fn tags(info: &Info<'_>) -> ColorTags {
    ColorTags {
        srgb_intent: info.srgb.map(|intent| intent as u8),
        gamma: info.gama_chunk.map(png::ScaledFloat::into_scaled),
        chromaticities: info.chrm_chunk.map(|c| {
            [c.white, c.red, c.green, c.blue]
                .map(|(x, y)| [x.into_scaled(), y.into_scaled()])
                .as_flattened()
                .try_into()
                .unwrap_or([0; 8])
        }),
        cicp: info
            .coding_independent_code_points
            .map(|c| [c.color_primaries, c.transfer_function, c.matrix_coefficients, u8::from(c.is_video_full_range_image)]),
        icc: info.icc_profile.as_deref().map(<[u8]>::to_vec),
        density: info.pixel_dims.map(|d| (d.xppu, d.yppu, d.unit == png::Unit::Meter)),
        ..ColorTags::default()
    }
}

type Chunk = ([u8; 4], Vec<u8>);

/// Chunks that say what the samples mean, in the order they are written.
fn tag_chunks(tags: &ColorTags) -> Result<Vec<Chunk>, Fault> {
    let mut chunks = Vec::new();
    if let Some(cicp) = tags.cicp {
        chunks.push((*b"cICP", cicp.to_vec()));
    }
    if let Some(icc) = &tags.icc {
        chunks.push((*b"iCCP", packed_profile(icc)?));
    }
    if let Some(intent) = tags.srgb_intent {
        chunks.push((*b"sRGB", vec![intent]));
    }
    if let Some(gamma) = tags.gamma {
        chunks.push((*b"gAMA", gamma.to_be_bytes().to_vec()));
    }
    if let Some(chromaticities) = tags.chromaticities {
        chunks.push((*b"cHRM", chromaticities.iter().flat_map(|v| v.to_be_bytes()).collect()));
    }
    if let Some((across, down, metre)) = tags.density {
        let unit = [u8::from(metre)];
        chunks.push((*b"pHYs", [&across.to_be_bytes()[..], &down.to_be_bytes(), &unit].concat()));
    }
    Ok(chunks)
}

fn packed_profile(icc: &[u8]) -> Result<Vec<u8>, Fault> {
    Ok([b"profile\0\0".as_slice(), &zlib(icc, 6)?].concat())
}

/// A whole zlib stream by libdeflate, level 1 to 12.
fn zlib(data: &[u8], level: i32) -> Result<Vec<u8>, Fault> {
    let level = CompressionLvl::new(level).unwrap_or_default();
    let mut compressor = Compressor::new(level);
    let mut packed = vec![0; compressor.zlib_compress_bound(data.len())];
    let length = compressor.zlib_compress(data, &mut packed).map_err(Fault::unsupported)?;
    packed.truncate(length);
    Ok(packed)
}
