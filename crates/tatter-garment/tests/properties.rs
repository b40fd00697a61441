//! What must hold for any placement: the same bytes whatever the tiles and the threads, and untouched bits elsewhere.

mod made;

use made::*;
use tatter_core::angle::Angle;
use tatter_core::channel::Channel;
use tatter_core::image::{Layout, Samples, Stored};
use tatter_core::mesh::Part;
use tatter_core::model::{ChannelRule, Garment, Patch, Placement};
use tatter_core::rng::Rng;
use tatter_core::rule::Rule;
use tatter_core::task::Task;
use tatter_garment::build::{BuildReport, BuildSettings, build};
use tatter_garment::place::Placed;

#[expect(clippy::unwrap_used, reason = "a build that fails is a failed test")]
fn lay(garment: &Garment, pictures: &mut [Vec<Stored>], patch: &Patch, placements: &[Placement], tile: usize) -> BuildReport {
    let placed: Vec<Placed<'_>> = placements.iter().map(|placement| Placed { placement, patch }).collect();
    let settings = BuildSettings { tile, ..BuildSettings::default() };
    build(garment, pictures, &placed, &settings, &Task::new()).unwrap()
}

/// A tube of radius 60 mm along Y, sixteen sides, its UVs in two islands with a gutter between, one of them mirrored.
fn tube() -> Part {
    let mut part = Part { name: "sleeve".into(), ..Part::default() };
    for side in 0..16usize {
        let at = |i: usize| {
            let (sin, cos) = (i as f32 / 16.0 * std::f32::consts::TAU).sin_cos();
            [60.0 * sin, 60.0 * cos]
        };
        let ([x0, z0], [x1, z1]) = (at(side), at(side + 1));
        let u = |i: usize| if side < 8 { 0.04 + 0.05 * i as f32 } else { 0.96 - 0.05 * (i - 8) as f32 };
        let (u0, u1) = (u(side), u(side + 1));
        let middle = at(side);
        quad(
            &mut part,
            [[x0, 0.0, z0], [x1, 0.0, z1], [x1, 200.0, z1], [x0, 200.0, z0]],
            [[u0, 0.9], [u1, 0.9], [u1, 0.1], [u0, 0.1]],
            [middle[0] / 60.0, 0.0, middle[1] / 60.0],
        );
    }
    part
}

fn torn() -> Patch {
    PatchMaker::new(200, 50.0)
        .disc(18.0, 3.0)
        .color(|x, y| [0.3 + 0.01 * x, 0.4, 0.5 + 0.01 * y])
        .height(|x, y| 0.1 * (x + 0.5 * y).sin())
        .slopes(|x, y| (0.1 * (x + 0.5 * y).cos(), -0.05 * (x + 0.5 * y).cos()))
        .unit(Channel::Roughness, |x, _| 0.6 + 0.01 * x)
        .unit(Channel::Opacity, |x, y| if x.hypot(y) < 5.0 { 0.0 } else { 1.0 })
        .patch()
}

fn some_placements() -> Vec<Placement> {
    let mut rng = Rng::new(7);
    (0..6)
        .map(|i| {
            let (angle, y) = (rng.unit() * std::f32::consts::TAU, 40.0 + 120.0 * rng.unit());
            let mut placement = at_point(&format!("p{i}"), [60.0 * angle.sin(), y, 60.0 * angle.cos()]);
            placement.turn = Angle::degrees(360.0 * rng.unit());
            placement.mirror = i % 2 == 1;
            if i == 3 {
                placement.rules[Channel::BaseColor] = Some(ChannelRule { rule: Rule::Multiply, strength: 0.7 });
                placement.rules[Channel::Normal] = Some(ChannelRule { rule: Rule::Combine, strength: 0.9 });
                placement.rules[Channel::Height] = Some(ChannelRule { rule: Rule::Add, strength: 1.0 });
            }
            placement
        })
        .collect()
}

#[test]
fn tiles_and_threads_change_nothing() {
    let garment = garment(tube(), five_files(512), 250.0);
    let (patch, placements) = (torn(), some_placements());
    let mut first = five_pictures(512);
    let report = lay(&garment, &mut first, &patch, &placements, 256);
    assert!(report.files.iter().all(|f| f.texels_changed > 1000), "the work is not empty: {:?}", report.files);
    for tile in [64, 112, 4096] {
        let mut again = five_pictures(512);
        let other = lay(&garment, &mut again, &patch, &placements, tile);
        assert!(first == again, "tiles of {tile} give other bytes");
        assert_eq!(report.placements, other.placements, "and another report");
    }
    for threads in [1, 3] {
        let pool = rayon::ThreadPoolBuilder::new().num_threads(threads).build();
        let mut again = five_pictures(512);
        pool.unwrap().install(|| lay(&garment, &mut again, &patch, &placements, 256));
        assert!(first == again, "{threads} threads give other bytes");
    }
}

#[test]
fn untouched_texels_keep_their_bits() {
    let garment = garment(tube(), five_files(512), 250.0);
    let (patch, placements) = (torn(), some_placements());
    let before = five_pictures(512);
    let mut after = five_pictures(512);
    let report = lay(&garment, &mut after, &patch, &placements, 256);
    let count = |a: &Stored, b: &Stored| a.differing_texels(b);
    for file in &report.files {
        let changed = count(&before[file.set][file.file], &after[file.set][file.file]);
        assert_eq!(changed, file.texels_changed, "the report counts what changed in file {}", file.file);
        assert!(changed < 512 * 512 / 3, "far from everything changed: {changed}");
    }
    // Strength 0 and keep on every channel: not one bit.
    let mut idle = some_placements();
    for (i, placement) in idle.iter_mut().enumerate() {
        for channel in Channel::ALL {
            let rule = if i % 2 == 0 { Rule::Keep } else { Rule::Replace };
            let strength = if i % 2 == 0 { 1.0 } else { 0.0 };
            placement.rules[channel] = Some(ChannelRule { rule, strength });
        }
    }
    let mut same = five_pictures(512);
    lay(&garment, &mut same, &patch, &idle, 256);
    assert!(before == same, "weight 0 leaves every bit");
}

#[test]
fn the_back_of_a_sleeve_stays_clean() {
    let garment = garment(tube(), five_files(512), 250.0);
    let mut placement = at_point("front", [0.0, 100.0, 60.0]);
    placement.size = Some(tatter_core::units::Mm(110.0));
    let mut after = five_pictures(512);
    let before = five_pictures(512);
    lay(&garment, &mut after, &torn(), &[placement], 256);
    // Sides 6 to 9 face away; in UV they lie at u 0.34..0.44 and 0.86..0.96.
    for x in [0.36, 0.42, 0.88, 0.94].map(|u: f32| (u * 512.0) as usize) {
        for y in 60..450 {
            assert_eq!(before[0][0].value(x, y, 0), after[0][0].value(x, y, 0), "the back at {x},{y}");
        }
    }
}

#[test]
fn the_gutter_follows_its_island_and_stops_before_the_next() {
    let garment = garment(tube(), vec![file(512, &[(Channel::Roughness, tatter_core::image::Coding::default())])], 250.0);
    let patch = PatchMaker::new(100, 50.0).unit(Channel::Cover, |_, _| 1.0).unit(Channel::Roughness, |_, _| 1.0).patch();
    let mut pictures = vec![vec![picture16(512, Layout::Gray, |_, _, _| 0.25)]];
    // On the seam where both islands end: u = 0.44 and u = 0.56, at the back (angle pi).
    let placement = at_point("seam", [0.0, 100.0, -60.0]);
    lay(&garment, &mut pictures, &patch, &[placement], 256);
    let Samples::U16(values) = &pictures[0][0].samples else { panic!("16 bits stay 16 bits") };
    let row: Vec<bool> = (200..300).map(|x| values[256 * 512 + x] != 16384).collect();
    let painted: Vec<usize> = (200..300).filter(|x| row[x - 200]).collect();
    // Island one ends at 0.44 × 512 = 225.3: its last texel is 224, the gutter goes on to 232. Side 7 and 8 meet there.
    assert_eq!(painted.iter().filter(|&&x| x < 260).max(), Some(&232), "eight texels of gutter after texel 224");
    assert!((233..250).all(|x| !row[x - 200]), "and nothing beyond");
}
