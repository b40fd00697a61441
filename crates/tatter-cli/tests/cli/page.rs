//! `tatter proof --page`: one file for whoever approves. Needs a graphics adapter, one in software will do.
#![expect(clippy::disallowed_methods, reason = "a test of the command line edits a job and reads a page")]

use crate::workshop::{Tried, Workshop};

const JOB: &str = "smock.tatter.toml";
/// What a name may hold and HTML must not.
const ODD: &str = r#"</h3><script>alert("rip & 'tear'")</script>"#;
/// [`ODD`] as HTML writes it: the five letters that are escaped are those of the HTML standard, 13.3.
const ESCAPED: &str = "&lt;/h3&gt;&lt;script&gt;alert(&quot;rip &amp; &#39;tear&#39;&quot;)&lt;/script&gt;";

/// A job of two placements, one of which bears an odd name, as does the job.
fn odd() -> Tried<Workshop> {
    let shop = Workshop::with_job()?;
    for at in ["0.25,0.25", "0.12,0.12"] {
        let run = shop.run(&["place", JOB, "--patch", "rip.patch", "--at", at, "--turn", "15", "--rule", "height=keep"])?;
        if run.code != Some(0) {
            return Err(run.err.into());
        }
    }
    let text = std::fs::read_to_string(shop.path(JOB))?;
    let text =
        text.replace("id = \"rip-2\"", &format!("id = '''{ODD}'''")).replace("name = \"smock\"", &format!("name = '''{ODD}'''"));
    std::fs::write(shop.path(JOB), text)?;
    Ok(shop)
}

/// The page that is written into a folder, and what the program said.
fn page(shop: &Workshop, folder: &str, more: &[&str]) -> Tried<(String, serde_json::Value)> {
    let asked = ["proof", JOB, "--page", folder, "--size", "64", "--samples", "2", "--json"];
    let run = shop.run(&[&asked[..], more].concat())?;
    if run.code != Some(0) {
        return Err(run.err.into());
    }
    Ok((std::fs::read_to_string(shop.path(folder).join("index.html"))?, run.json()?))
}

#[test]
fn a_page_tells_everything_in_one_file() {
    let shop = odd().expect("a workshop");
    let before = shop.files().expect("files");
    let (text, report) = page(&shop, "approval", &[]).expect("a page");
    assert_eq!(report["page"]["path"], "approval/index.html");
    assert_eq!(report["page"]["bytes"], text.len());
    assert_eq!(report["page"]["sides"], serde_json::json!(["front", "three-quarter", "back"]));
    assert_eq!(report["page"]["close_ups"], serde_json::json!(["rip-1", ODD]));
    assert_eq!(report["images"], serde_json::json!([]), "no picture was asked for");
    // Names break out of nothing.
    assert!(!text.contains(ODD), "never as it stands");
    assert_eq!(text.matches("<script").count(), 1, "the page's own script alone");
    for place in [format!("<h1>{ESCAPED}</h1>"), format!("<h3 id=\"placement-2-name\">{ESCAPED}</h3>")] {
        assert!(text.contains(&place), "{place}");
    }
    // Every placement close up, before and after, with its figures; sides likewise.
    assert_eq!(
        text.matches("<figure class=\"before\"><img src=\"data:image/jpeg;base64,").count(),
        5,
        "three sides, two placements"
    );
    assert_eq!(text.matches("<figure class=\"after\"><img src=\"data:image/jpeg;base64,").count(), 5, "as it becomes");
    for figure in
        ["<dd>100\u{a0}mm</dd>", "<dd>15° from the grain</dd>", "<dd>height keep</dd>", "Texels touched", "Rim difference"]
    {
        assert_eq!(text.matches(figure).count(), 2, "{figure}, once for each placement");
    }
    // Every texture, with as many texels changed as the build counts.
    let built = shop.run(&["build", JOB, "--json"]).expect("runs").json().expect("an object");
    for file in built["files"].as_array().expect("files") {
        let name = file["path"].as_str().and_then(|path| path.rsplit('/').next()).expect("a name");
        let changed = file["texels_changed"].as_u64().expect("a number");
        let row = text.split("<tr role=\"row\">").find(|row| row.contains(name)).expect("a row");
        let cell = if changed == 0 { "stays as it was".to_owned() } else { spaced(changed) };
        assert!(row.contains(&format!("\"Texels changed\">{cell}<")), "{name}: {changed} in {row}");
    }
    // Where the patch comes from, and each of its maps.
    assert_eq!(
        text.matches("<strong>Base colour</strong>, measured").count(),
        1,
        "once for the patch, though it lies there twice"
    );
    assert_eq!(text.matches("<ul class=\"maps\"").count(), 1, "one patch");
    assert!(text.contains("from a ruler in the photo"), "the source of its scale");
    // Nothing is fetched, nothing tells of the machine.
    for foreign in ["http:", "https:", "src=\"//", "url(", "@import", "file:", &shop.path("").display().to_string()] {
        assert!(!text.contains(foreign), "{foreign}");
    }
    let after = shop.files().expect("files");
    assert!(before.iter().all(|(path, bytes)| after.get(path) == Some(bytes)), "nothing else was touched");
}

/// Thousands apart by narrow spaces.
fn spaced(number: u64) -> String {
    if number < 1000 { number.to_string() } else { format!("{}\u{202f}{:03}", spaced(number / 1000), number % 1000) }
}

#[test]
fn the_same_job_gives_the_same_page() {
    let shop = odd().expect("a workshop");
    let (one, _) = page(&shop, "one", &[]).expect("a page");
    let (two, _) = page(&shop, "two", &["-o", "proof.png"]).expect("a page and a picture");
    assert!(one == two, "the same bytes, whatever else is drawn");
    assert!(shop.path("proof.png").exists(), "both are written");
    let (other, report) = page(&shop, "other", &["--view", "left", "--view", "rip-1"]).expect("a page");
    assert_eq!(report["page"]["sides"], serde_json::json!(["left"]), "the side that was named");
    assert_eq!(report["page"]["close_ups"], serde_json::json!(["rip-1"]), "the placement that was named");
    assert!(other.contains("The other placements") && other.contains(ESCAPED), "the rest is told without a picture");
}

#[test]
fn wear_and_variation_are_told() {
    let shop = odd().expect("a workshop");
    let wear = shop.run(&["wear", JOB, "fade", "--strength", "0.4"]).expect("runs");
    assert_eq!(wear.code, Some(0), "{}", wear.err);
    let vary = shop.run(&["variation", JOB, "black", "--dye", "#202022", "--leave-out", "rip-1"]).expect("runs");
    assert_eq!(vary.code, Some(0), "{}", vary.err);
    let (plain, _) = page(&shop, "plain", &[]).expect("a page");
    assert!(plain.contains("Wear of the cloth itself") && plain.contains("<dd>40\u{a0}%</dd>"), "the mark and its strength");
    assert!(plain.contains("It also has black"), "the variations there are");
    let (black, report) = page(&shop, "black", &["--variation", "black"]).expect("a page");
    assert_eq!(report["page"]["close_ups"], serde_json::json!([ODD]), "it lacks the other");
    assert!(black.contains("background:#202022") && black.contains("<dt>Lacks</dt><dd>rip-1</dd>"), "what it is");
    assert!(!black.contains("placement-2"), "one placement is left");
}

#[test]
fn what_makes_no_page_is_said() {
    let shop = Workshop::with_job().expect("a workshop");
    let (bare, _) = page(&shop, "bare", &[]).expect("a page of a garment on which nothing lies");
    assert!(bare.contains("Nothing is placed.") && !bare.contains("Close-ups"), "it is said");
    for (asked, why) in [
        (&["proof", JOB][..], "--page"),
        (&["proof", JOB, "--page", "p", "--turntable", "4"], "--turntable"),
        (&["proof", JOB, "--page", "p", "--view", "inside-out"], "inside-out"),
    ] {
        let run = shop.run(asked).expect("runs");
        assert_eq!(run.code, Some(2), "{asked:?}: {}", run.err);
        assert!(run.err.contains(why), "{asked:?}: {}", run.err);
    }
    // A file where the folder should be.
    let run = shop.run(&["proof", JOB, "--page", "smock.glb"]).expect("runs");
    assert_eq!(run.code, Some(4), "{}", run.err);
    assert!(!shop.path("p").join("index.html").exists(), "nothing is half written");
}
