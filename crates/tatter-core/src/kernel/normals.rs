//! Normals from heights, so that the two always agree.

use crate::image::{HeightMm, Image, Normal};
use crate::units::MmPerTexel;

/// Normals of a height field by central differences, one-sided at the edge. `q` counts upwards, as normals do.
#[must_use]
pub fn normals_from_height(height: &Image<HeightMm>, scale: MmPerTexel) -> Image<Normal> {
    let (width, rows) = (height.width(), height.height());
    Image::from_fn(width, rows, |x, y| {
        let (x0, x1) = (x.saturating_sub(1), (x + 1).min(width - 1));
        let (y0, y1) = (y.saturating_sub(1), (y + 1).min(rows - 1));
        let run = |a: usize, b: usize| (b - a).max(1) as f32 * scale.get();
        let p = (height.get(x1, y).0 - height.get(x0, y).0) / run(x0, x1);
        let q = (height.get(x, y0).0 - height.get(x, y1).0) / run(y0, y1);
        Normal::from_slopes(p, q)
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_plane_leans_the_right_way() {
        // Rises 0.5 mm a texel to the right and 0.25 mm a texel downwards, on texels of 0.5 mm.
        let height = Image::from_fn(5, 4, |x, y| HeightMm(0.5 * x as f32 + 0.25 * y as f32));
        let (p, q) = normals_from_height(&height, MmPerTexel(0.5)).get(0, 0).slopes();
        assert!((p - 1.0).abs() < 1e-5 && (q + 0.5).abs() < 1e-5, "slopes {p} {q}");
    }
}
