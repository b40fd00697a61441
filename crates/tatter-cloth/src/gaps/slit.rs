//! A backing that threads and fuzz leave no even place of.

use tatter_core::image::Image;
use tatter_core::kernel::{close, distance_to, gaussian, label, weighted};
use tatter_core::stats::quantile;

use super::backing::{Backing, FOREIGN, Search, UsualTint, lit, masked};
use super::even::REACH;
use super::palette::{Tint, pick};

/// Correlation of light with foreign tint, thread by thread, below which fibres in the cloth's tint lie before something
/// darker. Set on eleven stains (0.05 to 0.66) and seven openings (-0.18 to -0.85) of made scenes.
const BEFORE_DARK: f32 = -0.1;
/// The same before what is lighter than most cloth and darker than its crowns, as rubbed threads lie before a backing: -0.66 to
/// -0.84 in nine worn denims over green cloth.
const BEFORE_USUAL: f32 = -0.4;
/// How far tints step at a rim, from the cloth's (0) to the backing's (1), where one ends before the other: stains fade
/// (0.21 to 0.58, the more the darker their ring; openings 0.38 to 0.69).
const STEP: f32 = 0.35;
/// Share of the cloth's thread contrast above which places of a foreign tint are threads themselves.
const THREADED: f32 = 0.45;

/// A backing seen between fibres alone, and the purest of its texels. Only of a tint that intact cloth does not have.
///
/// A stain tints threads and what is between them alike, or what is lit more. Before something darker than the cloth, what is
/// lit is fibres and has the cloth's tint. Something lighter than the cloth's brightest can only be behind it where it begins
/// at once and has no threads: what rubbing bares is threaded.
pub(super) fn between_fibres(search: &Search<'_>) -> Option<(Backing, Image<bool>)> {
    let Search { color, tints, reference, scale, pitch, brightest, usual, usual_tint, cover, .. } = *search;
    let foreign = tints.zip(cover, |t, c| c.0 > 0.5 && usual_tint.distance(t) > 2.0 * FOREIGN);
    let (labels, parts) = label(&foreign);
    let (number, part) = parts.iter().enumerate().max_by_key(|(_, p)| p.area)?;
    if (part.area as f32) < (0.3 * pitch * pitch).max(12.0) {
        return None;
    }
    let own = labels.map(|l| l as usize == number + 1);
    let first = Backing::of(&pick(tints, &own), lit(&pick(color, &own)), scale, brightest);
    let alike = foreign.zip(tints, |f, t| f && first.explains(t, scale));
    // Half of it is purer; the rest has fibres in it.
    let pure = quantile(&mut pick(tints, &alike).iter().map(|t| usual_tint.distance(*t)).collect::<Vec<_>>(), 0.5);
    let like = alike.zip(tints, |l, t| l && usual_tint.distance(t) >= pure);
    let made = Backing::of(&pick(tints, &like), lit(&pick(color, &like)), scale, brightest);
    let light = made.color.luminance();
    let crown = quantile(&mut pick(color, reference).iter().map(|c| c.luminance()).collect::<Vec<_>>(), 0.95);
    let share = backing_share(tints, &usual_tint, &like);
    let behind = if light < crown {
        let linked = light_with_share(search, &share);
        // The more threads it shows, the clearer it must be that they are the cloth's; and so it must where most cloth is darker:
        // then rubbed threads lie before it.
        let before = if light < usual { BEFORE_DARK } else { BEFORE_USUAL };
        linked < before && step_at_rim(&share) > STEP && threads_within(search, &like) < THREADED - linked
    } else {
        step_at_rim(&share) > STEP && threads_within(search, &alike) < THREADED
    };
    behind.then_some((made, like))
}

/// Each texel's place between the cloth's tint (0) and that of the marked ones (1), a little soft.
fn backing_share(tints: &Image<Tint>, usual: &UsualTint, like: &Image<bool>) -> Image<f32> {
    let marked = pick(tints, like);
    let axis = [0, 1].map(|i| quantile(&mut marked.iter().map(|t| usual.off(*t)[i]).collect::<Vec<_>>(), 0.5));
    let length = (axis[0] * axis[0] + axis[1] * axis[1]).max(1e-6);
    let share = tints.map(|t| {
        let off = usual.off(t);
        (off[0] * axis[0] + off[1] * axis[1]) / length
    });
    gaussian(&share, 0.7)
}

/// Correlation of log light with the share, both without what is broader than half a thread spacing, where backing is seen and
/// between such places.
fn light_with_share(search: &Search<'_>, share: &Image<f32>) -> f32 {
    let region = close(&share.map(|s| s > 0.5), 0.5 * search.pitch);
    let weight = region.map(|r| if r { 1.0 } else { 0.0 });
    let fine = |image: &Image<f32>| image.zip(&weighted(image, &weight, 0.5 * search.pitch, 0.0), |v, m| v - m);
    let (light, share) = (fine(&gaussian(&search.tints.map(|t| t.0[0]), 0.7)), fine(share));
    let sum = |a: &Image<f32>, b: &Image<f32>| {
        let products = a.texels().iter().zip(b.texels()).zip(region.texels()).filter(|(_, r)| **r);
        products.map(|((a, b), _)| f64::from(a * b)).sum::<f64>()
    };
    (sum(&light, &share) / (sum(&light, &light) * sum(&share, &share)).sqrt().max(1e-9)) as f32
}

/// How much the share falls over some two texels at the rims of its larger places.
fn step_at_rim(share: &Image<f32>) -> f32 {
    let (labels, parts) = label(&share.map(|s| s > 0.5));
    let least = parts.iter().map(|p| p.area).max().unwrap_or(0) / 8;
    let inside = labels.map(|l| l > 0 && parts[l as usize - 1].area > least);
    let mean = |distance: &Image<f32>, [low, high]: [f32; 2]| {
        let band = share.texels().iter().zip(distance.texels()).filter(|(_, d)| **d > low && **d < high);
        let (sum, count) = band.fold((0.0f64, 0.0f64), |(sum, count), (s, _)| (sum + f64::from(*s), count + 1.0));
        (sum / count.max(1.0)) as f32
    };
    mean(&distance_to(&inside.map(|i| !i)), [0.0, 1.7]) - mean(&distance_to(&inside), [1.2, 2.5])
}

/// Variance of log light within the marked texels, without noise, as a share of that of intact cloth.
fn threads_within(search: &Search<'_>, like: &Image<bool>) -> f32 {
    let weight = like.map(|l| if l { 1.0 } else { 0.0 });
    let mean = |image: &Image<f32>| weighted(image, &weight, (REACH * search.pitch).max(1.2), 0.0);
    let light = search.tints.map(|t| t.0[0]);
    let uneven = mean(&light.map(|l| l * l)).zip(&mean(&light), |square, mean| (square - mean * mean).max(0.0));
    let noise = search.color.map(|c| search.scale.spread(c)[0]);
    let within = uneven.zip(&noise, |u, n| u - n);
    quantile(&mut masked(&within, like), 0.5) / search.contrast.max(1e-6)
}
