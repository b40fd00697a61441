//! The grain of islands read back from textures of known cloth.
#![expect(clippy::unwrap_used, clippy::disallowed_methods, reason = "a garment is made in a scratch folder")]

use std::path::{Path, PathBuf};

use glam::{Vec2, Vec3};
use tatter::grain::{Unread, measure_grain};
use tatter_core::angle::Angle;
use tatter_core::channel::Channel;
use tatter_core::image::{Coding, Depth, Image, LinearRgb, Map, Size, Stored, Transfer};
use tatter_core::mesh::{Mesh, Part};
use tatter_core::model::{GrainSource, Hand, IslandGrain, Job, JobGarment, MapFile, MapRole, MapSet, UvTile, Weave};
use tatter_core::task::Task;
use tatter_files::job::{read_job, write_job};
use tatter_files::mesh::{MaterialToWrite, write_glb};
use tatter_files::picture::{Effort, PictureFormat, encode};
use tatter_testkit::scene::sett;
use tatter_weave::{Draft, TileSpec, Twist, Woven, weave_tile};

/// Texels of the square texture, and how many lie on a millimetre.
const SIDE: usize = 1536;
const TEXELS_PER_MM: f32 = 6.0;
/// Islands side by side and one above the other.
const GRID: [usize; 2] = [3, 2];

/// One island: its cloth turned counter-clockwise in the picture, whether the island shows it mirrored.
type Island = (f32, bool);

/// 2/2 twill Z of 9 ends and 7 picks, as it was woven.
fn twill() -> Woven {
    let cloth = sett(Draft::twill(2, 2, Twist::Z), 9.0, 7.0);
    weave_tile(&TileSpec { cloth, side: 576, width_mm: 48.0, seed: 3 }, &Task::new()).unwrap()
}

/// The cloth's colour, repeated, at a place in mm, y up.
fn color_at(woven: &Woven, at: Vec2) -> [f32; 3] {
    let image = &woven.maps.base_color;
    let side = image.width() as f32;
    let wrapped = |mm: f32| (mm / woven.scale.get()).rem_euclid(side);
    let (x, y) = (wrapped(at.x) as usize, wrapped(-at.y) as usize);
    image.get(x.min(image.width() - 1), y.min(image.height() - 1)).0
}

/// The texture: in each cell of the grid the cloth turned about its middle; four by four samples a texel.
fn texture(woven: &Woven, islands: &[Island]) -> Image<LinearRgb> {
    let [columns, rows] = GRID;
    let cell = Vec2::new((SIDE / columns) as f32, (SIDE / rows) as f32);
    Image::from_fn(SIDE, SIDE, |x, y| {
        let at = [(x / (SIDE / columns)).min(columns - 1), (y / (SIDE / rows)).min(rows - 1)];
        let middle = Vec2::new((at[0] as f32 + 0.5) * cell.x, (at[1] as f32 + 0.5) * cell.y);
        let back = Vec2::from_angle(-islands[at[1] * columns + at[0]].0.to_radians());
        let mut sum = [0.0; 3];
        for sample in 0..16 {
            let p =
                Vec2::new(x as f32 + (sample % 4) as f32 / 4.0 + 0.125, y as f32 + (sample / 4) as f32 / 4.0 + 0.125) - middle;
            let color = color_at(woven, back.rotate(Vec2::new(p.x, -p.y)) / TEXELS_PER_MM);
            sum = std::array::from_fn(|k| sum[k] + color[k] / 16.0);
        }
        LinearRgb(sum)
    })
}

/// Flat pieces that face +Z, one a cell, a little inside it.
fn pieces(islands: &[Island]) -> Mesh {
    let [columns, rows] = GRID;
    let side_mm = SIDE as f32 / TEXELS_PER_MM;
    let mut part = Part { name: "waistcoat".into(), material: "wool".into(), ..Part::default() };
    for (n, (_, mirrored)) in islands.iter().enumerate() {
        let first = part.positions.len() as u32;
        let low = Vec2::new((n % columns) as f32 / columns as f32, (n / columns) as f32 / rows as f32) + 0.01;
        let high = low + Vec2::new(1.0 / columns as f32, 1.0 / rows as f32) - 0.02;
        for uv in [[low.x, high.y], [high.x, high.y], [high.x, low.y], [low.x, low.y]] {
            // Metres, as glTF counts; a mirrored piece is turned over in the texture, not on the body.
            let x = if *mirrored { 2.0 * n as f32 - uv[0] } else { 2.0 * n as f32 + uv[0] };
            part.positions.push(Vec3::new(x, -uv[1], 0.0) * side_mm / 1000.0);
            part.normals.push(Vec3::Z);
            part.uvs.push(Vec2::from(uv));
        }
        let corners = [[first, first + 1, first + 2], [first, first + 2, first + 3]];
        part.triangles.extend(corners.map(|[a, b, c]| if *mirrored { [a, c, b] } else { [a, b, c] }));
    }
    Mesh { parts: vec![part] }
}

fn made(folder: &Path, picture: Image<LinearRgb>, islands: &[Island]) -> PathBuf {
    let coding = Coding { transfer: Transfer::Srgb, ..Coding::default() };
    let stored = Stored::from_map(&Map::Color(picture), &coding, Depth::Eight);
    std::fs::write(folder.join("wool_color.png"), encode(&stored, PictureFormat::Png, Effort::Fast).unwrap()).unwrap();
    let wool = MaterialToWrite { name: "wool".into(), ..MaterialToWrite::default() };
    std::fs::write(folder.join("waistcoat.glb"), write_glb(&pieces(islands), &[wool])).unwrap();
    let file = MapFile {
        path: "wool_color.png".into(),
        roles: vec![MapRole { channel: Channel::BaseColor, coding }],
        size: Size::default(),
    };
    let sets = vec![MapSet { material: "wool".into(), tile: UvTile::default(), files: vec![file] }];
    let garment = JobGarment { mesh: Some("waistcoat.glb".into()), mm_per_unit: 1000.0, sets, ..JobGarment::default() };
    let path = folder.join("waistcoat.tatter.toml");
    write_job(&path, &Job { name: "waistcoat".into(), garment, ..Job::default() }).unwrap();
    path
}

/// Design section 7: 1 % of the count, 0.5 degrees of grain. The fifth island lies on its side and is known by its counts; the
/// fourth shows the cloth mirrored: clockwise from outside what is counter-clockwise in the picture, and a Z twill as S.
#[test]
fn cloth_turned_by_known_angles_is_read_back() {
    let islands: [Island; 6] = [(0.0, false), (-12.3, false), (31.0, false), (17.5, true), (86.0, false), (-3.0, true)];
    let woven = twill();
    let folder = tempfile::tempdir().unwrap();
    let job = made(folder.path(), texture(&woven, &islands), &islands);
    let arrow = IslandGrain {
        at: [5.0 / 6.0, 0.75],
        part: None,
        turn: Angle::degrees(10.0),
        source: GrainSource::Arrow,
        ends_per_cm: None,
        picks_per_cm: None,
        weave: Weave::Unknown,
    };
    let mut told = read_job(&job).unwrap();
    told.garment.grain = vec![arrow.clone()];
    write_job(&job, &told).unwrap();
    let summary = measure_grain(&job, false, &Task::new()).unwrap();
    assert_eq!(summary.islands.len(), islands.len(), "every island is told of");
    assert_eq!(summary.islands[5].found, Err(Unread::Arrow), "an arrow is not measured over");
    assert_eq!(summary.grain[0], arrow, "and stays as it was");
    for (report, (turned, mirrored)) in summary.islands.iter().zip(&islands).take(5) {
        let (grain, confidence) = report.found.as_ref().unwrap();
        let want = if *mirrored { -turned } else { *turned };
        let off = grain.turn.to_degrees() - want;
        assert!(off.abs() < 0.5, "turned {turned}, mirrored {mirrored}: read {} with {confidence}", grain.turn.to_degrees());
        let counts = [(grain.ends_per_cm, woven.cloth.ends_per_cm), (grain.picks_per_cm, woven.cloth.picks_per_cm)];
        for (got, put) in counts {
            let share = got.unwrap().get() / put.get() - 1.0;
            assert!(share.abs() < 0.01, "turned {turned}: {got:?} per cm, woven {put}");
        }
        let hand = if *mirrored { Hand::S } else { Hand::Z };
        assert_eq!(grain.weave.hand(), Some(hand), "turned {turned}, mirrored {mirrored}: {}", grain.weave);
    }
    assert_eq!(read_job(&job).unwrap().garment.grain, summary.grain, "what is told is what the job keeps");
    let again = measure_grain(&job, false, &Task::new()).unwrap();
    assert_eq!(again.grain, summary.grain, "measured again it is the same");
}

#[test]
fn a_texture_without_threads_is_said_to_have_none() {
    let islands: [Island; 6] = [(0.0, false); 6];
    let folder = tempfile::tempdir().unwrap();
    let job = made(folder.path(), Image::from_fn(SIDE, SIDE, |x, _| LinearRgb([0.2 + x as f32 / 4000.0; 3])), &islands);
    let before = std::fs::read(&job).unwrap();
    let summary = measure_grain(&job, false, &Task::new()).unwrap();
    assert!(summary.islands.iter().all(|island| island.found == Err(Unread::NoWeave)), "{:?}", summary.islands);
    assert_eq!(std::fs::read(&job).unwrap(), before, "the job is as it was, to the byte");
    std::fs::write(folder.path().join("wool_color.png"), b"no picture").unwrap();
    let summary = measure_grain(&job, false, &Task::new()).unwrap();
    let told = |found: &Result<_, Unread>| matches!(found, Err(Unread::Picture(_) | Unread::Small(_)));
    assert!(summary.islands.iter().all(|island| told(&island.found)), "{:?}", summary.islands);
}
