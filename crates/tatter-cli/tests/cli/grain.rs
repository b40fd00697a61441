//! `tatter grain`: arrows set, listed, forgotten; what lies turned by them; what is refused.
#![expect(clippy::disallowed_methods, reason = "a test of the command line needs a scratch folder")]

use crate::workshop::Workshop;
use serde_json::json;

const JOB: &str = "smock.tatter.toml";

#[test]
fn an_arrow_turns_what_lies_on_its_island() {
    let shop = Workshop::with_job().expect("a workshop");
    let place = ["place", JOB, "--patch", "rip.patch", "--at", "0.25,0.25", "--turn"];
    assert_eq!(shop.run(&[&place[..], &["30"]].concat()).expect("runs").code, Some(0), "placed with a turn");
    let built = |what: &str| {
        let run = shop.run(&["build", JOB, "-o", what]).expect("runs");
        assert_eq!(run.code, Some(0), "{what}: {}", run.err);
        let files = std::fs::read_dir(shop.path(what)).expect("a folder").map(|entry| {
            let path = entry.expect("a file").path();
            (path.file_name().map(std::ffi::OsStr::to_owned), std::fs::read(path).expect("a texture"))
        });
        let files: std::collections::BTreeMap<_, _> = files.collect();
        assert!(files.len() >= 3, "{what}: {:?}", files.keys());
        files
    };
    let turned = built("a-turned-placement");
    shop.run(&["place", JOB, "--remove", "rip-1"]).expect("runs");
    shop.run(&[&place[..], &["0"]].concat()).expect("runs");
    assert!(built("a-straight-placement") != turned, "the turn shows");

    let run = shop.run(&["grain", JOB, "--at", "0.3,0.3", "--turn", "30", "--json"]).expect("runs");
    let told = run.json().expect("an object");
    assert_eq!(run.code, Some(0), "{}", run.err);
    let entry = json!({
        "at": [0.3, 0.3], "part": null, "turn_deg": 30.0, "source": "arrow", "ends_per_cm": null, "picks_per_cm": null,
        "weave": null,
    });
    assert_eq!(told["grain"], json!([entry]), "as told");
    let by = told["turned"][0]["by_deg"].as_f64().unwrap_or_default();
    assert!(told["turned"][0]["id"] == "rip-1" && (by - 30.0).abs() < 0.01, "what turns is said: {}", told["turned"]);
    assert!(built("along-the-grain") == turned, "a turn of 0 along a grain of 30 is a turn of 30");

    let listed = shop.run(&["grain", JOB, "--list", "--json"]).expect("runs").json().expect("an object");
    assert_eq!(listed["grain"], json!([entry]), "and listed");
    // Metres of the panel: one UV unit is 1 m both ways, so an arrow up and left by the same is 45 degrees counter-clockwise.
    let run = shop.run(&["grain", JOB, "--arrow", "0.3,0.3,0.2,0.2", "--json"]).expect("runs");
    let told = run.json().expect("an object");
    assert_eq!(told["grain"].as_array().map(Vec::len), Some(1), "the island has one grain: {}", told["grain"]);
    assert_eq!(told["grain"][0]["turn_deg"], 45.0, "an arrow up and left");
    let text = shop.run(&["grain", JOB, "--list"]).expect("runs").out;
    assert!(text.contains("0.3000,0.3000") && text.contains("45.0°") && text.contains("arrow"), "for people: {text}");

    let run = shop.run(&["grain", JOB, "--forget", "0.1,0.1", "--json"]).expect("runs");
    let told = run.json().expect("an object");
    assert_eq!((run.code, &told["grain"]), (Some(0), &json!([])), "forgotten by any place of the island");
    let by = told["turned"][0]["by_deg"].as_f64().unwrap_or_default();
    assert!((by + 45.0).abs() < 0.01, "and turned back: {by}");
    let job = std::fs::read_to_string(shop.path(JOB)).expect("a job");
    assert!(!job.contains("grain"), "nothing is left in the file: {job}");
}

#[test]
fn cloth_without_threads_is_told_and_changes_nothing() {
    let shop = Workshop::with_job().expect("a workshop");
    let before = shop.files().expect("files");
    let run = shop.run(&["grain", JOB, "--json"]).expect("runs");
    let told = run.json().expect("an object");
    assert_eq!(run.code, Some(0), "{}", run.err);
    let why = |n: usize| told["islands"][n]["why"].as_str().unwrap_or_default().to_owned();
    assert!(why(0).contains("128 texels"), "the panel is 128 texels wide: {}", told["islands"]);
    assert!(why(1).contains("neither base colour"), "the lining has none: {}", told["islands"]);
    assert_eq!((&told["grain"], &told["turned"]), (&json!([]), &json!([])), "nothing is known, nothing turns");
    assert_eq!(shop.files().expect("files"), before, "the job is as it was");
    let text = shop.run(&["grain", JOB]).expect("runs").out;
    assert!(text.contains("0 of 2 islands") && text.contains("canvas:"), "for people: {text}");
}

#[test]
fn what_means_nothing_is_refused() {
    let shop = Workshop::with_job().expect("a workshop");
    let before = shop.files().expect("files");
    let cases: [(&[&str], &str); 8] = [
        (&["--at", "0.7,0.2", "--turn", "5"], "no cloth lies at"),
        (&["--at", "0.2,0.2"], "--turn"),
        (&["--arrow", "0.2,0.2,0.2,0.2"], "has no length"),
        (&["--arrow", "0.2,0.2,0.7,0.7"], "leaves its island"),
        (&["--at", "0.2,0.2", "--turn", "5", "--part", "sleeve"], "no part called 'sleeve'"),
        (&["--forget", "0.2,0.2"], "no grain is known"),
        (&["--forget", "none"], "U,V or all"),
        (&["--part", "canvas"], "--part alone"),
    ];
    for (more, said) in cases {
        let run = shop.run(&[&["grain", JOB], more].concat()).expect("runs");
        assert_eq!(run.code, Some(2), "{more:?}: {}", run.err);
        assert!(run.err.contains(said), "{more:?}: {}", run.err);
    }
    assert_eq!(shop.files().expect("files"), before, "nothing was written");
    let mut job = std::fs::read_to_string(shop.path(JOB)).expect("a job");
    job += "\n[[garment.grain]]\nat = [0.7, 0.2]\nturn_deg = 5\n";
    std::fs::write(shop.path(JOB), job).expect("writes");
    let run = shop.run(&["check", JOB, "--json"]).expect("runs");
    assert!(run.out.contains("grain-nowhere"), "an entry off the cloth is a fault: {}", run.out);
}
