//! Values computed in parallel, the machinery for it compiled once for each kind of value. With a parallel iterator over each function
//! it was compiled for each function: half of all code of a crate, and half of its compile time.

use rayon::prelude::*;

/// `count` values, blocks of `N` of them in parallel, at least `least` values a thread. `block(i)` gives those from `i * N` on; what it gives
/// beyond the last is dropped.
pub(super) fn collect<P: Copy + Send, const N: usize>(
    count: usize,
    least: usize,
    block: &(dyn Fn(usize) -> [P; N] + Sync),
) -> Vec<P> {
    let mut blocks = Vec::with_capacity(count.div_ceil(N));
    (0..count.div_ceil(N)).into_par_iter().with_min_len(least.div_ceil(N)).map(block).collect_into_vec(&mut blocks);
    let mut values = blocks.into_flattened();
    values.truncate(count);
    values
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_count_of_values_comes_out_whole_and_in_order() {
        for count in [0, 1, 15, 16, 17, 1000] {
            let wanted: Vec<usize> = (0..count).map(|i| i * 7).collect();
            for least in [1, 5, 4096] {
                let block = |number: usize| std::array::from_fn::<usize, 16, _>(|i| (number * 16 + i) * 7);
                assert_eq!(collect(count, least, &block), wanted, "{count} values, {least} a thread");
            }
        }
    }
}
