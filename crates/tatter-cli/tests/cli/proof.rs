//! `tatter proof`: what it draws, where it writes it, what it refuses. Needs a graphics adapter, one in software will do.
#![expect(clippy::disallowed_methods, reason = "a test of the command line needs a scratch folder")]

use std::path::Path;

use tatter_files::limits::Limits;
use tatter_files::picture::read_stored;
use tatter_testkit::pictures::{differences, shown};

use crate::workshop::{Tried, Workshop};

const JOB: &str = "smock.tatter.toml";

fn torn() -> Tried<Workshop> {
    let shop = Workshop::with_job()?;
    let run = shop.run(&["place", JOB, "--patch", "rip.patch", "--at", "0.25,0.25"])?;
    if run.code == Some(0) { Ok(shop) } else { Err(run.err.into()) }
}

/// Red, green, blue of a pixel.
fn pixel(shop: &Workshop, name: &str, x: usize, y: usize) -> Tried<[u8; 3]> {
    let picture = read_stored(&shop.path(name), &Limits::default())?;
    Ok([0, 1, 2].map(|i| (picture.value(x, y, i) * 255.0).round() as u8))
}

fn apart(a: [u8; 3], b: [u8; 3]) -> u8 {
    a.into_iter().zip(b).map(|(a, b)| a.abs_diff(b)).max().unwrap_or(0)
}

#[test]
fn a_proof_shows_the_hole_before_anything_is_delivered() {
    let shop = torn().expect("a workshop");
    let before = shop.files().expect("files");
    let asked = ["proof", JOB, "-o", "proof/", "--view", "front", "--view", "rip-1", "--before-after"];
    let run = shop.run(&[&asked[..], &["--size", "96x96", "--samples", "16", "--json"]].concat()).expect("runs");
    assert_eq!(run.code, Some(0), "{}", run.err);
    let report = run.json().expect("an object");
    let paths: Vec<&str> = report["images"].as_array().expect("images").iter().filter_map(|i| i["path"].as_str()).collect();
    assert_eq!(paths, ["proof/front-before.png", "proof/rip-1-before.png", "proof/front-after.png", "proof/rip-1-after.png"]);
    assert!(report["adapter"]["name"].is_string(), "it says what drew it");
    // The close-up looks at the middle of the hole, past the lining that hangs a hand before it: there the backdrop shows.
    let of = |name: &str, x, y| pixel(&shop, name, x, y).expect("a pixel");
    let (whole, open) = (of("proof/rip-1-before.png", 48, 48), of("proof/rip-1-after.png", 48, 48));
    assert!(apart(whole, open) > 40, "the hole is seen through: {whole:?} before, {open:?} after");
    assert!(apart(of("proof/rip-1-before.png", 4, 4), of("proof/rip-1-after.png", 4, 4)) <= 2, "cloth around it stays");
    let after = shop.files().expect("files");
    assert!(before.iter().all(|(path, bytes)| after.get(path) == Some(bytes)), "nothing else was touched");
}

#[test]
fn views_lie_side_by_side_on_one_picture() {
    let shop = torn().expect("a workshop");
    let asked =
        ["proof", JOB, "-o", "proof.png", "--view", "front", "--view", "back", "--size", "40x60", "--samples", "2", "--json"];
    let run = shop.run(&asked).expect("runs");
    assert_eq!(run.code, Some(0), "{}", run.err);
    let report = run.json().expect("an object");
    assert_eq!(report["images"][0]["size"], serde_json::json!([88, 60]), "two of 40 and what is between");
    assert_eq!(report["images"][0]["views"], serde_json::json!(["front", "back"]));
    let picture = read_stored(&shop.path("proof.png"), &Limits::default()).expect("a picture");
    assert_eq!((picture.size.width, picture.size.height), (88, 60));
    // One channel, as its codes stand: the canvas is 150, 120, 80, seen from behind, since the lining hangs before it.
    let asked = ["proof", JOB, "-o", "color.png", "--view", "back", "--channel", "base_color", "--size", "64", "--samples", "2"];
    assert_eq!(shop.run(&asked).expect("runs").code, Some(0), "one channel");
    let color = pixel(&shop, "color.png", 12, 12).expect("a pixel");
    assert!(apart(color, [150, 120, 80]) <= 1, "{color:?}");
}

/// A picture that was looked at when it was made: the torn canvas close up. Drawn again it differs by what
/// drivers round differently. After a change that is meant to change it, look at what the failing test names, and copy it here.
#[test]
fn a_proof_is_the_picture_that_was_looked_at_and_comes_out_the_same_twice() {
    let shop = torn().expect("a workshop");
    let asked = ["proof", JOB, "--view", "rip-1", "--size", "112", "--samples", "48", "--sheen", "0.1,0.1,0.1,0.5"];
    for name in ["one.png", "two.png"] {
        let run = shop.run(&[&asked[..], &["-o", name]].concat()).expect("runs");
        assert_eq!(run.code, Some(0), "{}", run.err);
    }
    let files = shop.files().expect("files");
    assert_eq!(files[Path::new("one.png")], files[Path::new("two.png")], "one adapter draws one picture");
    let kept = std::env::temp_dir().join("tatter-torn-canvas.png");
    std::fs::write(&kept, &files[Path::new("one.png")]).expect("a copy to look at");
    let golden = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/golden/torn-canvas.png");
    let [golden, drawn] =
        [golden, shop.path("one.png")].map(|path| shown(&read_stored(&path, &Limits::default()).expect("a picture")));
    let [mean, hundredth] = differences(&golden, &drawn, 10);
    assert!(mean < 0.4 && hundredth < 3.0, "mean {mean}, a hundredth above {hundredth}: look at {}", kept.display());
}

#[test]
fn a_turntable_is_one_file_a_step() {
    let shop = torn().expect("a workshop");
    let asked = ["proof", JOB, "-o", "round", "--turntable", "3", "--size", "32", "--samples", "1"];
    let run = shop.run(&asked).expect("runs");
    assert_eq!(run.code, Some(0), "{}", run.err);
    let found: Vec<bool> = (0..4).map(|i| shop.path(&format!("round/{i:03}.png")).exists()).collect();
    assert_eq!(found, [true, true, true, false]);
}

#[test]
fn what_cannot_be_drawn_is_said_in_one_sentence() {
    let shop = torn().expect("a workshop");
    let run = shop.run(&["proof", JOB, "-o", "p.png", "--view", "inside-out"]).expect("runs");
    assert_eq!(run.code, Some(2), "{}", run.err);
    assert!(run.err.contains("inside-out") && run.err.contains("three-quarter") && run.err.contains("rip-1"), "{}", run.err);
    let run = shop.run(&["proof", JOB, "-o", "p.png", "--environment", "textures/canvas_base_color.png"]).expect("runs");
    assert_eq!(run.code, Some(3), "{}", run.err);
    assert!(run.err.contains("twice as wide as high"), "{}", run.err);
    let run = shop.run(&["proof", JOB, "-o", "p.png", "--variation", "winter"]).expect("runs");
    assert_eq!(run.code, Some(2), "{}", run.err);
    assert!(run.err.contains("winter"), "{}", run.err);
    // Without any driver: design.md, section 5, exit code 4.
    let blind = [("VK_DRIVER_FILES", "/nowhere.json"), ("VK_ICD_FILENAMES", "/nowhere.json")];
    let run = shop.run_in(&["proof", JOB, "-o", "p.png"], &blind).expect("runs");
    assert_eq!(run.code, Some(4), "{}", run.err);
    assert!(run.err.contains("no graphics adapter") && run.err.contains("Install"), "{}", run.err);
    assert!(!shop.path("p.png").exists(), "nothing is half written");
    // Everything but a proof goes on without one.
    assert_eq!(shop.run_in(&["build", JOB], &blind).expect("runs").code, Some(0), "a build needs none");
}
