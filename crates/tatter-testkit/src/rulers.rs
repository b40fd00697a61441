//! Rulers on cloth in photos from known places.

use tatter_core::image::{Image, LinearRgb, Pixel as _, Size};

use crate::laid::{Camera, Face, Laid, Matrix, OnCloth, inverse, pinhole};

/// Marks on a ruler.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Ruled {
    /// From mark to mark, mm.
    pub pitch: f64,
    /// Length of every mark, mm.
    pub short: f64,
    /// Marks that are multiples of the first number are as long as the second says, mm; later ones win.
    pub longer: [(u32, f64); 3],
    /// Breadth of a mark, mm.
    pub thick: f64,
    /// From the edge to where marks begin, mm.
    pub gap: f64,
    /// Linear colour of the marks.
    pub ink: [f32; 3],
    /// Marks at the other long edge, too.
    pub both: bool,
    /// Strength of streaks along it: wood, brushed steel.
    pub streaks: f32,
}

/// Black marks as on office rulers.
pub const MILLIMETRES: Ruled = Ruled {
    pitch: 1.0,
    short: 3.2,
    longer: [(5, 4.8), (10, 6.6), (10, 6.6)],
    thick: 0.2,
    gap: 0.0,
    ink: [0.02, 0.02, 0.02],
    both: false,
    streaks: 0.0,
};

/// Sixteenths of an inch.
pub const SIXTEENTHS: Ruled =
    Ruled { pitch: 25.4 / 16.0, short: 2.5, longer: [(2, 4.0), (4, 6.0), (8, 8.0)], thick: 0.25, ..MILLIMETRES };

impl Ruled {
    /// Colour at a place, mm from the ruler's start along it and from its marked edge; `breadth` is from edge to edge.
    #[must_use]
    pub fn shown(&self, [x, y]: [f64; 2], [length, breadth]: [f64; 2], plain: LinearRgb) -> LinearRgb {
        const BEFORE: f64 = 6.0;
        let y = if self.both { y.min(breadth - y) } else { y };
        let n = ((x - BEFORE) / self.pitch).round();
        let last = ((length - 2.0 * BEFORE) / self.pitch).floor();
        let streak = 1.0 + self.streaks * ((y * 7.3).sin() * (y * 3.1 + 0.02 * x).sin()) as f32;
        let plain = plain.times(streak);
        if n < 0.0 || n > last {
            return plain;
        }
        let marks = n as u32;
        let long = self.longer.iter().filter(|(step, _)| marks.is_multiple_of(*step)).map(|l| l.1).fold(self.short, f64::max);
        let on = (x - BEFORE - n * self.pitch).abs() < 0.5 * self.thick && y > self.gap && y < self.gap + long;
        // A figure stands below each long mark: a block with a hole.
        let (u, v) = (x - BEFORE - (x - BEFORE).div_euclid(10.0) * 10.0, y - self.gap - 7.6);
        let figure = !(1.1..=8.9).contains(&u) && v > 0.0 && v < 2.8 && !(u < 0.5 && v > 1.0 && v < 1.9);
        if on || figure { LinearRgb(self.ink) } else { plain }
    }
}

/// A photo of a ruler on cloth.
#[derive(Clone, Copy, Debug)]
pub struct Case {
    /// What it shows.
    pub what: &'static str,
    /// Which of [`crate::cards::cloths`].
    pub cloth: usize,
    /// Length and breadth, mm.
    pub mm: [f64; 2],
    /// Its colour.
    pub color: [f32; 3],
    /// Its marks.
    pub ruled: Ruled,
    /// Its middle on the cloth, mm.
    pub at: [f64; 2],
    /// Degrees from the cloth's x towards its y.
    pub turn_deg: f64,
    /// How far from straight above the camera is, degrees.
    pub tilt_deg: f64,
    /// The axis of that in the photo.
    pub axis_deg: f64,
}

/// Columns and rows of the photos.
pub const PHOTO: Size = Size::new(1280, 960);
const MIDDLE: [f64; 2] = [88.0, 88.0];
const DISTANCE: f64 = 190.0;
const WHITE: [f32; 3] = [0.74, 0.75, 0.73];
const WOOD: [f32; 3] = [0.52, 0.36, 0.2];
const STEEL: [f32; 3] = [0.42, 0.43, 0.44];

const PLASTIC: Case = Case {
    what: "white plastic, straight above",
    cloth: 0,
    mm: [312.0, 30.0],
    color: WHITE,
    ruled: MILLIMETRES,
    at: [110.0, 50.0],
    turn_deg: 0.0,
    tilt_deg: 0.0,
    axis_deg: 0.0,
};

/// Rulers of several kinds on four cloths.
pub const CASES: [Case; 10] = [
    PLASTIC,
    Case { what: "white plastic, turned", turn_deg: 23.0, at: [90.0, 55.0], ..PLASTIC },
    Case { what: "white plastic on light canvas, upside down", cloth: 1, turn_deg: 184.0, at: [60.0, 120.0], ..PLASTIC },
    Case {
        what: "wood on checked linen",
        cloth: 2,
        color: WOOD,
        ruled: Ruled { streaks: 0.25, ..MILLIMETRES },
        turn_deg: -12.0,
        ..PLASTIC
    },
    Case {
        what: "steel with marks on both sides on tweed",
        cloth: 3,
        color: STEEL,
        mm: [212.0, 25.0],
        ruled: Ruled { both: true, streaks: 0.1, thick: 0.15, ..MILLIMETRES },
        turn_deg: 71.0,
        at: [60.0, 60.0],
        ..PLASTIC
    },
    Case {
        what: "black with white marks",
        color: [0.02, 0.02, 0.025],
        ruled: Ruled { ink: WHITE, ..MILLIMETRES },
        turn_deg: 140.0,
        ..PLASTIC
    },
    Case {
        what: "yellow tape, marks away from its edge",
        cloth: 3,
        color: [0.7, 0.5, 0.06],
        mm: [900.0, 16.0],
        ruled: Ruled { gap: 0.8, ..MILLIMETRES },
        turn_deg: 38.0,
        at: [80.0, 70.0],
        ..PLASTIC
    },
    Case { what: "short, ends in the photo", mm: [82.0, 22.0], at: [75.0, 60.0], turn_deg: 8.0, ..PLASTIC },
    Case { what: "white plastic, tilted 3 along it", tilt_deg: 3.0, axis_deg: 90.0, turn_deg: 4.0, ..PLASTIC },
    Case { what: "white plastic, tilted 3 across it", tilt_deg: 3.0, axis_deg: 0.0, turn_deg: -6.0, ..PLASTIC },
];

impl Case {
    /// What lies on the cloth.
    #[must_use]
    pub const fn laid(&self) -> Laid {
        Laid {
            mm: self.mm,
            corner: 0.5,
            at: self.at,
            turn: self.turn_deg.to_radians(),
            color: LinearRgb(self.color),
            face: Face::Ruled(self.ruled),
            shadow: [0.5, 0.7],
        }
    }

    /// Photo place of a place on the cloth.
    #[must_use]
    pub fn photo_from_mm(&self) -> Matrix {
        let focal = 0.9 * PHOTO.width as f64;
        pinhole(PHOTO, focal, DISTANCE, MIDDLE, self.tilt_deg.to_radians(), self.axis_deg.to_radians())
    }

    /// The photo.
    #[must_use]
    pub fn shoot(&self, torn: &crate::cards::Torn) -> Image<LinearRgb> {
        photograph(torn, &[self.laid()], &self.photo_from_mm())
    }
}

/// A photo of things on cloth.
#[must_use]
pub fn photograph(torn: &crate::cards::Torn, laid: &[Laid], photo_from_mm: &Matrix) -> Image<LinearRgb> {
    let camera = Camera { mm_from_photo: inverse(photo_from_mm), size: PHOTO, blur: 0.8, noise: 0.006, seed: 7 };
    OnCloth { cloth: &torn.color, mm_per_px: torn.mm_per_px, laid }.photograph(&camera)
}
