//! `--scale-by` and `--corners`: scale from a card or a ruler in the photo.
#![expect(clippy::disallowed_methods, reason = "a test of the command line needs a scratch folder")]

use serde_json::Value;
use tatter_core::image::{Coding, Depth, LinearRgb, Map, Size, Stored, Transfer};
use tatter_core::task::Task;
use tatter_files::picture::encode_jpeg_photo;
use tatter_testkit::laid::{Camera, Face, Laid, Matrix, OnCloth, at, inverse, pinhole};
use tatter_testkit::rulers::MILLIMETRES;
use tatter_weave::{Damage, Kind, shoot, stock};

use crate::workshop::{Tried, Workshop};

const CLOTH_MM: f32 = 150.0;
const PHOTO: Size = Size::new(800, 600);
/// Middle of the hole, mm from the upper left corner of the cloth.
const HOLE: [f64; 2] = [118.0, 112.0];

const CARD: Laid = Laid {
    mm: [85.60, 53.98],
    corner: 3.18,
    at: [60.0, 56.0],
    turn: 0.2,
    color: LinearRgb([0.1, 0.2, 0.42]),
    face: Face::Printed,
    shadow: [0.4, 0.4],
};
/// It hangs out of the photo.
const RULER: Laid = Laid {
    mm: [312.0, 30.0],
    corner: 0.5,
    at: [120.0, 40.0],
    turn: 0.1,
    color: LinearRgb([0.72, 0.73, 0.7]),
    face: Face::Ruled(MILLIMETRES),
    shadow: [0.4, 0.4],
};

/// Something laid on canvas with a moth hole, seen `tilt_deg` from straight above; photo places of places on the cloth in mm.
fn photo(shop: &Workshop, name: &str, tilt_deg: f64, laid: Laid) -> Tried<Matrix> {
    let half = 0.5 * f64::from(CLOTH_MM);
    let hole = Damage { length: 9.0, at: [(HOLE[0] - half) as f32, (half - HOLE[1]) as f32], ..Damage::new(Kind::MothHole) };
    let spec = tatter_weave::PatchSpec {
        cloth: stock("duck").ok_or("a duck")?,
        side: 900,
        width_mm: CLOTH_MM,
        damage: vec![hole],
        grain: tatter_core::angle::Angle::degrees(90.0),
        seed: 3,
    };
    let (woven, _) = tatter_weave::weave_patch(&spec, &Task::new())?;
    let shot = tatter_weave::Shot { ripple_mm: 0.0, ..tatter_weave::Shot::default() };
    let cloth = shoot(&woven.maps, woven.scale, &shot, &Task::new())?.photo;
    let photo_from_mm = pinhole(PHOTO, 720.0, 160.0, [75.0, 75.0], tilt_deg.to_radians(), 0.6);
    let camera = Camera { mm_from_photo: inverse(&photo_from_mm), size: PHOTO, blur: 0.6, noise: 0.004, seed: 5 };
    let color = OnCloth { cloth: &cloth, mm_per_px: f64::from(woven.scale.get()), laid: &[laid] }.photograph(&camera);
    let coding = Coding { transfer: Transfer::Srgb, ..Coding::default() };
    let stored = Stored::from_map(&Map::Color(color), &coding, Depth::Eight);
    std::fs::write(shop.path(name), encode_jpeg_photo(&stored, 92)?)?;
    Ok(photo_from_mm)
}

/// The photo place, counted from the first centre, that a report gives for the middle of its patch.
fn middle(report: &Value) -> Option<[f64; 2]> {
    let half = 0.5 * (report["texels"][0].as_f64()? - 1.0);
    let number = |row: usize, column: usize| report["photo_from_patch_projective"][row][column].as_f64();
    let mut to = [0.0; 3];
    for (row, to) in to.iter_mut().enumerate() {
        *to = number(row, 0)? * half + number(row, 1)? * half + number(row, 2)?;
    }
    Some([to[0] / to[2], to[1] / to[2]])
}

#[test]
fn a_card_gives_the_scale_and_takes_perspective_out() -> Tried<()> {
    let shop = Workshop::new()?;
    let photo_from_mm = photo(&shop, "tilted.jpg", 20.0, CARD)?;
    let run = shop.run(&["cut", "tilted.jpg", "--scale-by", "card", "-o", "hole.patch", "--json"])?;
    assert_eq!(run.code, Some(0), "{}", run.err);
    let report = run.json()?;
    assert_eq!(report["scale_source"], "card", "{report}");
    let unsure = report["scale_uncertainty_percent"].as_f64().ok_or("an uncertainty")?;
    assert!((0.02..0.6).contains(&unsure), "unsure by {unsure} %");
    let [x, y] = middle(&report).ok_or("a map with perspective")?;
    let [u, v] = at(&inverse(&photo_from_mm), [x + 0.5, y + 0.5]);
    assert!((u - HOLE[0]).hypot(v - HOLE[1]) < 2.5, "the hole, not the card, is cut: {u:.1}, {v:.1} mm");
    let toml = std::fs::read_to_string(shop.path("hole.patch/patch.toml"))?;
    for line in ["scale_source = \"card\"", "scale_uncertainty_percent = ", "photo_from_straightened = ", "rectangle = \"card"] {
        assert!(toml.contains(line), "{line} in {toml}");
    }
    let check = shop.run(&["check", "hole.patch"])?;
    assert!(check.out.contains("hole.patch: scale by card to 0."), "{}", check.out);

    // Duck as the weaver made it: its sett is the truth.
    let duck = stock("duck").ok_or("a duck")?;
    let corners = CARD.corners().map(|c| at(&photo_from_mm, c)).map(|[x, y]| format!("{:.2},{:.2}", x - 0.5, y - 0.5)).join(",");
    for scale in [
        &["--scale-by", "card"][..],
        &["--corners", &corners, "--corners-mm", "85.6x53.98"],
        &["--corners", &corners, "--scale-by", "card"],
    ] {
        let run = shop.run(&[&["measure", "tilted.jpg", "--json"][..], scale].concat())?;
        assert_eq!(run.code, Some(0), "{}", run.err);
        let report = run.json()?;
        for (key, truth) in [("ends_per_cm", duck.ends_per_cm), ("picks_per_cm", duck.picks_per_cm)] {
            let count = report[key].as_f64().ok_or("threads are counted")?;
            assert!((count / f64::from(truth.get()) - 1.0).abs() < 0.01, "{key}: {count}, not {}: {report}", truth.get());
        }
        assert!((report["straightened_deg"].as_f64().unwrap_or(0.0) - 20.0).abs() < 2.0, "{report}");
    }
    Ok(())
}

/// The sett is the weaver's, the scale the pinhole's; what the ruler says is mostly for a tilt that its marks do not tell.
#[test]
fn a_ruler_that_hangs_out_of_the_photo_gives_the_scale() -> Tried<()> {
    let shop = Workshop::new()?;
    let photo_from_mm = photo(&shop, "ruled.jpg", 0.0, RULER)?;
    let run = shop.run(&["cut", "ruled.jpg", "--scale-by", "ruler", "-o", "hole.patch", "--json"])?;
    assert_eq!(run.code, Some(0), "{}", run.err);
    let report = run.json()?;
    assert_eq!(report["scale_source"], "ruler", "{report}");
    let unsure = report["scale_uncertainty_percent"].as_f64().ok_or("an uncertainty")?;
    assert!((0.2..2.5).contains(&unsure), "unsure by {unsure} %");
    let row = |row: usize| -> Tried<[f64; 3]> {
        let number = |column: usize| report["photo_from_patch"][row][column].as_f64().ok_or("a map");
        Ok([number(0)?, number(1)?, number(2)?])
    };
    let half = 0.5 * (report["texels"][0].as_f64().ok_or("texels")? - 1.0);
    let [x, y] = [row(0)?, row(1)?].map(|[a, b, c]| (a + b) * half + c + 0.5);
    let [u, v] = at(&inverse(&photo_from_mm), [x, y]);
    assert!((u - HOLE[0]).hypot(v - HOLE[1]) < 2.5, "the hole, not the ruler, is cut: {u:.1}, {v:.1} mm");
    let toml = std::fs::read_to_string(shop.path("hole.patch/patch.toml"))?;
    for line in ["scale_source = \"ruler\"", "scale_uncertainty_percent = ", "ruler = \""] {
        assert!(toml.contains(line), "{line} in {toml}");
    }
    let check = shop.run(&["check", "hole.patch"])?;
    assert!(check.out.contains("hole.patch: scale by ruler to "), "{}", check.out);
    let duck = stock("duck").ok_or("a duck")?;
    let run = shop.run(&["measure", "ruled.jpg", "--scale-by", "ruler", "--json"])?;
    assert_eq!(run.code, Some(0), "{}", run.err);
    let report = run.json()?;
    for (key, truth) in [("ends_per_cm", duck.ends_per_cm), ("picks_per_cm", duck.picks_per_cm)] {
        let count = report[key].as_f64().ok_or("threads are counted")?;
        assert!((count / f64::from(truth.get()) - 1.0).abs() < 0.01, "{key}: {count}, not {}: {report}", truth.get());
    }
    Ok(())
}

#[test]
fn a_rectangle_that_gives_no_scale_is_refused_and_leaves_nothing() -> Tried<()> {
    let shop = Workshop::new()?;
    photo(&shop, "straight.jpg", 0.0, CARD)?;
    let before = shop.files()?;
    let tried: [(&[&str], &str); 8] = [
        (&["--scale-by", "ruler"], "no ruler was found"),
        (&["--scale-by", "ruler", "--corners", "10,10,200,10,200,100,10,100"], "--corners"),
        (&["--scale-by", "a5"], "is no a5"),
        (&["--corners", "10,10,200,10,200,100,10,100"], "--corners-mm"),
        (&["--corners", "10,10,200,10,200,100,10,100", "--corners-mm", "60"], "60"),
        (&["--corners", "10,10,200,10,200,100,10,100", "--corners-mm", "50x50"], "no rectangle"),
        (&["--corners", "10,10,200,200,200,10,10,200", "--corners-mm", "50x50"], "four corners"),
        (&["--scale-by", "card", "--width-mm", "80"], "--width-mm"),
    ];
    for (scale, words) in tried {
        let run = shop.run(&[&["cut", "straight.jpg", "-o", "new.patch"][..], scale].concat())?;
        assert_eq!((run.code, run.out.as_str()), (Some(2), ""), "{scale:?}: {}", run.err);
        assert!(run.err.contains(words), "{scale:?}: {}", run.err);
    }
    assert!(before == shop.files()?, "nothing was written");
    Ok(())
}
