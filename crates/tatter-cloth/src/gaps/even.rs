//! Places that are even where cloth is threaded.

use tatter_core::image::Image;
use tatter_core::kernel::{gaussian, label};
use tatter_core::stats::quantile;

use super::backing::Blob;
use super::find::Place;
use super::palette::{Scale, Tint, pick};

/// Share of the intact cloth's thread contrast (variance of log light) below which a place is even. More takes worn cloth for
/// a card, less misses narrow openings.
const EVEN: f32 = 0.15;
/// Width over which evenness is judged, in thread spacings.
pub(super) const REACH: f32 = 0.22;

/// What the even places were found from, and they.
pub(super) struct Even {
    pub tints: Image<Tint>,
    pub mask: Image<bool>,
    /// Even places of any colour.
    pub flat: Image<bool>,
    /// Thread contrast: variance of log light without that of noise.
    pub rough: Image<f32>,
    /// The usual thread contrast of intact cloth: variance of log light.
    pub usual: f32,
    /// Area of the largest even patches that intact cloth has by itself, texels: long floats are even too, in any dye.
    pub by_chance: usize,
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
    let rough = detail.zip(&place.color, |d, c| d - scale.spread(c)[0]);
    let even = smooth.zip(&rough, |t, r| {
        // In the dark the least light looms large in logarithms: there it counts by how much of it there is.
        let dark = (2.0 * (t.0[0] - light).exp()).min(1.0);
        dark * dark * r < EVEN * usual
    });
    let by_chance = usual_patch(&even.zip(&place.reference, |e, r| e && r));
    let mask = even.zip(&odd, |e, o| e && o);
    let count = |texels: usize| texels.max(1) as f32;
    let odd_share =
        odd.texels().iter().filter(|&&o| o).count() as f32 / count(place.cover.texels().iter().filter(|c| c.0 > 0.5).count());
    Even { tints, mask, flat: even, rough, usual, by_chance, odd_share }
}

/// The area that patches of a mask have, but for the largest of them that make a twentieth of it.
fn usual_patch(mask: &Image<bool>) -> usize {
    let mut areas: Vec<usize> = label(mask).1.iter().map(|p| p.area).collect();
    areas.sort_unstable_by(|a, b| b.cmp(a));
    let mut above = areas.iter().sum::<usize>() / 20;
    areas
        .into_iter()
        .find(|area| {
            let fits = *area > above;
            above = above.saturating_sub(*area);
            fits
        })
        .unwrap_or(0)
}
