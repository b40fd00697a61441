//! `tatter scatter`: what a rule yields, what stays when it is run again, what is refused.
#![expect(clippy::disallowed_methods, reason = "a test of the command line needs a scratch folder")]

use std::collections::BTreeMap;

use crate::workshop::{Tried, Workshop};
use serde_json::{Value, json};

const JOB: &str = "smock.tatter.toml";

/// Placements by id.
fn listed(shop: &Workshop) -> Tried<BTreeMap<String, Value>> {
    let list = shop.run(&["place", JOB, "--list", "--json"])?.json()?;
    let all = list["placements"].as_array().cloned().unwrap_or_default();
    Ok(all.into_iter().map(|p| (p["id"].as_str().unwrap_or_default().to_owned(), p)).collect())
}

fn scatter(shop: &Workshop, more: &[&str]) -> Tried<Value> {
    let run = shop.run(&[&["scatter", JOB], more, &["--json"]].concat())?;
    if run.code == Some(0) { run.json() } else { Err(format!("{:?}: {}", run.code, run.err).into()) }
}

#[test]
fn what_a_person_changed_stays_when_a_rule_runs_again() {
    let shop = Workshop::with_job().expect("a workshop");
    let made = scatter(&shop, &["--patch", "rip.patch", "--count", "6", "--seed", "4", "--scale", "0.2,0.4", "--turn", "-20,20"])
        .expect("six placements");
    assert_eq!(made["ids"].as_array().map(Vec::len), Some(6), "{made}");
    assert_eq!(made["id"], "scatter", "it has a name");
    let before = listed(&shop).expect("a list");
    // One is turned by hand in the file, one is taken away.
    let path = shop.path(JOB);
    let text = std::fs::read_to_string(&path).expect("the job");
    let (head, own) = text.split_once("id = \"scatter-2\"").expect("the second");
    let turned = own.find("turn_deg = ").map(|at| at + "turn_deg = ".len()).expect("its turn");
    let end = own[turned..].find('\n').map_or(own.len(), |n| turned + n);
    std::fs::write(&path, format!("{head}id = \"scatter-2\"{}77{}", &own[..turned], &own[end..])).expect("the job");
    assert_eq!(shop.run(&["place", JOB, "--remove", "scatter-5"]).expect("runs").code, Some(0), "removed");

    let again = scatter(&shop, &["--again", "scatter", "--count", "9"]).expect("more");
    assert_eq!(again["kept"], 1, "the turned one is known: {again}");
    let after = listed(&shop).expect("a list");
    let ids: Vec<&str> = after.keys().map(String::as_str).collect();
    let wanted = ["1", "2", "3", "4", "6", "7", "8", "9"].map(|n| format!("scatter-{n}"));
    assert_eq!(ids, wanted, "the removed one does not come back, three are new");
    assert_eq!(after["scatter-2"]["turn_deg"], 77.0, "the turned one stays turned");
    for id in ["scatter-1", "scatter-3", "scatter-4", "scatter-6"] {
        assert_eq!(after[id], before[id], "{id} stays where it was");
    }
    // A rule changed in the file is run as it stands there.
    let text = std::fs::read_to_string(&path).expect("the job");
    std::fs::write(&path, text.replace("count = 9", "count = 12")).expect("the job");
    let again = scatter(&shop, &["--again", "scatter"]).expect("twelve");
    assert_eq!(again["ids"].as_array().map(Vec::len), Some(11), "three more, the removed one stays away: {again}");
    scatter(&shop, &["--again", "scatter", "--count", "9"]).expect("nine");
    assert_eq!(listed(&shop).expect("a list"), after, "and gone again");
    // Another seed moves what nobody touched.
    scatter(&shop, &["--again", "scatter", "--seed", "5"]).expect("another seed");
    let moved = listed(&shop).expect("a list");
    assert_ne!(moved["scatter-1"]["spot"], after["scatter-1"]["spot"], "moved");
    assert_eq!(moved["scatter-2"], after["scatter-2"], "not moved");
    let gone = scatter(&shop, &["--remove", "scatter"]).expect("removed");
    assert_eq!(gone["ids"], json!(["scatter-2"]), "what a person made theirs stays");
    assert_eq!(listed(&shop).expect("a list").len(), 1, "the rest is gone");
    let list = scatter(&shop, &["--list"]).expect("a list");
    assert_eq!(list["scatters"], json!([]), "and the rule with it");
}

#[test]
fn a_scattered_job_builds() {
    let shop = Workshop::with_job().expect("a workshop");
    scatter(&shop, &["--patch", "rip.patch:2", "--count", "3", "--scale", "0.3,0.3", "--only", "canvas", "--margin-mm", "4"])
        .expect("three placements");
    for placement in listed(&shop).expect("a list").values() {
        assert_eq!(placement["spot"]["part"], "canvas", "{placement}");
    }
    let run = shop.run(&["build", JOB, "--json"]).expect("runs");
    assert_eq!(run.code, Some(0), "{}", run.err);
    let changed = run.json().expect("an object")["files"][0]["texels_changed"].as_u64();
    assert!(changed > Some(20), "texels changed: {changed:?}");
}

#[test]
fn mistakes_are_said_and_change_nothing() {
    let shop = Workshop::with_job().expect("a workshop");
    let before = shop.files().expect("files");
    for (arguments, says) in [
        (&["--again", "moths"][..], "moths"),
        (&["--patch", "rip.patch", "--count", "3", "--only", "sleve"], "sleve"),
        (&["--patch", "rip.patch", "--count", "3", "--scale", "2,1"], "--scale"),
        (&["--patch", "rip.patch", "--count", "3", "--height", "0,4"], "--height"),
        (&["--patch", "rip.patch", "--count", "0"], "--count"),
        (&["--patch", "rip.patch", "--count", "3", "--without", "mirror"], "--again"),
        (&["--patch", "rip.patch:-2", "--count", "3"], "weight"),
        (&["--patch", "rip.patch", "--count", "3", "--margin-mm", "5000"], "no cloth is left"),
    ] {
        let run = shop.run(&[&["scatter", JOB], arguments].concat()).expect("runs");
        assert_eq!(run.code, Some(2), "{arguments:?}: {}", run.err);
        assert!(run.err.contains(says), "{arguments:?}: {}", run.err);
    }
    let run = shop.run(&["scatter", JOB, "--patch", "no.patch", "--count", "3"]).expect("runs");
    assert_eq!(run.code, Some(3), "a patch that is not there: {}", run.err);
    assert!(shop.files().expect("files") == before, "nothing was written");
}

#[test]
fn what_a_rule_was_bound_to_can_be_taken_off_again() {
    let shop = Workshop::with_job().expect("a workshop");
    let plain = scatter(&shop, &["--patch", "rip.patch", "--count", "4", "--scale", "0.2,0.3"]).expect("four");
    let free = listed(&shop).expect("a list");
    let bound = ["--again", "scatter", "--mirror", "--overlap", "--margin-mm", "10", "--seams-mm", "300", "--facing", "front"];
    scatter(&shop, &bound).expect("bound");
    assert_ne!(listed(&shop).expect("a list"), free, "the bounds move them");
    let text = std::fs::read_to_string(shop.path(JOB)).expect("the job");
    for key in ["mirror = true", "overlap = true", "margin_mm = 10", "seams_mm = 300", "facing = \"front\""] {
        assert!(text.contains(key), "{key} in {text}");
    }
    let off = scatter(&shop, &["--again", "scatter", "--without", "mirror,overlap,margin,seams,facing"]).expect("free again");
    assert_eq!((off["ids"].clone(), listed(&shop).expect("a list")), (plain["ids"].clone(), free), "as before");
    let run = shop.run(&["scatter", JOB, "--again", "scatter", "--without", "magrin"]).expect("runs");
    assert_eq!((run.code, run.err.contains("'magrin'")), (Some(2), true), "{}", run.err);
}
