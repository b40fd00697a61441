//! Cloth woven here and measured there: the photo of a made cloth gives back the sett that was put in.

use tatter::weave::{Damage, Kind, MadePhoto, Shot, WeaveFailed, WeaveRequest, stock, weave};
use tatter_cloth::measure::{MeasureSettings, measure};
use tatter_core::angle::Angle;
use tatter_core::explain::{Class, Explain as _};
use tatter_core::task::Task;
use tatter_files::limits::Limits;
use tatter_files::patch::read_patch;
use tatter_files::picture::read_photo;

fn request(cloth: &str, output: std::path::PathBuf) -> Option<WeaveRequest> {
    let grain = Angle::degrees(90.0);
    Some(WeaveRequest {
        cloth: stock(cloth)?,
        output,
        damage: Vec::new(),
        side: 640,
        width_mm: 40.0,
        grain,
        seed: 5,
        photo: None,
    })
}

#[test]
fn the_sett_comes_back_from_a_made_photo() {
    // Closed loop; design goal 1 % of the count, 0.5 degrees of grain.
    let folder = tempfile::tempdir().unwrap();
    for (cloth, ending, cast) in [("canvas", "png", [1.0; 3]), ("duck", "jpg", [1.12, 1.0, 0.82])] {
        let path = folder.path().join(format!("{cloth}.{ending}"));
        let shot = Shot { cast, ..Shot::default() };
        let asked = WeaveRequest {
            photo: Some(MadePhoto { path: path.clone(), shot, quality: 85 }),
            ..request(cloth, folder.path().join(format!("{cloth}.patch"))).unwrap()
        };
        let report = weave(&asked, &Task::new()).unwrap();
        let photo = read_photo(&path, &Limits::default()).unwrap();
        let found = measure(&photo.color, None, &MeasureSettings::default(), &Task::new()).unwrap();
        assert!(found.woven, "{cloth} is woven");
        let per_cm = found.pitch_px.map(|px| 10.0 / (px * report.mm_per_texel));
        for (got, put) in per_cm.into_iter().zip([report.cloth.ends_per_cm.get(), report.cloth.picks_per_cm.get()]) {
            assert!((got / put - 1.0).abs() < 0.01, "{cloth}: {got} per cm, woven {put}");
        }
        assert!((found.grain.to_degrees() - 90.0).abs() < 0.5, "{cloth}: grain {}", found.grain.to_degrees());
    }
}

#[test]
#[expect(clippy::disallowed_methods, reason = "files are compared byte by byte")]
fn a_cast_and_jpeg_are_of_the_camera_and_the_patch_stays_the_truth() {
    let folder = tempfile::tempdir().unwrap();
    let taken = |name: &str, cast: [f32; 3]| {
        let path = folder.path().join(name);
        let shot = Shot { cast, exposure: 0.7, noise: 0.0, ..Shot::default() };
        let patch = folder.path().join(format!("{name}.patch"));
        let asked = WeaveRequest {
            photo: Some(MadePhoto { path: path.clone(), shot, quality: 90 }),
            side: 256,
            width_mm: 16.0,
            damage: vec![Damage::new(Kind::MothHole)],
            ..request("canvas", patch.clone()).unwrap()
        };
        weave(&asked, &Task::new()).unwrap();
        let maps = ["base_color.png", "opacity.png", "height.png"].map(|map| std::fs::read(patch.join(map)).unwrap());
        let photo = read_photo(&path, &Limits::default()).unwrap().color;
        let mean = [0, 1, 2].map(|k| photo.texels().iter().map(|c| f64::from(c.0[k])).sum::<f64>() / photo.texels().len() as f64);
        (std::fs::read(path).unwrap(), mean, maps)
    };
    let (png, plain, truth) = taken("plain.png", [1.0; 3]);
    let (jpeg, warm, same) = taken("warm.jpg", [1.2, 1.0, 0.75]);
    // ITU-T T.81, B.1.1.3: a JPEG starts with SOI and ends with EOI.
    assert!(jpeg.starts_with(&[0xff, 0xd8]) && jpeg.ends_with(&[0xff, 0xd9]), "a JPEG by its name");
    assert!(png.starts_with(b"\x89PNG") && jpeg.len() < png.len(), "the other is a PNG, and larger");
    assert_eq!(truth, same, "the patch does not know of the camera");
    for (k, cast) in [1.2, 1.0, 0.75].into_iter().enumerate() {
        let got = warm[k] / plain[k];
        assert!((got / cast - 1.0).abs() < 0.02, "channel {k} reads {got} of the grey one, told {cast}");
    }
}

#[test]
fn a_woven_patch_is_a_patch() {
    let folder = tempfile::tempdir().unwrap();
    let output = folder.path().join("bite.patch");
    let asked = WeaveRequest { damage: vec![Damage::new(Kind::MothHole)], ..request("canvas", output.clone()).unwrap() };
    let report = weave(&asked, &Task::new()).unwrap();
    let patch = read_patch(&output, &Limits::default()).unwrap();
    assert_eq!(patch.name, "bite", "named after its folder");
    assert!((patch.scale.get() / report.mm_per_texel - 1.0).abs() < 1e-5, "true size");
    assert_eq!(patch.maps.iter().filter(|(_, map)| map.is_some()).count(), 7, "all maps but metallic");
}

#[test]
fn a_hole_in_a_texture_that_repeats_is_refused() {
    let folder = tempfile::tempdir().unwrap();
    let asked = WeaveRequest { damage: vec![Damage::new(Kind::Burn)], ..request("canvas", folder.path().join("cloth")).unwrap() };
    let error = weave(&asked, &Task::new()).unwrap_err();
    assert!(matches!(error, WeaveFailed::Repeats(_)) && error.class() == Class::Request, "{error}");
}
