//! Values computed in parallel, the machinery for it compiled once for each kind of value. With a parallel iterator over each function
//! it was compiled for each function: half of all code of a crate, and half of its compile time.

use rayon::prelude::*;

/// Values computed by one call.
pub(super) const BLOCK: usize = 16;

/// `count` values, blocks of them in parallel, at least `least` values a thread. `block(i)` gives those from `i * BLOCK` on; what it gives
/// beyond the last is dropped.
pub(super) fn collect<P: Copy + Send>(count: usize, least: usize, block: &(dyn Fn(usize) -> [P; BLOCK] + Sync)) -> Vec<P> {
    let mut blocks = Vec::with_capacity(count.div_ceil(BLOCK));
    (0..count.div_ceil(BLOCK)).into_par_iter().with_min_len(least.div_ceil(BLOCK)).map(block).collect_into_vec(&mut blocks);
    let mut values = blocks.into_flattened();
    values.truncate(count);
    values
}

/// A block of values; what is missing in the last one is filled with its last value.
pub(super) fn block_of<P: Copy>(values: &[P], number: usize) -> [P; BLOCK] {
    let part = &values[number * BLOCK..values.len().min((number + 1) * BLOCK)];
    part.first_chunk().copied().unwrap_or_else(|| std::array::from_fn(|i| part[i.min(part.len() - 1)]))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_count_of_values_comes_out_whole_and_in_order() {
        for count in [0, 1, BLOCK - 1, BLOCK, BLOCK + 1, 1000] {
            let values: Vec<u32> = (0..count as u32).map(|i| i * 7).collect();
            for least in [1, 5, 4096] {
                let same = collect(count, least, &|number| block_of(&values, number));
                assert_eq!(same, values, "{count} values, {least} a thread");
            }
        }
    }
}
