//! Relief from one made photo, against its truth. The baseline is brightness as height at its best strength, chosen with the
//! truth in hand (`measures::brightness_angle`); angles are to the normals of the true height unless said otherwise.
//!
//! Bounds follow `checks/relief_measured.csv` (`algorithms.md` stage 3): linear shape from shading over brightness gave 1.82 to
//! 5.58 degrees at a mean tilt of 6, 7.4 to 15.2 at 15 and 8.8 to 14.4 with cast shadows (0.33, 0.49, 0.61); under soft light a high-pass gave
//! 11.0 to 11.7 (0.94).

#[path = "measures/cloths.rs"]
mod cloths;
mod measures;

use tatter_cloth::made::{Scene, SceneSpec, shoot};
use tatter_cloth::relief::{Relief, ReliefError, ReliefInput, relief};
use tatter_core::angle::Angle;
use tatter_core::image::{Image, LinearRgb, Unit};
use tatter_core::kernel::gaussian;
use tatter_core::task::Task;

const SIDE: usize = 192;

/// Relief of a scene whose openings, spacing and grain are known; its lamp only when told.
fn made_relief(scene: &Scene, photo: &Image<LinearRgb>, spec: &SceneSpec, told: bool) -> Result<Relief, ReliefError> {
    let cover = Image::filled(photo.width(), photo.height(), Unit(1.0));
    let mut input = ReliefInput::new(&cover, &scene.truth.opacity, scene.scale);
    input.pitch_px = Some([scene.warp_pitch_px, scene.weft_pitch_px]);
    input.thread_dirs = Some([spec.grain, spec.grain + Angle::degrees(90.0)]);
    if told {
        (input.light_from, input.light_elevation) = (Some(spec.light_from), Some(spec.light_elevation));
    }
    relief(photo, &input, &Task::new())
}

/// Ours over brightness, against the normals of the true height and against those of the fibres.
fn ratios(spec: &SceneSpec, told: bool) -> Result<[f32; 2], ReliefError> {
    let scene = shoot(spec);
    let mask = measures::closed(&scene.truth.opacity);
    let found = made_relief(&scene, &scene.photo, spec, told)?;
    let woven = measures::woven_normals(&scene.truth.height, scene.scale);
    Ok([&woven, &scene.truth.normal].map(|truth| {
        measures::angle(&found.normal, truth, &mask) / measures::brightness_angle(&scene.photo, scene.scale, truth, &mask)
    }))
}

fn mean(values: &[f32]) -> f32 {
    values.iter().sum::<f32>() / values.len() as f32
}

#[test]
fn a_told_lamp_gives_two_thirds_of_the_error_of_brightness() {
    for (finish, most) in [(0.3, 0.66), (0.62, 0.60)] {
        let mut all = Vec::new();
        for (n, (name, cloth)) in cloths::cloths(SIDE).into_iter().enumerate() {
            let spec = cloths::lamp(
                &SceneSpec { flatness: finish, ..cloth },
                [125.0, 20.0, 300.0, 215.0][n % 4],
                [45.0, 35.0, 30.0][n % 3],
            );
            let [ratio, _] = ratios(&spec, true).unwrap();
            assert!(ratio < 0.85, "{name}, thickness {finish}: {ratio} of the error of brightness");
            all.push(ratio);
        }
        assert!(mean(&all) < most, "thickness {finish}: {} of the error of brightness, {all:.2?}", mean(&all));
    }
}

#[test]
fn a_lamp_nobody_told_is_found() {
    let (mut all, mut off) = (Vec::new(), Vec::new());
    for (n, (_, cloth)) in cloths::cloths(SIDE).into_iter().enumerate() {
        let from = [125.0, 20.0, 300.0, 215.0][n % 4];
        let spec = cloths::lamp(&cloths::finished(&cloth), from, [45.0, 35.0][n % 2]);
        all.push(ratios(&spec, false).unwrap()[0]);
        let scene = shoot(&spec);
        let light = made_relief(&scene, &scene.photo, &spec, false).unwrap().light;
        if let Some(found) = light.from {
            off.push(((found.to_degrees() - from + 540.0).rem_euclid(360.0) - 180.0).abs());
        }
    }
    assert!(mean(&all) < 0.8, "{} of the error of brightness, {all:.2?}", mean(&all));
    // Fine cloth, six texels a thread, may look softly lit.
    assert!(off.len() >= 7 && mean(&off) < 25.0, "directions off by {off:.0?} degrees");
}

#[test]
fn soft_light_is_no_worse_than_brightness() {
    let mut all = Vec::new();
    for (name, cloth) in cloths::cloths(SIDE) {
        let [ratio, _] = ratios(&cloths::soft(&cloths::finished(&cloth)), false).unwrap();
        assert!(ratio < 1.15, "{name}: {ratio} of the error of brightness");
        all.push(ratio);
    }
    assert!(mean(&all) < 0.94, "{} of the error of brightness, {all:.2?}", mean(&all));
}

#[test]
fn dye_is_no_height() {
    for (name, cloth) in cloths::cloths(SIDE) {
        if !name.contains("two-coloured") && name != "denim" {
            continue;
        }
        let spec = cloths::soft(&cloth);
        let scene = shoot(&spec);
        let mask = measures::closed(&scene.truth.opacity);
        let found = made_relief(&scene, &scene.photo, &spec, false).unwrap();
        let bright = scene.photo.map(|c| tatter_core::image::HeightMm(c.luminance()));
        let (ours, brightness) = (
            measures::correlation(&found.height, &scene.truth.height, &mask),
            measures::correlation(&bright, &scene.truth.height, &mask),
        );
        assert!(ours > 0.65 && ours > brightness + 0.2, "{name}: correlation with height {ours}, of brightness {brightness}");
    }
}

/// A print of two inks: a red disc and a dark bar, with edges a third of a thread soft.
fn printed(photo: &Image<LinearRgb>) -> Image<LinearRgb> {
    let side = photo.width() as f32;
    Image::from_fn(photo.width(), photo.height(), |x, y| {
        let (u, v) = (x as f32 / side - 0.35, y as f32 / side - 0.4);
        let disc = ((0.22 - u.hypot(v)) * side / 3.0).clamp(0.0, 1.0);
        let bar = ((0.08 - (x as f32 / side - 0.78).abs()) * side / 3.0).clamp(0.0, 1.0);
        let ink = |c: usize| (1.0 - disc * (1.0 - [0.9, 0.25, 0.2][c])) * (1.0 - bar * (1.0 - [0.25, 0.27, 0.3][c]));
        let LinearRgb(color) = photo.get(x, y);
        LinearRgb([color[0] * ink(0), color[1] * ink(1), color[2] * ink(2)])
    })
}

#[test]
fn a_print_stays_in_the_colour_and_out_of_the_height() {
    let spec = cloths::lamp(&cloths::finished(&cloths::cloths(SIDE)[1].1), 125.0, 40.0);
    let scene = shoot(&spec);
    let pitch = scene.warp_pitch_px;
    let plain = made_relief(&scene, &scene.photo, &spec, true).unwrap();
    let print = made_relief(&scene, &printed(&scene.photo), &spec, true).unwrap();
    let mask = measures::closed(&scene.truth.opacity);
    let range = measures::range(&plain.height, &mask);
    let slow = |r: &Relief| gaussian(&r.height.map(|h| h.0), pitch);
    let step = slow(&print).zip(&slow(&plain), |a, b| (a - b).abs());
    let most = step.texels().iter().fold(0.0f32, |most, s| most.max(*s));
    assert!(most < 0.3 * range, "the print steps {most} mm where threads stand {range} mm");
    let error = measures::color_difference(&print.base_color, &printed(&scene.truth.base_color), &mask);
    assert!(error < 5.0, "the print's colours are kept within {error}");
}

#[test]
fn shading_leaves_the_colour() {
    let mut all = Vec::new();
    for (name, cloth) in cloths::cloths(SIDE) {
        let spec = cloths::lamp(&cloths::finished(&cloth), 125.0, 45.0);
        let scene = shoot(&spec);
        let mask = measures::closed(&scene.truth.opacity);
        let found = made_relief(&scene, &scene.photo, &spec, true).unwrap();
        let ours = measures::color_difference(&found.base_color, &scene.truth.base_color, &mask);
        let photo = measures::color_difference(&scene.photo, &scene.truth.base_color, &mask);
        assert!(ours < photo, "{name}: colour off by {ours}, the photo's by {photo}");
        all.push(ours / photo);
    }
    // Denim gains least: threads of two colours mix within its texels.
    assert!(mean(&all) < 0.75, "colours off by {all:.2?} of the photo's error");
}

#[test]
fn no_cloth_is_deeper_than_it_is_thick() {
    // Peirce, "The Geometry of Cloth Structure", 1937: crowns of round yarn of diameter d stand at most d above the mid plane;
    // yarn of ordinary cloth is no broader than its spacing.
    for (name, cloth) in cloths::cloths(SIDE) {
        for spec in [cloths::soft(&cloth), cloths::lamp(&cloth, 200.0, 60.0)] {
            let scene = shoot(&spec);
            let found = made_relief(&scene, &scene.photo, &spec, false).unwrap();
            let spacing = scene.warp_pitch_px.max(scene.weft_pitch_px) * scene.scale.get();
            let range = measures::range(&found.height, &measures::closed(&scene.truth.opacity));
            assert!(range < 0.9 * spacing, "{name}: {range} mm of relief on threads {spacing} mm apart");
        }
    }
}

#[test]
fn one_thread_or_many_give_the_same_bits() {
    let spec = cloths::lamp(&cloths::cloths(SIDE)[4].1, 70.0, 40.0);
    let scene = shoot(&spec);
    let run = |threads: usize| {
        let pool = rayon::ThreadPoolBuilder::new().num_threads(threads).build().unwrap();
        pool.install(|| made_relief(&scene, &scene.photo, &spec, false)).unwrap()
    };
    let (one, three) = (run(1), run(3));
    assert_eq!(one.height, three.height, "heights");
    assert_eq!(one.base_color, three.base_color, "colours");
}
