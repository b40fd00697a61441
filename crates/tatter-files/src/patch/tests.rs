//! Tests of the patch folder.

use std::collections::BTreeMap;
use std::fs;
use std::io;
use std::path::Path;
use std::sync::atomic::{AtomicUsize, Ordering};

use tatter_core::angle::Angle;
use tatter_core::channel::{Channel, PerChannel};
use tatter_core::explain::{Class, Explain as _};
use tatter_core::image::{Depth, HeightMm, HeightRange, Image, LinearRgb, Map, Normal, Samples, Unit};
use tatter_core::model::{Hand, Origin, Patch, PatchMap, ScaleSource, Subject, Weave};
use tatter_core::task::Task;
use tatter_core::units::{MmPerTexel, PerCm};

use super::write::write_patch_on;
use super::{PATCH_TOML, PatchError, depth, edited_maps, read_patch, write_patch};
use crate::disk::Disk;
use crate::limits::Limits;
use crate::picture::read_stored;

type Checked<T = ()> = Result<T, Box<dyn std::error::Error>>;

fn elbow() -> Patch {
    let slope = |x: usize, y: usize| ((x as f32 * 0.7).sin() * 0.3, (y as f32 * 0.9).cos() * 0.2);
    let maps = PerChannel::from_fn(|channel| {
        let map = match channel {
            Channel::BaseColor => Map::Color(Image::from_fn(9, 9, |x, y| LinearRgb([x as f32 / 8.0, y as f32 / 8.0, 0.25]))),
            Channel::Height => Map::Height(Image::from_fn(9, 9, |x, y| HeightMm(-0.75 + (x + 9 * y) as f32 / 80.0))),
            Channel::Normal => Map::Normal(Image::from_fn(9, 9, |x, y| {
                let (p, q) = slope(x, y);
                Normal::from_slopes(p, q)
            })),
            Channel::Metallic => return None,
            _ => Map::Unit(Image::from_fn(9, 9, |x, y| Unit((x * y) as f32 / 64.0))),
        };
        Some(PatchMap::new(map, Origin::Estimated, format!("made for the test of \"{channel}\"")))
    });
    Patch {
        name: "torn-elbow".to_owned(),
        maps,
        subject: Subject::Damage,
        scale: MmPerTexel(0.1),
        scale_source: ScaleSource::Ruler,
        scale_uncertainty: Some(0.0025),
        grain: Some(Angle::degrees(88.3)),
        ends_per_cm: Some(PerCm(14.1)),
        picks_per_cm: None,
        weave: Weave::Twill { over: 2, under: 1, hand: Hand::S },
        height_range: HeightRange { low_mm: -0.75, high_mm: 0.5 },
        cloth_color: Some(LinearRgb([0.31, 0.27, 0.2])),
        photo_from_patch: Some([[1.0, 0.1, 310.5], [-0.1, 1.0, 87.25]]),
        provenance: [("photo", "elbow.jpg"), ("stroke", "one"), ("stroke", "two"), ("seed", "7")]
            .map(|(key, text)| (key.to_owned(), text.to_owned()))
            .to_vec(),
    }
}

/// Furthest apart two maps are, in the unit of the map.
fn apart(one: &Map, other: &Map) -> f32 {
    let far = |pairs: &mut dyn Iterator<Item = (f32, f32)>| pairs.map(|(a, b)| (a - b).abs()).fold(0.0, f32::max);
    match (one, other) {
        (Map::Color(a), Map::Color(b)) => far(&mut a.texels().iter().zip(b.texels()).flat_map(|(a, b)| a.0.into_iter().zip(b.0))),
        (Map::Unit(a), Map::Unit(b)) => far(&mut a.texels().iter().zip(b.texels()).map(|(a, b)| (a.0, b.0))),
        (Map::Height(a), Map::Height(b)) => far(&mut a.texels().iter().zip(b.texels()).map(|(a, b)| (a.0, b.0))),
        (Map::Normal(a), Map::Normal(b)) => far(&mut a.texels().iter().zip(b.texels()).map(|(a, b)| (a.angle_to(*b), 0.0))),
        _ => f32::INFINITY,
    }
}

#[test]
fn what_is_written_is_read() -> Checked {
    let scratch = tempfile::tempdir()?;
    let folder = scratch.path().join("torn-elbow.patch");
    let patch = elbow();
    let written = write_patch(&patch, &folder, &[("thumb.png", vec![1, 2, 3])], &Task::new())?;
    let read = read_patch(&folder, &Limits::default())?;
    // Half a code value of each file: sRGB in 8 bits is coarsest in its bright end (slope of the curve there 0.44).
    let bound = |channel| match channel {
        Channel::BaseColor => 0.5 / 255.0 / 0.44,
        Channel::Height => 1.25 / 65_535.0,
        Channel::Normal => 2e-3,
        _ => 0.501 / 255.0,
    };
    for channel in Channel::ALL {
        let (Some(one), Some(other)) = (&patch.maps[channel], &read.maps[channel]) else {
            assert!(patch.maps[channel].is_none() && read.maps[channel].is_none(), "{channel} is in both or in none");
            continue;
        };
        let far = apart(one.map(), other.map());
        assert!(far <= bound(channel), "{channel} is {far} away");
        assert_eq!((one.origin, &one.how), (other.origin, &other.how), "{channel}: where it came from");
        let stored = read_stored(&folder.join(format!("{channel}.png")), &Limits::default())?;
        let sixteen = matches!(stored.samples, Samples::U16(_));
        assert_eq!(sixteen, depth(channel) == Depth::Sixteen, "{channel}: bits");
        let tagged = stored.tags.srgb_intent.is_some() || stored.tags.gamma.is_some();
        assert_eq!(tagged, channel == Channel::BaseColor, "{channel}: only colour has colour tags");
    }
    let plain = |patch: &Patch| Patch { maps: PerChannel::default(), ..patch.clone() };
    assert_eq!(format!("{:?}", plain(&patch)), format!("{:?}", plain(&read)), "all else is the same to the last digit");
    assert_eq!(written.maps.len(), Channel::ALL.len() - 1, "all maps but one");
    assert_eq!(fs::read(folder.join("thumb.png"))?, [1, 2, 3], "pictures for people");
    assert_eq!(edited_maps(&folder)?, [], "nobody touched it");
    fs::copy(folder.join("cover.png"), folder.join("opacity.png"))?;
    fs::write(folder.join("roughness.png"), fs::read(folder.join("height.png"))?)?;
    assert_eq!(edited_maps(&folder)?, [Channel::Roughness], "same bytes are the same map, others are not");
    Ok(())
}

/// `patch.toml` with one piece changed, and a part of what is then said.
const WRONG: &[(&str, &str, &str)] = &[
    ("mm_per_texel = ", "mm_per_pixel = ", "nearest is `mm_per_texel`"),
    ("size_mm = [0.9", "size_mm = [1.9", "mm_per_texel times texels"),
    ("format = 1", "format = 2", "formats up to 1"),
    ("texels = [9, 9]", "texels = [8, 9]", "texels"),
    ("subject = \"damage\"", "subject = \"hole\"", "damage or piece"),
    ("file = \"height.png\"", "file = \"../height.png\"", "in the patch folder"),
    ("file = \"height.png\"", "file = \"hight.png\"", "height map is missing"),
    ("[map.height]", "[map.heigth]", "nearest is `height`"),
    ("kind = \"estimated\"", "kind = \"guessed\"", "measured, derived or estimated"),
    ("height_range_mm = [-0.75, 0.5]", "height_range_mm = [0.5, 0.5]", "must rise"),
];

#[test]
fn faults_of_a_patch_are_named() -> Checked {
    let scratch = tempfile::tempdir()?;
    let folder = scratch.path().join("torn-elbow.patch");
    write_patch(&elbow(), &folder, &[], &Task::new())?;
    let right = fs::read_to_string(folder.join(PATCH_TOML))?;
    for (from, to, part) in WRONG {
        assert!(right.contains(from), "{from} is in:\n{right}");
        fs::write(folder.join(PATCH_TOML), right.replacen(from, to, 1))?;
        let error = read_patch(&folder, &Limits::default()).expect_err(to);
        assert!(error.to_string().contains(part), "{to:?} should say {part:?}, said: {error}");
        assert_eq!(error.class(), Class::Input, "{to:?}");
    }
    fs::write(folder.join(PATCH_TOML), right.replace("[0.9, 0.9]", "[0.8, 0.9]").replace("[9, 9]", "[8, 9]"))?;
    let error = read_patch(&folder, &Limits::default()).expect_err("wrong size");
    assert!(matches!(error, PatchError::SizesDisagree { .. }), "said: {error}");
    let nothing = read_patch(&scratch.path().join("nothing.patch"), &Limits::default());
    assert!(matches!(nothing, Err(PatchError::NotAPatch { .. })), "said: {nothing:?}");
    Ok(())
}

#[test]
fn only_a_patch_is_replaced_and_a_persons_files_stay() -> Checked {
    let scratch = tempfile::tempdir()?;
    let folder = scratch.path().join("torn-elbow.patch");
    fs::create_dir(&folder)?;
    fs::write(folder.join("letter.txt"), "not a patch")?;
    let refused = write_patch(&elbow(), &folder, &[], &Task::new());
    assert!(matches!(refused, Err(PatchError::Occupied { .. })), "said: {refused:?}");
    assert_eq!(fs::read_to_string(folder.join("letter.txt"))?, "not a patch", "untouched");
    fs::remove_dir_all(&folder)?;
    write_patch(&elbow(), &folder, &[], &Task::new())?;
    fs::write(folder.join("letter.txt"), "cut from the old smock")?;
    let mut smaller = elbow();
    smaller.maps[Channel::Occlusion] = None;
    write_patch(&smaller, &folder, &[], &Task::new())?;
    assert_eq!(fs::read_to_string(folder.join("letter.txt"))?, "cut from the old smock", "carried over");
    assert!(!folder.join("occlusion.png").exists(), "a map the new patch lacks is gone");
    assert_eq!(fs::read_dir(scratch.path())?.count(), 1, "nothing is left beside it");
    Ok(())
}

fn files(folder: &Path) -> Checked<Option<BTreeMap<String, Vec<u8>>>> {
    if !folder.exists() {
        return Ok(None);
    }
    let mut files = BTreeMap::new();
    for entry in fs::read_dir(folder)? {
        let entry = entry?;
        files.insert(entry.file_name().to_string_lossy().into_owned(), fs::read(entry.path())?);
    }
    Ok(Some(files))
}

#[test]
fn stopped_at_every_step_a_patch_is_old_or_new() -> Checked {
    let mut second = elbow();
    second.scale = MmPerTexel(0.2);
    for replacing in [false, true] {
        let mut outcomes = [0, 0];
        for at in 0.. {
            let scratch = tempfile::tempdir()?;
            let folder = scratch.path().join("torn-elbow.patch");
            if replacing {
                write_patch_on(&Disk::quick(), &elbow(), &folder, &[], &Task::new())?;
            }
            let before = files(&folder)?;
            let count = AtomicUsize::new(0);
            let disk = Disk::watched(move |_, _| {
                if count.fetch_add(1, Ordering::SeqCst) < at { Ok(()) } else { Err(io::ErrorKind::StorageFull.into()) }
            });
            let result = write_patch_on(&disk, &second, &folder, &[], &Task::new());
            let now = files(&folder)?;
            let new = now != before;
            if new {
                let read = read_patch(&folder, &Limits::default())?;
                assert_eq!(read.scale, second.scale, "stopped at {at}: all of the new patch");
                assert_eq!(edited_maps(&folder)?, [], "stopped at {at}: whole files");
            }
            outcomes[usize::from(new)] += 1;
            // A leftover of the stopped run is no obstacle.
            write_patch_on(&Disk::quick(), &second, &folder, &[], &Task::new())?;
            assert_eq!(fs::read_dir(scratch.path())?.count(), 1, "stopped at {at}: the next run cleans up");
            if result.is_ok() {
                break;
            }
        }
        assert!(outcomes[0] > 20 && outcomes[1] > 0, "stops before and after: {outcomes:?}");
    }
    Ok(())
}

#[test]
fn clipped_heights_are_told() -> Checked {
    let scratch = tempfile::tempdir()?;
    let mut patch = elbow();
    patch.height_range.high_mm = 0.1;
    let task = Task::new();
    write_patch(&patch, &scratch.path().join("p.patch"), &[], &task)?;
    assert!(task.notes().iter().any(|note| note.code == "height-clipped"), "said: {:?}", task.notes());
    Ok(())
}
