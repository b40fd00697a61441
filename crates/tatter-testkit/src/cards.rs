//! Cards and sheets on torn cloth in photos from known places.

use tatter_core::image::{Image, LinearRgb, Size};
use tatter_core::model::KnownSize;
use tatter_weave::{Damage, Kind};

use crate::laid::{Camera, Face, Laid, Matrix, OnCloth, inverse, pinhole};
use crate::scene::{Spec, cloth, dyed};

/// Columns and rows of the photos.
pub const PHOTO: Size = Size::new(1280, 960);
/// Side of the cloth, mm, and of its picture, pixels.
const CLOTH_MM: f32 = 180.0;
const CLOTH_PX: usize = 1500;
/// Middle of the photos on the cloth, mm.
const MIDDLE: [f64; 2] = [88.0, 88.0];
/// Middle of the hole in the cloth, mm.
pub const HOLE: [f64; 2] = [150.0, 140.0];
/// Its diameter, mm.
pub const HOLE_MM: f32 = 9.0;

/// A photo of a thing of known size on cloth.
#[derive(Clone, Copy, Debug)]
pub struct Case {
    /// What it shows.
    pub what: &'static str,
    /// Which of [`cloths`].
    pub cloth: usize,
    /// What lies on it.
    pub size: KnownSize,
    color: [f32; 3],
    face: Face,
    at: [f64; 2],
    turn_deg: f64,
    /// How far from straight above the camera is, degrees.
    pub tilt_deg: f64,
    axis_deg: f64,
    distance: f64,
}

/// A cloth with a moth hole.
#[derive(Debug)]
pub struct Torn {
    /// Its picture in soft light.
    pub color: Image<LinearRgb>,
    /// Millimetres a pixel of it.
    pub mm_per_px: f64,
    /// Ends and picks per cm.
    pub per_cm: [f32; 2],
}

/// Light, dark and printed ones, straight and tilted.
pub const CASES: [Case; 8] = [
    Case {
        what: "light card, straight above",
        cloth: 0,
        size: KnownSize::Card,
        color: [0.75, 0.76, 0.74],
        face: Face::Plain,
        at: [70.0, 50.0],
        turn_deg: 0.0,
        tilt_deg: 0.0,
        axis_deg: 0.0,
        distance: 190.0,
    },
    Case {
        what: "light card, turned and tilted",
        cloth: 0,
        size: KnownSize::Card,
        color: [0.75, 0.76, 0.74],
        face: Face::Plain,
        at: [75.0, 60.0],
        turn_deg: 17.0,
        tilt_deg: 18.0,
        axis_deg: 30.0,
        distance: 190.0,
    },
    Case {
        what: "printed card, tilted",
        cloth: 0,
        size: KnownSize::Card,
        color: [0.6, 0.65, 0.7],
        face: Face::Printed,
        at: [75.0, 60.0],
        turn_deg: -31.0,
        tilt_deg: 24.0,
        axis_deg: 100.0,
        distance: 200.0,
    },
    Case {
        what: "dark card on light cloth",
        cloth: 1,
        size: KnownSize::Card,
        color: [0.02, 0.022, 0.03],
        face: Face::Plain,
        at: [75.0, 60.0],
        turn_deg: 8.0,
        tilt_deg: 15.0,
        axis_deg: -40.0,
        distance: 190.0,
    },
    Case {
        what: "blue card on checked cloth",
        cloth: 2,
        size: KnownSize::Card,
        color: [0.05, 0.12, 0.45],
        face: Face::Printed,
        at: [80.0, 80.0],
        turn_deg: 75.0,
        tilt_deg: 12.0,
        axis_deg: 0.0,
        distance: 190.0,
    },
    Case {
        what: "light card on dark twill",
        cloth: 3,
        size: KnownSize::Card,
        color: [0.7, 0.7, 0.68],
        face: Face::Printed,
        at: [70.0, 65.0],
        turn_deg: 3.0,
        tilt_deg: 30.0,
        axis_deg: 60.0,
        distance: 210.0,
    },
    Case {
        what: "sheet of A6, tilted",
        cloth: 3,
        size: KnownSize::A6,
        color: [0.8, 0.8, 0.78],
        face: Face::Plain,
        at: [75.0, 72.0],
        turn_deg: 21.0,
        tilt_deg: 20.0,
        axis_deg: 200.0,
        distance: 230.0,
    },
    Case {
        what: "small card in a wide photo",
        cloth: 0,
        size: KnownSize::Card,
        color: [0.75, 0.76, 0.74],
        face: Face::Printed,
        at: [60.0, 50.0],
        turn_deg: 40.0,
        tilt_deg: 10.0,
        axis_deg: 45.0,
        distance: 260.0,
    },
];

/// Undyed canvas, light canvas, linen in large checks, tweed.
#[must_use]
pub fn cloths() -> Vec<Torn> {
    let all = [cloth("canvas"), dyed("canvas", [0.62, 0.6, 0.55], [0.6, 0.58, 0.52]), cloth("linen"), cloth("tweed")];
    let torn = |(i, cloth): (usize, tatter_weave::Cloth)| {
        let per_cm = [cloth.ends_per_cm.get(), cloth.picks_per_cm.get()];
        let pitch = 10.0 / (per_cm[0] * per_cm[1]).sqrt();
        let half = 0.5 * f64::from(CLOTH_MM);
        let at = [(HOLE[0] - half) as f32, (half - HOLE[1]) as f32];
        let damage = vec![Damage { length: HOLE_MM, at, ..Damage::new(Kind::MothHole) }];
        let spec = Spec { damage, ..Spec::new(cloth, CLOTH_PX, CLOTH_PX as f32 / CLOTH_MM * pitch).soft() };
        let woven = spec.weave();
        let Ok(taken) = tatter_weave::shoot(&woven.maps, woven.scale, &spec.shot, &tatter_core::task::Task::new()) else {
            unreachable!("nobody cancels")
        };
        let shade = |x: usize, y: usize| if i == 2 && (x / 150 + y / 150).is_multiple_of(2) { 0.35 } else { 1.0 };
        let color = Image::from_fn(CLOTH_PX, CLOTH_PX, |x, y| LinearRgb(taken.photo.get(x, y).0.map(|v| v * shade(x, y))));
        Torn { color, mm_per_px: f64::from(woven.scale.get()), per_cm }
    };
    all.into_iter().enumerate().map(torn).collect()
}

impl Case {
    /// What lies on the cloth.
    #[must_use]
    pub fn laid(&self) -> Laid {
        Laid {
            mm: self.size.mm().map(|v| f64::from(v.get())),
            corner: f64::from(self.size.corner().get()),
            at: self.at,
            turn: self.turn_deg.to_radians(),
            color: LinearRgb(self.color),
            face: self.face,
            shadow: [0.5, 0.7],
        }
    }

    /// Photo place of a place on the cloth.
    #[must_use]
    pub fn photo_from_mm(&self) -> Matrix {
        let focal = 0.9 * PHOTO.width as f64;
        pinhole(PHOTO, focal, self.distance, MIDDLE, self.tilt_deg.to_radians(), self.axis_deg.to_radians())
    }

    /// The photo.
    #[must_use]
    pub fn shoot(&self, torn: &Torn) -> Image<LinearRgb> {
        let camera = Camera { mm_from_photo: inverse(&self.photo_from_mm()), size: PHOTO, blur: 0.8, noise: 0.006, seed: 7 };
        OnCloth { cloth: &torn.color, mm_per_px: torn.mm_per_px, laid: &[self.laid()] }.photograph(&camera)
    }
}
