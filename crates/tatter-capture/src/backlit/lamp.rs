//! The lamp behind the cloth where it is seen through openings only.

use tatter_core::image::Image;
use tatter_core::kernel::{erode, median3};
use tatter_core::stats::{median, quantile, stride};

use super::BacklitError;
use crate::surface::Surface;

/// Light of the brightest places over that of the cloth from which they show the lamp itself.
const LEAST_RATIO: f32 = 1.6;
/// Shares of the picture that count as its brightest and its darkest.
const BRIGHTEST: f32 = 0.0005;
const DARKEST: f32 = 0.005;
/// Light that counts besides, so that noise of opaque cloth is no change.
const DARK: f32 = 0.002;
/// Rounds in which lamp and cloth are told apart and their common fall is fitted.
const ROUNDS: usize = 4;
/// Share of the way from cloth to the brightest from which a place is lamp but for its rim.
const CORE: f32 = 0.75;

/// What the lamp would show of itself in each pixel. It falls off alike where it is seen and where it shines through: a surface of
/// degree 2 in log light, and a step between both, fitted in turns with who is who.
pub(super) fn behind(light: &Image<f32>, both: &Image<bool>) -> Result<Image<f32>, BacklitError> {
    let size = light.size();
    // A single pixel may be a glint.
    let logs = median3(&light.map(|b| (b + DARK).ln()));
    let step = stride(size.area() / 4).max(1);
    let places: Vec<(usize, usize)> = (step / 2..size.height)
        .step_by(step)
        .flat_map(|y| (step / 2..size.width).step_by(step).map(move |x| (x, y)))
        .filter(|(x, y)| both.get(*x, *y))
        .collect();
    let centre = |(x, y): (usize, usize)| [x as f32 + 0.5, y as f32 + 0.5];
    let values: Vec<f32> = places.iter().map(|(x, y)| logs.get(*x, *y)).collect();
    let none = BacklitError::NoOpening { ratio: 1.0, least: LEAST_RATIO };
    let mut fall: Option<Surface<1>> = None;
    for _ in 0..ROUNDS {
        let over: Vec<f32> =
            places.iter().zip(&values).map(|(at, v)| v - fall.as_ref().map_or(0.0, |fall| fall.at(centre(*at))[0])).collect();
        let [low, high] = [DARKEST, 1.0 - BRIGHTEST].map(|share| quantile(&mut over.clone(), share));
        let middle = 0.5 * (low + high);
        let level = |open: bool| median(&mut over.iter().copied().filter(|o| (*o > middle) == open).collect::<Vec<_>>());
        let levels = [level(false), level(true)];
        let samples: Vec<_> = places
            .iter()
            .zip(values.iter().zip(&over))
            .map(|(at, (value, over))| (centre(*at), [value - levels[usize::from(*over > middle)]], 1.0))
            .collect();
        fall = Some(Surface::fit([size.width, size.height], &samples).ok_or_else(|| none.clone())?);
    }
    let fall = fall.ok_or(none)?;
    let over = Image::from_fn(size.width, size.height, |x, y| logs.get(x, y) - fall.at(centre((x, y)))[0]);
    let mut all: Vec<f32> = over.texels().iter().zip(both.texels()).filter(|(_, b)| **b).map(|(o, _)| *o).collect();
    let [low, high] = [DARKEST, 1.0 - BRIGHTEST].map(|share| quantile(&mut all, share));
    let cloth = median(&mut all.into_iter().filter(|o| *o <= 0.5 * (low + high)).collect::<Vec<_>>());
    if high - cloth < LEAST_RATIO.ln() {
        return Err(BacklitError::NoOpening { ratio: (high - cloth).exp(), least: LEAST_RATIO });
    }
    // The middles of openings: rims are part cloth.
    let open = over.zip(both, |o, b| b && o > cloth + CORE * (high - cloth));
    let core = erode(&open, 1.0);
    let inner = if core.texels().iter().any(|c| *c) { core } else { open };
    // Seen over much of the picture, it tells its fall itself: cloth that is thicker in its middle would bend it.
    let seen: Vec<_> =
        places.iter().filter(|(x, y)| inner.get(*x, *y)).map(|at| (centre(*at), [logs.get(at.0, at.1)], 1.0)).collect();
    if is_wide(&inner)
        && let Some(fall) = Surface::<1>::fit([size.width, size.height], &seen)
    {
        return Ok(Image::from_fn(size.width, size.height, |x, y| fall.at(centre((x, y)))[0].exp() - DARK));
    }
    let mut levels: Vec<f32> = over.texels().iter().zip(inner.texels()).filter(|(_, i)| **i).map(|(o, _)| *o).collect();
    let level = median(&mut levels);
    Ok(Image::from_fn(size.width, size.height, |x, y| (fall.at(centre((x, y)))[0] + level).exp() - DARK))
}

/// Whether the lamp is seen in a tenth of the picture and in most of the fields of a net of four by four.
fn is_wide(open: &Image<bool>) -> bool {
    const FIELDS: usize = 4;
    let mut counts = [0usize; FIELDS * FIELDS];
    for y in 0..open.height() {
        for x in (0..open.width()).filter(|x| open.get(*x, y)) {
            counts[y * FIELDS / open.height() * FIELDS + x * FIELDS / open.width()] += 1;
        }
    }
    let field = open.size().area() / counts.len();
    let told = counts.iter().filter(|count| **count * 50 > field).count();
    counts.iter().sum::<usize>() * 10 > open.size().area() && 3 * counts.len() <= 4 * told
}
