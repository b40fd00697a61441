//! Lamps found in shots of woven cloth from where they stood about, beside where they did stand.

use tatter_capture::lights::{Calibration, Lamp, Shots, find_lamps};
use tatter_core::angle::Angle;
use tatter_core::image::{Image, LinearRgb};
use tatter_core::task::Task;
use tatter_testkit::lamps;
use tatter_testkit::scene::{Spec, cloths};
use tatter_weave::{Woven, shoot};

/// Matte, without a shadow: Lambert's law.
fn matte(woven: &Woven, toward: [f32; 3]) -> Image<LinearRgb> {
    woven.maps.normal.zip(&woven.maps.base_color, |n, c| {
        let facing = (0..3).map(|i| n.0[i] * toward[i]).sum::<f32>().max(0.0);
        LinearRgb(c.0.map(|v| v * facing))
    })
}

fn off(found: &[[f32; 3]], truth: &[[f32; 3]]) -> f32 {
    let off =
        |(a, b): (&[f32; 3], &[f32; 3])| a.iter().zip(b).map(|(a, b)| a * b).sum::<f32>().clamp(-1.0, 1.0).acos().to_degrees();
    found.iter().zip(truth).map(off).sum::<f32>() / truth.len() as f32
}

#[test]
fn lamps_are_found_from_where_they_stood_about() {
    let count = 8;
    let about: Vec<[f32; 3]> = (0..count).map(|i| lamps::toward(i, count, Angle::degrees(65.0))).collect();
    // By hand: up to 12 degrees of azimuth and 6 of elevation off.
    let jitter = |k: u64, i: usize| 2.0 * tatter_core::rng::hash_unit(k, i as u32, 0) - 1.0;
    let stood: Vec<(Angle, Angle)> = (0..count)
        .map(|i| (lamps::azimuth(i, count) + Angle::degrees(12.0 * jitter(3, i)), Angle::degrees(65.0 + 6.0 * jitter(4, i))))
        .collect();
    let truth: Vec<[f32; 3]> = stood
        .iter()
        .map(|(azimuth, elevation)| {
            let ((s, c), (up, flat)) = (azimuth.sin_cos(), elevation.sin_cos());
            [c * flat, s * flat, up]
        })
        .collect();
    let said = off(&about, &truth);
    let mut far = Vec::new();
    for (name, cloth, pitch) in cloths() {
        let woven = Spec::new(cloth, 320, pitch).weave();
        let size = woven.maps.normal.size();
        let (mut plain, mut made) = (Shots::new(size), Shots::new(size));
        for (i, toward) in truth.iter().enumerate() {
            plain.add(Lamp::far([0.0, 0.0, 1.0]), 1.0, &matte(&woven, *toward), &Calibration::default());
            let shot = tatter_weave::Shot {
                light_from: stood[i].0,
                elevation: stood[i].1,
                ..lamps::shot(i, count, Angle::degrees(65.0))
            };
            let taken = shoot(&woven.maps, woven.scale, &shot, &Task::new()).unwrap();
            made.add(Lamp::far([0.0, 0.0, 1.0]), 1.0, &taken.photo, &Calibration::default());
        }
        let [plain, made] = [plain, made].map(|shots| find_lamps(&shots, &about));
        let [plain, made] = [plain, made].map(|found| found.map(|found| off(&found.toward, &truth)));
        let (plain, made) = (plain.unwrap(), made.unwrap());
        // What all lamps have in common stays: 1.5 degrees of this jitter. Satin shines.
        let most = if name == "satin" { 4.3 } else { 2.3 };
        if plain > 2.1 || made > most {
            far.push(format!("{name}: {plain:.2} degrees off, made photographs {made:.2}, as said {said:.2}"));
        }
    }
    assert!(said > 4.0 && far.is_empty(), "{far:#?}");
}
