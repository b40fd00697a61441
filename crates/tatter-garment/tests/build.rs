//! Patches laid on garments made in code, where every texel's value is known.

mod made;

use glam::Vec2;
use made::*;
use tatter_core::angle::Angle;
use tatter_core::channel::{Channel, Kind};
use tatter_core::image::{Coding, Layout, Map, NormalY, Samples, Stored};
use tatter_core::model::{ChannelRule, Garment, Patch, Placement};
use tatter_core::rule::Rule;
use tatter_core::task::Task;
use tatter_garment::build::{BuildReport, BuildSettings, build};
use tatter_garment::place::Placed;

#[expect(clippy::unwrap_used, reason = "a build that fails is a failed test")]
fn lay(garment: &Garment, pictures: &mut [Vec<Stored>], patch: &Patch, placements: &[Placement]) -> BuildReport {
    let placed: Vec<Placed<'_>> = placements.iter().map(|placement| Placed { placement, patch }).collect();
    build(garment, pictures, &placed, &BuildSettings::default(), &Task::new()).unwrap()
}

fn value_at(stored: &Stored, component: usize, uv: Vec2) -> f32 {
    let n = stored.size.width as f32;
    // Bilinear, as a renderer reads it.
    let (x, y) = (uv.x * n - 0.5, uv.y * n - 0.5);
    let (x0, y0) = (x.floor(), y.floor());
    let (fx, fy) = (x - x0, y - y0);
    let at = |x: f32, y: f32| stored.value(x as usize, y as usize, component);
    (at(x0, y0) * (1.0 - fx) + at(x0 + 1.0, y0) * fx) * (1.0 - fy)
        + (at(x0, y0 + 1.0) * (1.0 - fx) + at(x0 + 1.0, y0 + 1.0) * fx) * fy
}

#[test]
fn a_smooth_patch_does_not_break_at_a_seam() {
    for island in [Island::Straight, Island::Mirrored, Island::UpsideDown] {
        let part = seamed(island);
        let garment = garment(part.clone(), vec![file(512, &[(Channel::Roughness, Coding::default())])], 125.0);
        let patch = PatchMaker::new(256, 60.0)
            .unit(Channel::Cover, |_, _| 1.0)
            .unit(Channel::Roughness, |x, y| 0.5 + 0.3 * (0.05 * x + 0.02 * y).sin())
            .patch();
        let mut pictures = vec![vec![picture16(512, Layout::Gray, |_, _, _| 0.2)]];
        let seed = uv_at(&part, false, 48.0, 50.0);
        lay(&garment, &mut pictures, &patch, &[placement("a", seed.x, seed.y)]);
        let mut worst = 0.0f32;
        for i in 0..200 {
            let y = 30.0 + 0.2 * i as f32;
            let left = value_at(&pictures[0][0], 0, uv_at(&part, false, 50.0, y));
            let right = value_at(&pictures[0][0], 0, uv_at(&part, true, 50.0, y));
            worst = worst.max((left - right).abs());
            let truth = 0.5 + 0.3 * (0.05 * 2.0 - 0.02 * (y - 50.0)).sin();
            assert!((right - truth).abs() < 2.0 / 255.0, "{island:?} at {y}: {right}, the patch says {truth}");
        }
        assert!(worst <= 1.0 / 255.0, "{island:?}: a step of {worst} across the seam (design 7.3: at most 1/255)");
    }
}

#[test]
fn normals_lean_the_same_way_on_every_island() {
    // A patch that rises to the right and a little upwards: seen in space its normal leans to (-0.3, -0.1, 1).
    let lean = glam::Vec3::new(-0.3, -0.1, 1.0).normalize_or_zero();
    for (island, y_sign) in
        [(Island::Straight, NormalY::Up), (Island::Mirrored, NormalY::Up), (Island::UpsideDown, NormalY::Down)]
    {
        let part = seamed(island);
        let coding = normal_coding(y_sign);
        let garment = garment(part.clone(), vec![file(512, &[(Channel::Normal, coding)])], 125.0);
        let patch = PatchMaker::new(128, 60.0).unit(Channel::Cover, |_, _| 1.0).slopes(|_, _| (0.3, 0.1)).patch();
        let mut pictures = vec![vec![picture16(512, Layout::Rgb, |_, _, c| if c == 2 { 1.0 } else { 0.5 })]];
        let seed = uv_at(&part, false, 45.0, 50.0);
        lay(&garment, &mut pictures, &patch, &[placement("a", seed.x, seed.y)]);
        let Map::Normal(normals) = pictures[0][0].decode_whole(Kind::Normal, &coding) else {
            panic!("a normal map holds normals")
        };
        for right in [false, true] {
            let uv = uv_at(&part, right, if right { 60.0 } else { 40.0 }, 55.0) * 512.0;
            let n = normals.get(uv.x as usize, uv.y as usize).0;
            // Tangent frames of the islands by hand: right of the texture, up of the texture, in space.
            let (t, b) = match (right, island) {
                (true, Island::Mirrored) => (-glam::Vec3::X, glam::Vec3::Y),
                (true, Island::UpsideDown) => (-glam::Vec3::X, -glam::Vec3::Y),
                _ => (glam::Vec3::X, glam::Vec3::Y),
            };
            let seen = t * n[0] + b * n[1] + glam::Vec3::Z * n[2];
            assert!((seen - lean).length() < 1e-3, "{island:?}, right half {right}: leans {seen}, should {lean}");
            assert!((n.iter().map(|v| v * v).sum::<f32>() - 1.0).abs() < 1e-4, "unit length");
        }
    }
}

/// Centre of mass and second moments of what was painted, in texels.
fn moments(stored: &Stored) -> (f64, f64, f64, f64) {
    let (mut n, mut sx, mut sy, mut sxx, mut syy) = (0.0, 0.0, 0.0, 0.0, 0.0);
    for y in 0..stored.size.height {
        for x in 0..stored.size.width {
            let w = f64::from(stored.value(x, y, 0));
            let (fx, fy) = (x as f64 + 0.5, y as f64 + 0.5);
            (n, sx, sy, sxx, syy) = (n + w, sx + w * fx, sy + w * fy, sxx + w * fx * fx, syy + w * fy * fy);
        }
    }
    let (mx, my) = (sx / n, sy / n);
    (mx, my, (sxx / n - mx * mx).sqrt(), (syy / n - my * my).sqrt())
}

#[test]
fn position_and_size_are_true_at_every_density() {
    // A disc of 10 mm radius on 125 mm per UV: its deviation along a line is radius / 2.
    for (texels, patch_texels) in [(128, 512), (512, 512), (1024, 64), (1024, 1024)] {
        let garment = flat(vec![file(texels, &[(Channel::Roughness, Coding::default())])], 125.0);
        let patch = PatchMaker::new(patch_texels, 30.0).disc(10.0, 0.6).unit(Channel::Roughness, |_, _| 1.0).patch();
        let mut pictures = vec![vec![picture16(texels, Layout::Gray, |_, _, _| 0.0)]];
        lay(&garment, &mut pictures, &patch, &[placement("a", 0.413, 0.377)]);
        // The blend of roughness is of fourth powers; undo it to weigh by cover.
        let mut cover = pictures[0][0].clone();
        if let Samples::U16(values) = &mut cover.samples {
            values.iter_mut().for_each(|v| *v = (f32::from(*v) / 65535.0).powi(4).mul_add(65535.0, 0.5) as u16);
        }
        let (x, y, dx, dy) = moments(&cover);
        let per_mm = texels as f64 / 125.0;
        let off = (x - 0.413 * texels as f64).hypot(y - 0.377 * texels as f64);
        assert!(off < 0.1, "{texels} texels, patch {patch_texels}: {off} texels off (goal: at most 1)");
        for d in [dx, dy] {
            let ratio = d / (5.0 * per_mm);
            // A target texel of 1 mm blurs the disc's edge; its variance is what is left over.
            let blur = 1.0 + 0.35 / (5.0 * per_mm).powi(2);
            assert!(
                (ratio / blur - 1.0).abs() < 0.01,
                "{texels} texels, patch {patch_texels}: size is {ratio} of true (goal: 1 %)"
            );
        }
    }
}

#[test]
fn turn_is_counter_clockwise_and_mirror_swaps_left_and_right() {
    let garment = flat(vec![file(256, &[(Channel::Roughness, Coding::default())])], 100.0);
    // A dot 15 mm to the right of the middle.
    let patch = PatchMaker::new(200, 50.0)
        .unit(Channel::Cover, |x, y| if (x - 15.0).hypot(y) < 3.0 { 1.0 } else { 0.0 })
        .unit(Channel::Roughness, |_, _| 1.0)
        .patch();
    let place = |turn: f32, mirror: bool| Placement { turn: Angle::degrees(turn), mirror, ..placement("a", 0.5, 0.5) };
    for (placed, (x, y)) in [
        (place(0.0, false), (65.0, 50.0)),
        (place(90.0, false), (50.0, 35.0)),
        (place(30.0, false), (50.0 + 15.0 * 0.866_025_4, 42.5)),
        (place(0.0, true), (35.0, 50.0)),
        (place(90.0, true), (50.0, 65.0)),
    ] {
        let mut pictures = vec![vec![picture16(256, Layout::Gray, |_, _, _| 0.0)]];
        lay(&garment, &mut pictures, &patch, std::slice::from_ref(&placed));
        let (mx, my, ..) = moments(&pictures[0][0]);
        let off = (mx / 2.56 - x).hypot(my / 2.56 - y);
        assert!(off < 0.2, "turn {} mirror {}: the dot is {off} mm off", placed.turn.to_degrees(), placed.mirror);
    }
}

#[test]
fn grain_of_the_patch_follows_the_grain_of_the_cloth() {
    // The same dot, in a patch whose grain runs to the right (0 degrees): a quarter turn brings the grain upright.
    let garment = flat(vec![file(256, &[(Channel::Roughness, Coding::default())])], 100.0);
    let mut patch = PatchMaker::new(200, 50.0)
        .unit(Channel::Cover, |x, y| if (x - 15.0).hypot(y) < 3.0 { 1.0 } else { 0.0 })
        .unit(Channel::Roughness, |_, _| 1.0)
        .patch();
    patch.grain = Some(Angle::ZERO);
    let mut pictures = vec![vec![picture16(256, Layout::Gray, |_, _, _| 0.0)]];
    lay(&garment, &mut pictures, &patch, &[placement("a", 0.5, 0.5)]);
    let (mx, my, ..) = moments(&pictures[0][0]);
    assert!((mx / 2.56 - 50.0).hypot(my / 2.56 - 35.0) < 0.2, "the end of the grain points up: {mx} {my}");
}

#[test]
fn fine_stripes_blend_to_their_mean_and_coarse_ones_stay_sharp() {
    // Stripes of 0.5 mm period: 0.32 texels on 80 texels per 125 mm, 16 texels on 4000.
    let patch = PatchMaker::new(1024, 32.0)
        .unit(Channel::Cover, |_, _| 1.0)
        .color(|x, _| [if (x / 0.5).rem_euclid(1.0) < 0.5 { 0.8 } else { 0.2 }; 3])
        .patch();
    let coding = Coding::default();
    let garment_small = flat(vec![file(80, &[(Channel::BaseColor, coding)])], 125.0);
    let mut pictures = vec![vec![picture16(80, Layout::Rgb, |_, _, _| 0.5)]];
    lay(&garment_small, &mut pictures, &patch, &[placement("a", 0.5, 0.5)]);
    for x in 32..48 {
        let v = pictures[0][0].value(x, 40, 0);
        assert!((v - 0.5).abs() < 0.01, "column {x}: {v} is not the mean of the stripes: aliasing");
    }
    let garment_large = flat(vec![file(2048, &[(Channel::BaseColor, coding)])], 64.0);
    let mut pictures = vec![vec![picture16(2048, Layout::Rgb, |_, _, _| 0.5)]];
    let report = lay(&garment_large, &mut pictures, &patch, &[placement("a", 0.5, 0.5)]);
    assert!((report.placements[0].texels_per_patch_texel - 1.0).abs() < 1e-3, "one to one");
    let row: Vec<f32> = (800..1200).map(|x| pictures[0][0].value(x, 1024, 0)).collect();
    let (low, high) = row.iter().fold((1.0f32, 0.0f32), |(l, h), &v| (l.min(v), h.max(v)));
    assert!(low < 0.21 && high > 0.79, "one to one keeps the contrast: {low} to {high}");
}

#[test]
fn channels_follow_their_rules() {
    let garment = flat(five_files(256), 100.0);
    let patch = PatchMaker::new(256, 40.0)
        .disc(12.0, 0.4)
        .color(|_, _| [0.25, 0.5, 0.75])
        .height(|_, _| 0.2)
        .slopes(|_, _| (0.0, 0.0))
        .unit(Channel::Roughness, |_, _| 0.9)
        .unit(Channel::Opacity, |_, _| 0.25)
        .patch();
    let mut pictures = five_pictures(256);
    // Height of the garment: level at +0.3 mm with a fine pattern of mean 0 on top.
    pictures[0][2] = picture16(256, Layout::Gray, |x, y, _| 0.65 + 0.05 * if (x + y) % 2 == 0 { 1.0 } else { -1.0 });
    let mut stained = placement("a", 0.5, 0.5);
    stained.rules[Channel::Opacity] = Some(ChannelRule { rule: Rule::Multiply, strength: 0.5 });
    let report = lay(&garment, &mut pictures, &patch, &[stained]);
    let at = |file: usize, c: usize| pictures[0][file].value(128, 128, c);
    for (c, linear) in [0.25f32, 0.5, 0.75].into_iter().enumerate() {
        let code = tatter_core::color::encode_srgb(linear);
        assert!((at(0, c) - code).abs() <= 0.5 / 255.0 + 1e-4, "colour {c}: {} for {code}", at(0, c));
    }
    assert!((at(1, 0) - 128.0 / 255.0).abs() < 1e-3 && at(1, 2) == 1.0, "the old weave is gone");
    let height_mm = -1.0 + 2.0 * at(2, 0);
    assert!((height_mm - 0.5).abs() < 0.01, "0.2 mm above the garment's mean of 0.3 mm, got {height_mm}");
    assert!((at(3, 0) - 0.9).abs() < 0.003, "roughness {}", at(3, 0));
    assert!((at(4, 0) - 0.625).abs() < 0.003, "half of a quarter-open opacity, got {}", at(4, 0));
    assert_eq!(report.files.len(), 5, "every file is reported");
    assert!(report.files.iter().all(|f| f.texels_changed > 2000), "all changed: {:?}", report.files);
    assert!((report.placements[0].thread_pitch_texels.unwrap() - 2.56).abs() < 0.01, "10 threads per cm on 2.56 texels per mm");
}

#[test]
fn packed_maps_change_only_their_component() {
    let part = |component| Coding { component, ..Coding::default() };
    let garment = flat(
        vec![file(128, &[(Channel::Occlusion, part(0)), (Channel::Roughness, part(1)), (Channel::Metallic, part(2))])],
        50.0,
    );
    let before = picture(128, Layout::Rgba, |x, y, c| ((x * 3 + y * 5 + c * 50) % 200) as f32 / 255.0);
    let patch = PatchMaker::new(64, 30.0).disc(10.0, 1.0).unit(Channel::Roughness, |_, _| 0.5).patch();
    let mut pictures = vec![vec![before.clone()]];
    lay(&garment, &mut pictures, &patch, &[placement("a", 0.5, 0.5)]);
    let after = &pictures[0][0];
    for y in 0..128 {
        for x in 0..128 {
            for c in [0, 2, 3] {
                assert_eq!(before.value(x, y, c), after.value(x, y, c), "component {c} at {x},{y}");
            }
        }
    }
    assert!((after.value(64, 64, 1) - 0.5).abs() < 0.003, "roughness in green");
}

#[test]
fn heights_that_are_clipped_are_counted_where_cloth_is_seen() {
    // A garment that holds 1 mm either way, a patch 2 mm above its own mid plane: with and without a hole of half its area.
    let garment = flat(five_files(128), 100.0);
    let counted = |opacity: Option<fn(f32, f32) -> f32>| {
        let maker = PatchMaker::new(128, 40.0).unit(Channel::Cover, |_, _| 1.0).height(|_, _| 2.0);
        let patch = match opacity {
            Some(open) => maker.unit(Channel::Opacity, open).patch(),
            None => maker.patch(),
        };
        lay(&garment, &mut five_pictures(128), &patch, &[placement("a", 0.5, 0.5)]).placements[0].clamped_heights
    };
    let (whole, opaque) = (counted(None), counted(Some(|_, _| 1.0)));
    assert_eq!(whole, opaque, "without an opacity map a patch is opaque");
    // 40 mm at 1.28 texels a mm, squared.
    assert!((2400..2800).contains(&whole), "{whole} texels leave the range");
    let half = counted(Some(|x, _| if x < 0.0 { 0.0 } else { 1.0 }));
    assert!((half as f32 / whole as f32 - 0.5).abs() < 0.03, "{half} of {whole}: an opening has no height");
    assert_eq!(counted(Some(|_, _| 0.0)), 0, "all of it open");
}
