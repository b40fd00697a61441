//! Any number of other scenes: what is changed beside the work list must hold for these too.

use tatter_core::angle::Angle;
use tatter_core::image::LinearRgb;
use tatter_testkit::scene::{Spec, cloth, cloths, dyed};
use tatter_weave::{Cloth, Damage, Kind, Shot};

use crate::scenes::{CAMERAS, Case, LIGHTS};

/// Kind, and length and width in thread spacings.
const INJURIES: [(Kind, f32, f32); 8] = [
    (Kind::Rip, 21.0, 6.5),
    (Kind::LTear, 14.0, 5.5),
    (Kind::Burn, 14.0, 14.0),
    (Kind::WornThrough, 20.0, 12.0),
    (Kind::MothHole, 11.0, 11.0),
    (Kind::Abrasion, 20.0, 20.0),
    (Kind::Stain, 13.0, 11.0),
    (Kind::Rip, 13.0, 4.0),
];
/// Pieces, made where their word is said: one in the photo, and one that runs through it from side to side.
const PIECES: [(&str, (Kind, f32, f32)); 2] = [("scrap", (Kind::Scrap, 24.0, 21.0)), ("strip", (Kind::Scrap, 130.0, 16.0))];
const BACKINGS: [(&str, [f32; 3]); 6] = [
    ("light card", [0.74, 0.75, 0.74]),
    ("dark lining", [0.03, 0.03, 0.035]),
    ("green cloth", [0.10, 0.30, 0.22]),
    ("white card", [0.86, 0.86, 0.85]),
    ("slate cloth", [0.16, 0.20, 0.24]),
    ("brown table", [0.24, 0.13, 0.07]),
];

/// The first `count` scenes whose names have all of these words, parted by plus signs; cloth, injury, backing, light and camera come
/// from the number of the scene.
pub(crate) fn cases(words: &str, count: usize) -> Vec<Case> {
    let has = |case: &Case| words.split('+').all(|word| case.name.contains(word));
    let piece = PIECES.into_iter().find(|(name, _)| words.split('+').any(|word| word == *name));
    (0..20_000).map(|number| scene(number, piece)).filter(has).take(count).collect()
}

/// Scenes of those numbers that the work list took over.
pub(crate) fn taken(numbers: &[usize]) -> Vec<Case> {
    let named = |case: Case| {
        let (_, name) = case.name.split_once(": ").unwrap_or_default();
        Case { name: format!("{name}, camera"), ..case }
    };
    numbers.iter().map(|number| named(scene(*number, None))).collect()
}

fn all_cloths() -> Vec<(&'static str, Cloth, f32)> {
    let mut all = cloths();
    let white = [0.66, 0.66, 0.64];
    all.extend([
        ("poplin, pale", cloth("poplin"), 8.0),
        ("poplin, white", dyed("poplin", white, white), 9.0),
        ("linen, white", dyed("linen", white, white), 9.0),
        ("canvas, white", dyed("canvas", white, white), 10.0),
    ]);
    all
}

fn scene(number: usize, told: Option<(&str, (Kind, f32, f32))>) -> Case {
    let mut state = number as u64 + 0x5eed;
    // Steele, Lea, Flood, "Fast Splittable Pseudorandom Number Generators", 2014.
    let mut draw = || {
        state = state.wrapping_add(0x9e37_79b9_7f4a_7c15);
        let mixed = (state ^ (state >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
        let mixed = (mixed ^ (mixed >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
        mixed ^ (mixed >> 31)
    };
    let mut one_of = |n: usize| (draw() >> 33) as usize % n;
    let (name, cloth, pitch_px) = all_cloths().swap_remove(one_of(12));
    let drawn = INJURIES[one_of(INJURIES.len())];
    let (kind, length, width) = told.map_or(drawn, |(_, piece)| piece);
    let injury = told.map_or(kind.name(), |(name, _)| name);
    let (backing, color) = BACKINGS[one_of(BACKINGS.len())];
    let (light, from, elevation, sky) = LIGHTS[one_of(LIGHTS.len())];
    let (cast, quality) = CAMERAS[one_of(CAMERAS.len())];
    let side = [384, 448, 512, 576][one_of(4)];
    let mut within = |low: f32, high: f32| low + (high - low) * one_of(1000) as f32 / 999.0;
    let pitch_mm = 10.0 / (cloth.ends_per_cm.get() * cloth.picks_per_cm.get()).sqrt();
    let size = within(0.8, 1.2) * pitch_mm;
    let shot = Shot {
        light_from: Angle::degrees(from + within(-40.0, 40.0)),
        elevation: Angle::degrees(elevation),
        sky,
        backing: LinearRgb(color),
        cast,
        seed: 5000 + number as u64,
        ..Shot::default()
    };
    let at = [within(-3.0, 3.0) * pitch_mm, within(-3.0, 3.0) * pitch_mm];
    let damage = vec![Damage { length: length * size, width: width * size, at, ..Damage::new(kind) }];
    let grain = Angle::degrees(within(75.0, 105.0));
    let spec = Spec { damage, grain, shot, seed: 5000 + number as u64, ..Spec::new(cloth, side, pitch_px) };
    Case { name: format!("{number}: {name}, {injury}, {backing}, {light}"), spec, jpeg: Some(quality) }
}
