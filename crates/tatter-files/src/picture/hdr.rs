//! Radiance HDR, read only: both run-length forms and none (Ward, "Real Pixels", Graphics Gems II, 1991, and the Radiance
//! file format notes).

use tatter_core::image::{ColorTags, Layout, Samples, Size, Stored};

use super::{Decoded, Fault, Limits, PictureFormat, PictureInfo, admit};

pub(super) fn is_hdr(bytes: &[u8]) -> bool {
    bytes.starts_with(b"#?RADIANCE") || bytes.starts_with(b"#?RGBE")
}

/// Three floats a texel.
const WORKING_BYTES: u64 = 12;

/// The header, and where scan lines begin.
fn header(bytes: &[u8], limits: &Limits) -> Result<(PictureInfo, usize), Fault> {
    let mut at = 0;
    let mut line = || {
        let rest = &bytes[at..];
        let end = rest.iter().take(4096).position(|&b| b == b'\n').ok_or_else(|| Fault::damaged("it ends inside its header"))?;
        at += end + 1;
        Ok::<_, Fault>((String::from_utf8_lossy(&rest[..end]).trim().to_owned(), at))
    };
    loop {
        let (text, _) = line()?;
        if let Some(format) = text.strip_prefix("FORMAT=")
            && format != "32-bit_rle_rgbe"
        {
            return Err(Fault::unsupported(format!("the colour coding {format}")));
        }
        if text.is_empty() {
            break;
        }
    }
    let (resolution, start) = line()?;
    let words: Vec<&str> = resolution.split_whitespace().collect();
    let &[down, height, across, width] = words.as_slice() else {
        return Err(Fault::damaged(format!("its size line is '{resolution}'")));
    };
    let orientation = match (down, across) {
        ("-Y", "+X") => 1,
        ("-Y", "-X") => 2,
        ("+Y", "-X") => 3,
        ("+Y", "+X") => 4,
        _ => return Err(Fault::unsupported(format!("the scan order '{resolution}'"))),
    };
    let number = |text: &str| text.parse::<u32>().map_err(|why| Fault::damaged(format!("its size is '{text}' ({why})")));
    let size = admit(number(width)?.into(), number(height)?.into(), WORKING_BYTES, limits)?;
    Ok((describe(size, orientation), start))
}

const fn describe(size: Size, orientation: u8) -> PictureInfo {
    PictureInfo {
        format: PictureFormat::Hdr,
        size,
        layout: Layout::Rgb,
        bits: 32,
        float: true,
        palette: false,
        ink: false,
        partial: false,
        orientation,
    }
}

pub(super) fn probe(bytes: &[u8], limits: &Limits) -> Result<PictureInfo, Fault> {
    header(bytes, limits).map(|(info, _)| info)
}

pub(super) fn decode(bytes: &[u8], limits: &Limits) -> Result<Decoded, Fault> {
    let (info, start) = header(bytes, limits)?;
    let Size { width, height } = info.size;
    let mut source = &bytes[start..];
    // Grows with the data, so that a header alone allocates nothing.
    let mut samples = Vec::new();
    let mut line = vec![[0_u8; 4]; width];
    for _ in 0..height {
        source = scan_line(source, &mut line)?;
        samples.extend(line.iter().flat_map(|&texel| light(texel)));
    }
    let stored = Stored { size: info.size, layout: Layout::Rgb, samples: Samples::F32(samples), tags: ColorTags::default() };
    Ok(Decoded::plain(info, stored))
}

/// Mantissas over a shared exponent, excess 128.
fn light([r, g, b, exponent]: [u8; 4]) -> [f32; 3] {
    if exponent == 0 {
        return [0.0; 3];
    }
    let scale = 2.0_f32.powi(i32::from(exponent) - 136);
    [r, g, b].map(|mantissa| f32::from(mantissa) * scale)
}

fn ends_early() -> Fault {
    Fault::damaged("it ends before its picture does")
}

/// One scan line in whichever form it is; returns what is left.
fn scan_line<'a>(source: &'a [u8], line: &mut [[u8; 4]]) -> Result<&'a [u8], Fault> {
    let (&first, rest) = source.split_first_chunk::<4>().ok_or_else(ends_early)?;
    let announced = usize::from(first[2]) << 8 | usize::from(first[3]);
    if first[..2] == [2, 2] && first[2] < 128 && announced == line.len() {
        return planes(rest, line);
    }
    texels(source, line)
}

/// The newer form: each component of the line by itself, runs of 1 to 127 and literals of 1 to 128.
fn planes<'a>(mut source: &'a [u8], line: &mut [[u8; 4]]) -> Result<&'a [u8], Fault> {
    let too_long = || Fault::damaged("a run reaches past its line");
    for component in 0..4 {
        let mut x = 0;
        while x < line.len() {
            let (&count, rest) = source.split_first().ok_or_else(ends_early)?;
            let run = count > 128;
            let length = usize::from(if run { count - 128 } else { count });
            let taken = if run { 1 } else { length };
            let values = rest.get(..taken).ok_or_else(ends_early)?;
            if length == 0 {
                return Err(Fault::damaged("a run has no length"));
            }
            let texels = line.get_mut(x..x + length).ok_or_else(too_long)?;
            for (i, texel) in texels.iter_mut().enumerate() {
                texel[component] = values[if run { 0 } else { i }];
            }
            x += length;
            source = &rest[taken..];
        }
    }
    Ok(source)
}

/// The older form: whole texels, where mantissas (1, 1, 1) repeat the last one; consecutive repeats count in higher bytes.
fn texels<'a>(mut source: &'a [u8], line: &mut [[u8; 4]]) -> Result<&'a [u8], Fault> {
    let mut x = 0;
    let mut shift = 0;
    while x < line.len() {
        let (&texel, rest) = source.split_first_chunk::<4>().ok_or_else(ends_early)?;
        source = rest;
        if texel[..3] == [1, 1, 1] {
            let count = usize::from(texel[3]).checked_shl(shift).filter(|_| shift <= 16 && x > 0);
            let end = count.and_then(|count| x.checked_add(count)).filter(|&end| end <= line.len());
            let end = end.ok_or_else(|| Fault::damaged("a run reaches past its line"))?;
            let last = line[x - 1];
            line[x..end].fill(last);
            x = end;
            shift += 8;
        } else {
            line[x] = texel;
            x += 1;
            shift = 0;
        }
    }
    Ok(source)
}
