//! The whole job by command line: cut, garment, place, build, deliver, undo; every verb's object for machines.
#![expect(clippy::disallowed_methods, reason = "a test of the command line needs a scratch folder")]

use serde_json::Value;

use crate::workshop::{Workshop, cut_short, has_keys};

/// Keys of the machine contract (design.md, section 5).
const CUT_KEYS: [&str; 15] = [
    "patch",
    "subject",
    "texels",
    "size_mm",
    "mm_per_texel",
    "scale_source",
    "grain_deg",
    "ends_per_cm",
    "picks_per_cm",
    "photo_from_patch",
    "maps",
    "height_range_mm",
    "seconds",
    "warnings",
    "why",
];

/// What is missing is a fault among others, all of it at once, not an end at the first.
#[test]
fn a_check_names_every_missing_file() {
    let shop = Workshop::with_job().expect("a workshop");
    let run = shop.run(&["place", "smock.tatter.toml", "--patch", "rip.patch", "--at", "0.25,0.25"]).expect("runs");
    assert_eq!(run.code, Some(0), "{}", run.err);
    let texture = shop.textures().expect("textures").into_keys().next().expect("one");
    std::fs::remove_file(shop.path(&texture.to_string_lossy())).expect("removed");
    std::fs::remove_dir_all(shop.path("rip.patch")).expect("removed");
    let run = shop.run(&["check", "smock.tatter.toml", "--json"]).expect("runs");
    assert_eq!(run.code, Some(1), "faults were found: {}", run.err);
    let told = run.json().expect("an object");
    let faults = told["faults"].as_array().expect("a list");
    let all = |code: &str| faults.iter().all(|fault| fault["code"] == code);
    assert!(faults.len() == 2 && all("file-missing"), "{told}");
    let named = |path: &str| faults.iter().any(|fault| fault["where"].as_str().is_some_and(|place| place.contains(path)));
    assert!(named("rip.patch") && named(&texture.to_string_lossy()), "{told}");
}

#[test]
fn a_photo_becomes_a_delivered_garment_and_is_taken_back() {
    let shop = Workshop::with_job().expect("a workshop");
    let before = shop.textures().expect("textures");
    let width = shop.shoot("rope-burn.png", 256).expect("a photo").get();
    let run =
        shop.run(&["cut", "rope-burn.png", "-o", "rope-burn.patch", "--width-mm", &width.to_string(), "--json"]).expect("runs");
    assert_eq!(run.code, Some(0), "{}", run.err);
    let cut = run.json().expect("an object");
    assert!(has_keys(&cut, &CUT_KEYS), "{cut}");
    assert_eq!(cut["subject"], "damage", "torn cloth fills the photo");
    assert_eq!(cut["scale_source"], "width", "as told");
    // The photo's own scale: its width over its pixels.
    let scale = cut["mm_per_texel"].as_f64().expect("a number");
    assert!((scale - 0.16).abs() < 0.002, "{scale} mm per texel of a canvas that is not resampled");
    for file in ["patch.toml", "cover.png", "base_color.png", "height.png", "normal.png", "opacity.png", "thumb.png", "sheet.png"]
    {
        assert!(shop.path("rope-burn.patch").join(file).is_file(), "{file} is in the patch");
    }
    for (channel, map) in cut["maps"].as_object().expect("an object") {
        assert_eq!(map["file"], format!("{channel}.png"), "named by its channel");
        assert!(["measured", "derived", "estimated"].contains(&map["kind"].as_str().unwrap_or_default()), "{channel}: {map}");
    }

    let place = ["place", "smock.tatter.toml", "--patch", "rope-burn.patch", "--at", "0.25,0.25", "--size-mm", "150", "--json"];
    let run = shop.run(&place).expect("runs");
    assert_eq!(run.json().expect("an object")["id"], "rope-burn-1", "{}", run.err);

    let run = shop.run(&["build", "smock.tatter.toml", "--json"]).expect("runs");
    assert_eq!(run.code, Some(0), "{}", run.err);
    let built = run.json().expect("an object");
    let files = built["files"].as_array().expect("a list").clone();
    assert_eq!(files.len(), 5, "one each texture");
    assert!(files.iter().all(|file| has_keys(file, &["path", "channel", "texels_changed", "bytes"])), "{built}");
    // Whether so small a photo shows an opening is a matter for the tests of cut.
    let touched = |file: &Value| file["channel"] == "opacity" || file["texels_changed"].as_u64() > Some(0);
    assert!(files.iter().all(touched), "all are touched: {built}");
    assert_eq!(shop.textures().expect("textures"), before, "a build leaves the garment's files alone");

    let run = shop.run(&["deliver", "smock.tatter.toml", "--json"]).expect("runs");
    assert_eq!(run.code, Some(0), "{}", run.err);
    let delivered = run.json().expect("an object");
    let color = &delivered["files"][0];
    assert_eq!((&color["channel"], &color["outcome"]), (&"base_color".into(), &"written".into()), "{delivered}");
    for file in files.iter().filter(|file| file["texels_changed"] != 0) {
        let built = shop.path(file["path"].as_str().expect("a path"));
        let target = shop.path("textures").join(built.file_name().expect("a name"));
        assert_eq!(
            std::fs::read(&target).expect("there"),
            std::fs::read(&built).expect("built"),
            "{} is what was built",
            target.display()
        );
    }

    let again = shop.run(&["deliver", "smock.tatter.toml", "--json"]).expect("runs").json().expect("an object");
    assert!(again["files"].as_array().is_some_and(|files| files.iter().all(|file| file["outcome"] == "unchanged")), "{again}");
    let run = shop.run(&["deliver", "smock.tatter.toml", "--undo", "--json"]).expect("runs");
    assert_eq!((run.code, &run.json().expect("an object")["undone"]), (Some(0), &true.into()), "{}", run.err);
    assert_eq!(shop.textures().expect("textures"), before, "every bit is back");
    let run = shop.run(&["deliver", "smock.tatter.toml", "--undo"]).expect("runs");
    assert_eq!((run.code, run.out.as_str()), (Some(2), ""), "nothing is left to undo: {}", run.err);
}

#[test]
fn a_texture_changed_by_somebody_else_stops_the_delivery() {
    let shop = Workshop::with_job().expect("a workshop");
    let place = ["place", "smock.tatter.toml", "--patch", "rip.patch", "--at", "0.25,0.25"];
    assert_eq!(shop.run(&place).expect("runs").code, Some(0), "placed");
    assert_eq!(shop.run(&["build", "smock.tatter.toml"]).expect("runs").code, Some(0), "pristine is kept");
    let color = shop.path("textures/canvas_base_color.png");
    std::fs::copy(shop.path("textures/canvas_normal.png"), &color).expect("somebody paints");
    let before = shop.textures().expect("textures");
    let run = shop.run(&["deliver", "smock.tatter.toml", "--json"]).expect("runs");
    assert_eq!(run.code, Some(2), "{}", run.err);
    assert!(run.err.contains("canvas_base_color.png") && run.err.contains("--adopt"), "which, and the way out: {}", run.err);
    assert!(has_keys(&run.json().expect("an object"), &["error", "next"]), "{}", run.out);
    assert_eq!(shop.textures().expect("textures"), before, "none is written");
    let run = shop.run(&["deliver", "smock.tatter.toml", "--leave", "--json"]).expect("runs");
    let files = run.json().expect("an object")["files"].as_array().expect("a list").clone();
    let left: Vec<&str> = files.iter().filter(|f| f["outcome"] == "left").filter_map(|f| f["channel"].as_str()).collect();
    assert_eq!((run.code, left), (Some(0), vec!["base_color"]), "the others are delivered: {}", run.err);
}

#[test]
fn a_damaged_texture_is_an_input_that_cannot_be_read() {
    let shop = Workshop::with_job().expect("a workshop");
    let place = ["place", "smock.tatter.toml", "--patch", "rip.patch", "--at", "0.25,0.25"];
    assert_eq!(shop.run(&place).expect("runs").code, Some(0), "placed");
    cut_short(&shop.path("textures/canvas_height.png")).expect("cut short");
    let before = shop.textures().expect("textures");
    for verb in ["build", "deliver", "check"] {
        let run = shop.run(&[verb, "smock.tatter.toml"]).expect("runs");
        assert_eq!((run.code, run.out.as_str()), (Some(3), ""), "{verb}: {}", run.err);
        assert!(run.err.contains("damaged"), "{verb} says what: {}", run.err);
    }
    assert_eq!(shop.textures().expect("textures"), before, "nothing is half written");
}

#[test]
fn every_other_verb_prints_its_object() {
    let shop = Workshop::with_job().expect("a workshop");
    shop.shoot("canvas.png", 128).expect("a photo");
    let object = |arguments: &[&str], code: i32| {
        let run = shop.run(arguments).expect("runs");
        assert_eq!(run.code, Some(code), "{arguments:?}: {}", run.err);
        run.json().expect("one object")
    };
    let keys = ["woven", "ends_per_cm", "picks_per_cm", "ends_per_width", "picks_per_height", "grain_deg", "weft_deg", "weave"];
    let measured = object(&["measure", "canvas.png", "--json"], 0);
    assert!(has_keys(&measured, &keys) && has_keys(&measured, &["twill_deg", "confidence"]), "{measured}");
    assert!(measured["ends_per_cm"].is_null(), "no scale was given");
    let garment = object(&["garment", "smock.glb", "--maps", "textures", "--json"], 0);
    assert_eq!(garment["maps"].as_array().map(Vec::len), Some(5), "{garment}");
    assert!((garment["mm_per_uv"].as_f64().unwrap_or_default() - 1000.0).abs() < 0.1, "half a metre on half a unit: {garment}");
    let checked = object(&["check", "rip.patch", "--json"], 0);
    assert_eq!(checked["faults"].as_array().map(Vec::len), Some(0), "{checked}");
    assert!(has_keys(&object(&["place", "smock.tatter.toml", "--list", "--json"], 0), &["placements"]), "a list");
    assert!(object(&["completions", "bash", "--json"], 0)["script"].as_str().is_some_and(|s| s.contains("tatter")), "a script");
    assert!(object(&["man", "--json"], 0)["page"].as_str().is_some_and(|p| p.contains(".TH")), "a manual");
}

#[test]
fn a_fault_found_is_exit_code_1() {
    let shop = Workshop::new().expect("a workshop");
    // A cover that reaches the canvas edge would be cut off on the garment.
    let cover = shop.path("rip.patch/cover.png");
    std::fs::copy(shop.path("rip.patch/roughness.png"), &cover).expect("copied");
    let run = shop.run(&["check", "rip.patch", "--json"]).expect("runs");
    assert_eq!(run.code, Some(1), "{}", run.err);
    let found = run.json().expect("an object");
    let faults = found["faults"].as_array().expect("a list");
    assert!(!faults.is_empty() && faults.iter().all(|f| has_keys(f, &["code", "where", "what", "remedy"])), "{found}");
}

#[test]
fn a_broken_texture_is_named_and_not_kept() {
    let shop = Workshop::with_job().expect("a workshop");
    let place = ["place", "smock.tatter.toml", "--patch", "rip.patch", "--at", "0.25,0.25"];
    assert_eq!(shop.run(&place).expect("runs").code, Some(0), "placed");
    let job = std::fs::read_to_string(shop.path("smock.tatter.toml")).expect("the job");
    let texture = job.lines().find_map(|line| line.strip_prefix("file = \"")?.strip_suffix('"')).expect("a texture").to_owned();
    let whole = std::fs::read(shop.path(&texture)).expect("the texture");
    std::fs::write(shop.path(&texture), &whole[..whole.len() / 2]).expect("half of it");
    let run = shop.run(&["deliver", "smock.tatter.toml"]).expect("runs");
    assert_eq!(run.code, Some(3), "{}", run.err);
    assert!(run.err.contains(&texture), "the garment's own file is named: {}", run.err);
    std::fs::write(shop.path(&texture), &whole).expect("mended");
    let run = shop.run(&["deliver", "smock.tatter.toml"]).expect("runs");
    assert_eq!(run.code, Some(0), "once mended it is delivered: {}", run.err);
}

#[test]
fn looking_at_a_job_writes_nothing() {
    let shop = Workshop::with_job().expect("a workshop");
    let place = ["place", "smock.tatter.toml", "--patch", "rip.patch", "--at", "0.2,0.2"];
    assert_eq!(shop.run(&place).expect("runs").code, Some(0), "placed");
    let before = shop.files().expect("files");
    let run = shop.run(&["check", "smock.tatter.toml"]).expect("runs");
    assert_eq!(run.code, Some(0), "{}", run.err);
    assert!(shop.files().expect("files") == before, "a check leaves everything as it was");
    let run = shop.run(&["place", "smock.tatter.toml", "--list"]).expect("runs");
    assert_eq!(run.code, Some(0), "{}", run.err);
    assert!(shop.files().expect("files") == before, "so does a list");
}
