//! Writing: bands of rows filtered and packed side by side, joined into one stream.

use libdeflater::adler32;
use rayon::prelude::*;
use tatter_core::image::{Layout, Samples, Stored};

use super::super::{Effort, Fault};
use super::{deflate, filter};

/// Bytes of samples in a band: small enough to share out 4096 rows over many cores, large enough that a fresh start costs
/// nothing. Fixed, so that the bytes written don't depend on the number of cores.
const BAND: usize = 1 << 19;

/// Samples as they lie in the file, row by row, still unfiltered.
struct Rows<'a> {
    stored: &'a Stored,
    row_bytes: usize,
    step: usize,
}

impl Rows<'_> {
    /// Rows `first..=last` as the file wants them, 16 bits big-endian.
    fn bytes(&self, first: usize, last: usize) -> std::borrow::Cow<'_, [u8]> {
        let samples = self.stored.size.width * self.stored.layout.components();
        let range = first * samples..last * samples;
        match &self.stored.samples {
            Samples::U8(v) => v[range].into(),
            Samples::U16(v) => v[range].iter().flat_map(|sample| sample.to_be_bytes()).collect::<Vec<u8>>().into(),
            Samples::F16(_) | Samples::F32(_) => Vec::new().into(),
        }
    }

    /// Rows `first..last`, each with its filter byte before it.
    fn filtered(&self, first: usize, last: usize) -> Vec<u8> {
        let before = first.saturating_sub(1);
        let bytes = self.bytes(before, last);
        let zeros = vec![0; self.row_bytes];
        let row = |y: usize| {
            let at = |y: usize| &bytes[(y - before) * self.row_bytes..][..self.row_bytes];
            (at(first + y), if first + y == 0 { &zeros[..] } else { at(first + y - 1) })
        };
        let kind = filter::choose(last - first, self.step, row);
        let mut out = vec![kind; (last - first) * (1 + self.row_bytes)];
        for (y, line) in out.chunks_exact_mut(1 + self.row_bytes).enumerate() {
            let (this, above) = row(y);
            filter::apply(kind, this, above, self.step, &mut line[1..]);
        }
        out
    }
}

pub(in super::super) fn encode(stored: &Stored, effort: Effort) -> Result<Vec<u8>, Fault> {
    let side = |length: usize| u32::try_from(length).ok().filter(|&l| l > 0 && l <= i32::MAX as u32);
    let (Some(width), Some(height)) = (side(stored.size.width), side(stored.size.height)) else {
        return Err(Fault::unsupported("a picture with a side this long"));
    };
    let depth: u8 = match &stored.samples {
        Samples::U8(_) => 8,
        Samples::U16(_) => 16,
        Samples::F16(_) | Samples::F32(_) => return Err(Fault::unsupported("a picture of floats")),
    };
    let color = match stored.layout {
        Layout::Gray => 0,
        Layout::GrayAlpha => 4,
        Layout::Rgb => 2,
        Layout::Rgba => 6,
    };
    let step = stored.layout.components() * usize::from(depth / 8);
    let rows = Rows { stored, row_bytes: stored.size.width * step, step };
    let mut out = b"\x89PNG\r\n\x1a\n".to_vec();
    chunk(&mut out, *b"IHDR", &[&width.to_be_bytes()[..], &height.to_be_bytes(), &[depth, color, 0, 0, 0]].concat());
    for (name, data) in super::tag_chunks(&stored.tags)? {
        chunk(&mut out, name, &data);
    }
    match effort {
        Effort::Fast => in_bands(&rows, &mut out),
        Effort::Small => whole(&rows, &mut out)?,
    }
    chunk(&mut out, *b"IEND", &[]);
    Ok(out)
}

fn chunk(out: &mut Vec<u8>, name: [u8; 4], data: &[u8]) {
    out.extend((data.len() as u32).to_be_bytes());
    let start = out.len();
    out.extend(name);
    out.extend_from_slice(data);
    let sum = crc32fast::hash(&out[start..]);
    out.extend(sum.to_be_bytes());
}

/// First and last row of each band.
fn bands(rows: &Rows<'_>) -> Vec<(usize, usize)> {
    let height = rows.stored.size.height;
    let each = (BAND / rows.row_bytes.max(1)).max(1);
    (0..height).step_by(each).map(|first| (first, (first + each).min(height))).collect()
}

/// One IDAT a band; the stream runs through them (PNG 10.1), its header before the first, its checksum after the last.
fn in_bands(rows: &Rows<'_>, out: &mut Vec<u8>) {
    let bands = bands(rows);
    let packed: Vec<(Vec<u8>, u32, usize)> = bands
        .par_iter()
        .map(|&(first, last)| {
            let filtered = rows.filtered(first, last);
            let packed = deflate::pack(&filtered, last == rows.stored.size.height);
            // Zlib header (RFC 1950, 2.2): deflate, 32 KiB window, fastest.
            let head: &[u8] = if first == 0 { &[0x78, 0x01] } else { &[] };
            let mut data = Vec::with_capacity(packed.len() + 16);
            chunk(&mut data, *b"IDAT", &[head, &packed].concat());
            (data, adler32(&filtered), filtered.len())
        })
        .collect();
    out.reserve(packed.iter().map(|(data, ..)| data.len()).sum());
    let mut sum = 1;
    for (data, part, length) in packed {
        out.extend(data);
        sum = joined_adler32(sum, part, length);
    }
    chunk(out, *b"IDAT", &sum.to_be_bytes());
}

/// Bands filtered side by side, one stream packed by libdeflate.
fn whole(rows: &Rows<'_>, out: &mut Vec<u8>) -> Result<(), Fault> {
    let filtered: Vec<Vec<u8>> = bands(rows).par_iter().map(|&(first, last)| rows.filtered(first, last)).collect();
    chunk_pieces(out, &super::zlib(&filtered.concat(), 8)?);
    Ok(())
}

/// A chunk holds at most 2³¹ - 1 bytes.
fn chunk_pieces(out: &mut Vec<u8>, data: &[u8]) {
    for piece in data.chunks(1 << 30) {
        chunk(out, *b"IDAT", piece);
    }
}

/// The prime of RFC 1950, clause 9.
const ADLER: u32 = 65_521;

/// The checksum of two pieces from those of each; `length` is that of the second.
fn joined_adler32(first: u32, second: u32, length: usize) -> u32 {
    let (a1, b1) = (u64::from(first & 0xffff), u64::from(first >> 16));
    let (a2, b2) = (u64::from(second & 0xffff), u64::from(second >> 16));
    let prime = u64::from(ADLER);
    let length = length as u64 % prime;
    let a = (a1 + a2 + prime - 1) % prime;
    let b = (b1 + b2 + length * (a1 + prime - 1)) % prime;
    (b << 16 | a) as u32
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn checksums_are_known_ones_and_join() {
        // "Wikipedia" is the usual worked example: 11E6 0398.
        assert_eq!(adler32(b"Wikipedia"), 0x11e6_0398, "the worked example");
        let data: Vec<u8> = (0..100_000_u32).map(|i| (i.wrapping_mul(i) >> 3) as u8).collect();
        for cut in [0, 1, 4096, 65_521, 99_999, 100_000] {
            let joined = joined_adler32(adler32(&data[..cut]), adler32(&data[cut..]), data.len() - cut);
            assert_eq!(joined, adler32(&data), "cut at {cut}");
        }
    }
}
