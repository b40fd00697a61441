//! Places that are even where cloth is threaded.

use tatter_core::image::Image;
use tatter_core::kernel::gaussian;

use super::backing::Blob;
use super::find::Place;
use super::palette::{Scale, Tint, pick};
use crate::relief::smooth::quantile;

/// Share of the intact cloth's thread contrast (variance of log light) below which a place is even. More takes worn cloth for
/// a card, less misses narrow openings.
const EVEN: f32 = 0.15;
/// Width over which evenness is judged, in thread spacings.
const REACH: f32 = 0.22;

/// What the even places were found from, and they.
pub(super) struct Even {
    pub tints: Image<Tint>,
    pub mask: Image<bool>,
    /// Share of the cover that intact cloth does not look like, even or not.
    pub odd_share: f32,
}

/// Places of the cover that are even, in a colour that smoothed intact cloth does not have.
pub(super) fn even_places(place: &Place, scale: Scale, pitch: f32) -> Even {
    let tints = place.color.map(|c| scale.tint(c));
    let sigma = (REACH * pitch).max(1.2);
    let smooth = gaussian(&tints, sigma);
    let square = gaussian(&tints.map(|t| t.0[0] * t.0[0]), sigma);
    let detail = smooth.zip(&square, |m, s| (s - m.0[0] * m.0[0]).max(0.0));
    let in_cloth = detail.texels().iter().zip(place.reference.texels()).filter(|(_, r)| **r);
    let usual = quantile(&mut in_cloth.map(|(d, _)| *d).step_by(7).collect::<Vec<_>>(), 0.5);
    let known = pick(&smooth, &place.reference);
    let blob = Blob::fit(&known, 0.04);
    let limit = (1.3 * quantile(&mut known.iter().map(|t| blob.distance(*t)).collect::<Vec<_>>(), 0.995)).clamp(12.0, 60.0);
    let odd = smooth.zip(&place.cover, |t, c| c.0 > 0.5 && blob.distance(t) > limit);
    let light = quantile(&mut known.iter().map(|t| t.0[0]).collect::<Vec<_>>(), 0.5);
    let mask = Image::from_fn(tints.width(), tints.height(), |x, y| {
        // In the dark the least light looms large in logarithms: there it counts by how much of it there is.
        let dark = (2.0 * (smooth.get(x, y).0[0] - light).exp()).min(1.0);
        odd.get(x, y) && dark * dark * (detail.get(x, y) - scale.spread(place.color.get(x, y))[0]) < EVEN * usual
    });
    let count = |texels: usize| texels.max(1) as f32;
    let odd_share =
        odd.texels().iter().filter(|&&o| o).count() as f32 / count(place.cover.texels().iter().filter(|c| c.0 > 0.5).count());
    Even { tints, mask, odd_share }
}
