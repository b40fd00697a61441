//! Cloth over two cards that lie askew behind it, in shadows traced ray by ray: no convolution, which is what the shade is looked for as.

use tatter_capture::backings::{BackingsError, Shots, triangulate, two_backings};
use tatter_core::image::{Image, LinearRgb, Unit};
use tatter_core::rng::hash_unit;
use tatter_core::task::Task;
use tatter_testkit::measures::alpha_error;
use tatter_testkit::pair::CARDS;
use tatter_testkit::scene::Spec;
use tatter_weave::{Kind, Woven};

const SIDE: usize = 384;

/// A lamp: where its light comes from, azimuth and elevation in degrees, how broad its disc is, and its share of all light. The rest is a sky of
/// even light.
type Light = ([f32; 2], f32, f32);

/// Directions that light comes from, as pixels that it passes the cloth off a place for each pixel that the card is behind it, and shares.
fn rays(lamps: &[Light]) -> Vec<([f32; 2], f32)> {
    const OF_LAMP: u32 = 24;
    const OF_SKY: u32 = 96;
    let golden = std::f32::consts::PI * (3.0 - 5.0f32.sqrt());
    let mut rays = Vec::new();
    for ([azimuth, elevation], broad, share) in lamps {
        for i in 0..OF_LAMP {
            let (r, turn) = (0.5 * broad * ((i as f32 + 0.5) / OF_LAMP as f32).sqrt(), golden * i as f32);
            let (around, up) = (
                (azimuth + r * turn.cos() / elevation.to_radians().cos()).to_radians(),
                (elevation + r * turn.sin()).to_radians(),
            );
            rays.push(([around.cos() / up.tan(), -around.sin() / up.tan()], share / OF_LAMP as f32));
        }
    }
    let left = 1.0 - lamps.iter().map(|lamp| lamp.2).sum::<f32>();
    for i in 0..OF_SKY {
        // Even light on a plane: equal shares of the disc that the hemisphere is seen as from above (Lambert's cosine).
        let (r, turn) = (((i as f32 + 0.5) / OF_SKY as f32).sqrt(), golden * i as f32);
        let off = r / (1.0 - r * r).sqrt();
        rays.push(([off * turn.cos(), off * turn.sin()], left / OF_SKY as f32));
    }
    rays
}

/// Share of all light that reaches the card behind each pixel; `behind` pixels lies the card under the left edge and under the right one.
fn traced(alpha: &Image<Unit>, lamps: &[Light], behind: [f32; 2]) -> Image<f32> {
    let rays = rays(lamps);
    Image::from_fn(SIDE, SIDE, |x, y| {
        let far = behind[0] + (behind[1] - behind[0]) * x as f32 / SIDE as f32;
        let passes = |[dx, dy]: [f32; 2]| 1.0 - alpha.bilinear(x as f32 + 0.5 + far * dx, y as f32 + 0.5 + far * dy).0;
        rays.iter().map(|(off, share)| share * passes(*off)).sum()
    })
}

/// The cloth over a card in that shade, under a lamp of that direction, with noise as a camera has it.
fn shot(woven: &Woven, shade: &Image<f32>, card: LinearRgb, seed: u64) -> Image<LinearRgb> {
    let maps = &woven.maps;
    Image::from_fn(SIDE, SIDE, |x, y| {
        let (alpha, n, dye) = (maps.opacity.get(x, y).0, maps.normal.get(x, y).0, maps.base_color.get(x, y).0);
        let facing = (0.45 - 0.5 * n[0] + 0.5 * n[1] + 0.55 * n[2]).max(0.05);
        LinearRgb(std::array::from_fn(|c| {
            let value = alpha * dye[c] * facing + (1.0 - alpha) * card.0[c] * shade.get(x, y);
            let normal = (0..12u64).map(|j| hash_unit(seed + 100 * j + 10_000 * c as u64, x as u32, y as u32)).sum::<f32>() - 6.0;
            (value + 0.004 * normal * (0.1 + value.max(0.0) / 0.21).sqrt()).max(0.0)
        }))
    })
}

/// `SAD` of alpha as it is found, and of the equations of triangulation alone (Smith, Blinn 1996), which take shade for cloth.
fn off(spec: &Spec, lamps: &[Light], behind: [f32; 2]) -> Result<[f32; 2], BackingsError> {
    let woven = spec.weave();
    let truth = woven.maps.opacity.map(|a| a.0);
    let shade = traced(&woven.maps.opacity, lamps, behind);
    let [light, dark] = [0, 1].map(|i| shot(&woven, &shade, CARDS[i], 7 + i as u64));
    let both = truth.map(|_| true);
    let shots = Shots { light: &light, dark: &dark, both: &both };
    let found = two_backings(&shots, None, &Task::new())?;
    let alone = light.zip(&dark, |light, dark| 1.0 - triangulate([light, dark], found.cards).through);
    // The rip and the rim around it: pores of the cloth beyond lie in shade of which no camera sees anything.
    let within = Image::from_fn(SIDE, SIDE, |x, y| x.abs_diff(SIDE / 2) < 90 && y.abs_diff(SIDE / 2) < 60);
    Ok([found.alpha.map(|a| a.0), alone].map(|alpha| alpha_error(&alpha, &truth, &within).sad_k))
}

#[test]
fn shadows_that_were_traced_are_told_from_threads() {
    let rip = |name: &str, pitch: f32| Spec::injured(name, SIDE, pitch, Kind::Rip, [120.0 / pitch, 45.0 / pitch]);
    let window = ([130.0, 48.0], 12.0, 0.6);
    let scenes: [(&str, Spec, Vec<Light>, [f32; 2]); 4] = [
        ("canvas under a window", rip("canvas", 10.0), vec![window], [14.0, 14.0]),
        ("canvas, the card askew", rip("canvas", 10.0), vec![window], [8.0, 20.0]),
        (
            "poplin under two lamps, the card askew",
            rip("poplin", 8.0),
            vec![([60.0, 55.0], 4.0, 0.4), ([200.0, 40.0], 4.0, 0.35)],
            [10.0, 16.0],
        ),
        ("linen under a low sun", rip("linen", 9.0), vec![([300.0, 30.0], 1.0, 0.75)], [10.0, 12.0]),
    ];
    let mut far = Vec::new();
    for (name, spec, lamps, behind) in scenes {
        let [found, alone] = off(&spec, &lamps, behind).unwrap();
        // Measured: 0.16 to 0.25 of it.
        if found > 0.3 * alone {
            far.push(format!("{name}: {found:.2} thousand, by the equations alone {alone:.2}"));
        }
    }
    assert!(far.is_empty(), "{far:#?}");
}
