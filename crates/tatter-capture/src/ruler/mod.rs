//! The scale of a photo by a ruler in it: marks a millimetre apart, every fifth longer than the rest.
//!
//! Start at [`find_ruler`]. Threads repeat as well, but no fifth of them is longer; a ruler is told from cloth by that alone.

mod scan;
mod track;

use scan::{Line, Marked, Marks, best_near, marked, repeating};
use tatter_core::color::encode_srgb;
use tatter_core::explain::{Class, Explain};
use tatter_core::image::{Image, LinearRgb, Size, inside_any};
use tatter_core::kernel::area_resize;
use tatter_core::task::{Cancelled, Task};
use track::{Tracked, place, track};

/// Longest side in which marks are looked for, and the shortest.
const LARGEST: usize = 2048;
const SMALLEST: usize = 240;
/// Lines followed closely at each size of the photo.
const FOLLOWED: usize = 16;
/// Fewest marks in a row that are a ruler, and the share of them that must be long or short where it is their turn.
const FEWEST: usize = 25;
const IN_ORDER: f64 = 0.8;
/// Most that two rulers may disagree, as a share: prints and rulers are true to less.
const AGREE: f64 = 0.04;
/// Most deviation of the scale in the middle of the photo.
const MOST_UNSURE: f64 = 0.04;
/// Distance of the camera in longer sides of what the photo shows: phones at 1 to 2 times (common practice, no source).
const DISTANCE: f64 = 1.2;
/// Tilt of a camera held by hand straight above, across the ruler, where its marks do not tell (common practice, no source).
const UNSEEN_DEG: f64 = 2.0;
/// How thick rulers are where their marks are, mm: bevelled ones and steel less, wood more (common practice, no source).
const THICK_MM: f64 = 0.8;
/// Maximum permissible error of a length of `L` metres, mm: `0.3 + 0.2 L`, class II of OIML R 35-1, "Material measures of length for general use".
const MAKER_MM: [f64; 2] = [0.3, 0.2];
/// Breadths a ruler may have, mm, and what is set aside around it: its shadow, and what is beyond its last mark.
const BREADTHS_MM: (f64, f64) = (8.0, 60.0);
const USUAL_BREADTH_MM: f64 = 32.0;
const RIM_MM: f64 = 3.0;
const BEYOND_MM: f64 = 8.0;

/// Why there is no scale by a ruler.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum RulerError {
    /// Nothing is marked like one.
    #[error("no ruler was found in the photo: nowhere are there marks a millimetre apart of which every fifth is longer")]
    NotFound,
    /// Marks, but few.
    #[error("what looks like a ruler shows {marks} marks in a row that can be told apart; at least {FEWEST} are needed")]
    Short {
        /// How many.
        marks: usize,
    },
    /// Another measure.
    #[error("the ruler in the photo is marked in sixteenths of an inch, and millimetres are needed")]
    Inches,
    /// Not the same.
    #[error("two rulers in the photo disagree: {mm_per_px:.4} and {other:.4} mm a pixel")]
    Disagree {
        /// The clearer one's scale.
        mm_per_px: f64,
        /// The other's.
        other: f64,
    },
    /// Perspective.
    #[error(
        "the ruler's marks lie {percent:.0} % farther apart at one end than at the other, which leaves the scale of the photo's middle unsure by {unsure:.1} % (at most 4 % is taken)"
    )]
    Tilted {
        /// From its one end in the photo to the other.
        percent: f64,
        /// Deviation.
        unsure: f64,
    },
    /// The person stopped it.
    #[error(transparent)]
    Cancelled(#[from] Cancelled),
}

impl Explain for RulerError {
    fn next(&self) -> String {
        match self {
            Self::NotFound => {
                "Lay it flat on the cloth, its marks in focus and 4 pixels apart or more, or mark two of its places with --ruler"
            }
            Self::Short { .. } => {
                "Show at least three centimetres of it, in focus and without glare, or mark two of its places with --ruler"
            }
            Self::Inches => "Lay its millimetres towards the camera, or mark two places with --ruler (1 inch is 25.4 mm)",
            Self::Disagree { .. } => "Leave one ruler in the photo, as high as the cloth, or mark two places with --ruler",
            Self::Tilted { .. } => {
                "Hold the camera straight above the cloth, or lay down a card: --scale-by card takes perspective out"
            }
            Self::Cancelled(_) => "Start again when you like",
        }
        .to_owned()
    }

    fn class(&self) -> Class {
        Class::Request
    }
}

/// A ruler in a photo.
#[derive(Clone, Debug)]
pub struct Ruler {
    /// Millimetre marks that were found.
    pub marks: usize,
    /// Their deviation from their places, pixels.
    pub deviation: f64,
    /// How much farther apart marks are at one end than at the other, as a share: perspective.
    pub change: f64,
    /// Deviation of that.
    pub change_unsure: f64,
    /// Corners around what is set aside for it, photo pixels, in order.
    pub corners: [[f64; 2]; 4],
    tracked: Tracked,
    photo: Size,
}

/// The ruler in a photo. Working memory is about 3 floats a pixel.
///
/// # Errors
/// When none is found, it is not in millimetres, several disagree, or the photo was taken too much from the side.
pub fn find_ruler(color: &Image<LinearRgb>, task: &Task) -> Result<Ruler, RulerError> {
    let light = color.map(|c| encode_srgb(c.luminance().clamp(0.0, 1.0)));
    let mut rulers: Vec<Ruler> = Vec::new();
    let (mut short, mut looked) = (0, Vec::new());
    let mut longest = LARGEST.min(light.width().max(light.height()));
    while longest >= SMALLEST {
        task.check()?;
        let shrink = light.width().max(light.height()) as f64 / longest as f64;
        let side = |texels: usize| ((texels as f64 / shrink).round() as usize).max(1);
        let small = if shrink > 1.0 { area_resize(&light, side(light.width()), side(light.height())) } else { light.clone() };
        let lines = repeating(&small);
        for found in clearest(&small, &lines, Marks::Millimetres) {
            task.check()?;
            let found = best_near(&small, &found, Marks::Millimetres);
            let large = Marked { line: found.line.larger(shrink), short: found.short.map(|v| v * shrink), ..found };
            match track(&light, &large).filter(|t| t.in_order >= IN_ORDER) {
                Some(tracked) if tracked.marks >= FEWEST => rulers.push(Ruler::new(&light, tracked)),
                Some(tracked) => short = short.max(tracked.marks),
                None => {}
            }
        }
        looked.push((small, lines));
        longest /= 2;
    }
    rulers.sort_by_key(|ruler| std::cmp::Reverse(ruler.marks));
    let mut rulers = rulers.into_iter();
    let Some(ruler) = rulers.next() else {
        let inches = looked.iter().any(|(small, lines)| clearest(small, lines, Marks::Sixteenths).len() > 1);
        return Err(match short {
            _ if inches => RulerError::Inches,
            9.. => RulerError::Short { marks: short },
            _ => RulerError::NotFound,
        });
    };
    for other in rulers {
        let at = other.middle();
        let (mm_per_px, other) = (ruler.scale_at(at), other.scale_at(at));
        if (other / mm_per_px - 1.0).abs() > AGREE + 2.0 * ruler.uncertainty_at(at) {
            return Err(RulerError::Disagree { mm_per_px, other });
        }
    }
    ruler.judged(task)
}

/// The lines most like a ruler, those beside each other once.
fn clearest(photo: &Image<f32>, lines: &[Line], marks: Marks) -> Vec<Marked> {
    use rayon::prelude::*;
    let mut found: Vec<Marked> = lines.par_iter().filter_map(|line| marked(photo, line, marks)).collect();
    found.sort_by(|a, b| b.score.total_cmp(&a.score));
    let mut kept: Vec<Marked> = Vec::new();
    for one in found {
        let at = |m: &Marked| m.line.at(photo.size(), m.line.along, m.line.across);
        let [x, y] = at(&one);
        let beside = |other: &Marked| {
            let [u, v] = at(other);
            (u - x).hypot(v - y) < 10.0 * one.line.pitch
        };
        if kept.len() < FOLLOWED && !kept.iter().any(beside) {
            kept.push(one);
        }
    }
    kept
}

impl Ruler {
    fn new(light: &Image<f32>, tracked: Tracked) -> Self {
        let mut ruler = Self {
            marks: tracked.marks,
            deviation: tracked.deviation,
            change: 0.0,
            change_unsure: 0.0,
            corners: [[0.0; 2]; 4],
            photo: light.size(),
            tracked,
        };
        let [first, last] = ruler.tracked.span;
        let pitch = |n: f64| ruler.pitch(n);
        let change = pitch(first) / pitch(last);
        let c = ruler.tracked.fit[2];
        // Pitch goes as 1 / (c n + 1)²: its share of change by c is twice the span.
        let unsure =
            2.0 * (last - first) * ruler.tracked.covariance[2][2].max(0.0).sqrt() / (c * 0.5 * (first + last) + 1.0).powi(2);
        ruler.change = change.max(1.0 / change) - 1.0;
        ruler.change_unsure = unsure;
        ruler.corners = ruler.around(light);
        ruler
    }

    /// Pixels from mark to mark.
    fn pitch(&self, n: f64) -> f64 {
        let [a, b, c] = self.tracked.fit;
        (a - b * c) / (c * n + 1.0).powi(2)
    }

    /// Along and across of a photo place.
    fn own(&self, [x, y]: [f64; 2]) -> [f64; 2] {
        let (s, c) = self.tracked.line.turn.sin_cos();
        let (x, y) = (x - 0.5 * self.photo.width as f64, y - 0.5 * self.photo.height as f64);
        [c * x + s * y, -s * x + c * y]
    }

    /// Photo place of a place along the line and across it.
    fn there(&self, along: f64, across: f64) -> [f64; 2] {
        self.tracked.line.at(self.photo, along, across)
    }

    /// Photo place in the middle of its marks.
    #[must_use]
    pub fn middle(&self) -> [f64; 2] {
        let [first, last] = self.tracked.span;
        self.there(place(&self.tracked.fit, 0.5 * (first + last)), self.tracked.line.across)
    }

    /// The mark beside a photo place, not beyond the last one, and the pixels between the two.
    fn beside(&self, at: [f64; 2]) -> (f64, f64) {
        let [along, across] = self.own(at);
        let [a, b, c] = self.tracked.fit;
        let [first, last] = self.tracked.span;
        let n = ((along - b) / (a - c * along)).clamp(first, last);
        (n, (along - place(&self.tracked.fit, n)).hypot(across - self.tracked.line.across))
    }

    /// Millimetres a pixel beside a photo place.
    #[must_use]
    pub fn scale_at(&self, at: [f64; 2]) -> f64 {
        1.0 / self.pitch(self.beside(at).0)
    }

    /// Deviation of the scale at a photo place, as a share of it: by what the marks leave open; by what a ruler may be off; by its
    /// thickness, which brings marks nearer to the camera; and by perspective: as the scale changes along the ruler, so it may change
    /// away from it, and by two degrees across it that its marks do not tell.
    #[must_use]
    pub fn uncertainty_at(&self, at: [f64; 2]) -> f64 {
        let (n, away) = self.beside(at);
        let Tracked { fit: [a, b, c], covariance, span, .. } = &self.tracked;
        let d = c * n + 1.0;
        // Slopes of the logarithm of the pitch.
        let slope = [1.0 / (a - b * c), -c / (a - b * c), -b / (a - b * c) - 2.0 * n / d];
        let marks: f64 = (0..3).map(|i| (0..3).map(|j| slope[i] * covariance[i][j] * slope[j]).sum::<f64>()).sum();
        let mm = span[1] - span[0];
        // Errors are even within what is let pass.
        let maker = (MAKER_MM[0] + MAKER_MM[1] * 0.001 * mm) / mm / 3f64.sqrt();
        let longest = self.photo.width.max(self.photo.height) as f64;
        let nearer = THICK_MM / (DISTANCE * longest * self.scale_at(at));
        let per_px = 2.0 * c.abs().max(covariance[2][2].max(0.0).sqrt()) / self.pitch(n) / d;
        // An area shrinks as the third power of the distance, so its side as the power 1.5; a length across the tilt as the first.
        let unseen = UNSEEN_DEG.to_radians().tan() / (DISTANCE * longest);
        let off = (at[0] - 0.5 * self.photo.width as f64).hypot(at[1] - 0.5 * self.photo.height as f64);
        let across = (1.5 * unseen * away).hypot(0.5 * unseen * off);
        // Seen from the side lengths along it shrink, those across do not; its vanishing point says how far from the side.
        let tilt = (c.abs() * DISTANCE * longest / a.abs()).atan();
        let foreshortened = 0.5 * (1.0 - tilt.cos());
        (marks.max(0.0) + maker.powi(2) + nearer.powi(2) + (per_px * away).powi(2) + across.powi(2) + foreshortened.powi(2))
            .sqrt()
    }

    /// Refuse what leaves the scale unsure; say what is let pass.
    fn judged(self, task: &Task) -> Result<Self, RulerError> {
        let middle = [0.5 * self.photo.width as f64, 0.5 * self.photo.height as f64];
        let unsure = self.uncertainty_at(middle);
        let percent = 100.0 * self.change;
        if unsure > MOST_UNSURE {
            return Err(RulerError::Tilted { percent, unsure: 100.0 * unsure });
        }
        if self.change > 2.0 * self.change_unsure && unsure > 0.01 {
            task.note(
                "ruler-perspective",
                format!(
                    "The ruler's marks lie {percent:.1} % farther apart at one end than at the other: the camera was not straight above; the scale is that beside what is cut, and unsure by {:.1} % in the photo's middle",
                    100.0 * unsure
                ),
            );
        }
        Ok(self)
    }

    /// One line for people.
    #[must_use]
    pub fn told(&self) -> String {
        let corners = self.corners.map(|[x, y]| format!("{x:.1}, {y:.1}")).join("; ");
        format!(
            "{} millimetre marks, each to {:.2} pixels; {:.2} % farther apart at one end (to {:.2}); set aside within {corners}",
            self.marks,
            self.deviation,
            100.0 * self.change,
            100.0 * self.change_unsure
        )
    }

    /// What is set aside for it.
    #[must_use]
    pub fn aside(&self) -> Image<bool> {
        inside_any(self.photo, &[self.corners.map(|corner| corner.map(|v| v as f32))])
    }

    fn around(&self, light: &Image<f32>) -> [[f64; 2]; 4] {
        let Tracked { line, inward, fit, span: [first, last], .. } = &self.tracked;
        let mm = self.pitch(0.5 * (first + last));
        let far = self.far_edge(light, mm).unwrap_or(USUAL_BREADTH_MM) + RIM_MM;
        // Marks that end at the photo's edge go on there, and the far side of the ruler may still be seen.
        let inside = |at: [f64; 2]| (0..2).all(|k| at[k] > 0.0 && at[k] < [self.photo.width, self.photo.height][k] as f64);
        let end = |n: f64, way: f64| {
            let beyond = place(fit, n + way * BEYOND_MM);
            if inside(self.there(beyond, line.across)) { beyond } else { place(fit, n + way * BREADTHS_MM.1) }
        };
        let (start, end) = (end(*first, -1.0), end(*last, 1.0));
        let [near, far] = [-(1.5 + RIM_MM), far].map(|v| line.across + inward * v * mm);
        [self.there(start, near), self.there(end, near), self.there(end, far), self.there(start, far)]
    }

    /// Millimetres from the middle of the marks to the other long edge: the clearest straight step there that runs along most of the ruler.
    fn far_edge(&self, light: &Image<f32>, mm: f64) -> Option<f64> {
        const PLACES: usize = 96;
        let Tracked { line, inward, fit, span: [first, last], .. } = &self.tracked;
        let eye = line.eye(light);
        let read = |k: usize, across: f64| {
            let n = first + (last - first) * (k as f64 + 0.5) / PLACES as f64;
            eye(place(fit, n), line.across + inward * across * mm)
        };
        let mut best: Option<(f32, f64)> = None;
        let mut across = BREADTHS_MM.0;
        while across < BREADTHS_MM.1 {
            let mean = |from: f64| {
                let part = |k: usize| (0..4).filter_map(|i| read(k, from + 0.25 * f64::from(i))).sum::<f32>() / 4.0;
                (0..PLACES).map(part).collect::<Vec<f32>>()
            };
            let steps: Vec<f32> = mean(across - 1.25).iter().zip(&mean(across + 0.5)).map(|(a, b)| a - b).collect();
            if (0..PLACES).filter(|k| read(*k, across + 1.5).is_some()).count() < PLACES / 2 {
                break;
            }
            let step = steps.iter().sum::<f32>() / PLACES as f32;
            let along = steps.iter().filter(|s| **s * step > 0.0).count();
            if along * 5 >= PLACES * 4 && step.abs() > best.map_or(0.04, |b| b.0) {
                best = Some((step.abs(), across));
            }
            across += 0.5;
        }
        best.map(|b| b.1)
    }
}
