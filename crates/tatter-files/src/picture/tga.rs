//! Truevision TGA 2.0: read with and without run lengths, written without.

use tatter_core::image::{ColorTags, Layout, Samples, Size, Stored};

use super::{Decoded, Effort, Fault, Limits, PictureFormat, PictureInfo, admit};

struct Header {
    identification: usize,
    kind: u8,
    map_length: usize,
    map_bits: u8,
    width: u16,
    height: u16,
    bits: u8,
    descriptor: u8,
}

impl Header {
    fn read(bytes: &[u8]) -> Option<Self> {
        let h: &[u8; 18] = bytes.first_chunk()?;
        let short = |at: usize| u16::from_le_bytes([h[at], h[at + 1]]);
        let header = Self {
            identification: h[0].into(),
            kind: h[2],
            map_length: if h[1] == 1 { short(5).into() } else { 0 },
            map_bits: h[7],
            width: short(12),
            height: short(14),
            bits: h[16],
            descriptor: h[17],
        };
        let depth = match header.kind & !8 {
            1 => header.bits == 8 && h[1] == 1 && matches!(header.map_bits, 15 | 16 | 24 | 32) && short(3) == 0,
            2 => matches!(header.bits, 15 | 16 | 24 | 32),
            3 => matches!(header.bits, 8 | 16),
            _ => false,
        };
        (depth && h[1] <= 1 && header.kind <= 11 && header.descriptor & 0xc0 == 0).then_some(header)
    }

    const fn map_bytes(&self) -> usize {
        self.map_length * (self.map_bits as usize).div_ceil(8)
    }

    /// Bits of a colour, after the palette.
    const fn color_bits(&self) -> u8 {
        if self.kind & 7 == 1 { self.map_bits } else { self.bits }
    }

    fn layout(&self) -> Layout {
        match (self.kind & 7, self.color_bits()) {
            (3, 8) => Layout::Gray,
            (3, _) => Layout::GrayAlpha,
            (_, 32) => Layout::Rgba,
            _ => Layout::Rgb,
        }
    }
}

/// A TGA has no mark at its head: a header that makes sense, and room for a picture behind it, must do.
pub(super) fn is_tga(bytes: &[u8]) -> bool {
    Header::read(bytes).is_some_and(|h| h.width > 0 && h.height > 0 && bytes.len() > 18 + h.identification + h.map_bytes())
}

const WORKING_BYTES: u64 = 4;

fn describe(header: &Header, limits: &Limits) -> Result<PictureInfo, Fault> {
    let size = admit(header.width.into(), header.height.into(), WORKING_BYTES, limits)?;
    Ok(PictureInfo {
        format: PictureFormat::Tga,
        size,
        layout: header.layout(),
        bits: if matches!(header.color_bits(), 15 | 16) && header.kind & 7 != 3 { 5 } else { 8 },
        float: false,
        palette: header.kind & 7 == 1,
        ink: false,
        partial: false,
        orientation: 1,
    })
}

fn read_header(bytes: &[u8]) -> Result<Header, Fault> {
    Header::read(bytes).ok_or_else(|| Fault::damaged("its header makes no sense"))
}

pub(super) fn probe(bytes: &[u8], limits: &Limits) -> Result<PictureInfo, Fault> {
    describe(&read_header(bytes)?, limits)
}

pub(super) fn decode(bytes: &[u8], limits: &Limits) -> Result<Decoded, Fault> {
    let header = read_header(bytes)?;
    let info = describe(&header, limits)?;
    let Size { width, height } = info.size;
    let ends_early = || Fault::damaged("it ends before its picture does");
    let map = bytes.get(18 + header.identification..).and_then(|b| b.get(..header.map_bytes())).ok_or_else(ends_early)?;
    let body = &bytes[18 + header.identification + header.map_bytes()..];
    let step = usize::from(header.bits).div_ceil(8);
    let unpacked;
    let raw = if header.kind & 8 == 0 {
        body.get(..width * height * step).ok_or_else(ends_early)?
    } else {
        unpacked = unpack(body, width * height * step, step)?;
        &unpacked
    };
    let mut samples = Vec::new();
    for y in 0..height {
        let row = if header.descriptor & 0x20 == 0 { height - 1 - y } else { y };
        let row = &raw[row * width * step..][..width * step];
        for x in 0..width {
            let x = if header.descriptor & 0x10 == 0 { x } else { width - 1 - x };
            color(&header, &row[x * step..][..step], map, &mut samples)?;
        }
    }
    let stored = Stored { size: info.size, layout: info.layout, samples: Samples::U8(samples), tags: ColorTags::default() };
    Ok(Decoded::plain(info, stored))
}

fn unpack(mut source: &[u8], length: usize, step: usize) -> Result<Vec<u8>, Fault> {
    let ends_early = || Fault::damaged("it ends before its picture does");
    let mut out = Vec::new();
    while out.len() < length {
        let (&head, rest) = source.split_first().ok_or_else(ends_early)?;
        let count = usize::from(head & 0x7f) + 1;
        let taken = if head & 0x80 == 0 { count * step } else { step };
        let values = rest.get(..taken).ok_or_else(ends_early)?;
        let times = if head & 0x80 == 0 { 1 } else { count };
        for _ in 0..times {
            out.extend_from_slice(values);
        }
        source = &rest[taken..];
    }
    // Packets may run past the last texel; nothing reads what lies there.
    Ok(out)
}

fn color(header: &Header, texel: &[u8], map: &[u8], out: &mut Vec<u8>) -> Result<(), Fault> {
    let texel = if header.kind & 7 == 1 {
        let step = usize::from(header.map_bits).div_ceil(8);
        map.get(usize::from(texel[0]) * step..)
            .and_then(|m| m.get(..step))
            .ok_or_else(|| Fault::damaged("a colour outside its palette"))?
    } else {
        texel
    };
    match (header.kind & 7, texel) {
        (_, &[gray]) => out.push(gray),
        (3, &[gray, alpha]) => out.extend([gray, alpha]),
        (_, &[low, high]) => {
            let word = u16::from_le_bytes([low, high]);
            // Depth scaling as PNG 12.5: round(v * 255 / 31).
            out.extend([10, 5, 0].map(|shift| (((word >> shift & 31) * 510 + 31) / 62) as u8));
        }
        (_, &[b, g, r]) => out.extend([r, g, b]),
        (_, &[b, g, r, a]) => out.extend([r, g, b, a]),
        _ => return Err(Fault::damaged("its header makes no sense")),
    }
    Ok(())
}

pub(super) fn encode(stored: &Stored, _effort: Effort) -> Result<Vec<u8>, Fault> {
    let Samples::U8(samples) = &stored.samples else {
        return Err(Fault::unsupported(format!("a picture of {} bits", stored.bits())));
    };
    let (Ok(width), Ok(height)) = (u16::try_from(stored.size.width), u16::try_from(stored.size.height)) else {
        return Err(Fault::unsupported("a side this long"));
    };
    let (kind, bits, alpha) = match stored.layout {
        Layout::Gray => (3, 8, 0),
        Layout::GrayAlpha => (3, 16, 8),
        Layout::Rgb => (2, 24, 0),
        Layout::Rgba => (2, 32, 8),
    };
    let mut out = vec![0, 0, kind, 0, 0, 0, 0, 0, 0, 0, 0, 0];
    out.extend(width.to_le_bytes());
    out.extend(height.to_le_bytes());
    out.extend([bits, 0x20 | alpha]);
    match stored.layout {
        Layout::Gray | Layout::GrayAlpha => out.extend_from_slice(samples),
        Layout::Rgb => out.extend(samples.as_chunks::<3>().0.iter().flat_map(|&[r, g, b]| [b, g, r])),
        Layout::Rgba => out.extend(samples.as_chunks::<4>().0.iter().flat_map(|&[r, g, b, a]| [b, g, r, a])),
    }
    Ok(out)
}
