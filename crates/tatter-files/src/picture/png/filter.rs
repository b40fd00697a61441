//! The five filters of PNG (third edition, clause 9), and which suits a band.

use super::super::Effort;

/// Filter types by their numbers: none, sub, up, average, Paeth.
pub(super) const KINDS: std::ops::Range<u8> = 0..5;

/// One row through a filter. `above` is the row before, zeros for the first; `step` is the bytes of a texel.
pub(super) fn apply(kind: u8, row: &[u8], above: &[u8], step: usize, out: &mut [u8]) {
    let above = &above[..row.len()];
    let out = &mut out[..row.len()];
    let step = step.min(row.len());
    let left = &row[..row.len() - step];
    let above_left = &above[..row.len() - step];
    match kind {
        1 => {
            out[..step].copy_from_slice(&row[..step]);
            for ((out, x), a) in out[step..].iter_mut().zip(&row[step..]).zip(left) {
                *out = x.wrapping_sub(*a);
            }
        }
        2 => {
            for ((out, x), b) in out.iter_mut().zip(row).zip(above) {
                *out = x.wrapping_sub(*b);
            }
        }
        3 => {
            for ((out, x), b) in out[..step].iter_mut().zip(row).zip(above) {
                *out = x.wrapping_sub(b / 2);
            }
            for (((out, x), a), b) in out[step..].iter_mut().zip(&row[step..]).zip(left).zip(&above[step..]) {
                *out = x.wrapping_sub((a & b).wrapping_add((a ^ b) >> 1));
            }
        }
        4 => {
            for ((out, x), b) in out[..step].iter_mut().zip(row).zip(above) {
                *out = x.wrapping_sub(*b);
            }
            let rest = out[step..].iter_mut().zip(&row[step..]).zip(left).zip(&above[step..]).zip(above_left);
            for ((((out, x), a), b), c) in rest {
                *out = x.wrapping_sub(paeth(*a, *b, *c));
            }
        }
        _ => out.copy_from_slice(row),
    }
}

/// The row of whole texels that a filter made `line` of; `None` of a filter there is not.
pub(super) fn undo(kind: u8, line: &[u8], above: &[u8], step: usize, row: &mut [u8]) -> Option<()> {
    let (above, step) = (&above[..line.len()], step.min(line.len()));
    let row = &mut row[..line.len()];
    if !line.len().is_multiple_of(step.max(1)) {
        return None;
    }
    // What lies left of the first texel is nothing: each filter then is the one below it (9.2).
    let first: fn(u8) -> u8 = match kind {
        0 | 1 => |_| 0,
        2 | 4 => |b| b,
        3 => |b| b / 2,
        _ => return None,
    };
    for i in 0..step {
        row[i] = line[i].wrapping_add(first(above[i]));
    }
    match (kind, step) {
        (0, _) => row.copy_from_slice(line),
        (2, _) => row.iter_mut().zip(line).zip(above).for_each(|((out, x), b)| *out = x.wrapping_add(*b)),
        (_, 1) => undo_texels::<1>(kind, line, above, row),
        (_, 2) => undo_texels::<2>(kind, line, above, row),
        (_, 3) => undo_texels::<3>(kind, line, above, row),
        (_, 4) => undo_texels::<4>(kind, line, above, row),
        (_, 6) => undo_texels::<6>(kind, line, above, row),
        (_, 8) => undo_texels::<8>(kind, line, above, row),
        _ => return None,
    }
    Some(())
}

/// Behind the first texel, for the filters that look back: its components side by side, each texel waiting for the one before.
fn undo_texels<const STEP: usize>(kind: u8, line: &[u8], above: &[u8], row: &mut [u8]) {
    let (mut a, mut c) = ([0u8; STEP], [0u8; STEP]);
    a.copy_from_slice(&row[..STEP]);
    c.copy_from_slice(&above[..STEP]);
    let rest = row[STEP..].as_chunks_mut::<STEP>().0.iter_mut().zip(line[STEP..].as_chunks::<STEP>().0);
    let rest = rest.zip(above[STEP..].as_chunks::<STEP>().0);
    match kind {
        1 => rest.for_each(|((out, x), _)| {
            a = std::array::from_fn(|i| x[i].wrapping_add(a[i]));
            *out = a;
        }),
        3 => rest.for_each(|((out, x), b)| {
            a = std::array::from_fn(|i| x[i].wrapping_add((a[i] & b[i]).wrapping_add((a[i] ^ b[i]) >> 1)));
            *out = a;
        }),
        _ => rest.for_each(|((out, x), b)| {
            a = std::array::from_fn(|i| x[i].wrapping_add(paeth(a[i], b[i], c[i])));
            c = *b;
            *out = a;
        }),
    }
}

/// The neighbour nearest to `a + b - c`, the first of equals (9.4), without branches so that it runs on many bytes at once, and with the
/// shortest way from `a`, which is known last when rows are restored. With `c` far below both, the estimate lies beyond the higher and
/// nearest to it; far above, nearest to the lower; between, nearest to `c`. The thirds of the way decide.
#[inline(always)]
fn paeth(a: u8, b: u8, c: u8) -> u8 {
    let (a, b, c) = (i16::from(a), i16::from(b), i16::from(c));
    let turn = 3 * c - b - a;
    let (low, high) = (a.min(b), a.max(b));
    let first = if high <= turn { low } else { c };
    (if turn <= low { high } else { first }) as u8
}

/// Rows looked at to choose a filter, spread over the band.
const SAMPLED_ROWS: usize = 4;
/// What undoing a filter is worth, in bits a byte: three of them wait for the texel before at every texel, two of these for longer than an addition,
/// and a texture is read more often than it is written.
const UNDOING: [f32; 5] = [0.0, 0.02, 0.0, 0.06, 0.1];

/// The filter whose residuals take the least on some rows of a band, by their entropy; and to undo, where speed counts. `row(y)` gives a row and the one above.
pub(super) fn choose<'a>(effort: Effort, rows: usize, step: usize, row: impl Fn(usize) -> (&'a [u8], &'a [u8])) -> u8 {
    let stride = rows.div_ceil(SAMPLED_ROWS).max(1);
    let mut out = Vec::new();
    let price = |kind: u8, out: &mut Vec<u8>| {
        // Four tables, so that equal neighbours don't wait for each other.
        let mut counts = [[0_u32; 256]; 4];
        // Not evenly: threads are, and every so many rows might show the same side of them. Steps of the golden section repeat nowhere. The
        // first row, which has nothing above it, is like no other.
        let sampled = (0..rows.div_ceil(stride)).map(|i| i * stride + (i * 618 + 309) % 1000 * stride / 1000);
        for (this, above) in sampled.filter(|y| *y < rows).map(&row) {
            out.resize(this.len(), 0);
            apply(kind, this, above, step, out);
            let (fours, rest) = out.as_chunks::<4>();
            fours.iter().for_each(|four| (0..4).for_each(|i| tally(&mut counts[i], four[i])));
            rest.iter().for_each(|&byte| tally(&mut counts[0], byte));
        }
        let counts: [u32; 256] = std::array::from_fn(|byte| counts.iter().map(|table| table[byte]).sum());
        let bytes = counts.iter().sum::<u32>().max(1) as f32;
        let bits = entropy(&counts) / bytes;
        match effort {
            Effort::Small => bits,
            // What takes more is stored as it is.
            Effort::Fast => bits.min(8.0 * STORED) + UNDOING[usize::from(kind)],
        }
    };
    let prices = KINDS.map(|kind| (price(kind, &mut out), kind));
    prices.min_by(|a, b| a.0.total_cmp(&b.0).then(a.1.cmp(&b.1))).map_or(0, |(_, kind)| kind)
}

/// Share of its bytes from which on a block is stored: unpacking what saves less than a tenth takes longer than reading it does.
pub(super) const STORED: f32 = 0.9;

/// One more of a byte. A block has no more bytes than a count can hold; this crate's checks for that would cost as much as the counting.
#[inline]
pub(super) const fn tally(counts: &mut [u32; 256], byte: u8) {
    counts[byte as usize] = counts[byte as usize].wrapping_add(1);
}

/// Bits an ideal code would need (Shannon 1948).
pub(super) fn entropy(counts: &[u32; 256]) -> f32 {
    let total = counts.iter().sum::<u32>() as f32;
    counts.iter().filter(|n| **n > 0).map(|&n| n as f32 * (total / n as f32).log2()).sum()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_filter_is_undone() {
        let row: Vec<u8> = (0..96u32).map(|i| ((i * i * 31) >> 3) as u8).collect();
        let above: Vec<u8> = (0..96u32).map(|i| ((i * 77) >> 1) as u8).collect();
        for (kind, step) in KINDS.flat_map(|kind| [1, 2, 3, 4, 6, 8].map(|step| (kind, step))) {
            let (mut line, mut back) = (vec![0; row.len()], vec![0; row.len()]);
            apply(kind, &row, &above, step, &mut line);
            assert_eq!(undo(kind, &line, &above, step, &mut back), Some(()), "filter {kind}");
            assert_eq!(back, row, "filter {kind}, {step} bytes a texel");
        }
        assert_eq!(undo(5, &row, &above, 1, &mut [0; 96]), None, "there are five");
    }

    #[test]
    fn paeth_takes_the_nearest_neighbour_first_of_equals() {
        // Clause 9.4: a + b - c against a, b, c; ties in the order a, b, c.
        assert_eq!(paeth(10, 20, 10), 20, "the estimate 20 is b");
        assert_eq!(paeth(10, 20, 20), 10, "the estimate 10 is a");
        assert_eq!(paeth(0, 255, 128), 128, "the estimate 127 is next to c");
        assert_eq!(paeth(5, 5, 5), 5, "all equal");
        assert_eq!(paeth(3, 1, 2), 2, "the estimate 2 is c");
    }

    /// PNG, third edition, 9.4, as its text has it.
    #[test]
    fn thirds_decide_as_distances_do() {
        let told = |a: u8, b: u8, c: u8| {
            let (x, y, z) = (i16::from(a), i16::from(b), i16::from(c));
            let [from_a, from_b, from_c] = [x, y, z].map(|v| (x + y - z - v).abs());
            if from_a <= from_b && from_a <= from_c {
                a
            } else if from_b <= from_c {
                b
            } else {
                c
            }
        };
        for (a, b) in (0..=255).flat_map(|a| (0..=255).map(move |b| (a, b))) {
            assert!((0..=255).all(|c| paeth(a, b, c) == told(a, b, c)), "a {a}, b {b}");
        }
    }

    #[test]
    fn slopes_and_flats_get_fitting_filters() {
        let vertical: Vec<u8> = (0..64_u32 * 64).map(|i| (i % 64 * 37 % 251) as u8).collect();
        let zeros = [0; 64];
        let row = |y: usize| (&vertical[y * 64..][..64], if y == 0 { &zeros[..] } else { &vertical[(y - 1) * 64..][..64] });
        assert_eq!(choose(Effort::Fast, 64, 1, row), 2, "rows that repeat are told by the row above");
    }
}
