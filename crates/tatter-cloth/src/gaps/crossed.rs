//! Openings that one system of threads still crosses, over something near the cloth in colour: where the other system is gone, so is
//! the contrast along the threads that are left. Between them lies what is even.

use tatter_core::angle::Angle;
use tatter_core::image::Image;
use tatter_core::kernel::{dilate, distance_to, gaussian, open};
use tatter_core::stats::quantile;

use super::backing::masked;
use super::bare::beyond_chance;
use super::find::Place;
use super::palette::{Scale, pick};

/// Half the distance over which light is compared along the threads, and over how much that is a mean; thread spacings.
const STEP: f32 = 0.35;
const OVER: f32 = 0.35;
/// Share of the intact cloth's contrast along the threads (energy) below which the other system is gone. What lies beside such a place:
/// how far off, thread spacings, and up to which share, for what is judged by and for what may be open.
const GONE: f32 = 0.2;
const REACH: [f32; 2] = [0.7, 1.3];
const BESIDE: [f32; 2] = [0.4, 0.55];
/// Radius of the broadest disc that such a place holds at least, thread spacings, and its least area, squared ones.
const DISC: f32 = 0.7;
const AREA: f32 = 3.0;
/// And least area beside the largest that intact cloth has.
const BEYOND: f32 = 3.0;
/// How far such threads turn from the lines of the weave on either side, degrees.
const WANDER: f32 = 8.0;
/// How far the light of threads and of what is between them differs at least, logs.
const APART: f32 = 0.5;
/// Radius of the broadest disc that is seen between threads at least, thread spacings.
const BETWEEN: f32 = 0.12;
/// Radius of a disc that no thread holds, and the share of them that does where two lie side by side, at most: 0.14 in ten worn denims
/// and canvases over slate; where what is lit is a card, 0.51 to 0.76.
const THREAD: f32 = 0.7;
const BROAD: f32 = 0.2;
/// How much darker and lighter threads before an opening may be than the crowns of the cloth around it, logs.
const CROWN: [f32; 2] = [-0.5, 0.35];
/// Breadth of that cloth, thread spacings.
const AROUND: f32 = 3.0;

/// What is seen between threads that cross an opening; `None` where every place of the cover has both systems.
pub(super) fn crossed_places(place: &Place, scale: Scale, pitch: f32, dirs: [Angle; 2]) -> Option<Image<bool>> {
    let light = gaussian(&place.color.map(|c| scale.tint(c).0[0]), 0.6);
    let found = dirs.into_iter().filter_map(|along| gone(place, &light, pitch, along));
    let [zone, reach] = found.reduce(|[a, c], [b, d]| [a.zip(&b, |a, b| a || b), c.zip(&d, |c, d| c || d)])?;
    let limit = limit(place, &light, &zone, pitch)?;
    Some(open(&reach.zip(&light, |r, l| r && l < limit), (BETWEEN * pitch).max(1.0)))
}

/// Where light hardly changes along a direction: for certain, and how far that may reach.
fn gone(place: &Place, light: &Image<f32>, pitch: f32, along: Angle) -> Option<[Image<bool>; 2]> {
    let turned = |degrees: f32| {
        let (s, c) = (along + Angle::degrees(degrees)).sin_cos();
        let (dx, dy) = (STEP * pitch * c, -STEP * pitch * s);
        let change = Image::from_fn(light.width(), light.height(), |x, y| {
            let (x, y) = (x as f32 + 0.5, y as f32 + 0.5);
            (light.bilinear(x + dx, y + dy) - light.bilinear(x - dx, y - dy)).powi(2)
        });
        gaussian(&change, (OVER * pitch).max(1.0))
    };
    let contrast = [-WANDER, WANDER].into_iter().fold(turned(0.0), |least, degrees| least.zip(&turned(degrees), f32::min));
    let usual = quantile(&mut pick(&contrast, &place.reference), 0.5);
    let low = contrast.map(|c| c < GONE * usual);
    let covered = place.cover.map(|c| c.0 > 0.5);
    let own = beyond_chance(&low, &covered, &place.reference, DISC * pitch, [AREA * pitch * pitch, BEYOND])?;
    let within = |far: f32, most: f32| {
        let beside = contrast.zip(&covered, |c, covered| covered && c < most * usual);
        dilate(&own, far * pitch).zip(&beside, |n, b| n && b)
    };
    Some([within(REACH[0], BESIDE[0]), within(REACH[1], BESIDE[1])])
}

/// Light below which a place of a zone lies behind threads, where what is lighter can be threads: no broader than they are, and lit as
/// the cloth around is on its crowns. Something behind lies in their shade.
fn limit(place: &Place, light: &Image<f32>, zone: &Image<bool>, pitch: f32) -> Option<f32> {
    let (limit, apart) = parted(masked(light, zone))?;
    let threads = zone.zip(light, |z, l| z && l >= limit);
    let near = distance_to(zone).zip(&place.cover, |d, c| d > 0.5 * pitch && d < (0.5 + AROUND) * pitch && c.0 > 0.5);
    let crown = quantile(&mut masked(light, &near), 0.9);
    let lit = quantile(&mut masked(light, &threads), 0.5) - crown;
    let count = |mask: &Image<bool>| mask.texels().iter().filter(|m| **m).count() as f32;
    let broad = count(&open(&threads, THREAD * pitch));
    if apart < APART || broad > BROAD * count(&threads) || !(CROWN[0]..=CROWN[1]).contains(&lit) {
        return None;
    }
    Some(limit)
}

/// Where values part best (Otsu, "A Threshold Selection Method from Gray-Level Histograms", 1979), and how far the means of both
/// halves lie apart.
fn parted(mut values: Vec<f32>) -> Option<(f32, f32)> {
    values.sort_unstable_by(f32::total_cmp);
    let all: f64 = values.iter().map(|v| f64::from(*v)).sum();
    let n = values.len() as f64;
    let (mut low, mut best) = (0.0f64, (0.0f64, 0.0f32, 0.0f32));
    for (k, v) in values.iter().enumerate().take(values.len().saturating_sub(1)) {
        low += f64::from(*v);
        let below = (k + 1) as f64;
        let apart = (all - low) / (n - below) - low / below;
        let between = below * (n - below) * apart * apart;
        if between > best.0 {
            best = (between, 0.5 * (v + values[k + 1]), apart as f32);
        }
    }
    (best.0 > 0.0).then_some((best.1, best.2))
}

#[cfg(test)]
mod tests {
    use tatter_core::image::{LinearRgb, Unit};
    use tatter_core::task::Task;

    use super::*;
    use crate::gaps::{GapInput, gaps};

    /// Opacity of plain weave, nine texels a thread, that within 40 texels of the middle has level threads alone, eight texels of
    /// thirteen broad, and between them that light; `None`: all threads, with half of their contrast.
    fn cut(between: Option<f32>, dirs: Option<[Angle; 2]>) -> Option<Image<Unit>> {
        let away = |x: usize, y: usize| (x as f32 - 99.5).hypot(y as f32 - 99.5);
        let color = Image::from_fn(200, 200, |x, y| {
            let wave = |v: usize| (std::f32::consts::TAU * v as f32 / 9.0).sin();
            let weave = 0.30 + 0.26 * wave(x) * wave(y);
            let thread = 0.42 + 0.10 * (std::f32::consts::PI * (y % 13) as f32 / 7.0).sin();
            let light = match (away(x, y) < 40.0, between) {
                (false, _) => weave,
                (true, None) => 0.5 * (0.30 + weave),
                (true, Some(between)) => {
                    if y % 13 < 8 {
                        thread
                    } else {
                        between
                    }
                }
            };
            LinearRgb([0.30, 0.36, 0.45].map(|v| v * light / 0.36))
        });
        let cover = Image::from_fn(200, 200, |x, y| Unit(if away(x, y) < 60.0 { 1.0 } else { 0.0 }));
        let input = GapInput { pitch_px: Some([9.0, 9.0]), thread_dirs: dirs, ..GapInput::new(&cover) };
        Some(gaps(&color, &input, &Task::new()).ok()?.opacity)
    }

    // Truth is the drawing itself: exact geometry.
    #[test]
    fn threads_of_one_system_before_the_cloths_own_colour_are_kept_and_what_is_between_them_is_open() {
        let dirs = Some([Angle::degrees(90.0), Angle::ZERO]);
        let mean = |opacity: &Image<Unit>, rows: std::ops::Range<usize>| {
            let (mut sum, mut count) = (0.0, 0.0f32);
            for y in (70..130).filter(|y| rows.contains(&(y % 13))) {
                for x in 75..125 {
                    (sum, count) = (sum + opacity.get(x, y).0, count + 1.0);
                }
            }
            sum / count
        };
        let opacity = cut(Some(0.14), dirs);
        let [threads, open] = [2..6, 9..12].map(|rows| opacity.as_ref().map(|o| mean(o, rows)));
        assert!(threads.is_some_and(|o| o > 0.9), "threads that cross it are cloth: {threads:?}");
        assert!(open.is_some_and(|o| o < 0.1), "what is dark between them is behind: {open:?}");
        let unknown = cut(Some(0.14), None);
        assert!(unknown.is_some_and(|o| mean(&o, 0..13) > 0.95), "narrower than threads, it is not known by its evenness alone");
        let rubbed = cut(None, dirs);
        assert!(rubbed.is_some_and(|o| mean(&o, 0..13) > 0.98), "threads of both systems with half of their contrast are cloth");
    }
}
