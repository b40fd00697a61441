//! `deliver --watch` and `build --watch`: a person edits, the textures follow.
#![expect(clippy::disallowed_methods, reason = "a test of the command line needs a scratch folder")]
#![cfg(unix)]

use std::io::{BufRead as _, BufReader, Lines};
use std::process::{Child, ChildStdout, Command, Stdio};

use serde_json::Value;

use crate::workshop::{Tried, Workshop};

const JOB: &str = "smock.tatter.toml";

/// A running watcher, and what it prints: one object for each round.
struct Watcher {
    child: Child,
    lines: Lines<BufReader<ChildStdout>>,
}

impl Watcher {
    fn start(shop: &Workshop, verb: &str) -> Tried<Self> {
        let mut child = Command::new(env!("CARGO_BIN_EXE_tatter"))
            .args([verb, JOB, "--watch", "--json"])
            .current_dir(shop.path(""))
            .stdout(Stdio::piped())
            .stderr(Stdio::null())
            .spawn()?;
        let lines = BufReader::new(child.stdout.take().ok_or("no stdout")?).lines();
        Ok(Self { child, lines })
    }

    /// Waits for the next round; the test's own limit ends a wait that never ends.
    fn round(&mut self) -> Tried<Value> {
        Ok(serde_json::from_str(&self.lines.next().ok_or("it ended")??)?)
    }

    /// What Ctrl-C does.
    fn interrupt(mut self) -> Tried<Option<i32>> {
        Command::new("kill").args(["-INT", &self.child.id().to_string()]).status()?;
        Ok(self.child.wait()?.code())
    }
}

fn save(shop: &Workshop, edit: impl Fn(String) -> String) -> Tried<()> {
    let text = edit(std::fs::read_to_string(shop.path(JOB))?);
    // As editors save: another file gets the name.
    std::fs::write(shop.path("edited"), text)?;
    Ok(std::fs::rename(shop.path("edited"), shop.path(JOB))?)
}

fn torn() -> Tried<Workshop> {
    let shop = Workshop::with_job()?;
    let run = shop.run(&["place", JOB, "--patch", "rip.patch", "--at", "0.15,0.15"])?;
    if run.code == Some(0) { Ok(shop) } else { Err(run.err.into()) }
}

#[test]
fn what_is_saved_is_delivered_and_a_broken_job_is_waited_out() {
    let shop = torn().expect("a workshop");
    let pristine = shop.textures().expect("textures");
    let mut watcher = Watcher::start(&shop, "deliver").expect("starts");
    let first = watcher.round().expect("delivers at once");
    assert!(first["seconds_since_saved"].is_null() && first["delivery"] == 1, "{first}");
    let once = shop.textures().expect("textures");
    assert_ne!(once, pristine, "delivered");

    save(&shop, |text| text.replace("at = [0.15, 0.15]", "at = [0.35, 0.35]")).expect("saves");
    let second = watcher.round().expect("delivers again");
    let seconds = second["seconds_since_saved"].as_f64();
    assert!(seconds.is_some_and(|seconds| seconds > 0.0), "{second}");
    assert!(second["changed"][0].as_str().is_some_and(|path| path.ends_with(JOB)), "{second}");
    let twice = shop.textures().expect("textures");
    assert_ne!(twice, once, "the hole moved");

    let whole = std::fs::read_to_string(shop.path(JOB)).expect("reads");
    save(&shop, |text| text[..text.len() - 30].to_owned() + "at = [0.3").expect("saves half");
    let third = watcher.round().expect("says so");
    assert!(third["error"].as_str().is_some_and(|what| what.contains("line")), "{third}");
    assert_eq!(shop.textures().expect("textures"), twice, "nothing was delivered");
    save(&shop, |_| whole.clone()).expect("saves");
    let fourth = watcher.round().expect("goes on");
    assert!(fourth["files"].is_array(), "{fourth}");

    assert_eq!(watcher.interrupt().expect("ends"), Some(0), "Ctrl-C is how it ends");
    assert_eq!(shop.textures().expect("textures"), twice, "as the job says, and no file besides");
    let again = shop.run(&["deliver", JOB, "--json"]).expect("runs");
    assert_eq!(again.json().expect("one object")["delivery"], 0, "everything is as the job says: {}", again.out);
}

#[test]
fn a_patch_that_is_cut_again_is_built_again() {
    let shop = torn().expect("a workshop");
    let mut watcher = Watcher::start(&shop, "build").expect("starts");
    watcher.round().expect("builds at once");
    let built = || std::fs::read(shop.path("smock.tatter/built/canvas_opacity.png"));
    let before = built().expect("built");
    let maps = shop.path("rip.patch");
    let height = std::fs::read(maps.join("roughness.png")).expect("a map of that size");
    std::fs::write(maps.join("opacity.png"), height).expect("writes");
    let round = watcher.round().expect("builds again");
    assert!(round["changed"][0].as_str().is_some_and(|path| path.ends_with("rip.patch/opacity.png")), "{round}");
    assert_ne!(built().expect("built"), before, "its opacity is another");
    assert_eq!(watcher.interrupt().expect("ends"), Some(0));
}
