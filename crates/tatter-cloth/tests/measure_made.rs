//! Made photos: what they claim to know must be so.

use tatter_cloth::made::{Damage, SceneSpec, Weave, shoot};
use tatter_core::angle::Angle;
use tatter_core::image::LinearRgb;
use tatter_core::model::Subject;
use tatter_core::units::{Mm, MmPerTexel, PerCm};

fn small() -> SceneSpec {
    SceneSpec {
        width: 160,
        height: 160,
        damage: Damage::RipAlongWeft { length: Mm(8.0), opening: Mm(3.0), surviving: 0.4 },
        ..SceneSpec::default()
    }
}

#[test]
fn open_area_is_peirces() {
    // Poplin of 40s yarn, 133 x 72 per inch: d = 25.4 / (28 sqrt 40) mm, open area (1 - d/p1)(1 - d/p2) = 0.14774
    // (Peirce, "The Geometry of Cloth Structure", 1937, as restated in checks/cloth_geometry.csv).
    let (ends, picks) = (133.0 / 2.54, 72.0 / 2.54);
    let diameter = 25.4 / (28.0 * 40f32.sqrt());
    let spec = SceneSpec {
        weave: Weave::Plain,
        width: 300,
        height: 300,
        scale: MmPerTexel(0.012),
        ends_per_cm: PerCm(ends),
        picks_per_cm: PerCm(picks),
        yarn_fill: [diameter * ends / 10.0, diameter * picks / 10.0],
        irregularity: 0.0,
        fuzz: 0.0,
        damage: Damage::None,
        grain: Angle::degrees(70.0),
        ..SceneSpec::default()
    };
    let scene = shoot(&spec);
    let open = 1.0 - scene.truth.opacity.texels().iter().map(|o| f64::from(o.0)).sum::<f64>() / 90_000.0;
    assert!((open - 0.147_74).abs() < 0.012, "open area {open}, not 0.1477");
}

#[test]
fn the_same_seed_is_the_same_cloth_under_other_light_and_backing() {
    let over_light = shoot(&small());
    let over_dark = shoot(&SceneSpec { backing: LinearRgb([0.02; 3]), light_from: Angle::degrees(0.0), ambient: 0.5, ..small() });
    assert_eq!(over_light.truth.opacity, over_dark.truth.opacity, "opacity does not know the backing");
    assert_eq!(over_light.truth.height, over_dark.truth.height, "height does not know the light");
    assert_eq!(over_light.truth.base_color, over_dark.truth.base_color, "dye does not know the light");
    assert_eq!(shoot(&small()).photo, over_light.photo, "the same request gives the same photo");
    let other = shoot(&SceneSpec { seed: 2, ..small() });
    assert_ne!(other.truth.opacity, over_light.truth.opacity, "another seed is another cloth");
}

#[test]
fn photo_shows_backing_through_openings_only() {
    // Without lamp, blur, noise and falloff, a fully open pixel differs by the backing's ratio and a closed one not at all.
    let plain = SceneSpec { ambient: 1.0, falloff: 0.0, blur: 0.0, noise: 0.0, ..small() };
    let light = shoot(&SceneSpec { backing: LinearRgb([0.8; 3]), ..plain.clone() });
    let dark = shoot(&SceneSpec { backing: LinearRgb([0.2; 3]), ..plain });
    let (mut open, mut closed) = (0, 0);
    for y in 0..160 {
        for x in 0..160 {
            let (a, b) = (light.photo.get(x, y).0[1], dark.photo.get(x, y).0[1]);
            let opacity = light.truth.opacity.get(x, y).0;
            if opacity == 0.0 {
                open += 1;
                assert!((a / b - 4.0).abs() < 1e-3, "an open pixel shows the backing only: {a} over {b}");
            } else if opacity > 0.999 {
                closed += 1;
                assert_eq!(a, b, "a closed pixel shows no backing");
            }
        }
    }
    assert!(open > 300 && closed > 10_000, "{open} open, {closed} closed pixels");
}

#[test]
fn threads_are_lit_as_high_as_they_stand() {
    // By definition a normal leans down the slope of its height, so both must rise and fall together.
    for grain in [90.0, 20.0] {
        let scene = shoot(&SceneSpec { damage: Damage::None, grain: Angle::degrees(grain), ..small() });
        let (height, normal) = (&scene.truth.height, &scene.truth.normal);
        let mut sums = [[0.0f64; 3]; 2];
        for y in 2..158 {
            for x in 2..158 {
                let (p, q) = normal.get(x, y).slopes();
                let rise = [height.get(x + 1, y).0 - height.get(x - 1, y).0, height.get(x, y - 1).0 - height.get(x, y + 1).0];
                for (sum, (a, b)) in sums.iter_mut().zip([(p, rise[0]), (q, rise[1])]) {
                    for (total, value) in sum.iter_mut().zip([a * b, a * a, b * b]) {
                        *total += f64::from(value);
                    }
                }
            }
        }
        for [ab, aa, bb] in sums {
            assert!(ab / (aa * bb).sqrt() > 0.6, "slopes of normal and height agree, grain {grain}: {}", ab / (aa * bb).sqrt());
        }
    }
}

#[test]
fn damage_stays_where_it_is_said_to_be() {
    let scene = shoot(&small());
    let injured = scene.truth.injured.texels().iter().filter(|&&i| i).count();
    // An ellipse of 8 x 3 mm is 18.8 mm2; a pixel is 0.0064 mm2; roughness and rim add to it.
    assert!((2_000..6_500).contains(&injured), "{injured} injured pixels");
    let stained =
        shoot(&SceneSpec { damage: Damage::Stain { diameter: Mm(6.0), transmittance: LinearRgb([0.7, 0.5, 0.3]) }, ..small() });
    let intact = shoot(&SceneSpec { damage: Damage::None, ..small() });
    assert_eq!(stained.truth.opacity, intact.truth.opacity, "a stain opens nothing");
    for y in 0..8 {
        assert!(scene.truth.opacity.row(y) == intact.truth.opacity.row(y), "far from a rip the cloth is as woven, row {y}");
    }
}

#[test]
fn a_piece_lies_on_its_card() {
    let scene = shoot(&SceneSpec { subject: Subject::Piece, damage: Damage::None, backing_distance: Mm(0.3), ..small() });
    let (cover, opacity) = (&scene.truth.cover, &scene.truth.opacity);
    assert!(cover.get(1, 1).0 < 1e-6, "the corner is card");
    assert!(cover.get(80, 80).0 > 0.999, "the middle is cloth");
    for (c, o) in cover.texels().iter().zip(opacity.texels()) {
        assert!(c.0 >= o.0, "where there is thread there is the piece");
    }
}
