//! Shadow of the cloth on its backing and what the cloth lets pass, each from the other.
//!
//! A pixel alone can't tell a fibre in front of the card from the shade of one on it. But shades are drawn by the cloth itself: with the light that is
//! thrown through it ([`super::thrown`]) the shade of every place follows from the openness of all, and the openness of a place is what comes
//! through there over its shade. Both are found in turns, within what the cloth's own light says of each pixel.

use tatter_core::image::Image;
use tatter_core::kernel::{area_resize, weighted};
use tatter_core::task::{Cancelled, Task};

use super::settle::rise;
use super::shade::Shade;
use super::thrown::Thrown;

/// Longest side of the picture in which light is looked for, pixels, and how far off it may pass the cloth, as a share of that.
const SIDE: usize = 448;
const REACH: f32 = 0.14;
/// Turns in that picture, those besides the first in which lamps are looked for anew, and turns in the whole picture.
const TURNS: usize = 8;
const SEARCHED: [usize; 2] = [1, 3];
const LAST_TURNS: usize = 3;
/// Share of the newer guess that is taken in each.
const STEP: f32 = 0.6;
/// Openness from which a pixel tells anything of the shade, and pixels with half of it that are needed.
const TELLS: f32 = 0.1;
const FEWEST: usize = 200;
/// How far the shade that was cast may be off what was seen to count, and from which it doesn't; and over how many pixels that is asked.
const ASTRAY: [f32; 2] = [0.12, 0.4];
const AROUND: f32 = 8.0;
/// Share of what should come through that is next to nothing: shade is told to better than that.
const NEXT_TO_NOTHING: f32 = 0.35;
/// Bounds of shade. Where all openings lie in half light, the card's full light is not seen, and some are lighter than what was taken for it.
const SHADE: [f32; 2] = [0.03, 3.0];

/// The shade with shadows that the cloth casts, from a first one; that one where too little is open to tell the light by.
///
/// # Errors
/// When the task is cancelled.
pub(super) fn cast(
    through: &Image<f32>,
    first: Shade,
    open: &Image<f32>,
    both: &Image<bool>,
    task: &Task,
) -> Result<Shade, Cancelled> {
    let (width, height) = (through.width(), through.height());
    let times = (width.max(height) as f32 / SIDE as f32).max(1.0);
    let small = |image: &Image<f32>| {
        let [width, height] = [width, height].map(|side| ((side as f32 / times).round() as usize).max(1));
        if times > 1.0 { area_resize(image, width, height) } else { image.clone() }
    };
    let (coming, mut passing) = (small(through), small(open));
    if passing.texels().iter().filter(|o| **o > 0.5).count() < FEWEST {
        return Ok(first);
    }
    let seen = small(&both.map(|b| if b { 1.0 } else { 0.0 }));
    let bounds = first.open.each_ref().map(small);
    let (level, nearby) = (small(&first.level), small(&first.seen));
    let reach = (REACH * coming.width().max(coming.height()) as f32) as usize;
    let weight = |passing: &Image<f32>| passing.zip(&seen, |o, seen| if o > TELLS && seen > 0.99 { 1.0 } else { 0.0 });
    let mut light = Thrown::find(&coming, &passing, &weight(&passing), reach);
    for turn in 0..TURNS {
        task.check()?;
        if turn > 0 {
            let weight = weight(&passing);
            light = if SEARCHED.contains(&turn) {
                Thrown::find(&coming, &passing, &weight, reach)
            } else {
                light.weighed(&coming, &passing, &weight)
            };
        }
        passing = next(&coming, &mixed(&light.shade(&passing, 1.0), &level, &nearby), &bounds, &passing);
    }
    let mut open = open.clone();
    for _ in 0..LAST_TURNS {
        task.check()?;
        open = next(through, &mixed(&light.shade(&open, times), &first.level, &first.seen), &first.open, &open);
    }
    let level = mixed(&light.shade(&open, times), &first.level, &first.seen).map(|s| s.clamp(SHADE[0], SHADE[1]));
    Ok(Shade { level, ..first })
}

/// The shade that was cast; where it is not what was seen on bare backing near by, what was seen: cloth that is not along its card, or hardly wider than
/// its pores, throws no shadow that one kind of light explains.
fn mixed(cast: &Image<f32>, level: &Image<f32>, seen: &Image<f32>) -> Image<f32> {
    let off = cast.zip(level, |cast, level| (cast - level).abs() / level.max(SHADE[0]));
    let off = weighted(&off, seen, AROUND, 0.0);
    let astray = off.zip(seen, |off, seen| seen * rise(ASTRAY, off));
    cast.zip(level, |cast, level| (cast, level)).zip(&astray, |(cast, level), astray| cast + astray * (level - cast))
}

/// A step towards what comes through over the shade, within bounds.
fn next(through: &Image<f32>, shade: &Image<f32>, bounds: &[Image<f32>; 2], before: &Image<f32>) -> Image<f32> {
    let open = through.zip(shade, |t, s| (t / s.max(SHADE[0])).clamp(0.0, 1.0));
    let least = open.zip(&bounds[0], |open, least| if is_dark_cloth(open, least) { 0.0 } else { least });
    let open = open.zip(&least, f32::max).zip(&bounds[1], f32::min);
    before.zip(&open, |before, open| before + STEP * (open - before))
}

/// Whether a pixel is dark because its cloth is, though by its light `least` of it would be open: next to nothing comes through where shade lets much.
pub(super) fn is_dark_cloth(open: f32, least: f32) -> bool {
    open < NEXT_TO_NOTHING * least
}
