//! Wear of a garment's own cloth: where it lies, what it changes, what it leaves alone.

mod made;

use made::{color_coding, file, five_files, garment, height_coding, picture, picture16, quad};
use tatter_core::channel::{Channel, Kind};
use tatter_core::image::{Coding, Layout, Map, NormalY, Rect, Size, Stored};
use tatter_core::mesh::Part;
use tatter_core::model::{Density, Facing, Garment, Wear, WearKind};
use tatter_core::task::Task;
use tatter_core::units::Mm;
use tatter_garment::build::{BuildSettings, WearError, WearInput, WearReport, wear};

/// Side of the textures.
const SIDE: usize = 512;
/// Texels from thread to thread.
const PITCH: f32 = 6.0;

/// 128 × 64 mm in two panels side by side, sewn together; the right one lies lower in the texture. 160 mm a UV unit.
fn panels() -> Part {
    let mut part = Part { name: "front".into(), ..Part::default() };
    for (x0, u0, v0) in [(0.0, 0.05, 0.05), (64.0, 0.55, 0.55)] {
        quad(
            &mut part,
            [[x0, 0.0, 0.0], [x0 + 64.0, 0.0, 0.0], [x0 + 64.0, 64.0, 0.0], [x0, 64.0, 0.0]],
            [[u0, v0 + 0.4], [u0 + 0.4, v0 + 0.4], [u0 + 0.4, v0], [u0, v0]],
            [0.0, 0.0, 1.0],
        );
    }
    part
}

/// Millimetres from texel to texel.
const MM: f32 = 64.0 / (0.4 * SIDE as f32);

fn threads(x: usize, y: usize) -> f32 {
    let turn = |i: usize| (std::f32::consts::TAU * i as f32 / PITCH).sin();
    0.5 * (turn(x) + turn(y))
}

/// Indigo, threads in the height and normal maps.
fn cloth() -> Vec<Vec<Stored>> {
    let slope = |a: f32, b: f32| 0.05 * (b - a) / (2.0 * MM);
    vec![vec![
        picture(SIDE, Layout::Rgb, |_, _, c| [0.22, 0.28, 0.45][c]),
        picture(SIDE, Layout::Rgb, |x, y, c| {
            let p = slope(threads(x.max(1) - 1, y), threads(x + 1, y));
            let q = -slope(threads(x, y.max(1) - 1), threads(x, y + 1));
            let n = (p * p + q * q + 1.0).sqrt();
            0.5 + 0.5 * [-p / n, -q / n, 1.0 / n][c]
        }),
        picture16(SIDE, Layout::Gray, |x, y, _| 0.5 + 0.5 * 0.05 * threads(x, y)),
        picture(SIDE, Layout::Gray, |_, _, _| 0.6),
        picture(SIDE, Layout::Gray, |_, _, _| 1.0),
    ]]
}

fn dressed() -> Garment {
    garment(panels(), five_files(SIDE), 160.0)
}

fn mark(kind: WearKind) -> Wear {
    Wear { id: "mark".into(), kind, strength: 0.7, uneven: 0.0, ..Wear::default() }
}

#[expect(clippy::unwrap_used, reason = "wear that fails is a failed test")]
fn worn(garment: &Garment, before: &[Vec<Stored>], marks: &[Wear]) -> (Vec<Vec<Stored>>, WearReport) {
    let mut after = before.to_vec();
    let none = vec![None; 8];
    let inputs: Vec<WearInput<'_>> = marks.iter().map(|wear| WearInput { wear, pictures: &none[..wear.density.len()] }).collect();
    let report = wear(garment, &mut after, &inputs, &BuildSettings::default(), &Task::new()).unwrap();
    (after, report)
}

fn at_mm(x: f32, y: f32) -> (usize, usize) {
    let (x0, u0, v0) = if x < 64.0 { (0.0, 0.05, 0.05) } else { (64.0, 0.55, 0.55) };
    let u = u0 + 0.4 * (x - x0) / 64.0;
    let v = v0 + 0.4 * (1.0 - y / 64.0);
    ((u * SIDE as f32) as usize, (v * SIDE as f32) as usize)
}

/// Mean red over a square of two thread pitches around a place.
fn red(pictures: &[Vec<Stored>], x: f32, y: f32) -> f32 {
    let (x, y) = at_mm(x, y);
    let half = PITCH as usize;
    let sum: f32 = (y - half..y + half)
        .flat_map(|y| (x - half..x + half).map(move |x| (x, y)))
        .map(|(x, y)| pictures[0][0].value(x, y, 0))
        .sum();
    sum / (4 * half * half) as f32
}

#[test]
fn it_wears_where_it_is_told_and_nothing_else_changes_a_bit() {
    let (garment, before) = (dressed(), cloth());
    let hem = Wear { density: vec![Density::Edges(Mm(10.0))], ..mark(WearKind::Abrasion) };
    let (after, report) = worn(&garment, &before, &[hem]);
    assert!(red(&after, 30.0, 3.0) > red(&before, 30.0, 3.0) + 0.05, "the hem is paler: {}", red(&after, 30.0, 3.0));
    for x in [20.0, 32.0, 45.0] {
        assert_eq!(red(&after, x, 32.0), red(&before, x, 32.0), "the middle at {x} mm is as it was");
    }
    // The seam between the panels is welded: it is no edge, although the texture ends there.
    assert_eq!(red(&after, 60.0, 32.0), red(&before, 60.0, 32.0), "a seam is no hem");
    let seam = Wear { density: vec![Density::Seams(Mm(10.0))], ..mark(WearKind::Abrasion) };
    let (after, _) = worn(&garment, &before, &[seam]);
    let (left, right) = (red(&after, 62.0, 32.0), red(&after, 66.0, 32.0));
    assert!(left > red(&before, 62.0, 32.0) + 0.05, "the seam is rubbed: {left}");
    assert!((left - right).abs() < 0.02, "on both its sides alike, in both places of the texture: {left} {right}");
    assert_eq!(after[0][4], before[0][4], "opacity is no matter of wear");
    assert_eq!(report.files[4].texels_changed, 0, "and said so");
    let counted = before[0][0].differing_texels(&worn(&garment, &before, &[mark(WearKind::Fade)]).0[0][0]);
    let report = worn(&garment, &before, &[mark(WearKind::Fade)]).1;
    assert_eq!(report.files[0].texels_changed, counted, "every changed texel is counted");
}

#[test]
fn high_threads_lose_dye_first_and_grime_settles_between_them() {
    let (garment, before) = (dressed(), cloth());
    let by_height = |after: &[Vec<Stored>]| {
        let mut sums = [[0f32; 2]; 2];
        for y in 60..200 {
            for x in 60..200 {
                let which = usize::from(threads(x, y) > 0.5);
                if threads(x, y).abs() > 0.5 {
                    sums[which][0] += after[0][0].color_at(x, y, &color_coding()).luminance();
                    sums[which][1] += 1.0;
                }
            }
        }
        sums.map(|[sum, count]| sum / count)
    };
    let plain = before[0][0].color_at(100, 100, &color_coding()).luminance();
    for kind in [WearKind::Fade, WearKind::Abrasion] {
        let [low, high] = by_height(&worn(&garment, &before, &[mark(kind)]).0);
        assert!(high - plain > 1.5 * (low - plain) && low >= plain, "{kind:?}: low {low}, high {high}, before {plain}");
    }
    let dust = Wear { color: Some([200, 190, 170]), ..mark(WearKind::Grime) };
    let [low, high] = by_height(&worn(&garment, &before, &[dust]).0);
    assert!(low - plain > 1.3 * (high - plain), "dust lies low: {low} {high}");
}

#[test]
fn normals_follow_the_height_that_is_added() {
    let (garment, before) = (dressed(), cloth());
    let crease = Wear { along: vec![[0.1, 0.2], [0.4, 0.3]], spread: Mm(8.0), height: Some(Mm(0.4)), ..mark(WearKind::Crease) };
    let (after, _) = worn(&garment, &before, &[crease]);
    let part = Rect::new(40, 40, 180, 160);
    let map = |pictures: &[Vec<Stored>], file: usize, kind: Kind, coding: Coding| pictures[0][file].decode(kind, &coding, part);
    let (Map::Height(h0), Map::Height(h1)) =
        (map(&before, 2, Kind::Height, height_coding()), map(&after, 2, Kind::Height, height_coding()))
    else {
        panic!("heights")
    };
    let coding = made::normal_coding(NormalY::Up);
    let (Map::Normal(n0), Map::Normal(n1)) = (map(&before, 1, Kind::Normal, coding), map(&after, 1, Kind::Normal, coding)) else {
        panic!("normals")
    };
    let raised = h1.texels().iter().zip(h0.texels()).map(|(a, b)| a.0 - b.0).fold(0f32, f32::max);
    assert!((0.3..0.45).contains(&raised), "the crest stands up by what was asked: {raised} mm");
    let (mut seen, mut worst) = (0, 0f32);
    for y in 1..part.height - 1 {
        for x in 1..part.width - 1 {
            let added = |x: usize, y: usize| h1.get(x, y).0 - h0.get(x, y).0;
            let (p, q) = ((added(x + 1, y) - added(x - 1, y)) / (2.0 * MM), (added(x, y - 1) - added(x, y + 1)) / (2.0 * MM));
            let (before, after) = (n0.get(x, y).slopes(), n1.get(x, y).slopes());
            worst = worst.max((after.0 - before.0 - p).abs()).max((after.1 - before.1 - q).abs());
            seen += usize::from(p.hypot(q) > 0.02);
        }
    }
    // A step of an 8-bit normal is 1/127 in slope; two of them, before and after.
    assert!(seen > 1000 && worst < 0.02, "{seen} sloping texels, worst slope off by {worst}");
}

#[test]
fn parts_packed_files_and_kept_channels_are_respected() {
    let mut part = panels();
    part.material = "canvas".into();
    let orm = file(
        SIDE,
        &[(Channel::Occlusion, Coding::default()), (Channel::Roughness, Coding { component: 1, ..Coding::default() })],
    );
    let mut garment = garment(part, vec![file(SIDE, &[(Channel::BaseColor, color_coding())]), orm], 160.0);
    garment.sets[0].material = "canvas".into();
    let before = vec![vec![cloth()[0][0].clone(), picture(SIDE, Layout::Rgb, |x, y, c| ((x + y + c) % 7) as f32 / 10.0)]];
    let (after, report) = worn(&garment, &before, &[mark(WearKind::Abrasion)]);
    let differs = |c: usize| {
        (0..SIDE * SIDE).filter(|i| before[0][1].value(i % SIDE, i / SIDE, c) != after[0][1].value(i % SIDE, i / SIDE, c)).count()
    };
    assert!(differs(0) == 0 && differs(2) == 0, "occlusion and the unused component keep their bits");
    assert!(differs(1) > 10_000, "roughness does not: {}", differs(1));
    assert!(
        report.marks[0].notes.iter().any(|note| note.code == "no-relief"),
        "nothing shows threads: {:?}",
        report.marks[0].notes
    );
    let kept = Wear { keep: vec![Channel::Roughness], ..mark(WearKind::Abrasion) };
    assert_eq!(worn(&garment, &before, &[kept]).0[0][1], before[0][1], "a channel that is kept is kept");
    let off = Wear { keep_off: vec!["canvas".into()], ..mark(WearKind::Fade) };
    let (after, report) = worn(&garment, &before, &[off]);
    assert_eq!((after == before, report.marks[0].notes[0].code), (true, "nothing-worn"), "there is no other cloth");
    let unknown = Wear { only: vec!["collar".into()], ..mark(WearKind::Fade) };
    let refused = wear(
        &garment,
        &mut before.clone(),
        &[WearInput { wear: &unknown, pictures: &[] }],
        &BuildSettings::default(),
        &Task::new(),
    );
    assert!(matches!(refused, Err(WearError::Place { .. })), "{refused:?}");
}

#[test]
fn the_same_seed_gives_the_same_bytes_on_any_number_of_threads() {
    let (garment, before) = (dressed(), cloth());
    let marks = [
        Wear {
            uneven: 0.8,
            density: vec![Density::Seams(Mm(20.0)), Density::Height([0.0, 1.0])],
            pucker: Mm(6.0),
            ..mark(WearKind::Abrasion)
        },
        Wear { uneven: 0.6, density: vec![Density::Facing(Facing::Front)], ..mark(WearKind::Grime) },
    ];
    let on = |threads: usize| {
        let pool = rayon::ThreadPoolBuilder::new().num_threads(threads).build().unwrap();
        pool.install(|| worn(&garment, &before, &marks))
    };
    let (one, three) = (on(1), on(3));
    assert!(one == three, "threads do not matter");
    let other = [Wear { seed: 2, ..marks[0].clone() }, marks[1].clone()];
    assert!(worn(&garment, &before, &other).0 != one.0, "seeds do");
    let nothing = [Wear { strength: 0.0, ..marks[0].clone() }];
    assert!(worn(&garment, &before, &nothing).0 == before, "strength 0 leaves every bit");
}

#[test]
fn cloth_whose_texture_repeats_is_left_and_said() {
    let mut part = panels();
    part.uvs.iter_mut().for_each(|uv| *uv *= 3.0);
    let garment = garment(part, five_files(SIDE), 60.0);
    let before = cloth();
    let (after, report) = worn(&garment, &before, &[mark(WearKind::Fade)]);
    assert!(after == before, "a repeat has no place of its own");
    assert!(report.marks[0].notes.iter().any(|note| note.code == "texture-repeats"), "{:?}", report.marks[0].notes);
}

#[test]
fn a_relief_of_another_size_is_read_where_it_lies() {
    // Colour of half the size: threads of the height map are 3 texels apart there.
    let mut files = five_files(SIDE);
    files[0].size = Size::new(SIDE / 2, SIDE / 2);
    let garment = garment(panels(), files, 160.0);
    let mut before = cloth();
    before[0][0] = picture(SIDE / 2, Layout::Rgb, |_, _, c| [0.22, 0.28, 0.45][c]);
    let (after, _) = worn(&garment, &before, &[mark(WearKind::Abrasion)]);
    let mut sums = [[0f32; 2]; 2];
    for y in 30..100 {
        for x in 30..100 {
            let height = threads(2 * x, 2 * y) + threads(2 * x + 1, 2 * y + 1);
            let own = &mut sums[usize::from(height > 0.0)];
            own[0] += after[0][0].value(x, y, 0);
            own[1] += 1.0;
        }
    }
    let [low, high] = sums.map(|[sum, count]| sum / count);
    assert!(high > low + 0.01, "high threads are paler: {low} {high}");
}
