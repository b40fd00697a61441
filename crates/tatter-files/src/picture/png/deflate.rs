//! Deflate (RFC 1951) for one band of filtered rows: own code, because the fast libraries can't end a band on a byte with
//! more to follow (libdeflate has no flush, ISA-L does not build without an assembler), and bands are what lets one picture
//! use all cores. Filtered pictures are mostly noise about zero: nearly all the gain lies in a prefix code that fits each
//! block, and matches are only sought where they are long.

use super::filter::{STORED, entropy, tally};
use super::huffman::{self, LONGEST};

/// Bytes coded with one table; as many as a stored block holds.
const BLOCK: usize = 65_535;
/// Entries of the match table: 32 KiB, which stays in the nearest cache.
const TABLE_BITS: u32 = 13;
/// Bytes compared to find a match, and the least it copies.
const SHORTEST: usize = 8;
/// Bits a match takes, about: a match is taken only where literals would take more. Tuned on cloth maps.
const MATCH_BITS: f32 = 24.0;
const LONGEST_MATCH: usize = 258;
const WINDOW: usize = 32_768;
const END: usize = 256;

/// Literals, then a copy of `length` bytes from `distance` back; the last of a block has length 0.
struct Step {
    literals: u32,
    length: u16,
    distance: u16,
}

/// Pack one band. All but the last end with an empty stored block, on a byte boundary, so that the next may follow; no band
/// looks back into another. Behind `head`, which is given back before it.
pub(super) fn pack(head: &[u8], data: &[u8], last: bool) -> Vec<u8> {
    // As much as stored blocks would take, so that it never has to be moved.
    let mut out = Vec::with_capacity(head.len() + data.len() + 5 * (data.len() / BLOCK + 2) + TABLES);
    out.extend_from_slice(head);
    let mut bits = Bits { out, at: head.len(), ..Bits::default() };
    let mut table = vec![u32::MAX; 1 << TABLE_BITS];
    let mut steps = Vec::new();
    let mut start = 0;
    loop {
        let end = (start + BLOCK).min(data.len());
        let final_block = last && end == data.len();
        steps.clear();
        find_matches(data, start, end, &mut table, &mut steps);
        write_block(&mut bits, &data[start..end], &steps, final_block);
        start = end;
        if start == data.len() {
            break;
        }
    }
    if !last {
        bits.stored(&[], false);
    }
    bits.finish()
}

#[inline]
fn word(data: &[u8], at: usize) -> u64 {
    data[at..].first_chunk().map_or(0, |bytes| u64::from_le_bytes(*bytes))
}

/// The least length at which a match saves bits in a block whose literals have this entropy.
fn worth_copying(block: &[u8]) -> usize {
    // Every fifth byte will do, and falls on every component of a texel.
    let mut counts = [0; 256];
    block.iter().step_by(5).for_each(|&byte| tally(&mut counts, byte));
    let bits = entropy(&counts) * 5.0 / block.len().max(1) as f32;
    ((MATCH_BITS / bits.max(0.01)) as usize).clamp(SHORTEST, 64)
}

fn find_matches(data: &[u8], start: usize, end: usize, table: &mut [u32], steps: &mut Vec<Step>) {
    let shortest = worth_copying(&data[start..end]);
    let (mut at, mut anchor) = (start, start);
    let limit = end.saturating_sub(8);
    while at < limit {
        let here = word(data, at);
        // Multiplicative hash of eight bytes (Knuth, volume 3, 6.4).
        let slot = (here.wrapping_mul(0x9e37_79b1_85eb_ca87) >> (64 - TABLE_BITS)) as usize;
        let candidate = table[slot] as usize;
        table[slot] = at as u32;
        let distance = at.wrapping_sub(candidate);
        if distance <= WINDOW && word(data, candidate) == here {
            let length = match_length(data, candidate, at, (end - at).min(LONGEST_MATCH));
            if length >= shortest {
                steps.push(Step { literals: (at - anchor) as u32, length: length as u16, distance: distance as u16 });
                at += length;
                anchor = at;
                continue;
            }
        }
        // The longer nothing is found, the less often it is tried.
        at += 1 + ((at - anchor) >> 5);
    }
    steps.push(Step { literals: (end - anchor) as u32, length: 0, distance: 0 });
}

fn match_length(data: &[u8], from: usize, at: usize, most: usize) -> usize {
    let mut length = SHORTEST;
    while length + 8 <= most {
        let difference = word(data, from + length) ^ word(data, at + length);
        if difference != 0 {
            return length + (difference.trailing_zeros() / 8) as usize;
        }
        length += 8;
    }
    while length < most && data[from + length] == data[at + length] {
        length += 1;
    }
    length
}

/// Symbol, extra bits and their number of a match length (RFC 1951, 3.2.5).
#[inline]
const fn length_symbol(length: u16) -> (usize, u64, u32) {
    let value = length as u32 - 3;
    match value {
        0..8 => (257 + value as usize, 0, 0),
        255 => (285, 0, 0),
        _ => {
            let extra = value.ilog2() - 2;
            let symbol = 257 + 4 * (extra + 1) + ((value >> extra) & 3);
            (symbol as usize, (value & ((1 << extra) - 1)) as u64, extra)
        }
    }
}

/// The same of a distance.
#[inline]
const fn distance_symbol(distance: u16) -> (usize, u64, u32) {
    let value = distance as u32 - 1;
    if value < 4 {
        return (value as usize, 0, 0);
    }
    let extra = value.ilog2() - 1;
    let symbol = 2 * (extra + 1) + ((value >> extra) & 1);
    (symbol as usize, (value & ((1 << extra) - 1)) as u64, extra)
}

fn count_symbols(data: &[u8], steps: &[Step]) -> ([u32; 286], [u32; 30], u64) {
    let mut symbols = [0_u32; 286];
    let mut distances = [0_u32; 30];
    // Four tables, so that equal neighbours don't wait for each other.
    let mut literals = [[0_u32; 256]; 4];
    let mut extra_bits = 0;
    let mut at = 0;
    for step in steps {
        let run = &data[at..at + step.literals as usize];
        let (fours, rest) = run.as_chunks::<4>();
        for four in fours {
            for i in 0..4 {
                tally(&mut literals[i], four[i]);
            }
        }
        for &byte in rest {
            tally(&mut literals[0], byte);
        }
        at += run.len() + usize::from(step.length);
        if step.length > 0 {
            let (length, _, more) = length_symbol(step.length);
            let (distance, _, further) = distance_symbol(step.distance);
            symbols[length] += 1;
            distances[distance] += 1;
            extra_bits += u64::from(more + further);
        }
    }
    for (i, symbol) in symbols.iter_mut().take(256).enumerate() {
        *symbol = literals.iter().map(|table| table[i]).sum();
    }
    symbols[END] = 1;
    (symbols, distances, extra_bits)
}

fn write_block(bits: &mut Bits, data: &[u8], steps: &[Step], last: bool) {
    let (mut symbols, mut distances, extra_bits) = count_symbols(data, steps);
    // Each code needs two symbols to be complete.
    for code in [&mut symbols[..], &mut distances[..]] {
        let missing = 2_usize.saturating_sub(code.iter().filter(|f| **f > 0).count());
        code.iter_mut().filter(|f| **f == 0).take(missing).for_each(|f| *f = 1);
    }
    let symbol_lengths = huffman::lengths(&symbols, LONGEST);
    let distance_lengths = huffman::lengths(&distances, LONGEST);
    let price = |frequencies: &[u32], lengths: &[u8]| -> u64 {
        frequencies.iter().zip(lengths).map(|(&f, &l)| u64::from(f) * u64::from(l)).sum()
    };
    let body = price(&symbols, &symbol_lengths) + price(&distances, &distance_lengths) + extra_bits;
    // A table of code lengths takes 60 to 90 bytes.
    if (body / 8 + 60) as f32 > STORED * data.len() as f32 {
        bits.stored(data, last);
        return;
    }
    bits.reserve((body / 8) as usize + TABLES);
    bits.push(u64::from(last) | 2 << 1, 3);
    write_tables(bits, &symbol_lengths, &distance_lengths);
    write_body(bits, data, steps, &huffman::codes(&symbol_lengths), &huffman::codes(&distance_lengths));
}

/// Bytes that the tables before a block take at most: 316 code lengths of 14 bits with what they repeat, and 19 of 3.
const TABLES: usize = 640;

/// Order in which lengths of the code of code lengths are sent (RFC 1951, 3.2.7).
const LENGTH_ORDER: [usize; 19] = [16, 17, 18, 0, 8, 7, 9, 6, 10, 5, 11, 4, 12, 3, 13, 2, 14, 1, 15];

fn write_tables(bits: &mut Bits, symbols: &[u8], distances: &[u8]) {
    let used = |lengths: &[u8], least: usize| lengths.iter().rposition(|&l| l > 0).map_or(least, |i| (i + 1).max(least));
    let (symbol_count, distance_count) = (used(symbols, 257), used(distances, 1));
    let all = [&symbols[..symbol_count], &distances[..distance_count]].concat();
    let tokens = run_lengths(&all);
    let mut frequencies = [0_u32; 19];
    for &(symbol, _, _) in &tokens {
        frequencies[symbol] += 1;
    }
    if frequencies.iter().filter(|f| **f > 0).count() < 2 {
        frequencies[usize::from(frequencies[0] > 0)] += 1;
    }
    let lengths = huffman::lengths(&frequencies, 7);
    let codes = huffman::codes(&lengths);
    let sent = LENGTH_ORDER.iter().rposition(|&symbol| lengths[symbol] > 0).map_or(4, |i| (i + 1).max(4));
    bits.push(symbol_count as u64 - 257, 5);
    bits.push(distance_count as u64 - 1, 5);
    bits.push(sent as u64 - 4, 4);
    bits.flush();
    for &symbol in &LENGTH_ORDER[..sent] {
        bits.push(lengths[symbol].into(), 3);
        bits.flush();
    }
    for (symbol, extra, extra_bits) in tokens {
        bits.code(codes[symbol]);
        bits.push(extra, extra_bits);
        bits.flush();
    }
}

/// Code lengths with their runs: symbol, extra bits, number of extra bits.
fn run_lengths(lengths: &[u8]) -> Vec<(usize, u64, u32)> {
    let mut tokens = Vec::new();
    for run in lengths.chunk_by(|a, b| a == b) {
        let mut left = run.len();
        if run[0] == 0 {
            while left >= 3 {
                let taken = left.min(138);
                tokens.push(if taken <= 10 { (17, taken as u64 - 3, 3) } else { (18, taken as u64 - 11, 7) });
                left -= taken;
            }
        } else {
            tokens.push((run[0].into(), 0, 0));
            left -= 1;
            while left >= 3 {
                let taken = left.min(6);
                tokens.push((16, taken as u64 - 3, 2));
                left -= taken;
            }
        }
        tokens.extend(std::iter::repeat_n((run[0].into(), 0, 0), left));
    }
    tokens
}

fn write_body(bits: &mut Bits, data: &[u8], steps: &[Step], symbols: &[u32], distances: &[u32]) {
    let literals: &[u32; 256] = symbols.first_chunk().unwrap_or(&[0; 256]);
    let mut at = 0;
    for step in steps {
        let run = &data[at..at + step.literals as usize];
        let (fours, rest) = run.as_chunks::<4>();
        for four in fours {
            let code = |i: usize| literals[usize::from(four[i])];
            // Joined two by two, so that only one of the four waits for those before.
            let pair = |one: u32, other: u32| {
                (u64::from(one & 0xffff) | u64::from(other & 0xffff).wrapping_shl(one >> 16), (one >> 16) + (other >> 16))
            };
            let ((first, count), (second, further)) = (pair(code(0), code(1)), pair(code(2), code(3)));
            bits.push(first | second.wrapping_shl(count), count + further);
            bits.flush();
        }
        for &byte in rest {
            bits.code(literals[usize::from(byte)]);
        }
        bits.flush();
        at += run.len() + usize::from(step.length);
        if step.length > 0 {
            let (symbol, extra, count) = length_symbol(step.length);
            bits.code(symbols[symbol]);
            bits.push(extra, count);
            let (symbol, extra, count) = distance_symbol(step.distance);
            bits.code(distances[symbol]);
            bits.push(extra, count);
            bits.flush();
        }
    }
    bits.code(symbols[END]);
    bits.flush();
}

/// Bits, lowest first; at most 56 are pushed between flushes, so that nothing in here can overflow, and nothing checks it.
#[derive(Default)]
struct Bits {
    out: Vec<u8>,
    at: usize,
    buffer: u64,
    count: u32,
}

impl Bits {
    #[inline]
    fn push(&mut self, bits: u64, count: u32) {
        self.buffer |= bits.wrapping_shl(self.count);
        self.count = self.count.wrapping_add(count);
    }

    #[inline]
    fn code(&mut self, code: u32) {
        self.push(u64::from(code & 0xffff), code >> 16);
    }

    #[inline]
    fn flush(&mut self) {
        if let Some(place) = self.out[self.at..].first_chunk_mut() {
            *place = self.buffer.to_le_bytes();
        }
        self.at = self.at.wrapping_add((self.count / 8) as usize);
        self.buffer = self.buffer.wrapping_shr(self.count & !7);
        self.count &= 7;
    }

    /// Room for this many bytes more.
    fn reserve(&mut self, bytes: usize) {
        let wanted = self.at + bytes + 16;
        if self.out.len() < wanted {
            self.out.resize(wanted, 0);
        }
    }

    /// A stored block of at most 65535 bytes.
    fn stored(&mut self, data: &[u8], last: bool) {
        self.reserve(data.len() + 8);
        self.push(last.into(), 3);
        self.count = self.count.next_multiple_of(8);
        let length = data.len() as u64;
        self.push(length | (!length & 0xffff) << 16, 32);
        self.flush();
        self.out[self.at..self.at + data.len()].copy_from_slice(data);
        self.at += data.len();
    }

    fn finish(mut self) -> Vec<u8> {
        self.reserve(8);
        self.count = self.count.next_multiple_of(8);
        self.flush();
        self.out.truncate(self.at);
        self.out
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn unpacked(packed: &[u8], length: usize) -> Vec<u8> {
        let mut out = vec![0; length];
        let done = libdeflater::Decompressor::new().deflate_decompress(packed, &mut out).unwrap();
        assert_eq!(done, length, "all of it comes back");
        out
    }

    #[test]
    fn libdeflate_unpacks_it() {
        let noise = |n: u64, mask: u8| -> Vec<u8> {
            (0..n)
                .map(|i| (i.wrapping_mul(0x9e37_79b9_7f4a_7c15).rotate_left(23).wrapping_mul(i | 1) >> 40) as u8 & mask)
                .collect()
        };
        let cases = [
            Vec::new(),
            vec![7],
            vec![0; 300_000],
            noise(200_000, 255),
            noise(200_000, 7),
            noise(40_000, 3).repeat(4),
            [noise(65_535, 255), vec![9; 65_536], noise(7, 1)].concat(),
        ];
        for data in cases {
            assert!(unpacked(&pack(&[], &data, true), data.len()) == data, "{} bytes", data.len());
            let mut bands = pack(b"head", &data, false).split_off(4);
            bands.extend(pack(&[], &data, true));
            assert!(unpacked(&bands, 2 * data.len()) == [&data[..], &data].concat(), "two bands of {} bytes", data.len());
        }
    }

    /// RFC 1951, 3.2.5: the tables of length and distance codes, at their ends.
    #[test]
    fn symbols_are_those_of_the_standard() {
        assert_eq!(
            [3, 10, 11, 12, 13, 130, 257, 258].map(length_symbol),
            [(257, 0, 0), (264, 0, 0), (265, 0, 1), (265, 1, 1), (266, 0, 1), (280, 15, 4), (284, 30, 5), (285, 0, 0)],
            "lengths"
        );
        assert_eq!(
            [1, 4, 5, 6, 7, 24_577, 32_768].map(distance_symbol),
            [(0, 0, 0), (3, 0, 0), (4, 0, 1), (4, 1, 1), (5, 0, 1), (29, 0, 13), (29, 8191, 13)],
            "distances"
        );
    }
}
