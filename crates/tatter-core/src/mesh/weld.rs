//! Corners that are the same place, found by sorting their bits: no hashing, so the order never changes.

/// For every key the number of the first key that is equal to it.
pub(super) fn first_equal<K: Ord + Copy>(keys: &[K]) -> Vec<u32> {
    let mut order: Vec<u32> = (0..keys.len() as u32).collect();
    order.sort_unstable_by_key(|&i| (keys[i as usize], i));
    let mut first = vec![0; keys.len()];
    let mut leader = 0;
    for (n, &i) in order.iter().enumerate() {
        if n == 0 || keys[order[n - 1] as usize] != keys[i as usize] {
            leader = i;
        }
        first[i as usize] = leader;
    }
    first
}

/// Bits of a coordinate, with both zeros alike.
pub(super) fn bits(value: f32) -> u32 {
    (value + 0.0).to_bits()
}

/// The three edges of a triangle as pairs of corners, each with the smaller corner first.
pub(super) fn edges(triangle: [u32; 3]) -> [(u32, u32); 3] {
    [0, 1, 2].map(|i| {
        let (a, b) = (triangle[i], triangle[(i + 1) % 3]);
        (a.min(b), a.max(b))
    })
}
