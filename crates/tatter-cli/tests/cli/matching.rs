//! `tatter match` and the match of `tatter place`: what is kept in the job, what is refused.
#![expect(clippy::disallowed_methods, reason = "a test of the command line needs a scratch folder")]

use crate::workshop::{Tried, Workshop};
use serde_json::{Value, json};

const JOB: &str = "smock.tatter.toml";

fn matches(shop: &Workshop) -> Tried<Vec<Value>> {
    let list = shop.run(&["place", JOB, "--list", "--json"])?.json()?;
    let placements = list["placements"].as_array().cloned().unwrap_or_default();
    Ok(placements.into_iter().map(|placement| placement["match"].clone()).collect())
}

#[test]
fn a_match_is_given_changed_and_taken_back() {
    let shop = Workshop::with_job().expect("a workshop");
    let place = ["place", JOB, "--patch", "rip.patch", "--at", "0.25,0.25"];
    let more = [
        "--match",
        "fit",
        "--match-strength",
        "0.5",
        "--grade",
        "slope=1.1/1/0.9,saturation=0.8",
        "--match-relief",
        "keep",
        "--edge",
        "soft",
    ];
    for arguments in [&place[..], &[&place[..], &more].concat()] {
        let run = shop.run(arguments).expect("runs");
        assert_eq!(run.code, Some(0), "{}", run.err);
    }
    let usual = json!({ "mode": "auto", "strength": 1.0, "relief": "fit", "edge": "seam", "grade": null });
    let grade = json!({ "slope": [1.1, 1.0, 0.9], "offset": [0.0, 0.0, 0.0], "power": [1.0, 1.0, 1.0], "saturation": 0.8 });
    let asked = json!({ "mode": "fit", "strength": 0.5, "relief": "keep", "edge": "soft", "grade": grade });
    assert_eq!(matches(&shop).expect("a list"), [usual.clone(), asked], "as asked");

    let run = shop.run(&["match", JOB, "rip-1", "rip-2", "--match", "redye", "--grade", "none", "--json"]).expect("runs");
    assert_eq!(run.code, Some(0), "{}", run.err);
    let first =
        json!({ "id": "rip-1", "match": { "mode": "redye", "strength": 1.0, "relief": "fit", "edge": "seam", "grade": null } });
    let second =
        json!({ "id": "rip-2", "match": { "mode": "redye", "strength": 0.5, "relief": "keep", "edge": "soft", "grade": null } });
    assert_eq!(run.json().expect("an object"), json!({ "placements": [first, second] }), "what was not said stays");

    let kept = std::fs::read(shop.path(JOB)).expect("a job");
    let run = shop.run(&["match", JOB, "rip-1", "rip-9", "--match", "none"]).expect("runs");
    assert_eq!(run.code, Some(2), "there is no rip-9");
    assert_eq!(std::fs::read(shop.path(JOB)).expect("a job"), kept, "and rip-1 is as it was");
    let run = shop.run(&["match", JOB, "rip-1", "--match", "auto"]).expect("runs");
    assert!(run.code == Some(0) && run.out.contains("rip-1: match auto"), "{}{}", run.out, run.err);
    assert_eq!(matches(&shop).expect("a list")[0], usual, "as a new placement");
}
