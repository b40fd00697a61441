//! Smaller opacity that lets as much through as the large one where a renderer asks only "above or below".

use rayon::prelude::*;

use crate::image::{Image, Unit};

/// Share of texels at or above the cutoff: what an alpha test shows.
pub fn alpha_coverage(opacity: &Image<Unit>, cutoff: f32) -> f64 {
    let shown = opacity.texels().par_iter().with_min_len(1 << 14).filter(|texel| texel.0 >= cutoff).count();
    shown as f64 / opacity.texels().len().max(1) as f64
}

/// Bend the values of a smaller copy so that at least `wanted` of it is at or above the cutoff, and no more than one value's
/// texels beyond. Without this averaged threads, thinner than a texel, fall below the cutoff and vanish. 0 and 1 stay, the
/// order of values stays. Nothing is done where no value could be raised (an empty picture, `wanted` 0 or 1).
///
/// The value that must reach the cutoff is that of I. Castaño, "Computing Alpha Mipmaps", 2010; the source multiplies by
/// [`coverage_scale`], which would make whole cloth see-through where it is below 1, so values above it are bent instead.
#[must_use]
pub fn with_coverage(opacity: &Image<Unit>, wanted: f64, cutoff: f32) -> Image<Unit> {
    let Some(last) = last_shown(opacity, wanted).filter(|last| (1e-6..1.0).contains(last)) else { return opacity.clone() };
    opacity.map(|texel| {
        let value = texel.0.clamp(0.0, 1.0);
        if value >= last {
            Unit((cutoff + (value - last) * (1.0 - cutoff) / (1.0 - last)).clamp(cutoff, 1.0))
        } else {
            // Rounding must not lift it over the cutoff.
            Unit((value * cutoff / last).min(cutoff * (1.0 - 1e-5)))
        }
    })
}

/// The factor by which values must grow for `wanted` of them to reach the cutoff; `None` as [`with_coverage`].
pub fn coverage_scale(opacity: &Image<Unit>, wanted: f64, cutoff: f32) -> Option<f32> {
    last_shown(opacity, wanted).filter(|last| *last > 0.0).map(|last| cutoff / last)
}

/// The smallest of the largest values that make up the wanted share.
fn last_shown(opacity: &Image<Unit>, wanted: f64) -> Option<f32> {
    let count = (wanted * opacity.texels().len() as f64 - 1e-6).ceil() as usize;
    if count == 0 || count > opacity.texels().len() {
        return None;
    }
    let mut values: Vec<f32> = opacity.texels().iter().map(|texel| texel.0).collect();
    let (_, last, _) = values.select_nth_unstable_by(count - 1, |a, b| b.total_cmp(a));
    Some(*last)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::kernel::area_resize;

    /// `alpha_coverage` of `alpha_mip_coverage.csv`: slanted threads, box-filtered 2 × 2 levels, computed by an independent
    /// script after I. Castaño, "Computing Alpha Mipmaps", 2010: coverage of the box-filtered level, scale, coverage after.
    #[test]
    fn coverage_of_the_published_method() {
        let full = Image::from_fn(64, 64, |x, y| {
            let away = ((3 * y + 5 * x) % 23) as f32 - 6.0;
            Unit((1.2 - away.abs() / 2.0).clamp(0.0, 1.0))
        });
        let wanted = alpha_coverage(&full, 0.5);
        assert!((wanted - 0.130_615_23).abs() < 1e-7, "level 0 covers {wanted}");
        for (level, box_filtered, scale, after) in
            [(1, 0.0, 1.666_666_67, 0.130_859_38), (2, 0.0, 3.076_923_08, 0.179_687_5), (3, 0.0, 4.0, 0.140_625)]
        {
            let side = 64 >> level;
            let small = area_resize(&full, side, side);
            assert_eq!(alpha_coverage(&small, 0.5), box_filtered, "level {level} as filtered");
            let found = coverage_scale(&small, wanted, 0.5).unwrap();
            assert!((found - scale).abs() < 1e-4, "level {level}: scale {found}, published {scale}");
            let kept = alpha_coverage(&with_coverage(&small, wanted, 0.5), 0.5);
            assert!((kept - after).abs() < 1e-7, "level {level}: {kept}, published {after}");
        }
    }

    #[test]
    fn whole_cloth_and_empty_air_stay() {
        let cloth = Image::from_vec(4, 1, vec![Unit(0.0), Unit(0.4), Unit(0.9), Unit(1.0)]);
        let bent = with_coverage(&cloth, 0.25, 0.5);
        assert_eq!(bent.texels()[0], Unit(0.0), "air");
        assert_eq!(bent.texels()[3], Unit(1.0), "cloth");
        let fewer = with_coverage(&cloth, 0.5, 0.5);
        assert_eq!(alpha_coverage(&fewer, 0.5), 0.5, "two of four");
        assert!(fewer.texels().windows(2).all(|pair| pair[0] <= pair[1]), "order stays: {:?}", fewer.texels());
        assert_eq!(with_coverage(&cloth, 0.0, 0.5), cloth, "nothing is wanted");
    }
}
