//! The cloth as seen from straight above.

use tatter_core::image::{Image, LinearRgb, Size};
use tatter_core::units::MmPerTexel;

use super::placed::scale_at;
use super::{Placed, PlaneError};
use crate::photo::{Homography, warp};

/// Millimetres beyond the rectangle that its shadow may reach: a card's thickness under a lamp 25 degrees high.
const SHADOW_MM: f32 = 1.6;
/// Columns tried for the sides of what is kept.
const TRIED: usize = 160;
/// Most pixels of the straightened photo, of the photo's.
const MOST_PIXELS: f64 = 1.6;

/// How a photo becomes one from straight above, at about its own resolution.
#[derive(Clone, Debug)]
pub struct Straight {
    /// Photo place of a place in the straightened photo; the identity when the photo is straight already.
    pub photo_from_straight: Homography,
    /// Columns and rows of the straightened photo.
    pub size: Size,
    /// Millimetres in each of its pixels.
    pub scale: MmPerTexel,
    /// Where the rectangle and its shadow lie in it.
    pub aside: Image<bool>,
    /// The rectangle.
    pub placed: Placed,
}

impl Straight {
    /// Whether perspective was taken out.
    #[must_use]
    pub fn is_warped(&self) -> bool {
        self.photo_from_straight != Homography::IDENTITY
    }

    /// The photo straightened.
    #[must_use]
    pub fn show(&self, color: &Image<LinearRgb>) -> Image<LinearRgb> {
        let shown = warp(color, &self.photo_from_straight, self.size);
        if self.is_warped() { shown.map(|c| LinearRgb(c.0.map(|v| v.max(0.0)))) } else { shown }
    }

    /// Deviation of the scale at a place of the straightened photo, as a share of it.
    #[must_use]
    pub fn uncertainty_at(&self, place: [f64; 2], photo: Size) -> f64 {
        self.placed.uncertainty_at(self.photo_from_straight.at(place), photo)
    }
}

/// How to straighten a photo of `photo` pixels by the rectangle in it. What has no perspective to speak of is left as it is. Else the
/// largest upright rectangle of what the photo shows is kept, and its middle keeps its resolution and stays upright.
///
/// # Errors
/// When the photo reaches to where the cloth would be seen from its edge.
pub fn straighten(placed: Placed, photo: Size) -> Result<Straight, PlaneError> {
    let (map, size, scale) = match placed.flat_scale() {
        Some(scale) => (Homography::IDENTITY, photo, scale),
        None => frame(&placed, photo)?,
    };
    let aside = aside(&placed, &map, size);
    Ok(Straight { photo_from_straight: map, size, scale: MmPerTexel(scale as f32), aside, placed })
}

fn frame(placed: &Placed, photo: Size) -> Result<(Homography, Size, f64), PlaneError> {
    let (w, h) = (photo.width as f64, photo.height as f64);
    let mm_from_photo = placed.photo_from_mm.inverse();
    let middle = [0.5 * w, 0.5 * h];
    let edge = [[0.0, 0.0], [w, 0.0], [w, h], [0.0, h]];
    let tilted = || PlaneError::Tilted { size: placed.size.name(), tilt_deg: placed.misfit.tilt_deg };
    let sight = |[x, y]: [f64; 2]| {
        let [g, h, i] = mm_from_photo.0[2];
        g * x + h * y + i
    };
    let ahead = sight(middle);
    // Where a corner of the photo looks past the horizon, or nearly, there is no cloth to show.
    if edge.iter().any(|c| sight(*c) * ahead <= 0.15 * ahead * ahead) {
        return Err(tilted());
    }
    let scale = scale_at(&placed.photo_from_mm, middle);
    // The turn of the polar decomposition, so that the middle of the photo stays upright.
    let [[a, b], [c, d]] = mm_from_photo.slope_at(middle);
    let turn = Homography::turn(-(c - b).atan2(a + d), 1.0 / scale, [0.0, 0.0]);
    let turned = turn.after(&mm_from_photo);
    let corners = edge.map(|c| turned.at(c));
    let [x0, y0, x1, y1] = largest_inside(&corners).ok_or_else(tilted)?;
    let size = Size::new((x1 - x0) as usize, (y1 - y0) as usize);
    if size.width.min(size.height) < 32 || size.area() as f64 > MOST_PIXELS * photo.area() as f64 {
        return Err(tilted());
    }
    let straight_from_photo = Homography::shift(-x0, -y0).after(&turned);
    Ok((straight_from_photo.inverse(), size, scale))
}

/// Left, top, right, bottom of the largest upright rectangle inside a convex quadrilateral.
fn largest_inside(corners: &[[f64; 2]; 4]) -> Option<[f64; 4]> {
    let span = |c: usize| {
        let values = corners.map(|p| p[c]);
        (values.into_iter().fold(f64::INFINITY, f64::min), values.into_iter().fold(f64::NEG_INFINITY, f64::max))
    };
    let (low, high) = span(0);
    let between = |x: f64| {
        let (mut top, mut bottom) = (f64::INFINITY, f64::NEG_INFINITY);
        for k in 0..4 {
            let (a, b) = (corners[k], corners[(k + 1) % 4]);
            if (a[0] - x) * (b[0] - x) <= 0.0 && a[0] != b[0] {
                let y = a[1] + (x - a[0]) / (b[0] - a[0]) * (b[1] - a[1]);
                (top, bottom) = (top.min(y), bottom.max(y));
            }
        }
        (top, bottom)
    };
    let columns: Vec<(f64, (f64, f64))> =
        (0..=TRIED).map(|i| low + (high - low) * i as f64 / TRIED as f64).map(|x| (x, between(x))).collect();
    let mut best: Option<(f64, [f64; 4])> = None;
    for (i, (x0, (t0, b0))) in columns.iter().enumerate() {
        for (x1, (t1, b1)) in &columns[i + 1..] {
            // The border of a convex shape is farthest in at the ends of a span.
            let (top, bottom) = (t0.max(*t1), b0.min(*b1));
            let area = (x1 - x0) * (bottom - top);
            if bottom > top && best.is_none_or(|(most, _)| area > most) {
                best = Some((area, [*x0, top, *x1, bottom]));
            }
        }
    }
    best.map(|(_, rectangle)| rectangle)
}

/// Pixels of the straightened photo that show the rectangle or its shadow.
fn aside(placed: &Placed, photo_from_straight: &Homography, size: Size) -> Image<bool> {
    let mm_from_straight = placed.photo_from_mm.inverse().after(photo_from_straight);
    let [width, height] = placed.size.mm().map(|side| f64::from(side.get()));
    let margin = f64::from(SHADOW_MM);
    Image::from_fn(size.width, size.height, |x, y| {
        let [u, v] = mm_from_straight.at([x as f64 + 0.5, y as f64 + 0.5]);
        u > -margin && v > -margin && u < width + margin && v < height + margin
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_largest_rectangle_of_a_trapezium() {
        // 10 broad at the top, 20 at the bottom, 10 high: sides x = 5 - y/2 and 15 + y/2. A rectangle from y to the bottom is as broad as
        // the trapezium at y: (10 + y)(10 - y), most at y = 0.
        let [x0, y0, x1, y1] = largest_inside(&[[5.0, 0.0], [15.0, 0.0], [20.0, 10.0], [0.0, 10.0]]).unwrap();
        assert!((x0 - 5.0).abs() < 0.2 && (x1 - 15.0).abs() < 0.2 && y0.abs() < 0.3 && y1 > 9.99, "{x0} {y0} {x1} {y1}");
    }
}
