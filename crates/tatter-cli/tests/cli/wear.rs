//! `tatter wear`: marks in the job, what they do to the textures, what is refused.

#![expect(clippy::disallowed_methods, reason = "a test of the command line needs a scratch folder")]

use serde_json::json;

use crate::workshop::Workshop;

const JOB: &str = "smock.tatter.toml";

#[test]
fn wear_is_made_changed_listed_built_delivered_and_taken_away() {
    let shop = Workshop::with_job().expect("a workshop");
    let run = |arguments: &[&str]| {
        let run = shop.run(&[arguments, &["--json"]].concat()).expect("runs");
        assert_eq!(run.code, Some(0), "{arguments:?}: {}", run.err);
        run.json().expect("an object")
    };
    let clean = shop.textures().expect("textures");
    let made = run(&["wear", JOB, "abrasion", "--edges-mm", "60", "--strength", "0.9", "--only", "canvas"]);
    assert_eq!(made["id"], "abrasion", "{made}");
    assert_eq!(run(&["wear", JOB, "grime", "--id", "mud", "--color", "#504030"])["id"], "mud");
    let textures = shop.textures().expect("textures");
    run(&["wear", JOB, "--change", "mud", "--preview", "mud.png"]);
    let picture =
        tatter_files::picture::read_stored(&shop.path("mud.png"), &tatter_files::limits::Limits::default()).expect("reads");
    assert!(picture.size.width > 400 && picture.size.height > 900, "pairs of views: {:?}", picture.size);
    assert!(shop.textures().expect("textures") == textures, "a look changes nothing");
    let list = run(&["wear", JOB, "--list"]);
    assert_eq!(list["wear"][0], json!({ "id": "abrasion", "kind": "abrasion", "strength": 0.9, "seed": 1 }), "{list}");
    let both = run(&["build", JOB]);
    let texels = |built: &serde_json::Value| built["files"][0]["texels_changed"].as_u64().unwrap_or_default();
    assert!(texels(&both) > 1000, "worn: {both}");
    assert_eq!(both["wear"][1]["id"], "mud", "both are told: {both}");
    run(&["wear", JOB, "--change", "mud", "--strength", "0"]);
    let edges = run(&["build", JOB]);
    assert!(texels(&edges) < texels(&both), "the edges alone are less: {} of {}", texels(&edges), texels(&both));
    run(&["wear", JOB, "--change", "abrasion", "--without", "edges,only"]);
    assert!(texels(&run(&["build", JOB])) > texels(&edges), "bound to nothing it is everywhere");

    run(&["deliver", JOB]);
    assert!(shop.textures().expect("textures") != clean, "delivered");
    run(&["wear", JOB, "--remove", "abrasion"]);
    run(&["wear", JOB, "--remove", "mud"]);
    run(&["deliver", JOB]);
    assert!(shop.textures().expect("textures") == clean, "without wear the cloth is as it was, to the bit");
}

#[test]
fn mistakes_are_said_and_change_nothing() {
    let shop = Workshop::with_job().expect("a workshop");
    assert_eq!(shop.run(&["wear", JOB, "fade", "--id", "sun"]).expect("runs").code, Some(0), "one mark");
    let before = shop.files().expect("files");
    for (arguments, says) in [
        (&["fade", "--only", "sleve"][..], "sleve"),
        (&["crease"], "everywhere"),
        (&["fade", "--along", "0.2,0.2"], "breadth"),
        (&["fade", "--along", "0.7,0.2", "--spread-mm", "4"], "no cloth lies"),
        (&["fade", "--strength", "3"], "0 to 1"),
        (&["fade", "--id", "sun"], "already"),
        (&["fade", "--fibre", "white"], "no colour"),
        (&["fade", "--height", "0,4"], "shares"),
        (&["--change", "moon"], "moon"),
        (&["--change", "sun", "--preview", "look.jpg"], "ends in .png"),
        (&["--change", "sun", "--without", "colour"], "'colour'"),
        (&["--remove", "moon"], "moon"),
        (&[], "KIND"),
    ] {
        let run = shop.run(&[&["wear", JOB], arguments].concat()).expect("runs");
        assert_eq!(run.code, Some(2), "{arguments:?}: {}", run.err);
        assert!(run.err.contains(says), "{arguments:?}: {}", run.err);
    }
    assert!(shop.files().expect("files") == before, "nothing was written");
}

#[test]
fn check_finds_wear_that_lies_nowhere_and_sizes_that_do_not_fit() {
    let shop = Workshop::with_job().expect("a workshop");
    let more = "[[wear]]\nid = \"sun\"\nkind = \"fade\"\nstrength = 0\nonly = \"collar\"\n\n[[variation]]\nname = \"crowd\"\ntexels = 100\n";
    let text = std::fs::read_to_string(shop.path(JOB)).expect("the job");
    std::fs::write(shop.path(JOB), format!("{text}\n{more}")).expect("the job");
    let run = shop.run(&["check", JOB, "--json"]).expect("runs");
    assert_eq!(run.code, Some(1), "{}", run.err);
    for code in ["wear-nowhere", "wear-nothing", "texels-unfit"] {
        assert!(run.out.contains(code), "{code} in {}", run.out);
    }
}
