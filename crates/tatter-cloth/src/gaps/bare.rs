//! Openings over something of the cloth's own colour: where threads end, the weave's contrast does.

use tatter_core::image::Image;
use tatter_core::kernel::{dilate, gaussian, label, open};
use tatter_core::stats::quantile;

use super::find::Place;
use super::palette::{Scale, pick};

/// What counts as contrast of the weave: log light finer than this, thread spacings, in the mean over so much. Shadows of a rim on what
/// lies behind are broader.
const FINE: f32 = 0.15;
const OVER: f32 = 0.2;
/// Share of the intact cloth's (energy) below which a place is bare, and up to which what lies beside a bare place is too. More takes
/// smooth threads over the opening for it: at 0.2 half of them, at 0.1 a sixth.
const BARE: f32 = 0.1;
const BESIDE: f32 = 0.15;
/// Radius of the broadest disc that a bare place holds at least, and its least area, thread spacings: no thread is that broad. Such
/// places of ten stains, rubbed cloths and of intact cloth have 0.3 at most, openings 4 to 150.
const DISC: f32 = 0.5;
const AREA: f32 = 2.0;
/// And least area beside the largest that intact cloth has.
const BEYOND: f32 = 3.0;
/// Light from which a photo may be burnt out, and shows no threads where there are some.
const BURNT: f32 = 0.96;

/// Bare places of the cover, with some room for the lens; `None` without any.
pub(super) fn bare_places(place: &Place, scale: Scale, pitch: f32) -> Option<Image<bool>> {
    let light = gaussian(&place.color.map(|c| scale.tint(c).0[0]), 0.6);
    let fine = light.zip(&gaussian(&light, FINE * pitch), |l, s| (l - s) * (l - s));
    let contrast = gaussian(&fine, (OVER * pitch).max(1.0));
    let usual = quantile(&mut pick(&contrast, &place.reference), 0.5);
    let smooth = contrast.zip(&place.color, |c, seen| c < BARE * usual && seen.luminance() < BURNT);
    let covered = place.cover.map(|c| c.0 > 0.5);
    let own = beyond_chance(&smooth, &covered, &place.reference, DISC * pitch, [AREA * pitch * pitch, BEYOND])?;
    let near = dilate(&own, FINE * pitch);
    let beside = contrast.zip(&covered, |c, covered| covered && c < BESIDE * usual);
    Some(near.zip(&beside, |n, b| n && b))
}

/// The parts of what is `low` that hold a disc of that radius and are larger than `least`, and than so many times the largest that intact
/// cloth has by chance; `None` without any.
pub(super) fn beyond_chance(
    low: &Image<bool>,
    covered: &Image<bool>,
    intact: &Image<bool>,
    radius: f32,
    [least, times]: [f32; 2],
) -> Option<Image<bool>> {
    let broad = |within: &Image<bool>| open(&low.zip(within, |l, w| l && w), radius);
    let (labels, parts) = label(&broad(covered));
    let by_chance = label(&broad(intact)).1.iter().map(|p| p.area).max().unwrap_or(0);
    let least = least.max(times * by_chance as f32);
    let taken: Vec<bool> = parts.iter().map(|p| p.area as f32 > least).collect();
    taken.contains(&true).then(|| labels.map(|l| l > 0 && taken[l as usize - 1]))
}

#[cfg(test)]
mod tests {
    use tatter_core::image::{LinearRgb, Unit};
    use tatter_core::task::Task;

    use crate::gaps::{GapInput, gaps};

    /// Mean opacity of the middle and of what lies around it in white plain weave, nine texels a thread, whose threads have `contrast`
    /// within 30 texels of the middle, where shade falls from the left.
    fn cut(contrast: f32) -> Option<[f32; 2]> {
        let away = |x: usize, y: usize| (x as f32 - 99.5).hypot(y as f32 - 99.5);
        let color = Image::from_fn(200, 200, |x, y| {
            let wave = |v: usize| (std::f32::consts::TAU * v as f32 / 9.0).sin();
            let inside = away(x, y) < 30.0;
            let depth = if inside { contrast } else { 0.3 };
            let shade = if inside { 0.6 + 0.4 * (x as f32 - 70.0) / 60.0 } else { 0.8 };
            LinearRgb([0.66, 0.66, 0.64].map(|v| v * shade * (1.0 - depth + depth * wave(x) * wave(y))))
        });
        let cover = Image::from_fn(200, 200, |x, y| Unit(if away(x, y) < 45.0 { 1.0 } else { 0.0 }));
        let input = GapInput { pitch_px: Some([9.0, 9.0]), ..GapInput::new(&cover) };
        let opacity = gaps(&color, &input, &Task::new()).ok()?.opacity;
        let mean = |low: f32, high: f32| {
            let of = (0..40_000).filter(|i| (low..high).contains(&away(i % 200, i / 200)));
            let (sum, count) = of.fold((0.0, 0.0), |(sum, count), i| (sum + opacity.texels()[i].0, count + 1.0));
            sum / count
        };
        Some([mean(0.0, 24.0), mean(36.0, 60.0)])
    }

    use super::*;

    // Truth is the drawing itself: exact geometry.
    #[test]
    fn a_hole_over_a_card_of_the_cloths_own_colour_is_open_where_the_weave_ends() {
        let [hole, around] = cut(0.0).unwrap_or([1.0, 0.0]);
        assert!(hole < 0.05 && around > 0.98, "without threads it is open, {hole}, and cloth is not, {around}");
        let [rubbed, _] = cut(0.18).unwrap_or([0.0, 0.0]);
        assert!(rubbed > 0.98, "threads with two thirds of their contrast are cloth: {rubbed}");
    }
}
