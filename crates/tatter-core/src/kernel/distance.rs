//! Exact Euclidean distance (Felzenszwalb, Huttenlocher, "Distance Transforms of Sampled Functions", 2012).

use rayon::prelude::*;

use super::blur::transposed;
use crate::image::Image;

/// Further than any texel of a picture, squared.
const FAR: f32 = 1e20;

/// Distance in texels from each texel's centre to the nearest `true` one's; infinite when there is none. Linear cost.
#[must_use]
pub fn distance_to(mask: &Image<bool>) -> Image<f32> {
    let mut squared = Image::filled(mask.width(), mask.height(), FAR);
    squared.par_rows_mut().for_each(|(y, row)| along(mask.row(y), row));
    let mut squared = transposed(&squared);
    squared
        .texels_mut()
        .par_chunks_mut(mask.height().max(1))
        .for_each_init(Envelope::default, |envelope, row| envelope.lowest(row));
    transposed(&squared).map(|d| if d >= FAR * 0.5 { f32::INFINITY } else { d.sqrt() })
}

/// Squares of distances to the nearest one in the same row, [`FAR`] where it has none.
fn along(mask: &[bool], row: &mut [f32]) {
    let mut last = None;
    for (x, (to, inside)) in row.iter_mut().zip(mask).enumerate() {
        last = if *inside { Some(x) } else { last };
        if let Some(last) = last {
            *to = ((x - last) * (x - last)) as f32;
        }
    }
    let mut next = None;
    for (x, (to, inside)) in row.iter_mut().zip(mask).enumerate().rev() {
        next = if *inside { Some(x) } else { next };
        if let Some(next) = next {
            *to = to.min(((next - x) * (next - x)) as f32);
        }
    }
}

/// The lower envelope of parabolas rooted at the samples of a row that are not far: root, its height, and where it begins to be the lowest.
#[derive(Default)]
struct Envelope(Vec<(usize, f64, f64)>);

impl Envelope {
    /// Each sample becomes the least of the parabolas there.
    fn lowest(&mut self, row: &mut [f32]) {
        let Self(parts) = self;
        parts.clear();
        let square = |i: usize| (i * i) as f64;
        for (q, value) in row.iter().enumerate().filter(|(_, value)| **value < FAR) {
            let height = f64::from(*value);
            let mut from = f64::NEG_INFINITY;
            while let Some(&(r, other, begins)) = parts.last() {
                from = ((height + square(q)) - (other + square(r))) / (2 * (q - r)) as f64;
                if from > begins {
                    break;
                }
                parts.pop();
            }
            parts.push((q, height, from));
        }
        let mut parts = parts.iter().peekable();
        let Some(mut lowest) = parts.next() else { return };
        for (q, to) in row.iter_mut().enumerate() {
            while let Some(next) = parts.next_if(|next| next.2 < q as f64) {
                lowest = next;
            }
            let d = q as f64 - lowest.0 as f64;
            *to = (d * d + lowest.1) as f32;
        }
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
        // Beside the definition: the least of all distances, with rows and columns that hold none.
        let mask = Image::from_fn(23, 17, |x, y| (x * 5 + y * 11) % 37 == 0 && y % 4 != 1);
        let all: Vec<(usize, usize)> =
            (0..17).flat_map(|y| (0..23).map(move |x| (x, y))).filter(|&(x, y)| mask.get(x, y)).collect();
        let least = Image::from_fn(23, 17, |x, y| {
            all.iter().map(|&(a, b)| (a as f32 - x as f32).hypot(b as f32 - y as f32)).fold(f32::INFINITY, f32::min)
        });
        let off = distance_to(&mask).zip(&least, |a, b| (a - b).abs()).texels().iter().copied().fold(0.0, f32::max);
        assert!(all.len() > 5 && off < 1e-5, "{} ones, off by {off}", all.len());
        assert!(distance_to(&Image::filled(5, 5, false)).get(2, 2).is_infinite(), "no seed, no distance");
    }
}
