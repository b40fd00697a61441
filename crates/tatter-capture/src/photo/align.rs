//! Where the cloth of one shot lies in another.

use rayon::prelude::*;
use tatter_core::explain::{Class, Explain};
use tatter_core::image::{Image, LinearRgb, Rect, Size};
use tatter_core::kernel::area_resize;
use tatter_core::task::{Cancelled, Task};

use super::features::{busy, contrast, liveliness, logs};
use super::refine::{Care, Fit, refine};
use super::warp::warp_quickly;
use super::{Freedom, Homography, inside, phase, warp};

/// Longest side of the copy in which a first guess is made, and of the finest one in which it is refined, pixels.
const COARSE: usize = 256;
const FINE: usize = 2048;
/// First guesses followed up.
const GUESSES: usize = 5;
/// How many times better more freedom must explain than chance would, for it to be given: Fisher's F, far beyond any table.
const CONVINCING: f64 = 12.0;
/// Pixels on a side of the places whose own motion is looked at.
const PLACE: usize = 96;
/// Correlation of fine contrast on cloth below which two shots show different things. Woven pairs of one cloth
/// reach 0.97 and more, other pieces of the same cloth 0.2 (`tests/two_backings.rs`).
const LEAST_ALIKE: f32 = 0.3;
/// Motion of the cloth within itself, pixels, up to which it is one cloth.
const MOST_LOCAL: f32 = 1.5;

/// What two shots are expected to have in common.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Likeness {
    /// Light and dark: threads look alike in both, and so does most of what is seen.
    Shades,
    /// Outlines, whichever side of them is the lighter: cloth that is dark before one backing and light before the other.
    Outlines,
}

impl Likeness {
    fn features(self, logs: &Image<f32>) -> Image<f32> {
        match self {
            Self::Shades => contrast(logs, None),
            Self::Outlines => liveliness(logs),
        }
    }
}

/// How one shot lies on another.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Alignment {
    /// Takes places of the reference to places of the other shot.
    pub other_from_reference: Homography,
    /// The least freedom that explains it.
    pub freedom: Freedom,
    /// Correlation of fine contrast where both were compared, −1..1.
    pub correlation: f32,
    /// How far the shot lies off, pixels, mean over the picture.
    pub moved: f32,
    /// Deviation of that by noise, pixels.
    pub uncertain: f32,
    /// What the map leaves: motion of places of the cloth on their own, root mean square in pixels, noise taken off.
    pub local: f32,
}

/// Why two shots cannot be laid on each other.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum AlignError {
    /// Too few pixels.
    #[error("shots of {size} pixels are too small to be laid on each other; at least 48 × 48 are needed")]
    TooSmall {
        /// The smaller one.
        size: Size,
    },
    /// They show different things, or lie too far apart.
    #[error(
        "the two shots do not match: on the cloth their fine contrast correlates by {correlation:.2}, where {least} is needed"
    )]
    Unlike {
        /// The best correlation found.
        correlation: f32,
        /// What is needed.
        least: f32,
    },
    /// The cloth was moved between the shots.
    #[error("the cloth moved within itself between the two shots, by {local:.1} pixels from place to place")]
    Moved {
        /// Root mean square, pixels.
        local: f32,
    },
    /// Stopped by the person.
    #[error(transparent)]
    Cancelled(#[from] Cancelled),
}

impl Explain for AlignError {
    fn next(&self) -> String {
        match self {
            Self::TooSmall { .. } => "Take closer or larger shots".to_owned(),
            Self::Unlike { .. } => {
                "Give shots of the same cloth from the same place, less than a quarter of the picture and 4 degrees apart; use a tripod"
                    .to_owned()
            }
            Self::Moved { .. } => {
                "Photograph again and change what lies behind without touching the cloth: stretch it over a frame, slide the card in".to_owned()
            }
            Self::Cancelled(_) => "Start again when ready".to_owned(),
        }
    }

    fn class(&self) -> Class {
        match self {
            Self::TooSmall { .. } => Class::Input,
            _ => Class::Request,
        }
    }
}

/// Lay `other` on `reference`: phase correlation, then refined from coarse to fine on fine contrast of log light, whatever the
/// exposure and slow light; what differs between the shots, such as the backing in openings, is left out by its residual.
///
/// It does not judge: see [`Alignment::correlation`]. Some 40 floats for each of at most 4 million pixels.
///
/// # Errors
/// Too few pixels, nothing to hold on to, or stopped.
pub fn align(
    reference: &Image<LinearRgb>,
    other: &Image<LinearRgb>,
    likeness: Likeness,
    task: &Task,
) -> Result<Alignment, AlignError> {
    Ok(found(reference, other, likeness, task)?.figures())
}

/// [`align`], before anything is said of it.
pub(crate) fn found(
    reference: &Image<LinearRgb>,
    other: &Image<LinearRgb>,
    likeness: Likeness,
    task: &Task,
) -> Result<Fitted, AlignError> {
    for size in [reference.size(), other.size()] {
        if size.width.min(size.height) < 48 {
            return Err(AlignError::TooSmall { size });
        }
    }
    let levels = Levels::of(reference, other);
    let lost = AlignError::Unlike { correlation: 0.0, least: LEAST_ALIKE };
    let (mut map, from) = levels.guess(likeness).ok_or_else(|| lost.clone())?;
    task.check()?;
    for level in (0..from).rev() {
        let pair = Pair::of(&levels.pairs[level], likeness);
        map = pair.held(&map.scaled(1.0 / levels.pixels(level))).1.scaled(levels.pixels(level));
        task.check()?;
    }
    let pair = Pair::of(&levels.pairs[0], likeness);
    let here = map.scaled(1.0 / levels.pixels(0));
    let weight = pair.weight(&here);
    let fit = refine(&pair.contrast[0], &pair.contrast[1], &weight, Freedom::Shift, &here, Care::Fine).ok_or(lost)?;
    Ok(Fitted { contrast: pair.contrast, weight, fit, freedom: Freedom::Affine, pixels: levels.pixels(0) })
}

/// Lay `other` on `reference` from a map that is right but for a pixel or two, on the pixels of the reference that `weight`
/// names (0..1), with the least freedom that explains it.
///
/// # Errors
/// Nothing to hold on to.
///
/// # Panics
/// When the weights are not of the reference's size: a bug of the caller.
pub fn realign(
    reference: &Image<LinearRgb>,
    other: &Image<LinearRgb>,
    weight: &Image<f32>,
    start: &Homography,
) -> Result<Alignment, AlignError> {
    Ok(refined(reference, other, weight, start)?.figures())
}

/// [`realign`], before anything is said of it.
pub(crate) fn refined(
    reference: &Image<LinearRgb>,
    other: &Image<LinearRgb>,
    weight: &Image<f32>,
    start: &Homography,
) -> Result<Fitted, AlignError> {
    assert_eq!(reference.size(), weight.size(), "one weight a pixel");
    let shrink = shrink(reference.size(), FINE);
    let small = |image: &Image<f32>| shrunk(image, shrink);
    let weight = small(weight);
    let (a, other) = (small(&logs(reference)), small(&logs(other)));
    let start = start.scaled(1.0 / shrink as f64);
    // The other's pixels have the weights of those they are to lie on.
    let theirs = warp(&weight, &start.inverse(), other.size())
        .zip(&inside(weight.size(), &start.inverse(), other.size()), |w, seen| if seen { w.clamp(0.0, 1.0) } else { 1.0 });
    let (a, b) = (contrast(&a, Some(&weight)), contrast(&other, Some(&theirs)));
    let lost = AlignError::Unlike { correlation: 0.0, least: LEAST_ALIKE };
    let (fit, freedom) = freest(&a, &b, &weight, &start).ok_or(lost)?;
    Ok(Fitted { contrast: [a, b], weight, fit, freedom, pixels: shrink as f64 })
}

/// A map found, and what it was found on.
pub(crate) struct Fitted {
    /// Fine contrast of both, and the pixels of the first that counted.
    contrast: [Image<f32>; 2],
    weight: Image<f32>,
    fit: Fit,
    freedom: Freedom,
    /// Pixels of the shots in one of those.
    pixels: f64,
}

impl Fitted {
    /// That nothing moved, from where to begin.
    pub(crate) fn still(reference: &Image<LinearRgb>, other: &Image<LinearRgb>) -> Self {
        let shrink = shrink(reference.size(), FINE);
        let contrast = [reference, other].map(|image| contrast(&shrunk(&logs(image), shrink), None));
        let weight = contrast[0].map(|_| 1.0);
        let fit = Fit { map: Homography::IDENTITY, left: 1.0, count: 1.0, uncertain: 0.0 };
        Self { contrast, weight, fit, freedom: Freedom::Shift, pixels: shrink as f64 }
    }

    /// Takes places of the reference to places of the other shot.
    pub(crate) fn map(&self) -> Homography {
        self.fit.map.scaled(self.pixels)
    }

    /// The same with another map, taken from elsewhere.
    pub(crate) fn with(self, map: &Homography) -> Self {
        Self { fit: Fit { map: map.scaled(1.0 / self.pixels), ..self.fit }, ..self }
    }

    /// What is to be said of it. How places moved on their own costs as much as the map.
    pub(crate) fn figures(&self) -> Alignment {
        let Self { contrast: [a, b], fit, pixels, .. } = self;
        let shown = warp(b, &fit.map, a.size());
        let seen = inside(b.size(), &fit.map, a.size());
        let weight = self.weight.zip(&seen, |w, s| if s { w } else { 0.0 });
        Alignment {
            other_from_reference: self.map(),
            freedom: self.freedom,
            correlation: correlation(a, &shown, &weight),
            moved: moved(&fit.map, a.size()) * *pixels as f32,
            uncertain: (fit.uncertain * pixels) as f32,
            local: local(a, &shown, &weight) * *pixels as f32,
        }
    }
}

impl Alignment {
    /// Nothing moved, as far as anybody knows.
    pub const STILL: Self = Self {
        other_from_reference: Homography::IDENTITY,
        freedom: Freedom::Shift,
        correlation: 0.0,
        moved: 0.0,
        uncertain: 0.0,
        local: 0.0,
    };

    /// Itself, when it holds.
    ///
    /// # Errors
    /// When the shots show different things, or the cloth moved within itself.
    pub fn judged(self) -> Result<Self, AlignError> {
        if self.correlation < LEAST_ALIKE {
            Err(AlignError::Unlike { correlation: self.correlation, least: LEAST_ALIKE })
        } else if self.local > MOST_LOCAL {
            Err(AlignError::Moved { local: self.local })
        } else {
            Ok(self)
        }
    }
}

/// With more freedom only where it convinces.
fn freest(a: &Image<f32>, b: &Image<f32>, weight: &Image<f32>, start: &Homography) -> Option<(Fit, Freedom)> {
    let mut best: Option<(Fit, Freedom)> = None;
    let rest = at_rest(start, a.size());
    for freedom in Freedom::ALL {
        let from = if freedom == Freedom::Shift { rest } else { *start };
        // What is turned by a pixel at the corners is no shift.
        if freedom == Freedom::Shift && apart(&rest, start, a.size()) > 1.0 {
            continue;
        }
        let Some(fit) = refine(a, b, weight, freedom, &from, Care::Fine) else { continue };
        let convincing = best.is_none_or(|(less, had)| {
            let more = (freedom.count() - had.count()) as f64;
            let spare = (fit.count - freedom.count() as f64).max(1.0);
            (less.left - fit.left) / more > CONVINCING * fit.left / spare
        });
        if convincing {
            best = Some((fit, freedom));
        }
    }
    best
}

/// The shift that a map is in the middle.
fn at_rest(map: &Homography, size: Size) -> Homography {
    let middle = [0.5 * size.width as f64, 0.5 * size.height as f64];
    let to = map.at(middle);
    Homography::shift(to[0] - middle[0], to[1] - middle[1])
}

/// Furthest that two maps take a corner apart.
fn apart(one: &Homography, other: &Homography, size: Size) -> f64 {
    let (w, h) = (size.width as f64, size.height as f64);
    let corners = [[0.0, 0.0], [w, 0.0], [0.0, h], [w, h]];
    corners
        .map(|c| {
            let (a, b) = (one.at(c), other.at(c));
            (a[0] - b[0]).hypot(a[1] - b[1])
        })
        .into_iter()
        .fold(0.0, f64::max)
}

fn moved(map: &Homography, size: Size) -> f32 {
    let (mut sum, mut count) = (0.0, 0.0);
    for j in 0..5 {
        for i in 0..5 {
            let place = [(f64::from(i) + 0.5) / 5.0 * size.width as f64, (f64::from(j) + 0.5) / 5.0 * size.height as f64];
            let to = map.at(place);
            sum += (to[0] - place[0]).hypot(to[1] - place[1]);
            count += 1.0;
        }
    }
    (sum / count) as f32
}

fn correlation(a: &Image<f32>, b: &Image<f32>, weight: &Image<f32>) -> f32 {
    let mut sums = [1e-12f64; 3];
    for ((a, b), w) in a.texels().iter().zip(b.texels()).zip(weight.texels()) {
        let (a, b, w) = (f64::from(*a), f64::from(*b), f64::from(*w));
        sums = [sums[0] + w * a * b, sums[1] + w * a * a, sums[2] + w * b * b];
    }
    (sums[0] / (sums[1] * sums[2]).sqrt()) as f32
}

/// Root mean square motion of places on their own, pixels, less what noise makes of it.
fn local(a: &Image<f32>, shown: &Image<f32>, weight: &Image<f32>) -> f32 {
    let corners: Vec<(usize, usize)> =
        (0..a.height()).step_by(PLACE).flat_map(|y| (0..a.width()).step_by(PLACE).map(move |x| (x, y))).collect();
    let motion = |(x, y): (usize, usize)| {
        let part = Rect::new(x, y, PLACE.min(a.width() - x), PLACE.min(a.height() - y));
        let weight = weight.crop(part);
        if weight.texels().iter().sum::<f32>() < 0.3 * (PLACE * PLACE) as f32 {
            return None;
        }
        let fit = refine(&a.crop(part), &shown.crop(part), &weight, Freedom::Shift, &Homography::IDENTITY, Care::Rough)?;
        let [dx, dy] = [fit.map.0[0][2], fit.map.0[1][2]];
        (fit.uncertain < 0.3).then(|| (dx * dx + dy * dy - fit.uncertain * fit.uncertain).max(0.0))
    };
    let motions: Vec<f64> = corners.into_par_iter().filter_map(motion).collect();
    (motions.iter().sum::<f64>() / motions.len().max(1) as f64).sqrt() as f32
}

/// Halvings after which the longest side is `most` at the most, as a factor.
fn shrink(size: Size, most: usize) -> usize {
    let mut factor = 1;
    while size.width.max(size.height) > factor * most {
        factor *= 2;
    }
    factor
}

/// Every `factor` pixels one; what is left over at the right and below is cut off, so that the factor is exact.
fn shrunk(image: &Image<f32>, factor: usize) -> Image<f32> {
    let (width, height) = (image.width() / factor, image.height() / factor);
    area_resize(&image.crop(Rect::new(0, 0, width * factor, height * factor)), width, height)
}

/// Log light of both shots, from fine to coarse by halves.
struct Levels {
    /// Pixels of the shot in one of the finest level.
    finest: usize,
    pairs: Vec<[Image<f32>; 2]>,
}

impl Levels {
    fn of(reference: &Image<LinearRgb>, other: &Image<LinearRgb>) -> Self {
        let finest = shrink(reference.size(), FINE);
        let mut pairs = vec![[reference, other].map(|image| shrunk(&logs(image), finest))];
        while let Some([a, b]) = pairs.last().filter(|[a, _]| a.width().max(a.height()) > COARSE) {
            pairs.push([shrunk(a, 2), shrunk(b, 2)]);
        }
        Self { finest, pairs }
    }

    /// Pixels of the shot in one of a level.
    fn pixels(&self, level: usize) -> f64 {
        (self.finest << level) as f64
    }

    /// The first guess that holds best, in pixels of the shot, and the level it was judged on: found on how lively the picture
    /// is, judged a level finer on its threads. That nothing moved is always a guess.
    fn guess(&self, likeness: Likeness) -> Option<(Homography, usize)> {
        let level = self.pairs.len() - 1;
        let finer = level.saturating_sub(1);
        let fine = Pair::of(&self.pairs[finer], likeness);
        let [a, b] = self.pairs[level].each_ref().map(liveliness);
        let all = a.map(|_| 1.0);
        let factor = self.pixels(level) / self.pixels(finer);
        let mut found: Vec<Homography> = Vec::new();
        for guess in phase::guesses(&a, &b, GUESSES).into_iter().chain([Homography::IDENTITY]) {
            let map = refine(&a, &b, &all, Freedom::Shift, &guess, Care::Rough).map_or(guess, |fit| fit.map);
            // Guesses that came to the same are followed up once.
            if found.iter().all(|known| apart(known, &map, a.size()) > 1.5) {
                found.push(map);
            }
        }
        let held = found.into_iter().map(|map| fine.held(&map.scaled(factor)));
        let best = held.max_by(|a, b| a.0.total_cmp(&b.0))?;
        Some((best.1.scaled(self.pixels(finer)), finer))
    }
}

/// Deviations of contrast by which pixels that agree may differ.
const AGREE: f32 = 1.0;

/// Fine contrast of both shots at one level, and where there is any.
struct Pair {
    contrast: [Image<f32>; 2],
    busy: [Image<f32>; 2],
}

impl Pair {
    fn of(logs: &[Image<f32>; 2], likeness: Likeness) -> Self {
        Self { contrast: logs.each_ref().map(|l| likeness.features(l)), busy: logs.each_ref().map(busy) }
    }

    /// Where both shots have something to hold on to.
    fn weight(&self, map: &Homography) -> Image<f32> {
        let [a, b] = &self.busy;
        a.zip(&warp_quickly(b, map, a.size()), |a, b| (a * b).max(0.0))
    }

    /// Refined, and the share of what there is that agrees. Outlines, light over a dark card and dark over a light one, do not,
    /// and a correlation would hold that against the right place. Turning and stretching must make more of it agree.
    fn held(&self, start: &Homography) -> (f32, Homography) {
        let [a, b] = &self.contrast;
        let refined = |freedom, from: &Homography| {
            let map = refine(a, b, &self.weight(from), freedom, from, Care::Rough).map_or(*from, |fit| fit.map);
            (self.agreeing(&map), map)
        };
        let moved = refined(Freedom::Shift, start);
        let turned = refined(Freedom::Affine, &moved.1);
        if turned.0 > moved.0 { turned } else { moved }
    }

    fn agreeing(&self, map: &Homography) -> f32 {
        let [a, b] = &self.contrast;
        let seen = inside(b.size(), map, a.size());
        let weight = self.weight(map).zip(&seen, |w, s| if s { w } else { 0.0 });
        let agree = a.zip(&warp_quickly(b, map, a.size()), |a, b| (1.0 - ((a - b) / AGREE).powi(2)).max(0.0));
        let total = |image: &Image<f32>| image.texels().iter().map(|v| f64::from(*v)).sum::<f64>();
        (total(&agree.zip(&weight, |a, w| a * w)) / total(&weight).max(1e-9)) as f32
    }
}
