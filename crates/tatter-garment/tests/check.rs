//! Each fault is found where it was put, and nothing is found where nothing is wrong.

mod made;

use made::*;
use tatter_core::angle::Angle;
use tatter_core::channel::Channel;
use tatter_core::color::decode_srgb;
use tatter_core::image::{HeightMm, Image, Layout, Map, Normal, NormalY, Stored};
use tatter_core::kernel::normals_from_height;
use tatter_core::model::{ChannelRule, Garment, GrainSource, Hand, IslandGrain, MapFile, MapSet, Patch, Placement, Weave};
use tatter_core::rule::Rule;
use tatter_core::units::{Mm, MmPerTexel, PerCm};
use tatter_garment::check::{Fault, check_job, check_map_set, check_patch};
use tatter_garment::place::Placed;

fn codes(faults: &[Fault]) -> Vec<&str> {
    faults.iter().map(|f| f.code).collect()
}

/// Threads as waves across and up, 0.1 mm high.
fn waves(x: f32, y: f32) -> f32 {
    0.05 * (3.0 * x).sin() + 0.04 * (2.5 * y + 0.5).sin()
}

fn sound() -> Patch {
    let (texels, side) = (128, 20.0);
    let mut patch = PatchMaker::new(texels, side).disc(7.0, 0.5).color(|_, _| [0.3, 0.25, 0.2]).height(waves).patch();
    let normals = match patch.map(Channel::Height) {
        Some(Map::Height(height)) => normals_from_height(height, MmPerTexel(side / texels as f32)),
        _ => Image::filled(texels, texels, Normal::FLAT),
    };
    patch.maps[Channel::Normal] = patch.maps[Channel::Height].clone();
    if let Some(map) = &mut patch.maps[Channel::Normal] {
        *map.map_mut() = Map::Normal(normals);
    }
    patch
}

fn change_normals(patch: &mut Patch, f: impl Fn(Normal) -> Normal + Sync) {
    if let Some(map) = &mut patch.maps[Channel::Normal]
        && let Map::Normal(normals) = map.map_mut()
    {
        *normals = normals.map(f);
    }
}

#[test]
fn a_sound_patch_has_no_fault() {
    let faults = check_patch(&sound());
    assert!(faults.is_empty(), "{faults:?}");
}

#[test]
fn patch_faults_are_found() {
    let mut turned = sound();
    change_normals(&mut turned, |n| Normal([n.0[0], -n.0[1], n.0[2]]));
    assert_eq!(codes(&check_patch(&turned)), ["normal-y-wrong"], "green turned round");

    let mut long = sound();
    change_normals(&mut long, |n| Normal(n.0.map(|v| v * 1.3)));
    assert_eq!(codes(&check_patch(&long)), ["normals-not-unit"], "stretched directions");

    let mut other = sound();
    change_normals(&mut other, |n| Normal([n.0[1], n.0[0], n.0[2]]));
    assert_eq!(codes(&check_patch(&other)), ["normal-disagrees-with-height"], "x and y exchanged");

    let wide = PatchMaker::new(64, 20.0).disc(12.0, 0.5).color(|_, _| [0.3; 3]).patch();
    let faults = check_patch(&wide);
    assert_eq!(codes(&faults), ["cover-touches-edge", "map-missing", "map-missing"], "cover over the edge");
    assert!(faults[0].what.contains("top, right, bottom, left"), "{}", faults[0].what);

    let mut odd = sound();
    if let Some(map) = &mut odd.maps[Channel::Height] {
        *map.map_mut() = Map::Height(Image::filled(64, 128, HeightMm(0.0)));
    }
    assert!(codes(&check_patch(&odd)).contains(&"sizes-disagree"), "a map of another size");
}

/// Khronos 3D Commerce guidelines: base colours that are no metal keep within sRGB 30 to 243.
#[test]
fn base_color_keeps_within_30_and_243() {
    for (code, wrong) in [(20.0, true), (31.0, false), (128.0, false), (242.0, false), (250.0, true)] {
        let linear = decode_srgb(code / 255.0);
        let patch = PatchMaker::new(32, 20.0).disc(7.0, 0.5).color(|_, _| [linear; 3]).patch();
        let found = codes(&check_patch(&patch)).contains(&"color-implausible");
        assert_eq!(found, wrong, "sRGB {code}");
    }
}

fn set_with(normal_y: NormalY) -> (MapSet, Vec<Stored>) {
    let files = vec![
        file(128, &[(Channel::BaseColor, color_coding())]),
        file(128, &[(Channel::Normal, normal_coding(normal_y))]),
        file(128, &[(Channel::Height, height_coding())]),
        file(128, &[(Channel::Roughness, tatter_core::image::Coding::default())]),
    ];
    let mm = |i: usize| i as f32 * 0.15;
    let height = picture16(128, Layout::Gray, |x, y, _| 0.5 + 0.5 * waves(mm(x), mm(y)));
    // Written by hand as glTF wants it: green up.
    let normal = picture(128, Layout::Rgb, |x, y, c| {
        let (p, q) = (0.15 * (3.0 * mm(x)).cos(), -0.1 * (2.5 * mm(y) + 0.5).cos());
        let length = (p * p + q * q + 1.0).sqrt();
        0.5 + 0.5 * [-p / length, -q / length, 1.0 / length][c]
    });
    let pictures =
        vec![picture(128, Layout::Rgb, |_, _, c| 0.4 + 0.1 * c as f32), normal, height, picture(128, Layout::Rgb, |_, _, _| 0.7)];
    (MapSet { files, ..MapSet::default() }, pictures)
}

#[test]
fn a_sound_map_set_has_no_fault_and_a_wrong_y_is_found() {
    let (set, pictures) = set_with(NormalY::Up);
    let faults = check_map_set(&set, &pictures);
    assert!(faults.is_empty(), "{faults:?}");
    let (set, pictures) = set_with(NormalY::Down);
    assert_eq!(codes(&check_map_set(&set, &pictures)), ["normal-y-wrong"], "the file is green-up, the set says down");
}

#[test]
fn map_set_faults_are_found() {
    let (set, mut pictures) = set_with(NormalY::Up);
    pictures[3] = picture(128, Layout::Rgb, |x, _, c| if c == 0 { x as f32 / 128.0 } else { 0.3 });
    assert_eq!(codes(&check_map_set(&set, &pictures)), ["color-in-data"], "colour as roughness");

    let (set, mut pictures) = set_with(NormalY::Up);
    pictures[2] = picture(128, Layout::Gray, |x, y, _| 0.5 + 0.5 * waves(x as f32 * 0.15, y as f32 * 0.15));
    assert_eq!(codes(&check_map_set(&set, &pictures)), ["height-eight-bit"], "height in 8 bits");

    let (set, mut pictures) = set_with(NormalY::Up);
    pictures[3] = picture(64, Layout::Gray, |_, _, _| 0.7);
    assert_eq!(codes(&check_map_set(&set, &pictures)), ["size-changed", "sizes-differ"], "half the size");

    let (set, pictures) = set_with(NormalY::Up);
    assert_eq!(codes(&check_map_set(&set, &pictures[..3])), ["file-missing"], "one file gone");

    let (set, mut pictures) = set_with(NormalY::Up);
    pictures[1] = pictures[0].clone();
    let found = check_map_set(&set, &pictures);
    assert!(codes(&found).contains(&"normals-not-unit"), "colour as normals: {found:?}");

    let (mut set, mut pictures) = set_with(NormalY::Up);
    let again: MapFile = set.files[0].clone();
    set.files.push(again);
    pictures.push(pictures[0].clone());
    assert_eq!(codes(&check_map_set(&set, &pictures)), ["channel-twice"], "two base colours");
}

#[test]
fn job_faults_are_found() {
    let garment = flat(five_files(512), 400.0);
    let mut patch = sound();
    patch.ends_per_cm = Some(PerCm(12.0));
    let mut first = placement("a", 0.5, 0.5);
    first.rules[Channel::BaseColor] = Some(ChannelRule { rule: Rule::Combine, strength: 1.0 });
    let mut second = placement("a", 2.5, 0.5);
    second.size = Some(Mm(10.0));
    let placed = [&first, &second].map(|placement| Placed { placement, patch: &patch });
    // 12 ends per cm on 1.28 texels per mm: 1.07 texels a thread.
    let faults = check_job(&garment, &placed[..1]);
    assert_eq!(codes(&faults), ["rule-unfit", "threads-too-fine"], "{faults:?}");
    assert!(faults[1].what.contains("1.07"), "{}", faults[1].what);
    let twice = placement("a", 0.5, 0.5);
    let both = [&first, &twice].map(|placement| Placed { placement, patch: &patch });
    assert!(codes(&check_job(&garment, &both)).contains(&"id-twice"), "one id on two placements");
    // A bare map set repeats, so u = 2.5 is the texel of u = 0.5.
    assert!(!codes(&check_job(&garment, &placed)).contains(&"spot-not-found"), "outside 0..1 is looked up in the repeat");
}

/// A line that climbs to the right climbs to the left in a mirror (drafts of weaving handbooks, from memory).
#[test]
fn twill_that_climbs_against_the_cloth_is_found() {
    let twill = |hand| Weave::Twill { over: 3, under: 1, hand };
    let entry = IslandGrain {
        at: [0.5, 0.5],
        part: None,
        turn: Angle::ZERO,
        source: GrainSource::Measured,
        ends_per_cm: Some(PerCm(4.0)),
        picks_per_cm: Some(PerCm(4.0)),
        weave: twill(Hand::S),
    };
    let garment = Garment { grain: vec![entry], ..flat(five_files(512), 400.0) };
    let clashes = |hand, mirror, turn| {
        let patch = Patch { weave: twill(hand), ..sound() };
        let placement = Placement { mirror, turn: Angle::degrees(turn), ..placement("a", 0.5, 0.5) };
        let faults = check_job(&garment, &[Placed { placement: &placement, patch: &patch }]);
        codes(&faults).contains(&"twill-clash")
    };
    let found =
        [(Hand::Z, false, 0.0), (Hand::Z, true, 0.0), (Hand::S, false, 5.0), (Hand::S, true, 0.0), (Hand::S, false, 90.0)];
    assert_eq!(found.map(|(hand, mirror, turn)| clashes(hand, mirror, turn)), [true, false, false, true, true]);
    let unknown = Garment { grain: Vec::new(), ..garment.clone() };
    let (patch, placement) = (Patch { weave: twill(Hand::Z), ..sound() }, placement("a", 0.5, 0.5));
    let faults = check_job(&unknown, &[Placed { placement: &placement, patch: &patch }]);
    assert!(!codes(&faults).contains(&"twill-clash"), "nothing is said of cloth that was not measured");
}
