//! A rectangle of known size where it lies in a photo: the map to millimetres, how well it fits, how sure the scale is.

use tatter_core::image::Size;
use tatter_core::model::KnownSize;

use super::outline::{area, distance, meet};
use super::side::Side;
use crate::photo::Homography;

/// A corner marked by hand is off by that many pixels either way, one deviation: a pixel is what a careful hand hits (common practice,
/// no source).
const BY_HAND: f64 = 0.7;
/// Focal lengths tried, as powers of 1.1 longer sides of the photo, 0.56 to 3.8: from the widest lens of a phone to a portrait's. Beyond, a
/// tilt would explain any sides.
const FOCAL: std::ops::Range<i32> = -6..15;
/// Distance of the camera in longer sides of what the photo shows, where it is not known: phones at 1 to 2 times (common practice, no
/// source).
const DISTANCE: f64 = 1.2;
/// Perspective counts when corners are off a rectangle without it by so many deviations, and by so many pixels.
const PERSPECTIVE: (f64, f64) = (3.0, 0.4);

/// A rectangle on the cloth.
#[derive(Clone, Debug)]
pub struct Placed {
    /// What it is.
    pub size: KnownSize,
    /// Its corners, clockwise as seen, photo pixels (first centre at 0.5, 0.5): the first two along its width.
    pub corners: [[f64; 2]; 4],
    /// Photo place of a place on the cloth in millimetres from the first corner, x along the width.
    pub photo_from_mm: Homography,
    /// How it disagrees with the size it is said to have.
    pub misfit: Misfit,
    /// Deviation of a corner, pixels.
    pub deviation: f64,
    /// How corners move by each thing that may be off, one deviation of it.
    mistakes: Vec<[[f64; 2]; 4]>,
}

/// How a quadrilateral disagrees with being a photo of a flat rectangle of known size, with the lens that explains it best.
#[derive(Clone, Copy, Debug)]
pub struct Misfit {
    /// Width over height, as a share too much; below 0 too little.
    pub aspect: f64,
    /// Angle between its sides less a right one, degrees.
    pub skew_deg: f64,
    /// Angle between the camera's line of sight and the upright on the cloth, degrees.
    pub tilt_deg: f64,
    /// Focal length of the lens that explains it best, in longer sides of the photo.
    pub focal: f64,
}

impl Misfit {
    /// Whether only a lens that hardly any camera has explains a tilt: phones have 0.7 to 2 (common practice, no source).
    #[must_use]
    pub fn is_odd(&self) -> bool {
        self.tilt_deg > 10.0 && !(0.6..3.0).contains(&self.focal)
    }

    pub(super) fn size(&self) -> f64 {
        self.aspect.abs().hypot(self.skew_deg.to_radians())
    }
}

impl Placed {
    /// From corners in order around it, marked by hand; `None` when they are not those of a convex quadrilateral.
    pub(super) fn marked(size: KnownSize, corners: [[f64; 2]; 4], photo: Size) -> Option<Self> {
        let clockwise = if area(&corners) < 0.0 { [corners[1], corners[0], corners[3], corners[2]] } else { corners };
        let turns = |i: usize| area(&[clockwise[i], clockwise[(i + 1) % 4], clockwise[(i + 2) % 4], clockwise[(i + 2) % 4]]);
        if (0..4).any(|i| turns(i) < 8.0) {
            return None;
        }
        let nudge = |i: usize| {
            let mut moved = [[0.0; 2]; 4];
            moved[i / 2][i % 2] = BY_HAND;
            moved
        };
        Some(Self::of(size, clockwise, (0..8).map(nudge).collect(), photo))
    }

    /// From its four sides, clockwise.
    pub(super) fn found(size: KnownSize, sides: &[Side; 4], photo: Size) -> Option<Self> {
        let lines = sides.map(|s| [s.from, s.to]);
        let corners = |lines: &[[[f64; 2]; 2]; 4]| -> Option<[[f64; 2]; 4]> {
            let mut all = [[0.0; 2]; 4];
            for (i, corner) in all.iter_mut().enumerate() {
                let (before, after) = (lines[(i + 3) % 4], lines[i]);
                *corner = meet(before[0], before[1], after[0], after[1])?;
            }
            Some(all)
        };
        let still = corners(&lines)?;
        let mut mistakes = Vec::new();
        for (i, side) in sides.iter().enumerate() {
            let length = distance(side.from, side.to);
            let inward = [-(side.to[1] - side.from[1]) / length, (side.to[0] - side.from[0]) / length];
            for end in 0..2 {
                let mut moved = lines;
                moved[i][end] = [0, 1].map(|c| lines[i][end][c] + side.deviation[end] * inward[c]);
                let to = corners(&moved)?;
                mistakes.push(std::array::from_fn(|k| [to[k][0] - still[k][0], to[k][1] - still[k][1]]));
            }
        }
        (area(&still) > 64.0).then(|| Self::of(size, still, mistakes, photo))
    }

    /// Turned by a quarter where that fits better: only what was told says which side is which.
    fn of(size: KnownSize, corners: [[f64; 2]; 4], mistakes: Vec<[[f64; 2]; 4]>, photo: Size) -> Self {
        let placed = |turn: usize| {
            let turned = |four: &[[f64; 2]; 4]| std::array::from_fn(|i| four[(i + turn) % 4]);
            let corners = turned(&corners);
            let photo_from_mm = onto(size, &corners);
            let squares: f64 = mistakes.iter().flatten().flatten().map(|v| v * v).sum();
            Self {
                size,
                corners,
                photo_from_mm,
                misfit: misfit(&photo_from_mm, photo),
                deviation: (squares / 8.0).sqrt(),
                mistakes: mistakes.iter().map(turned).collect(),
            }
        };
        let (along, across) = (placed(0), placed(1));
        let told = matches!(size, KnownSize::Told { .. });
        if told || along.misfit.size() <= across.misfit.size() { along } else { across }
    }

    /// Millimetres in a photo pixel at a place of the photo.
    #[must_use]
    pub fn scale_at(&self, place: [f64; 2]) -> f64 {
        scale_at(&self.photo_from_mm, place)
    }

    /// Deviation of the scale at a place of the photo, as a share of it: by what the outline leaves open, by the tolerance of the
    /// rectangle's size, by how much nearer than the cloth its face lies to the camera.
    #[must_use]
    pub fn uncertainty_at(&self, place: [f64; 2], photo: Size) -> f64 {
        let scale = self.scale_at(place);
        let outline: f64 = self
            .mistakes
            .iter()
            .map(|mistake| {
                let moved = std::array::from_fn(|k| [0, 1].map(|c| self.corners[k][c] + mistake[k][c]));
                (scale_at(&onto(self.size, &moved), place) / scale - 1.0).powi(2)
            })
            .sum();
        let (sides, off) = (self.size.mm(), self.size.tolerance());
        // A length is a square root of an area, and a tolerance is even within its range.
        let size: f64 = (0..2).map(|k| (0.5 * f64::from(off[k].get() / sides[k].get())).powi(2) / 3.0).sum();
        let shown = scale * photo.width.max(photo.height) as f64;
        let nearer = 0.5 * f64::from(self.size.thickness().get()) / (DISTANCE * shown);
        (outline + size + nearer * nearer).sqrt()
    }

    /// Millimetres in a pixel of a photo without perspective, where the corners allow one.
    pub(super) fn flat_scale(&self) -> Option<f64> {
        let [w, h] = self.size.mm().map(|side| f64::from(side.get()));
        let flat = [[0.0, 0.0], [w, 0.0], [w, h], [0.0, h]].map(|[x, y]| [x - 0.5 * w, y - 0.5 * h]);
        let middle = [0, 1].map(|c: usize| self.corners.iter().map(|p| p[c]).sum::<f64>() / 4.0);
        let seen = self.corners.map(|p| [p[0] - middle[0], p[1] - middle[1]]);
        // Turned and stretched as one complex number.
        let size: f64 = flat.iter().map(|p| p[0] * p[0] + p[1] * p[1]).sum();
        let re = (0..4).map(|i| flat[i][0] * seen[i][0] + flat[i][1] * seen[i][1]).sum::<f64>() / size;
        let im = (0..4).map(|i| flat[i][0] * seen[i][1] - flat[i][1] * seen[i][0]).sum::<f64>() / size;
        let off = |i: usize| {
            let to = [re * flat[i][0] - im * flat[i][1], im * flat[i][0] + re * flat[i][1]];
            (to[0] - seen[i][0]).powi(2) + (to[1] - seen[i][1]).powi(2)
        };
        let off = ((0..4).map(off).sum::<f64>() / 4.0).sqrt();
        (off < (PERSPECTIVE.0 * self.deviation).max(PERSPECTIVE.1)).then(|| 1.0 / re.hypot(im))
    }
}

/// Millimetres in a photo pixel at a place of the photo: the root of the area that a pixel covers.
pub(super) fn scale_at(photo_from_mm: &Homography, place: [f64; 2]) -> f64 {
    photo_from_mm.inverse().area_at(place).abs().sqrt()
}

/// Photo places of places on the rectangle (Heckbert, "Fundamentals of Texture Mapping and Image Warping", 1989, section 2.2.3).
fn onto(size: KnownSize, corners: &[[f64; 2]; 4]) -> Homography {
    let [p0, p1, p2, p3] = *corners;
    let (d1, d2) = ([p1[0] - p2[0], p1[1] - p2[1]], [p3[0] - p2[0], p3[1] - p2[1]]);
    let s = [0, 1].map(|c: usize| p0[c] - p1[c] + p2[c] - p3[c]);
    let turn = d1[0] * d2[1] - d1[1] * d2[0];
    let (g, h) = ((s[0] * d2[1] - s[1] * d2[0]) / turn, (d1[0] * s[1] - d1[1] * s[0]) / turn);
    let row = |c: usize| [p1[c] - p0[c] + g * p1[c], p3[c] - p0[c] + h * p3[c], p0[c]];
    let [width, height] = size.mm().map(|side| f64::from(side.get()));
    Homography([row(0), row(1), [g, h, 1.0]].map(|[a, b, c]| [a / width, b / height, c]))
}

/// How far the first two columns of the map are from those of a plane seen by a camera whose pixels are square and whose line of sight
/// meets the photo's middle (Zhang, "A Flexible New Technique for Camera Calibration", 2000, section 2.2), with the best focal length.
fn misfit(photo_from_mm: &Homography, photo: Size) -> Misfit {
    let middle = Homography::shift(-0.5 * photo.width as f64, -0.5 * photo.height as f64);
    let centred = middle.after(photo_from_mm).0;
    let long = photo.width.max(photo.height) as f64;
    let with = |sides: f64| {
        let focal = sides * long;
        let column = |k: usize| [centred[0][k] / focal, centred[1][k] / focal, centred[2][k]];
        let (a, b) = (column(0), column(1));
        let dot = |a: [f64; 3], b: [f64; 3]| (0..3).map(|i| a[i] * b[i]).sum::<f64>();
        let (la, lb) = (dot(a, a).sqrt(), dot(b, b).sqrt());
        let n = [a[1] * b[2] - a[2] * b[1], a[2] * b[0] - a[0] * b[2], a[0] * b[1] - a[1] * b[0]];
        Misfit {
            aspect: la / lb - 1.0,
            skew_deg: (dot(a, b) / (la * lb)).clamp(-1.0, 1.0).acos().to_degrees() - 90.0,
            tilt_deg: (n[2].abs() / dot(n, n).sqrt()).clamp(-1.0, 1.0).acos().to_degrees(),
            focal: sides,
        }
    };
    let all = FOCAL.map(|i| with(1.1f64.powi(i)));
    all.reduce(|best, next| if next.size() < best.size() { next } else { best }).unwrap_or_else(|| with(1.0))
}

#[cfg(test)]
mod tests {
    use super::*;
    use tatter_core::units::Mm;

    /// A pinhole of known focal length over a card tilted by a known angle: both are found again.
    #[test]
    fn a_tilted_card_fits_its_size_and_no_other() {
        let photo = Size::new(2000, 1500);
        let (focal, distance, tilt) = (1800.0, 300.0, 25f64.to_radians());
        let see = |[x, y]: [f64; 2]| {
            let (x, y) = (x - 30.0, y - 40.0);
            let (sin, cos) = tilt.sin_cos();
            let z = distance + y * sin;
            [1000.0 + focal * x / z, 750.0 + focal * y * cos / z]
        };
        let corners = [[0.0, 0.0], [85.60, 0.0], [85.60, 53.98], [0.0, 53.98]].map(see);
        let card = Placed::marked(KnownSize::Card, corners, photo).unwrap();
        assert!(card.misfit.aspect.abs() < 0.004 && card.misfit.skew_deg.abs() < 0.2, "{:?}", card.misfit);
        assert!((card.misfit.tilt_deg - 25.0).abs() < 1.5, "{:?}", card.misfit);
        let [x, y] = card.photo_from_mm.at([42.0, 27.0]);
        let [wx, wy] = see([42.0, 27.0]);
        assert!((x - wx).hypot(y - wy) < 1e-3, "its middle lies where the camera sees it");
        assert!(card.flat_scale().is_none(), "it is in perspective");
        // Tilted, it could be a sheet as well, seen with another lens; from above it can't.
        let sheet = Placed::marked(KnownSize::A6, corners, photo).unwrap();
        assert!(sheet.misfit.focal > 1.5 * card.misfit.focal, "{:?}, {:?}", sheet.misfit, card.misfit);
        let above = [[100.0, 100.0], [528.0, 100.0], [528.0, 369.9], [100.0, 369.9]];
        let [card_off, sheet_off] =
            [KnownSize::Card, KnownSize::A6].map(|size| Placed::marked(size, above, photo).unwrap().misfit);
        assert!(
            card_off.size() < 0.001 && (sheet_off.aspect - 0.125).abs() < 0.01,
            "1.586 is no 1.410: {card_off:?}, {sheet_off:?}"
        );
        // Two hundredths of a millimetre a pixel at a 600th of uncertainty: by hand 0.7 pixels of 514.
        let sure = card.uncertainty_at([1000.0, 750.0], photo);
        assert!((0.0005..0.005).contains(&sure), "{sure}");
    }

    #[test]
    fn a_square_seen_from_above_has_its_scale() {
        let size = KnownSize::Told { width: Mm(50.0), height: Mm(50.0) };
        let corners = [[100.0, 100.0], [100.0, 600.0], [600.0, 600.0], [600.0, 100.0]];
        let square = Placed::marked(size, corners, Size::new(800, 800)).unwrap();
        assert!((square.flat_scale().unwrap() - 0.1).abs() < 1e-12, "a tenth of a millimetre a pixel");
        assert!((square.scale_at([10.0, 700.0]) - 0.1).abs() < 1e-9, "everywhere");
        let crossed = [[100.0, 100.0], [600.0, 600.0], [600.0, 100.0], [100.0, 600.0]];
        assert!(Placed::marked(size, crossed, Size::new(800, 800)).is_none(), "sides that cross");
    }
}
