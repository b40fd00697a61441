//! Exact Euclidean distance (Felzenszwalb, Huttenlocher, "Distance Transforms of Sampled Functions", 2012).

use rayon::prelude::*;

use super::blur::transposed;
use crate::image::Image;

/// Distance in texels from each texel's centre to the nearest `true` one's; infinite when there is none. Linear cost.
#[must_use]
pub fn distance_to(mask: &Image<bool>) -> Image<f32> {
    let far = 1e20f32;
    let mut squared = mask.map(|inside| if inside { 0.0 } else { far });
    squared.par_rows_mut().for_each(|(_, row)| lower_envelope(row));
    let mut squared = transposed(&squared);
    squared.par_rows_mut().for_each(|(_, row)| lower_envelope(row));
    transposed(&squared).map(|d| if d >= far * 0.5 { f32::INFINITY } else { d.sqrt() })
}

/// One dimension: the lower envelope of parabolas rooted at each sample.
fn lower_envelope(row: &mut [f32]) {
    let n = row.len();
    let f: Vec<f64> = row.iter().map(|&v| f64::from(v)).collect();
    let mut roots = vec![0usize; n];
    let mut starts = vec![0f64; n + 1];
    let mut k = 0usize;
    (starts[0], starts[1]) = (f64::NEG_INFINITY, f64::INFINITY);
    let square = |i: usize| (i * i) as f64;
    for q in 1..n {
        loop {
            let r = roots[k];
            let s = ((f[q] + square(q)) - (f[r] + square(r))) / (2 * (q - r)) as f64;
            if s > starts[k] {
                k += 1;
                roots[k] = q;
                (starts[k], starts[k + 1]) = (s, f64::INFINITY);
                break;
            }
            k -= 1;
        }
    }
    k = 0;
    for (q, target) in row.iter_mut().enumerate() {
        while starts[k + 1] < q as f64 {
            k += 1;
        }
        let d = q as f64 - roots[k] as f64;
        *target = (d * d + f[roots[k]]) as f32;
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn three_four_five() {
        let mut mask = Image::filled(9, 9, false);
        mask.set(1, 2, true);
        let d = distance_to(&mask);
        assert_eq!(d.get(1, 2), 0.0, "at the seed");
        assert!((d.get(4, 6) - 5.0).abs() < 1e-5, "3-4-5 triangle, got {}", d.get(4, 6));
        assert!(distance_to(&Image::filled(5, 5, false)).get(2, 2).is_infinite(), "no seed, no distance");
    }
}
