//! The lists of made scenes. Methods are worked on beside the first; the second is looked at only in the table of a release.

use tatter_core::angle::Angle;
use tatter_core::image::LinearRgb;
use tatter_testkit::scene::{Spec, cloths};
use tatter_weave::{Damage, Kind, Shot};

use crate::sweep;

/// Which list.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum List {
    /// Looked at while methods are changed.
    Work,
    /// Never looked at while methods are changed: other seeds, places, sizes and cameras.
    Release,
}

/// One scene.
#[derive(Clone, Debug)]
pub(crate) struct Case {
    pub(crate) name: String,
    pub(crate) spec: Spec,
    /// Quality of the JPEG the camera wrote, 1..100; `None` where the sensor's own values are kept.
    pub(crate) jpeg: Option<u8>,
}

impl Case {
    /// A name for its pictures.
    pub(crate) fn file(&self) -> String {
        format!("{}.png", self.name.replace([',', ' ', ':'], "-"))
    }
}

impl List {
    pub(crate) const fn name(self) -> &'static str {
        match self {
            Self::Work => "work",
            Self::Release => "release",
        }
    }

    pub(crate) const fn seed(self) -> u64 {
        match self {
            Self::Work => 1,
            Self::Release => 70,
        }
    }
}

const BACKINGS: [(&str, [f32; 3]); 3] =
    [("light card", [0.74, 0.75, 0.74]), ("dark lining", [0.03, 0.03, 0.035]), ("green cloth", [0.10, 0.30, 0.22])];
/// Name, direction, elevation, share of the sky.
pub(crate) const LIGHTS: [(&str, f32, f32, f32); 4] =
    [("window", 130.0, 48.0, 0.38), ("lamp", 25.0, 35.0, 0.15), ("sky", 90.0, 80.0, 0.9), ("sun", 215.0, 55.0, 0.2)];
/// What a grey card reads, and the camera's JPEG: the release list only.
pub(crate) const CAMERAS: [([f32; 3], u8); 4] =
    [([1.0, 1.0, 1.0], 92), ([1.12, 1.0, 0.82], 85), ([0.90, 1.0, 1.15], 90), ([1.05, 1.0, 0.94], 80)];
const SIZES: [usize; 4] = [448, 384, 512, 640];

/// Two injuries of each of eight cloths, over three backings, under four lights, the cloth lying a little askew.
pub(crate) fn cases(list: List) -> Vec<Case> {
    let injuries = [
        [(Kind::Rip, 15.0, 4.5), (Kind::MothHole, 7.0, 7.0)],
        [(Kind::LTear, 9.0, 4.0), (Kind::Scrap, 20.0, 18.0)],
        [(Kind::Burn, 4.0, 4.0), (Kind::Rip, 6.0, 2.0)],
        [(Kind::Hem, 5.0, 5.0), (Kind::WornThrough, 12.0, 7.0)],
        [(Kind::Rip, 14.0, 4.0), (Kind::Scrap, 20.0, 18.0)],
        [(Kind::MothHole, 8.0, 8.0), (Kind::LTear, 10.0, 4.0)],
        [(Kind::Abrasion, 9.0, 9.0), (Kind::WornThrough, 8.0, 5.0)],
        [(Kind::Rip, 3.5, 1.2), (Kind::Stain, 2.5, 2.5)],
    ];
    let mut cases = Vec::new();
    for (n, ((name, cloth, pitch_px), injuries)) in cloths().into_iter().zip(injuries).enumerate() {
        for (m, (kind, length, width)) in injuries.into_iter().enumerate() {
            let held = list == List::Release;
            // A light card would not show behind light cloth, nor a dark one behind dark.
            let dark = cloth.warp.dye.color.luminance() < 0.15;
            let (backing, color) = BACKINGS[if m == 1 { 2 } else { usize::from(!dark) }];
            let (light, from, elevation, sky) = LIGHTS[(n + 2 * m + usize::from(held)) % 4];
            let (cast, quality) = CAMERAS[(n + m) % 4];
            let side = if held { SIZES[(n + 3 * m) % 4] } else { 448 };
            let seed = list.seed() * 100 + 2 * n as u64 + m as u64;
            let shot = Shot {
                light_from: Angle::degrees(from),
                elevation: Angle::degrees(elevation),
                sky,
                backing: LinearRgb(color),
                cast: if held { cast } else { [1.0; 3] },
                seed: if held { seed } else { 1 },
                ..Shot::default()
            };
            let at = if held { [-0.8, 0.5] } else { [0.6, -0.4] };
            let spec = Spec {
                damage: vec![Damage { length, width, at, ..Damage::new(kind) }],
                grain: Angle::degrees([90.0, 84.0, 97.0, 75.0][(n + m + usize::from(held)) % 4]),
                shot,
                seed,
                ..Spec::new(cloth.clone(), side, pitch_px)
            };
            let jpeg = held.then_some(quality);
            cases.push(Case { name: format!("{name}, {}, {backing}, {light}", kind.name()), spec, jpeg });
        }
    }
    if list == List::Work {
        cases.extend(near_in_colour());
    }
    cases
}

/// Burns in pale cloth over cards, whose scorch was taken for the card in shade, and worn denims whose openings were missed.
const BURNS_AND_KNEES: [usize; 5] = [774, 339, 260, 1256, 1412];

/// Rips in satin whose lifted edge shines, under the sun and by a window.
const SHINING: [usize; 3] = [120, 167, 389];

/// Burns in pale cloth over a dark lining, whose charred threads were taken for it, and white cloth torn before a white card.
const NEARLY_BEHIND: [usize; 6] = [17, 746, 1333, 0, 1376, 127];

/// Openings and marks as cameras write them, over light cards and over cloth that parts little from them in colour or light.
fn near_in_colour() -> Vec<Case> {
    let card = BACKINGS[0];
    let green = BACKINGS[2];
    let slate = ("slate cloth", [0.16, 0.20, 0.24]);
    let mut cases = Vec::new();
    let cloths = cloths();
    let rows = [
        (0, Kind::Rip, [16.0, 5.0], card, 0, 512),
        (2, Kind::Rip, [7.0, 2.4], green, 1, 640),
        (2, Kind::LTear, [5.0, 2.2], slate, 0, 448),
        (5, Kind::LTear, [11.0, 4.5], green, 0, 512),
        (5, Kind::Rip, [14.0, 4.0], slate, 1, 384),
        (3, Kind::Rip, [14.0, 5.0], card, 2, 448),
        (2, Kind::Stain, [5.0, 4.0], green, 1, 512),
        (5, Kind::Abrasion, [9.0, 7.0], green, 0, 448),
    ];
    for (n, (cloth, kind, [length, width], (backing, color), light, side)) in rows.into_iter().enumerate() {
        let (name, cloth, pitch_px) = cloths[cloth].clone();
        let (light, from, elevation, sky) = LIGHTS[light];
        let (cast, quality) = CAMERAS[(n + 1) % 4];
        let shot = Shot {
            light_from: Angle::degrees(from + 20.0),
            elevation: Angle::degrees(elevation),
            sky,
            backing: LinearRgb(color),
            cast,
            seed: 300 + n as u64,
            ..Shot::default()
        };
        let spec = Spec {
            damage: vec![Damage { length, width, at: [0.3, 0.2], ..Damage::new(kind) }],
            grain: Angle::degrees([88.0, 95.0, 79.0, 101.0][n % 4]),
            shot,
            seed: 300 + n as u64,
            ..Spec::new(cloth, side, pitch_px)
        };
        cases.push(Case { name: format!("{name}, {}, {backing}, {light}, camera", kind.name()), spec, jpeg: Some(quality) });
    }
    cases.extend(slits());
    cases.extend(sweep::taken(&BURNS_AND_KNEES));
    cases.extend(sweep::taken(&SHINING));
    cases.extend(sweep::taken(&NEARLY_BEHIND));
    cases
}

/// Slits that fuzz leaves hardly an even place of, over cloth.
fn slits() -> Vec<Case> {
    let rows = [
        ("green cloth", [0.10, 0.30, 0.22], 0, 247.0, 3, 909, 86.0),
        ("moss cloth", [0.12, 0.24, 0.20], 2, 259.0, 0, 913, 98.0),
        ("olive cloth", [0.20, 0.20, 0.16], 0, 351.0, 1, 917, 89.0),
    ];
    let make = |(backing, color, light, from, camera, seed, grain): (&str, [f32; 3], usize, f32, usize, u64, f32)| {
        let (name, cloth, pitch_px) = cloths().swap_remove(5);
        let (light, _, elevation, sky) = LIGHTS[light];
        let (cast, quality): ([f32; 3], u8) = CAMERAS[camera];
        let shot = Shot {
            light_from: Angle::degrees(from),
            elevation: Angle::degrees(elevation),
            sky,
            backing: LinearRgb(color),
            cast,
            seed,
            ..Shot::default()
        };
        let damage = vec![Damage { length: 11.0, width: 4.0, at: [0.2, -0.3], ..Damage::new(Kind::Rip) }];
        let spec = Spec { damage, grain: Angle::degrees(grain), shot, seed, ..Spec::new(cloth, 384, pitch_px) };
        Case { name: format!("{name}, slit, {backing}, {light}, camera"), spec, jpeg: Some(quality) }
    };
    rows.into_iter().map(make).collect()
}
