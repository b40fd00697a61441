//! Variations of a job: other dyes, states of wear and sizes, built together and delivered apart.
#![expect(clippy::disallowed_methods, reason = "a test of the command line needs a scratch folder")]

use std::path::Path;

use crate::workshop::{SIDE, Tried, Workshop};
use tatter_core::image::{Samples, Stored};
use tatter_files::limits::Limits;
use tatter_files::picture::read_stored;

const JOB: &str = "smock.tatter.toml";

fn with_variations(more: &str) -> Tried<Workshop> {
    let shop = Workshop::with_job()?;
    for arguments in [
        &["place", JOB, "--patch", "rip.patch", "--at", "0.15,0.15"][..],
        &["place", JOB, "--patch", "rip.patch", "--at", "0.35,0.35"],
        &["wear", JOB, "fade", "--id", "sun"],
    ] {
        let run = shop.run(arguments)?;
        assert_eq!(run.code, Some(0), "{arguments:?}: {}", run.err);
    }
    let text = std::fs::read_to_string(shop.path(JOB))?;
    std::fs::write(shop.path(JOB), format!("{text}\n{more}"))?;
    Ok(shop)
}

const THREE: &str = r##"
[[variation]]
name = "black"
dye = "#202022"

[[variation]]
name = "nearly new"
only = ["rip-1"]
strength = 0.5

[[variation]]
name = "small"
texels = 64
"##;

fn picture(path: &Path) -> Tried<Stored> {
    Ok(read_stored(path, &Limits::default())?)
}

fn mean(stored: &Stored) -> f64 {
    let Samples::U8(samples) = &stored.samples else { return f64::NAN };
    samples.iter().map(|&code| f64::from(code)).sum::<f64>() / samples.len() as f64
}

#[test]
fn all_are_built_into_folders_of_their_names_and_delivered_beside_the_garment() {
    let shop = with_variations(THREE).expect("a workshop");
    let clean = shop.textures().expect("textures");
    let run = shop.run(&["build", JOB, "--all", "-o", "out", "--json"]).expect("runs");
    assert_eq!(run.code, Some(0), "{}", run.err);
    let built = |name: &str| picture(&shop.path("out").join(name).join("canvas_base_color.png")).expect("a picture");
    let (job, black, new, small) = (built("."), built("black"), built("nearly new"), built("small"));
    assert!(mean(&black) < 0.45 * mean(&job), "dyed black: {} of {}", mean(&black), mean(&job));
    let pristine = picture(&shop.path("textures/canvas_base_color.png")).expect("a picture");
    let (less, more) = (pristine.differing_texels(&new), pristine.differing_texels(&job));
    assert!(0 < less && less < more / 4, "one rip and no fade: {less} of {more}");
    assert_eq!((small.size.width, SIDE), (64, 256), "a quarter of the side");
    assert!((mean(&small) - mean(&job)).abs() < 2.0, "the same cloth, smaller");
    // The same bytes alone and together.
    let alone = shop.run(&["build", JOB, "--variation", "black", "-o", "alone"]).expect("runs");
    assert_eq!(alone.code, Some(0), "{}", alone.err);
    let bytes = |folder: &str| std::fs::read(shop.path(folder).join("black/canvas_base_color.png")).expect("a file");
    assert!(bytes("alone") == bytes("out"), "work that is shared changes nothing");
    assert!(shop.textures().expect("textures") == clean, "a build leaves the garment alone");

    let run = shop.run(&["deliver", JOB, "--variation", "small", "--json"]).expect("runs");
    assert_eq!(run.code, Some(0), "{}", run.err);
    assert!(shop.textures().expect("textures") == clean, "a variation is never delivered over the garment");
    for name in clean.keys() {
        let delivered = picture(&shop.path("variations/small").join(name.file_name().expect("a name"))).expect("a picture");
        assert_eq!(delivered.size.width, 64, "{name:?}: every texture is delivered");
    }
    assert_eq!(shop.run(&["deliver", JOB, "--undo"]).expect("runs").code, Some(0), "taken back");
    assert!(!shop.path("variations/small/canvas_base_color.png").exists(), "and gone");
}

#[test]
fn what_cannot_be_made_is_said() {
    for (more, arguments, says) in [
        ("", &["--variation", "black"][..], "no variation 'black'"),
        ("[[variation]]\nname = \"x\"\ntexels = 100\n", &["--all"], "do not divide 256"),
        ("[[variation]]\nname = \"x\"\nonly = [\"rip-3\"]\n", &["--all"], "the nearest is `rip-1`"),
        ("[[variation]]\nname = \"../x\"\n", &["--all"], "becomes a folder"),
        ("[[variation]]\nname = \"x\"\ndye = \"black\"\n", &["--all"], "a colour such as"),
        ("[[variation]]\nname = \"x\"\nstrengths = { sun = 2 }\n", &["--all"], "between 0 and 1"),
        ("[[variation]]\nname = \"x\"\nmaterials = [\"canvass\"]\n", &["--all"], "the nearest is `canvas`"),
    ] {
        let shop = with_variations(more).expect("a workshop");
        let run = shop.run(&[&["build", JOB], arguments].concat()).expect("runs");
        assert_eq!((run.code, run.err.contains(says)), (Some(2), true), "{more}: {}", run.err);
        assert!(!shop.path("smock.tatter/built").exists(), "{more}: nothing is written");
    }
    let own = with_variations("[[variation]]\nname = \"textures\"\n\n[delivery]\nfolder = \".\"\n").expect("a workshop");
    let run = own.run(&["deliver", JOB, "--variation", "textures"]).expect("runs");
    assert_eq!((run.code, run.err.contains("own")), (Some(2), true), "not even by its name: {}", run.err);
}

#[test]
fn variations_are_made_changed_listed_and_taken_away_by_words() {
    let shop = with_variations("").expect("a workshop");
    let run = |arguments: &[&str]| {
        let run = shop.run(&[&["variation", JOB], arguments, &["--json"]].concat()).expect("runs");
        assert_eq!(run.code, Some(0), "{arguments:?}: {}", run.err);
        run.json().expect("an object")
    };
    let black = run(&["black", "--dye", "#202022"]);
    assert_eq!((&black["new"], &black["dye"]), (&true.into(), &"#202022".into()), "{black}");
    let first = run(&["first act", "--only", "rip-1,sun", "--strength", "0.5", "--strength", "sun=0.25", "--texels", "64"]);
    assert_eq!((&first["strengths"]["sun"], &first["texels"]), (&0.25.into(), &64.into()), "{first}");
    let changed = run(&["first act", "--without", "texels,strength", "--leave-out", "rip-2"]);
    assert_eq!(
        (&changed["new"], &changed["texels"], &changed["strength"]),
        (&false.into(), &().into(), &1.0.into()),
        "{changed}"
    );
    let listed = run(&["--list"]);
    assert_eq!(listed["variations"].as_array().map(Vec::len), Some(2), "{listed}");
    let built = shop.run(&["build", JOB, "--variation", "first act", "-o", "out"]).expect("runs");
    assert_eq!(built.code, Some(0), "{}", built.err);

    // What is taken out of the job, its variations forget; the last that one has is kept from being taken.
    assert_eq!(shop.run(&["place", JOB, "--remove", "rip-2"]).expect("runs").code, Some(0), "rip-2 was only left out");
    assert_eq!(shop.run(&["wear", JOB, "--remove", "sun"]).expect("runs").code, Some(0), "rip-1 is left to the first act");
    let act = run(&["--list"])["variations"][1].clone();
    assert_eq!((&act["only"], &act["leave_out"]), (&serde_json::json!(["rip-1"]), &serde_json::json!([])), "{act}");
    let last = shop.run(&["place", JOB, "--remove", "rip-1"]).expect("runs");
    assert_eq!(last.code, Some(2), "without it the first act would mean everything: {}", last.err);
    assert!(last.err.contains("rip-1"), "{}", last.err);
    run(&["first act", "--remove"]);
    assert_eq!(shop.run(&["place", JOB, "--remove", "rip-1"]).expect("runs").code, Some(0), "now nothing needs it");
    assert_eq!(run(&["--list"])["variations"].as_array().map(Vec::len), Some(1), "black is left");
}

#[test]
fn wrong_words_about_variations_change_nothing() {
    let shop = with_variations("").expect("a workshop");
    let before = shop.files().expect("files");
    for (arguments, says) in [
        (&["black", "--dye", "black"][..], "no colour"),
        (&["new", "--only", "rip-9"], "rip-9"),
        (&["new", "--strength", "2"], "0 to 1"),
        (&["new", "--strength", "rip-1=x"], "0 to 1"),
        (&["new", "--without", "size"], "'size'"),
        (&["a/b", "--texels", "64"], "folder"),
        (&["new", "--texels", "0"], "from 16"),
        (&["moon", "--remove"], "moon"),
        (&[], "NAME"),
    ] {
        let run = shop.run(&[&["variation", JOB], arguments].concat()).expect("runs");
        assert_eq!(run.code, Some(2), "{arguments:?}: {}", run.err);
        assert!(run.err.contains(says), "{arguments:?}: {}", run.err);
    }
    assert!(shop.files().expect("files") == before, "nothing was changed");
}
