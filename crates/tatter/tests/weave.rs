//! Cloth woven here and measured there: the photo of a made cloth gives back the sett that was put in.

use tatter::weave::{Damage, Kind, Shot, WeaveFailed, WeaveRequest, stock, weave};
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
    for cloth in ["canvas", "duck"] {
        let path = folder.path().join(format!("{cloth}.png"));
        let asked = WeaveRequest {
            photo: Some((path.clone(), Shot::default())),
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
