//! Quadrilaterals in a photo, roughly: regions at many levels of several channels whose hull has four sides.

use tatter_core::color::Lab;
use tatter_core::image::{Image, LinearRgb};
use tatter_core::kernel::{area_resize, gaussian, label};
use tatter_core::stats::{median, quantile};

/// Longest side of the working copy, pixels.
const WORKING_SIDE: usize = 640;
/// Blurs of the working copy, pixels: threads must not show, sides must.
const BLURS: [f32; 3] = [1.2, 2.5, 5.0];
/// Levels a channel is cut at.
const LEVELS: usize = 14;
/// Least and most share of the photo that a rectangle may fill.
const SHARES: std::ops::RangeInclusive<f64> = 0.004..=0.8;
/// Least share of its quadrilateral that a region must fill; a card's round corners leave 0.998 of it.
const FULL: f64 = 0.92;

/// A quadrilateral, clockwise as seen, photo pixels.
#[derive(Clone, Copy, Debug)]
pub(super) struct Outline {
    pub(super) corners: [[f64; 2]; 4],
    /// Share of its sides along which colours change as they do along the whole side, 0..1.
    pub(super) support: f64,
    /// It goes on beyond the photo.
    pub(super) cut_off: bool,
}

/// What looks like a quadrilateral, best first, and the photo pixels in a working pixel.
pub(super) fn outlines(color: &Image<LinearRgb>) -> (Vec<Outline>, f64) {
    let longest = color.width().max(color.height());
    let shrink = (longest as f32 / WORKING_SIDE as f32).max(1.0);
    let scaled = |n: usize| ((n as f32 / shrink).round() as usize).max(1);
    let small = area_resize(color, scaled(color.width()), scaled(color.height()));
    let mut found: Vec<Outline> = Vec::new();
    for blur in BLURS {
        let lab = gaussian(&small, blur).map(|c| {
            let Lab { l, a, b } = Lab::from(LinearRgb(c.0.map(|v| v.max(0.0))));
            LinearRgb([l, a, b])
        });
        for channel in channels(&lab) {
            for outline in cut(&channel, &lab) {
                add(&mut found, outline);
            }
        }
    }
    found.sort_by(|a, b| worth(b).total_cmp(&worth(a)));
    for outline in &mut found {
        let [sx, sy] = [color.width() as f64 / small.width() as f64, color.height() as f64 / small.height() as f64];
        outline.corners = outline.corners.map(|[x, y]| [x * sx, y * sy]);
    }
    (found, f64::from(shrink))
}

/// Of two alike, the better supported; of two equally well supported, the larger: a frame is printed within its card.
fn worth(outline: &Outline) -> f64 {
    outline.support * area(&outline.corners).max(1.0).powf(0.15)
}

fn add(found: &mut Vec<Outline>, outline: Outline) {
    let near = |other: &Outline| {
        let apart = |k: usize| {
            let off = |i: usize| distance(outline.corners[i], other.corners[(i + k) % 4]);
            (0..4).map(off).fold(0.0, f64::max)
        };
        (0..4).any(|k| apart(k) < 4.0)
    };
    match found.iter_mut().find(|other| near(other)) {
        Some(other) if worth(&outline) > worth(other) => *other = outline,
        Some(_) => {}
        None => found.push(outline),
    }
}

/// Lightness, the two opponents, and how unlike the photo's commonest colour a place is.
fn channels(lab: &Image<LinearRgb>) -> Vec<Image<f32>> {
    let one = |c: usize| lab.map(|v| v.0[c]);
    let middle: [f32; 3] = std::array::from_fn(|c| median(&mut one(c).into_vec()));
    let spread: [f32; 3] = std::array::from_fn(|c| {
        let mut off: Vec<f32> = lab.texels().iter().map(|v| (v.0[c] - middle[c]).abs()).collect();
        1.4826 * median(&mut off) + 1.0
    });
    let unlike = lab.map(|v| (0..3).map(|c| ((v.0[c] - middle[c]) / spread[c]).powi(2)).sum::<f32>().sqrt().ln_1p());
    vec![one(0), one(1), one(2), unlike]
}

fn cut(channel: &Image<f32>, lab: &Image<LinearRgb>) -> Vec<Outline> {
    let mut sorted = channel.texels().to_vec();
    let (low, high) = (quantile(&mut sorted, 0.01), quantile(&mut sorted, 0.99));
    if high - low < 1e-3 {
        return Vec::new();
    }
    let level = |i: usize| low + (high - low) * (i as f32 + 0.5) / LEVELS as f32;
    let masks = (0..2 * LEVELS).map(|i| {
        let (at, above) = (level(i / 2), i % 2 == 0);
        channel.map(|v| (v > at) == above)
    });
    masks.flat_map(|mask| of_mask(&mask, lab)).collect()
}

fn of_mask(mask: &Image<bool>, lab: &Image<LinearRgb>) -> Vec<Outline> {
    let (labels, parts) = label(mask);
    let (width, height) = (mask.width(), mask.height());
    let whole = (width * height) as f64;
    let mut found = Vec::new();
    for (number, part) in parts.iter().enumerate() {
        let b = part.bounds;
        if b.width.min(b.height) < 12 || !SHARES.contains(&((b.width * b.height) as f64 / whole)) {
            continue;
        }
        let cut_off = b.x == 0 || b.y == 0 || b.right() == width || b.bottom() == height;
        let (mut points, mut across) = (Vec::new(), 0.0);
        for y in b.y..b.bottom() {
            let row = &labels.row(y)[b.x..b.right()];
            let is = |l: &u32| *l as usize == number + 1;
            if let (Some(first), Some(last)) = (row.iter().position(is), row.iter().rposition(is)) {
                let (first, last) = ((b.x + first) as f64, (b.x + last + 1) as f64);
                across += last - first;
                points.extend([[first, y as f64], [first, y as f64 + 1.0], [last, y as f64], [last, y as f64 + 1.0]]);
            }
        }
        let Some(corners) = four_sides(hull(points)) else { continue };
        if across / area(&corners) < FULL || across / whole < *SHARES.start() {
            continue;
        }
        found.push(Outline { corners, support: support(&corners, lab), cut_off });
    }
    found
}

/// Convex hull, clockwise as seen (Andrew's monotone chain, 1979).
fn hull(mut points: Vec<[f64; 2]>) -> Vec<[f64; 2]> {
    points.sort_by(|a, b| a[0].total_cmp(&b[0]).then(a[1].total_cmp(&b[1])));
    let half = |points: &mut dyn Iterator<Item = [f64; 2]>| {
        let mut chain: Vec<[f64; 2]> = Vec::new();
        for p in points {
            while chain.len() > 1 && cross(chain[chain.len() - 2], chain[chain.len() - 1], p) <= 0.0 {
                chain.pop();
            }
            chain.push(p);
        }
        chain.pop();
        chain
    };
    let mut around = half(&mut points.iter().copied());
    around.extend(half(&mut points.iter().rev().copied()));
    around
}

/// The hull with sides left out, the one whose neighbours meet over the least area first, until four are left: round corners become
/// sharp.
fn four_sides(mut hull: Vec<[f64; 2]>) -> Option<[[f64; 2]; 4]> {
    while hull.len() > 4 {
        let n = hull.len();
        let without = |i: usize| {
            let [a, b, c, d] = [hull[(i + n - 1) % n], hull[i], hull[(i + 1) % n], hull[(i + 2) % n]];
            let at = meet(a, b, d, c)?;
            // Beyond both ends of the side, or the neighbours open outwards.
            (cross(b, c, at) < 0.0).then(|| (-cross(b, c, at), at))
        };
        let (i, (_, at)) = (0..n).filter_map(|i| Some((i, without(i)?))).min_by(|a, b| a.1.0.total_cmp(&b.1.0))?;
        hull[i] = at;
        hull.remove((i + 1) % n);
    }
    let corners: [[f64; 2]; 4] = hull.try_into().ok()?;
    let sides = (0..4).map(|i| distance(corners[i], corners[(i + 1) % 4]));
    (sides.fold(f64::INFINITY, f64::min) > 8.0).then_some(corners)
}

/// Share of places along the sides where the step of colour is the side's own.
fn support(corners: &[[f64; 2]; 4], lab: &Image<LinearRgb>) -> f64 {
    const PLACES: usize = 24;
    const APART: f64 = 4.0;
    let mut least = 1.0f64;
    for k in 0..4 {
        let (a, b) = (corners[k], corners[(k + 1) % 4]);
        let length = distance(a, b);
        let (d, n) = ([(b[0] - a[0]) / length, (b[1] - a[1]) / length], [-(b[1] - a[1]) / length, (b[0] - a[0]) / length]);
        let place = |u: f64, t: f64| [0, 1].map(|c: usize| a[c] + u * d[c] + t * n[c]);
        let seen = |[x, y]: [f64; 2]| x > 0.0 && y > 0.0 && x < lab.width() as f64 && y < lab.height() as f64;
        let at = |[x, y]: [f64; 2]| lab.bilinear(x as f32, y as f32).0;
        let along = (0..PLACES).map(|i| length * (0.08 + 0.84 * (i as f64 + 0.5) / PLACES as f64));
        let steps: Vec<[f32; 3]> = along
            .filter(|u| seen(place(*u, -APART)))
            .map(|u| {
                let (inside, outside) = (at(place(u, APART)), at(place(u, -APART)));
                std::array::from_fn(|c| inside[c] - outside[c])
            })
            .collect();
        // The photo's own edge says nothing.
        if steps.len() < PLACES / 3 {
            continue;
        }
        let middle: [f32; 3] = std::array::from_fn(|c| median(&mut steps.iter().map(|s| s[c]).collect::<Vec<_>>()));
        let size = middle.iter().map(|v| v * v).sum::<f32>().sqrt().max(1e-3);
        // A step hardly seen supports nothing: three units of CIELAB count half.
        let clear = f64::from(size / (size + 3.0));
        let like = |s: &&[f32; 3]| (0..3).map(|c| s[c] * middle[c]).sum::<f32>() / size > 0.4 * size;
        least = least.min(clear * steps.iter().filter(like).count() as f64 / steps.len() as f64);
    }
    least
}

/// Twice the signed area of a triangle; positive when it turns clockwise as seen.
fn cross(a: [f64; 2], b: [f64; 2], c: [f64; 2]) -> f64 {
    (b[0] - a[0]) * (c[1] - a[1]) - (b[1] - a[1]) * (c[0] - a[0])
}

/// Where the lines a-b and c-d meet.
pub(super) fn meet(a: [f64; 2], b: [f64; 2], c: [f64; 2], d: [f64; 2]) -> Option<[f64; 2]> {
    let (r, s) = ([b[0] - a[0], b[1] - a[1]], [d[0] - c[0], d[1] - c[1]]);
    let turn = r[0] * s[1] - r[1] * s[0];
    if turn.abs() < 1e-9 * r[0].hypot(r[1]) * s[0].hypot(s[1]) {
        return None;
    }
    let t = ((c[0] - a[0]) * s[1] - (c[1] - a[1]) * s[0]) / turn;
    Some([a[0] + t * r[0], a[1] + t * r[1]])
}

pub(super) fn distance(a: [f64; 2], b: [f64; 2]) -> f64 {
    (b[0] - a[0]).hypot(b[1] - a[1])
}

/// Area of a quadrilateral, positive when its corners go clockwise as seen.
pub(super) fn area(corners: &[[f64; 2]; 4]) -> f64 {
    0.5 * (cross(corners[0], corners[1], corners[2]) + cross(corners[0], corners[2], corners[3]))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn rounded_corners_become_sharp() {
        // A square of side 40 whose corners are cut by 3: its sides meet where the square's do.
        let cut = [[3.0, 0.0], [37.0, 0.0], [40.0, 3.0], [40.0, 37.0], [37.0, 40.0], [3.0, 40.0], [0.0, 37.0], [0.0, 3.0]];
        let around = hull(cut.to_vec());
        assert_eq!(around.len(), 8, "all are on the hull: {around:?}");
        let corners = four_sides(around).unwrap();
        for wanted in [[0.0, 0.0], [40.0, 0.0], [40.0, 40.0], [0.0, 40.0]] {
            assert!(corners.iter().any(|c| distance(*c, wanted) < 1e-9), "{wanted:?} is none of {corners:?}");
        }
        assert!((area(&corners) - 1600.0).abs() < 1e-9, "clockwise, 40 by 40");
    }
}
