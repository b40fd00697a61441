//! Writing: bands of rows filtered and packed side by side, joined into one stream.

use std::collections::BTreeMap;
use std::ops::Range;

use libdeflater::adler32;
use rayon::prelude::*;
use tatter_core::image::{Layout, Rect, Samples, Size, Stored};

use super::super::{Band, Banded, Effort, Fault, Strips};
use super::{deflate, filter};
use crate::pieces::{KnownFile, Pieces};

/// Bytes of samples in a band: small enough to share out 4096 rows over many cores, large enough that a fresh start costs
/// nothing. Fixed, so that the bytes written don't depend on the number of cores.
const BAND: usize = 1 << 19;

/// Samples as they lie in the file, row by row, still unfiltered.
#[derive(Clone, Copy)]
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
            Samples::U16(v) => {
                let mut bytes = vec![0; 2 * range.len()];
                bytes.as_chunks_mut::<2>().0.iter_mut().zip(&v[range]).for_each(|(pair, v)| *pair = v.to_be_bytes());
                bytes.into()
            }
            Samples::F16(_) | Samples::F32(_) => Vec::new().into(),
        }
    }

    /// Rows `first..last`, each with its filter byte before it.
    fn filtered(&self, effort: Effort, first: usize, last: usize) -> Vec<u8> {
        let bytes = self.bytes(first, last);
        let zeros = vec![0; self.row_bytes];
        let at = |y: usize| &bytes[y * self.row_bytes..][..self.row_bytes];
        // No band looks back into another, neither here nor when it is packed.
        let row = |y: usize| (at(y), if y == 0 { &zeros[..] } else { at(y - 1) });
        let kind = filter::choose(effort, last - first, self.step, row);
        let mut out = vec![kind; (last - first) * (1 + self.row_bytes)];
        for (y, line) in out.chunks_exact_mut(1 + self.row_bytes).enumerate() {
            let (this, above) = row(y);
            // The first row is told from the left alone: a reader has the row above it, this band has not.
            line[0] = if y == 0 && kind > 1 { 1 } else { kind };
            filter::apply(line[0], this, above, self.step, &mut line[1..]);
        }
        out
    }
}

pub(in super::super) fn encode(stored: &Stored, effort: Effort) -> Result<Vec<u8>, Fault> {
    if effort == Effort::Fast {
        return Ok(pieces(stored)?.0.concat());
    }
    let (rows, mut out) = begun(stored)?;
    whole(&rows, &mut out)?;
    chunk(&mut out, *b"IEND", &[]);
    Ok(out)
}

/// As `encode` at `Effort::Fast`, with the place of each band.
pub(in super::super) fn encode_banded(stored: &Stored) -> Result<Banded, Fault> {
    let (pieces, bands) = pieces(stored)?;
    Ok((pieces.into(), bands))
}

fn pieces(stored: &Stored) -> Result<(Vec<Vec<u8>>, Vec<Band>), Fault> {
    let (rows, head) = begun(stored)?;
    let (packed, bands, sum) = in_bands(&rows, head.len());
    Ok((std::iter::once(head).chain(packed).chain([tail(sum)]).collect(), bands))
}

/// What follows the bands: the checksum of the stream, and the end.
fn tail(sum: u32) -> Vec<u8> {
    let mut tail = Vec::new();
    chunk(&mut tail, *b"IDAT", &sum.to_be_bytes());
    chunk(&mut tail, *b"IEND", &[]);
    tail
}

/// The picture that `previous` holds with `parts` of `stored` in place of its own, as `encode_banded` would write the whole: bands
/// that no part reaches stay as they lie. Bands at hand in `strips` are not unpacked again. `None` when `previous` is not such a file.
pub(in super::super) fn rewrite(
    previous: &KnownFile,
    bands: &[Band],
    strips: Strips,
    stored: &Stored,
    parts: &[Rect],
) -> Result<Option<Banded>, Fault> {
    let (rows, head) = begun(stored)?;
    let spans = spans(&rows);
    if !fit(bands, spans.len(), previous.length()) || bands.first().is_none_or(|band| band.start != head.len()) {
        return Ok(None);
    }
    let mut strips = strips.0;
    let reaches = |part: &Rect, number: usize| part.y < spans[number].1 && part.bottom() > spans[number].0;
    // Chosen first, as when they are unpacked.
    let touched: Vec<(usize, Option<Stored>)> = (0..bands.len())
        .filter(|&number| parts.iter().any(|part| reaches(part, number)))
        .map(|number| (number, strips.remove(&number)))
        .collect();
    let repack = |(number, strip): (usize, Option<Stored>)| {
        let (band, (first, last)) = (&bands[number], spans[number]);
        let mut strip = strip.or_else(|| unpacked(&previous.read(band.start..band.end).ok()?, &rows, first, last))?;
        for part in parts.iter().filter(|part| reaches(part, number)) {
            let (top, bottom) = (part.y.max(first), part.bottom().min(last));
            let piece = stored.crop(Rect::new(part.x, top, part.width, bottom - top));
            strip.paste(&piece, part.x, top - first);
        }
        let own = Rows { stored: &strip, ..rows };
        Some((number, packed(&own.filtered(Effort::Fast, 0, last - first), first == 0, last == stored.size.height)))
    };
    let packed: Option<BTreeMap<usize, Packed>> = touched.into_par_iter().map(repack).collect();
    let Some(mut packed) = packed else { return Ok(None) };
    let (mut places, mut whole, mut start) = (Vec::new(), 1, head.len());
    let mut pieces = Pieces::from(head);
    for (number, (band, (first, last))) in bands.iter().zip(spans).enumerate() {
        let (length, sum) = match packed.remove(&number) {
            Some(new) => {
                let length = new.data.len();
                pieces.push(new.data);
                (length, new.sum)
            }
            None => {
                pieces.push_lying(previous, band.start..band.end);
                (band.end - band.start, band.sum)
            }
        };
        places.push(Band { start, end: start + length, sum });
        start += length;
        whole = joined_adler32(whole, sum, (last - first) * (1 + rows.row_bytes));
    }
    pieces.push(tail(whole));
    Ok(Some((pieces, places)))
}

/// Whether so many bands lie one behind the other in a file of that length.
fn fit(bands: &[Band], count: usize, length: u64) -> bool {
    bands.len() == count
        && bands.iter().all(|band| band.start < band.end && band.end as u64 <= length)
        && bands.windows(2).all(|pair| pair[0].end == pair[1].start)
}

/// Rows of the picture that `file` holds, and those packed with them, laid into one of its kind and size. Strips that `parts` reach are
/// given back as well. `None` when `file` is not what `encode_banded` wrote with these bands.
pub(in super::super) fn unpack(
    file: &KnownFile,
    bands: &[Band],
    wanted: &[Range<usize>],
    parts: &[Rect],
    into: &mut Stored,
) -> Result<Option<Strips>, Fault> {
    let (rows, _) = begun(into)?;
    let spans = spans(&rows);
    if !fit(bands, spans.len(), file.length()) {
        return Ok(None);
    }
    // Chosen first: they lie side by side, and shared out among all bands most would fall to one thread.
    let chosen: Vec<usize> = (0..bands.len())
        .filter(|&number| wanted.iter().any(|rows| rows.start < spans[number].1 && spans[number].0 < rows.end))
        .collect();
    let strip = |number: usize| {
        let (band, (first, last)) = (&bands[number], spans[number]);
        Some((number, unpacked(&file.read(band.start..band.end).ok()?, &rows, first, last)?))
    };
    let strips: Option<Vec<(usize, Stored)>> = chosen.into_par_iter().map(strip).collect();
    let Some(mut strips) = strips else { return Ok(None) };
    strips.iter().for_each(|(number, strip)| into.paste(strip, 0, spans[*number].0));
    strips.retain(|&(number, _)| parts.iter().any(|part| part.y < spans[number].1 && part.bottom() > spans[number].0));
    Ok(Some(Strips(strips.into_iter().collect())))
}

/// Rows of a band of ours, from its chunk; `None` when it is damaged.
fn unpacked(chunk: &[u8], rows: &Rows<'_>, first: usize, last: usize) -> Option<Stored> {
    let data = chunk.get(8..chunk.len().checked_sub(4)?)?;
    let sum = u32::from_be_bytes(*chunk.last_chunk()?);
    if crc32fast::hash(chunk.get(4..chunk.len() - 4)?) != sum {
        return None;
    }
    // A band that is not the last has no last block of its own (RFC 1951, 3.2.3 and 3.2.4): an empty stored one ends it.
    let mut stream = data.get(if first == 0 { 2 } else { 0 }..)?.to_vec();
    if last < rows.stored.size.height {
        stream.extend([1, 0, 0, 0xff, 0xff]);
    }
    let mut filtered = vec![0; (last - first) * (1 + rows.row_bytes)];
    let done = libdeflater::Decompressor::new().deflate_decompress(&stream, &mut filtered).ok()?;
    if done != filtered.len() {
        return None;
    }
    let mut samples = vec![0u8; (last - first) * rows.row_bytes];
    let mut above = vec![0u8; rows.row_bytes];
    for (line, row) in filtered.chunks_exact(1 + rows.row_bytes).zip(samples.chunks_exact_mut(rows.row_bytes.max(1))) {
        filter::undo(line[0], &line[1..], &above, rows.step, row)?;
        above.copy_from_slice(row);
    }
    let samples = match rows.stored.samples {
        Samples::U16(_) => super::from_big_endian(&samples),
        _ => Samples::U8(samples),
    };
    let size = Size::new(rows.stored.size.width, last - first);
    Some(Stored { size, layout: rows.stored.layout, samples, tags: rows.stored.tags.clone() })
}

/// Everything before the samples.
fn begun(stored: &Stored) -> Result<(Rows<'_>, Vec<u8>), Fault> {
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
    let mut out = b"\x89PNG\r\n\x1a\n".to_vec();
    chunk(&mut out, *b"IHDR", &[&width.to_be_bytes()[..], &height.to_be_bytes(), &[depth, color, 0, 0, 0]].concat());
    for (name, data) in super::tag_chunks(&stored.tags)? {
        chunk(&mut out, name, &data);
    }
    Ok((Rows { stored, row_bytes: stored.size.width * step, step }, out))
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
fn spans(rows: &Rows<'_>) -> Vec<(usize, usize)> {
    let height = rows.stored.size.height;
    let each = (BAND / rows.row_bytes.max(1)).max(1);
    (0..height).step_by(each).map(|first| (first, (first + each).min(height))).collect()
}

/// The chunk of a band.
struct Packed {
    data: Vec<u8>,
    sum: u32,
    length: usize,
}

fn packed(filtered: &[u8], first: bool, last: bool) -> Packed {
    // Zlib header (RFC 1950, 2.2): deflate, 32 KiB window, fastest.
    let head: &[u8] = if first { b"\0\0\0\0IDAT\x78\x01" } else { b"\0\0\0\0IDAT" };
    let mut data = deflate::pack(head, filtered, last);
    let length = (data.len() - 8) as u32;
    data[..4].copy_from_slice(&length.to_be_bytes());
    let sum = crc32fast::hash(&data[4..]);
    data.extend(sum.to_be_bytes());
    // Most of what was set aside was not needed.
    data.shrink_to_fit();
    Packed { data, sum: adler32(filtered), length: filtered.len() }
}

/// One IDAT a band; the stream runs through them (PNG 10.1), its header before the first. With them their places in the file, of
/// which the first is `start`, and the checksum that closes the stream.
fn in_bands(rows: &Rows<'_>, mut start: usize) -> (Vec<Vec<u8>>, Vec<Band>, u32) {
    let height = rows.stored.size.height;
    let all: Vec<Packed> = spans(rows)
        .par_iter()
        .map(|&(first, last)| packed(&rows.filtered(Effort::Fast, first, last), first == 0, last == height))
        .collect();
    let mut whole = 1;
    let place = |band: &Packed| {
        let end = start + band.data.len();
        whole = joined_adler32(whole, band.sum, band.length);
        Band { start: std::mem::replace(&mut start, end), end, sum: band.sum }
    };
    let bands = all.iter().map(place).collect();
    (all.into_iter().map(|band| band.data).collect(), bands, whole)
}

/// Bands filtered side by side, one stream packed by libdeflate.
fn whole(rows: &Rows<'_>, out: &mut Vec<u8>) -> Result<(), Fault> {
    let filtered: Vec<Vec<u8>> = spans(rows).par_iter().map(|&(first, last)| rows.filtered(Effort::Small, first, last)).collect();
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
    use crate::store::stamp;

    /// PNG third edition, clause 9: what the filters of one band make, its own rows give back.
    #[test]
    fn a_part_rewritten_gives_the_bytes_of_the_whole_written_anew() {
        let folder = tempfile::tempdir().unwrap();
        for (layout, sixteen) in [(Layout::Rgb, false), (Layout::Gray, true), (Layout::Rgba, false), (Layout::Gray, false)] {
            let size = Size::new(2000, 900);
            let like = if sixteen { Samples::U16(Vec::new()) } else { Samples::U8(Vec::new()) };
            let mut before = Stored::zeros(size, layout, &like);
            let n = layout.components();
            for i in 0..size.area() {
                for c in 0..n {
                    let noise = (i.wrapping_mul(2_654_435_761) >> 7) % 13;
                    let own = (i % size.width / 9 + i / size.width / 5 + c * 31 + noise) % 256;
                    before.set_value(i % size.width, i / size.width, c, own as f32 / 255.0);
                }
            }
            let (file, bands) = encode_banded(&before).unwrap();
            let file = file.join().unwrap();
            let place = folder.path().join("before.png");
            let known = |bytes: &[u8]| {
                std::fs::write(&place, bytes).unwrap();
                KnownFile::new(&place, stamp(&place).unwrap())
            };
            assert!(bands.len() > 3, "several bands: {}", bands.len());
            let parts = [Rect::new(256, 256, 256, 256), Rect::new(1990, 880, 10, 20), Rect::new(0, 0, 5, 1)];
            let mut after = before.clone();
            // Only the parts of the second picture may be looked at.
            let mut sparse = Stored::zeros(size, layout, &like);
            for part in parts {
                let mut own = before.crop(part);
                (0..part.width).for_each(|x| own.set_value(x, 0, 0, 0.3));
                after.paste(&own, part.x, part.y);
                sparse.paste(&own, part.x, part.y);
            }
            let (wanted, places) = encode_banded(&after).unwrap();
            let previous = known(&file);
            let mut rows = Stored::zeros(size, layout, &like);
            let strips = unpack(&previous, &bands, &[300..310, 700..701], &parts, &mut rows).unwrap().unwrap();
            assert!(rows.crop(Rect::new(0, 300, 2000, 10)) == before.crop(Rect::new(0, 300, 2000, 10)), "rows are read");
            assert!(!strips.0.is_empty() && strips.0.len() < bands.len(), "some strips are at hand: {}", strips.0.len());
            let wanted = wanted.join().unwrap();
            let mut got = Vec::new();
            for strips in [strips, Strips::default()] {
                let (pieces, found) = rewrite(&previous, &bands, strips, &sparse, &parts).unwrap().unwrap();
                got = pieces.join().unwrap();
                assert!(got == wanted && found == places, "{layout:?}: the same bytes and places");
            }
            assert_eq!(
                super::super::super::decode_stored(&got, &super::super::super::Limits::default()).unwrap(),
                after,
                "and it reads back"
            );
            let mut spoilt = file.clone();
            spoilt[bands[0].start + 40] ^= 1;
            let again = |file: &KnownFile, bands: &[Band]| rewrite(file, bands, Strips::default(), &sparse, &parts).unwrap();
            assert!(again(&known(&spoilt), &bands).is_none(), "a damaged band is not used");
            assert!(again(&known(&file), &bands[1..]).is_none(), "nor bands of another file");
        }
    }

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
