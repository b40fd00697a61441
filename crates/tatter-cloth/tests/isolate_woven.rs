//! Injured regions of woven photos beside their known truth: what is hurt, with a rim one thread wide.

use tatter_cloth::isolate::{ClothHints, isolate};
use tatter_core::image::{Image, LinearRgb, Pixel as _};
use tatter_core::model::CutRecipe;
use tatter_core::task::Task;
use tatter_testkit::scene::{Spec, cloth};
use tatter_weave::{Damage, Kind, Shot};

/// Overlap of the found and the true region over their union, both at half cover.
fn overlap(name: &str, damage: Damage, pitch: f32) -> f32 {
    let spec = Spec { damage: vec![damage], seed: 2, ..Spec::new(cloth(name), 448, pitch) };
    let scene = Spec { shot: Shot::default(), ..spec }.shoot();
    let hints = ClothHints { pitch_px: Some(scene.pitch_px), ..ClothHints::default() };
    let Ok(found) = isolate(&scene.photo, &CutRecipe::default(), &hints, &Task::new()) else { return 0.0 };
    let (mut both, mut either) = (0u32, 0u32);
    for (c, t) in found.cover.texels().iter().zip(scene.injured.texels()) {
        let (c, t) = (c.0 >= 0.5, *t);
        both += u32::from(c && t);
        either += u32::from(c || t);
    }
    both as f32 / either.max(1) as f32
}

#[test]
fn injuries_are_outlined_with_their_frayed_rim() {
    let at = |length: f32, width: f32, kind: Kind| Damage { length, width, at: [2.0, -1.5], ..Damage::new(kind) };
    // Measured 0.65, 0.88, 0.64, 0.87.
    let cases = [
        ("canvas", at(18.0, 5.0, Kind::Rip), 0.58),
        ("canvas", at(7.0, 7.0, Kind::MothHole), 0.80),
        ("denim", at(12.0, 12.0, Kind::Abrasion), 0.55),
        ("duck", at(14.0, 14.0, Kind::Stain), 0.80),
    ];
    for (cloth, damage, least) in cases {
        let got = overlap(cloth, damage, 8.0);
        assert!(got >= least, "{cloth}, {}: overlap {got} of found and true region, at least {least}", damage.kind.name());
    }
}

/// Pale wear around a hole is part of the injury, although it is woven still and covers much of the photo.
#[test]
fn wear_around_a_hole_belongs_to_it() {
    let damage = Damage { length: 18.0, width: 9.0, at: [0.5, -0.5], ..Damage::new(Kind::WornThrough) };
    let got = overlap("denim", damage, 4.5);
    // Measured 0.81; the hole alone is a third of it.
    assert!(got >= 0.74, "overlap {got} of found and true region, at least 0.74");
}

/// What lies on the cloth was filled in with an even colour; that is no injury, and draws no cover beyond itself.
#[test]
fn what_was_filled_in_is_not_hurt() {
    let damage = Damage { length: 18.0, width: 5.0, ..Damage::new(Kind::Rip) };
    let scene = Spec { damage: vec![damage], seed: 2, ..Spec::new(cloth("canvas"), 448, 8.0) }.shoot();
    let on_it = |x: usize, y: usize| (60..388).contains(&x) && (60..195).contains(&y);
    let unseen = Image::from_fn(448, 448, on_it);
    let mean = scene.photo.texels().iter().fold(LinearRgb::ZERO, |sum, c| sum.plus(*c, 1.0 / (448.0 * 448.0)));
    let photo = Image::from_fn(448, 448, |x, y| if on_it(x, y) { mean } else { scene.photo.get(x, y) });
    let above = |unseen: Option<&Image<bool>>| {
        let hints = ClothHints { pitch_px: Some(scene.pitch_px), unseen, ..ClothHints::default() };
        let found = isolate(&photo, &CutRecipe::default(), &hints, &Task::new()).unwrap();
        let covered = |rows: std::ops::Range<usize>| {
            found.cover.texels()[448 * rows.start..448 * rows.end].iter().filter(|c| c.0 >= 0.5).count()
        };
        [covered(0..170), covered(195..448)]
    };
    let [stray, torn] = above(Some(&unseen));
    assert!(stray == 0, "no cover on or beyond what lies on the cloth: {stray}");
    assert!(torn > 5000, "the rip below it is found: {torn}");
    assert!(above(None)[0] > 10_000, "what is not told is taken for a hole");
}
