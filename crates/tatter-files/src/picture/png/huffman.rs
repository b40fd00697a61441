//! Prefix codes as deflate wants them (RFC 1951, 3.2.2).

/// Longest code given out. Deflate allows 15; with 12, four literals and what is left of a byte fit one 64-bit word, for a
/// loss below a thousandth on pictures.
pub(super) const LONGEST: usize = 12;

/// Bit lengths of a code for these frequencies, none above `limit`; unused symbols get 0. At least two symbols must occur.
pub(super) fn lengths(frequencies: &[u32], limit: usize) -> Vec<u8> {
    let mut used: Vec<(u32, usize)> =
        frequencies.iter().zip(0..).filter(|(f, _)| **f > 0).map(|(&f, symbol)| (f, symbol)).collect();
    used.sort_unstable();
    let mut counts = counts_by_length(&used.iter().map(|&(f, _)| u64::from(f)).collect::<Vec<_>>(), limit);
    limit_lengths(&mut counts, limit);
    let mut lengths = vec![0; frequencies.len()];
    // The rarest symbols take the longest codes.
    let mut rarest = used.iter();
    for length in (1..=limit).rev() {
        for &(_, symbol) in rarest.by_ref().take(counts[length]) {
            lengths[symbol] = length as u8;
        }
    }
    lengths
}

/// How many codes of each length Huffman's tree has, lengths beyond `limit` counted there. Frequencies ascend.
fn counts_by_length(frequencies: &[u64], limit: usize) -> Vec<usize> {
    let leaves = frequencies.len();
    let mut counts = vec![0; limit + 1];
    if leaves < 2 {
        counts[1] = leaves;
        return counts;
    }
    // Two queues: leaves in order, and joined nodes, which arise in order (van Leeuwen 1976).
    let mut weights = frequencies.to_vec();
    let mut parents = vec![0; 2 * leaves - 1];
    let (mut leaf, mut joined) = (0, leaves);
    while weights.len() < 2 * leaves - 1 {
        let mut weight = 0;
        for _ in 0..2 {
            let take_leaf = leaf < leaves && (joined >= weights.len() || weights[leaf] <= weights[joined]);
            let node = if take_leaf { &mut leaf } else { &mut joined };
            weight += weights[*node];
            parents[*node] = weights.len();
            *node += 1;
        }
        weights.push(weight);
    }
    let root = 2 * leaves - 2;
    let mut depths = vec![0_usize; 2 * leaves - 1];
    for node in (0..root).rev() {
        depths[node] = depths[parents[node]] + 1;
        if node < leaves {
            counts[depths[node].min(limit)] += 1;
        }
    }
    counts
}

/// Lengthen short codes until the lengths fit a tree again (Kraft's inequality).
fn limit_lengths(counts: &mut [usize], limit: usize) {
    let mut total: usize = (1..=limit).map(|length| counts[length] << (limit - length)).sum();
    while total > 1 << limit {
        counts[limit] -= 1;
        if let Some(length) = (1..limit).rev().find(|&length| counts[length] > 0) {
            counts[length] -= 1;
            counts[length + 1] += 2;
        }
        total -= 1;
    }
}

/// Each symbol's code, first bit lowest, with its length above it: `code | length << 16`.
pub(super) fn codes(lengths: &[u8]) -> Vec<u32> {
    let mut next = [0_u32; 17];
    for length in 1..16 {
        let shorter = lengths.iter().filter(|&&l| usize::from(l) == length).count() as u32;
        next[length + 1] = (next[length] + shorter) << 1;
    }
    let mut code_of = |length: u8| {
        let code = next[usize::from(length)];
        next[usize::from(length)] += 1;
        (code.reverse_bits() >> (32 - u32::from(length))) | u32::from(length) << 16
    };
    lengths.iter().map(|&length| if length == 0 { 0 } else { code_of(length) }).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    /// The worked example of RFC 1951, 3.2.2.
    #[test]
    fn codes_are_those_of_the_standard() {
        let codes = codes(&[3, 3, 3, 3, 3, 2, 4, 4]);
        let written: Vec<String> =
            codes.iter().map(|&c| (0..c >> 16).map(|bit| if c >> bit & 1 == 1 { '1' } else { '0' }).collect()).collect();
        assert_eq!(written, ["010", "011", "100", "101", "110", "00", "1110", "1111"], "A to H");
    }

    #[test]
    fn lengths_are_complete_and_limited() {
        // Fibonacci frequencies make the deepest tree.
        let mut frequencies = vec![1, 1];
        while frequencies.len() < 24 {
            frequencies.push(frequencies[frequencies.len() - 1] + frequencies[frequencies.len() - 2]);
        }
        for limit in [7, LONGEST, 15] {
            let found = lengths(&frequencies, limit);
            let kraft: u32 = found.iter().map(|&l| 1 << (15 - u32::from(l))).sum();
            assert_eq!(kraft, 1 << 15, "a complete code of at most {limit} bits");
            assert!(found.iter().all(|&l| l > 0 && usize::from(l) <= limit), "within {limit}: {found:?}");
        }
        assert_eq!(lengths(&[5, 0, 1, 1], 15), [1, 0, 2, 2], "Huffman's own lengths when they fit");
    }
}
