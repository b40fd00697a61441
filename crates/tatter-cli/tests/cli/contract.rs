//! Exit codes, and what goes to stdout and stderr (design.md, section 5).
#![expect(clippy::disallowed_methods, reason = "a test of the command line needs a scratch folder")]

use tatter_core::image::{Layout, Samples, Stored};
use tatter_files::limits::Limits;
use tatter_files::picture::{Effort, PictureFormat, encode, read_stored};

use crate::workshop::{Workshop, cut_short, has_keys};

/// One request that is wrong: arguments, exit code, words of the error.
type Wrong<'a> = (&'a [&'a str], i32, &'a str);

const WRONG: &[Wrong<'_>] = &[
    (&["measure", "nowhere.png"], 3, "nowhere.png"),
    (&["measure", "smock.glb"], 3, "no picture"),
    (&["measure", "textures"], 3, "a folder, not a picture"),
    (&["cut", "textures", "-o", "new.patch"], 3, "a folder, not a picture"),
    (&["cut", "nowhere.png", "-o", "new.patch"], 3, "nowhere.png"),
    (&["cut", "textures/canvas_normal.png", "-o", "new"], 2, "NAME.patch"),
    (&["garment", "nowhere.glb"], 3, "nowhere.glb"),
    (&["garment", "rip.patch/patch.toml"], 3, "patch.toml"),
    (&["garment", "smock.glb", "-o", "smock.tatter.toml"], 2, "there is a job already"),
    (&["place", "nowhere.tatter.toml", "--list"], 2, "nowhere.tatter.toml"),
    (&["place", "smock.tatter.toml", "--patch", "textures", "--at", "0.2,0.2"], 3, "patch.toml"),
    (&["place", "smock.tatter.toml", "--patch", "rip.patch"], 2, "no place was given"),
    (&["place", "smock.tatter.toml", "--patch", "rip.patch", "--on", "canvas"], 2, "PART:U,V"),
    (&["place", "smock.tatter.toml", "--patch", "rip.patch", "--at", "0.2,0.2", "--grade", "gamma=2"], 2, "gamma=2"),
    (&["match", "nowhere.tatter.toml", "rip-1", "--match", "fit"], 2, "nowhere.tatter.toml"),
    (&["match", "smock.tatter.toml", "rip-1", "--match", "fit"], 2, "rip-1"),
    (&["match", "smock.tatter.toml", "rip-1"], 2, "nothing to change"),
    (&["place", "smock.tatter.toml", "--patch", "rip.patch", "--point", "9,9,9"], 2, "mm off the cloth"),
    (&["place", "smock.tatter.toml", "--patch", "rip.patch", "--at", "0.2,0.2", "--size-mm", "90000"], 2, "from end to end"),
    (&["place", "smock.tatter.toml", "--patch", "rip.patch", "--at", "0.2,0.2", "--size-mm", "0.01"], 2, "can be seen"),
    (&["weave", "canvas", "-o", "new.patch", "--texels", "256", "--damage", "rip:at=500/500"], 2, "off the cloth"),
    (&["weave", "canvas", "-o", "new.patch", "--ends-per-cm", "-3"], 2, "is -3"),
    (&["build", "nowhere.tatter.toml"], 2, "nowhere.tatter.toml"),
    (&["proof", "nowhere.tatter.toml", "-o", "proof.png"], 2, "nowhere.tatter.toml"),
    (&["deliver", "nowhere.tatter.toml"], 2, "nowhere.tatter.toml"),
    (&["deliver", "smock.tatter.toml", "--undo"], 2, "nothing was delivered"),
    (&["check", "nowhere.patch"], 3, "nowhere.patch"),
    (&["check", "nowhere"], 3, "nowhere"),
    (&["demo", "textures"], 2, "not empty"),
];

#[test]
fn a_wrong_request_gets_one_sentence_the_way_out_and_its_exit_code() {
    let shop = Workshop::with_job().expect("a workshop");
    let before = shop.files().expect("files");
    for (arguments, code, words) in WRONG {
        let run = shop.run(arguments).expect("runs");
        assert_eq!((run.code, run.out.as_str()), (Some(*code), ""), "{arguments:?}: {}", run.err);
        let lines: Vec<&str> = run.err.lines().collect();
        assert_eq!(lines.len(), 2, "{arguments:?}: what, and what next: {}", run.err);
        assert!(lines[0].starts_with("tatter: ") && lines[0].contains(words), "{arguments:?}: {}", run.err);
        let next = lines[1].trim_start();
        assert!(next.starts_with(|c: char| c.is_uppercase()) && !next.ends_with('.'), "{arguments:?}: {next}");
        assert!(!run.err.contains("\x1b["), "no colours off a terminal");
        let with_json = shop.run(&[arguments, &["--json"][..]].concat()).expect("runs");
        assert_eq!(with_json.code, Some(*code), "{arguments:?} with --json");
        assert!(has_keys(&with_json.json().expect("an object"), &["error", "next"]), "{arguments:?}: {}", with_json.out);
        assert_eq!(with_json.err, run.err, "people read the same");
    }
    let after = shop.files().expect("files");
    // Waiting for its turn, an undo leaves an empty lock file.
    let new: Vec<_> = after.keys().filter(|path| !before.contains_key(*path) && !path.ends_with("smock.tatter/lock")).collect();
    assert!(new.is_empty(), "nothing is left behind: {new:?}");
    assert!(before.iter().all(|(path, bytes)| after.get(path) == Some(bytes)), "nothing was changed");
}

#[test]
fn arguments_that_mean_nothing_are_exit_code_2_with_usage() {
    let shop = Workshop::new().expect("a workshop");
    for arguments in [
        &["paint"][..],
        &[],
        &["cut"],
        &["cut", "a.png", "-o", "a.patch", "--around", "1,2"],
        &["cut", "a.png", "-o", "a.patch", "--width-mm", "5", "--mm-per-pixel", "1"],
        &["cut", "a.png", "-o", "a.patch", "--around", "10,10,-4"],
        &["place", "a.tatter.toml"],
        &["place", "a.tatter.toml", "--patch", "a.patch", "--at", "0.1,0.1", "--preview", "look.jpg"],
        &["weave", "canvas", "-o", "a.patch", "--photo", "a.tif"],
        &["place", "a.tatter.toml", "--patch", "a.patch", "--at", "0.1,nan"],
        &["place", "a.tatter.toml", "--patch", "a.patch", "--at", "0.1,0.1", "--size-mm", "0"],
        &["place", "a.tatter.toml", "--patch", "a.patch", "--at", "0.1,0.1", "--turn", "nan"],
        &["match", "a.tatter.toml", "--match", "fit"],
        &["match", "a.tatter.toml", "rip-1", "--match", "paint"],
        &["match", "a.tatter.toml", "rip-1", "--match-strength", "-0.5"],
        &["garment", "a.glb", "--mm-per-unit", "-1"],
        &["cut", "a.png", "-o", "a.patch", "--width-mm", "1e30"],
        &["cut", "a.png", "-o", "a.patch", "--canvas", "100000000"],
        &["deliver", "a.tatter.toml", "--undo", "--adopt"],
        &["cut", "a.png", "-o", "a.patch", "--ruler", "4,4,4,4,50"],
        &["cut", "a.png", "-o", "a.patch", "--ruler", "4,4,9,4,0"],
        &["scatter", "a.tatter.toml", "--patch", "a.patch", "--count", "-1"],
        &["weave", "canvas", "-o", "a.patch", "--texels", "1.5"],
        &["proof", "a.tatter.toml"],
        &["proof", "a.tatter.toml", "-o", "a.png", "--size", "800x"],
        &["proof", "a.tatter.toml", "-o", "a.png", "--size", "99999"],
        &["proof", "a.tatter.toml", "-o", "a.png", "--turntable", "1"],
        &["proof", "a.tatter.toml", "-o", "a.png", "--samples", "0"],
    ] {
        let run = shop.run(arguments).expect("runs");
        assert_eq!((run.code, run.out.as_str()), (Some(2), ""), "{arguments:?}: {}", run.err);
        assert!(run.err.contains("tatter") || run.err.contains("--help"), "{arguments:?}: {}", run.err);
        let run = shop.run(&[arguments, &["--json"]].concat()).expect("runs");
        assert!(has_keys(&run.json().expect("an object"), &["error", "next"]), "{arguments:?}: {}", run.out);
    }
}

#[test]
fn help_has_an_example_and_goes_to_stdout() {
    let shop = Workshop::new().expect("a workshop");
    let verbs = [
        "demo",
        "cut",
        "measure",
        "garment",
        "place",
        "scatter",
        "wear",
        "match",
        "build",
        "deliver",
        "proof",
        "check",
        "completions",
        "man",
    ];
    for verb in verbs {
        let run = shop.run(&[verb, "--help"]).expect("runs");
        assert_eq!((run.code, run.err.as_str()), (Some(0), ""), "{verb}");
        assert!(run.out.contains("Example: tatter"), "{verb}: {}", run.out);
    }
    let run = shop.run(&["--help"]).expect("runs");
    assert!(verbs.iter().all(|verb| run.out.contains(verb)), "{}", run.out);
    assert!(shop.run(&["--version"]).expect("runs").out.starts_with("tatter 0."), "a version");
}

#[test]
fn notes_go_to_stderr_and_progress_is_quiet_in_a_pipe() {
    let shop = Workshop::new().expect("a workshop");
    let run = shop.run(&["garment", "textures"]).expect("runs");
    assert_eq!(run.code, Some(0), "{}", run.err);
    assert!(run.err.starts_with("note: ") && run.err.contains("assumed"), "the guess is said: {}", run.err);
    assert!(!run.err.contains('\r') && !run.out.contains("note:"), "no progress, and the result alone: {}", run.err);
    assert!(run.out.contains("canvas_height.png") && run.out.contains("16 bits"), "{}", run.out);
}

#[test]
fn a_photo_that_is_transparent_in_places_is_cut_and_says_so() {
    let shop = Workshop::new().expect("a workshop");
    shop.shoot("canvas.png", 256).expect("a photo");
    let opaque = read_stored(&shop.path("canvas.png"), &Limits::default()).expect("a photo");
    let mut clear = Stored::zeros(opaque.size, Layout::Rgba, &opaque.samples);
    for (y, x) in (0..256).flat_map(|y| (0..256).map(move |x| (y, x))) {
        (0..3).for_each(|c| clear.set_value(x, y, c, opaque.value(x, y, c)));
        clear.set_value(x, y, 3, if x + y < 60 { 0.0 } else { 1.0 });
    }
    let bytes = encode(&clear, PictureFormat::Png, Effort::Fast).expect("a PNG");
    std::fs::write(shop.path("clear.png"), bytes).expect("written");
    for (photo, said) in [("canvas.png", false), ("clear.png", true)] {
        let run = shop.run(&["cut", photo, "-o", "new.patch"]).expect("runs");
        assert_eq!((run.code, run.err.contains("transparent")), (Some(0), said), "{photo}: {}", run.err);
    }
}

/// A photo of cloth all over has no backing: whoever says that it is a piece is told.
#[test]
fn a_piece_told_where_cloth_fills_the_photo_is_warned_of() {
    let shop = Workshop::new().expect("a workshop");
    shop.shoot("canvas.png", 256).expect("a photo");
    for (more, said) in [(&[][..], false), (&["--subject", "damage"], false), (&["--subject", "piece"], true)] {
        let run = shop.run(&[&["cut", "canvas.png", "-o", "new.patch"], more].concat()).expect("runs");
        assert_eq!((run.code, run.err.contains("A piece was told")), (Some(0), said), "{more:?}: {}", run.err);
    }
}

/// Light of 0.4 micrometres resolves no 0.1 (Abbe's limit); at 10 mm a pixel no thread is seen (common practice, no source).
#[test]
fn a_scale_that_no_photo_of_cloth_has_is_refused() {
    let shop = Workshop::new().expect("a workshop");
    shop.shoot("canvas.png", 256).expect("a photo");
    for told in [["--width-mm", "0.0001"], ["--width-mm", "9000"], ["--mm-per-pixel", "50"], ["--ruler", "10,10,20,10,2000"]] {
        let run = shop.run(&[&["cut", "canvas.png", "-o", "new.patch"], &told[..]].concat()).expect("runs");
        assert_eq!((run.code, run.err.contains("by the scale told a pixel is")), (Some(2), true), "{told:?}: {}", run.err);
        assert!(!shop.path("new.patch").exists(), "{told:?}: nothing is left behind");
    }
}

#[test]
fn a_float_photo_says_which_pixels_are_no_numbers() {
    let shop = Workshop::new().expect("a workshop");
    shop.shoot("canvas.png", 256).expect("a photo");
    let canvas = read_stored(&shop.path("canvas.png"), &Limits::default()).expect("a photo");
    for (name, unread, code, said) in
        [("some.exr", 5, 0, "5 pixels of the photo some.exr"), ("all.exr", 256, 3, "every pixel of it")]
    {
        let mut photo = Stored::zeros(canvas.size, Layout::Rgb, &Samples::F32(Vec::new()));
        for (y, x) in (0..256).flat_map(|y| (0..256).map(move |x| (y, x))) {
            let lost = x < unread && (y == 0 || unread == 256);
            (0..3).for_each(|c| {
                photo.set_value(x, y, c, if lost { [f32::NAN, f32::INFINITY][x % 2] } else { canvas.value(x, y, c) });
            });
        }
        std::fs::write(shop.path(name), encode(&photo, PictureFormat::Exr, Effort::Fast).expect("an EXR")).expect("written");
        let run = shop.run(&["cut", name, "-o", "new.patch"]).expect("runs");
        assert_eq!((run.code, run.err.contains(said)), (Some(code), true), "{name}: {}", run.err);
    }
}

#[test]
fn a_damaged_photo_leaves_nothing_behind() {
    let shop = Workshop::new().expect("a workshop");
    shop.shoot("canvas.png", 64).expect("a photo");
    cut_short(&shop.path("canvas.png")).expect("cut short");
    let before = shop.files().expect("files");
    for arguments in [&["cut", "canvas.png", "-o", "new.patch"][..], &["measure", "canvas.png"]] {
        let run = shop.run(arguments).expect("runs");
        assert_eq!(run.code, Some(3), "{arguments:?}: {}", run.err);
        assert!(run.err.contains("damaged") && run.err.lines().count() == 2, "{arguments:?}: {}", run.err);
    }
    assert_eq!(shop.files().expect("files"), before, "no folder, no temporary file");
}

#[test]
fn a_mistake_in_the_job_file_is_told_with_its_line() {
    let shop = Workshop::with_job().expect("a workshop");
    let job = shop.path("smock.tatter.toml");
    let text = std::fs::read_to_string(&job).expect("a job");
    let line = text.lines().count() + 2;
    std::fs::write(&job, format!("{text}\n[delivry]\n")).expect("edited");
    let run = shop.run(&["build", "smock.tatter.toml"]).expect("runs");
    assert_eq!(run.code, Some(2), "{}", run.err);
    let said = run.err.contains(&format!("line {line}")) && run.err.contains("delivry") && run.err.contains("delivery");
    assert!(said, "line, key and the nearest one: {}", run.err);
}

#[cfg(unix)]
#[test]
fn a_disk_that_refuses_is_exit_code_4() {
    let shop = Workshop::with_job().expect("a workshop");
    let place = ["place", "smock.tatter.toml", "--patch", "rip.patch", "--at", "0.25,0.25"];
    assert_eq!(shop.run(&place).expect("runs").code, Some(0), "placed");
    // A file stands where the folder should be made: refused for everybody, the administrator too.
    std::fs::write(shop.path("taken"), b"").expect("written");
    let run = shop.run(&["build", "smock.tatter.toml", "-o", "taken/built"]).expect("runs");
    assert_eq!((run.code, run.out.as_str()), (Some(4), ""), "{}", run.err);
    assert!(run.err.contains("taken/built") && run.err.lines().count() == 2, "{}", run.err);
}
