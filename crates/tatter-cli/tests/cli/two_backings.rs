//! `cut --over-dark --over-light`.
#![expect(clippy::disallowed_methods, reason = "a test of the command line needs a scratch folder")]

use serde_json::Value;

use crate::workshop::{Tried, Workshop, has_keys};

/// The same cloth photographed over two cards: two runs of the weaver with one seed.
fn shots(shop: &Workshop, seed: &str, names: [&str; 2]) -> Tried<()> {
    for (name, card) in names.into_iter().zip(["#101011", "#e6e6e2"]) {
        let cloth = ["weave", "linen", "--texels", "320", "--width-mm", "20", "--seed", seed, "--damage", "moth-hole:length=6"];
        let photo = ["-o", "truth.patch", "--photo", name, "--backing", card, "--jpeg-quality", "95"];
        let run = shop.run(&[&cloth[..], &photo[..]].concat())?;
        if run.code != Some(0) {
            return Err(run.err.into());
        }
    }
    Ok(())
}

#[test]
fn opacity_and_colour_are_measured_over_two_backings() -> Tried<()> {
    let shop = Workshop::new()?;
    shots(&shop, "3", ["dark.jpg", "light.jpg"])?;
    let cut = |dark, light, name| {
        shop.run(&["cut", "--over-dark", dark, "--over-light", light, "-o", name, "--width-mm", "20", "--json"])
    };
    let run = cut("dark.jpg", "light.jpg", "moth.patch")?;
    assert_eq!(run.code, Some(0), "{}", run.err);
    let report = run.json()?;
    assert!(has_keys(&report, &["patch", "subject", "texels", "maps", "warnings", "photo_from_patch"]), "{report}");
    let kind = |report: &Value, channel: &str| report["maps"][channel]["kind"].as_str().map(str::to_owned);
    for (channel, wanted) in [("opacity", "measured"), ("base_color", "measured"), ("cover", "derived"), ("height", "estimated")]
    {
        assert_eq!(kind(&report, channel).as_deref(), Some(wanted), "{channel}");
    }
    let open = report["open_share"].as_f64().unwrap_or(0.0);
    assert!((0.2..0.9).contains(&open), "a hole is open: {open} of the cover");
    let toml = std::fs::read_to_string(shop.path("moth.patch/patch.toml"))?;
    for line in ["photo = \"light.jpg\"", "photo_over_dark = \"dark.jpg\"", "alignment = ", "backing_light = "] {
        assert!(toml.contains(line), "{line} in {toml}");
    }
    let check = shop.run(&["check", "moth.patch"])?;
    assert!(check.out.contains("moth.patch: measured base_color, opacity\n"), "check says what was measured: {}", check.out);
    let swapped = cut("light.jpg", "dark.jpg", "swapped.patch")?;
    assert_eq!(swapped.code, Some(0), "{}", swapped.err);
    assert!(swapped.json()?["warnings"].to_string().contains("the other way round"), "it is said: {}", swapped.out);
    let told = shop.run(&[
        "cut",
        "--over-dark",
        "dark.jpg",
        "--over-light",
        "light.jpg",
        "-o",
        "told.patch",
        "--width-mm",
        "20",
        "--backings",
        "#101011,#e6e6e2",
        "--json",
    ])?;
    let told_open = told.json()?["open_share"].as_f64().unwrap_or(0.0);
    assert!((told_open - open).abs() < 0.03, "told cards give what measured ones do: {told_open}, {open}");
    Ok(())
}

#[test]
fn shots_that_give_no_alpha_are_refused_and_leave_nothing() -> Tried<()> {
    let shop = Workshop::new()?;
    shots(&shop, "3", ["dark.jpg", "light.jpg"])?;
    shots(&shop, "4", ["other-dark.jpg", "other-light.jpg"])?;
    for (dark, light, code, words) in [
        ("light.jpg", "light.jpg", 2, "same backing"),
        ("other-dark.jpg", "light.jpg", 2, "do not match"),
        ("textures/canvas_normal.png", "light.jpg", 2, "256"),
        ("nowhere.jpg", "light.jpg", 3, "nowhere.jpg"),
    ] {
        let run = shop.run(&["cut", "--over-dark", dark, "--over-light", light, "-o", "new.patch"])?;
        assert_eq!((run.code, run.out.as_str()), (Some(code), ""), "{dark}: {}", run.err);
        assert!(run.err.lines().next().unwrap_or_default().contains(words), "{dark}: {}", run.err);
        assert!(!shop.path("new.patch").exists(), "{dark}: nothing is left behind");
    }
    for arguments in [
        &["cut", "--over-dark", "dark.jpg", "-o", "new.patch"][..],
        &["cut", "light.jpg", "--over-dark", "dark.jpg", "--over-light", "light.jpg", "-o", "new.patch"],
        &["cut", "light.jpg", "--backings", "#000000,#ffffff", "-o", "new.patch"],
        &["cut", "--over-dark", "dark.jpg", "--over-light", "light.jpg", "--backings", "#000000", "-o", "new.patch"],
    ] {
        let run = shop.run(arguments)?;
        assert_eq!((run.code, run.out.as_str()), (Some(2), ""), "{arguments:?}: {}", run.err);
    }
    Ok(())
}

/// Over two backings, and under four lamps from the same place: everything but roughness is measured.
#[test]
fn two_backings_and_several_lights_together_measure_opacity_and_relief() -> Tried<()> {
    let shop = Workshop::new()?;
    shots(&shop, "3", ["dark.jpg", "light.jpg"])?;
    let lit = |seed: &str, file: &str| -> Tried<()> {
        let mut lights = String::new();
        for (i, from) in ["20", "110", "200", "290"].into_iter().enumerate() {
            let name = format!("{file}-{i}.png");
            let cloth =
                ["weave", "linen", "--texels", "320", "--width-mm", "20", "--seed", seed, "--damage", "moth-hole:length=6"];
            let photo = ["-o", "truth.patch", "--photo", &name, "--light-from", from, "--light-elevation", "65"];
            let run = shop.run(&[&cloth[..], &photo[..]].concat())?;
            assert_eq!(run.code, Some(0), "{}", run.err);
            lights += &format!("[[light]]\nshot = \"{name}\"\nazimuth_deg = {from}\nelevation_deg = 65\n");
        }
        Ok(std::fs::write(shop.path(&format!("{file}.toml")), lights)?)
    };
    lit("3", "lights")?;
    let cut = |lights: &[&str], name| {
        let backings = ["cut", "--over-dark", "dark.jpg", "--over-light", "light.jpg", "-o", name, "--width-mm", "20", "--json"];
        shop.run(&[&backings[..], lights].concat())
    };
    let run = cut(&["--lights", "lights.toml"], "both.patch")?;
    assert_eq!(run.code, Some(0), "{}", run.err);
    let report = run.json()?;
    for channel in ["opacity", "base_color", "height", "normal"] {
        assert_eq!(report["maps"][channel]["kind"], "measured", "{channel}: {}", report["maps"]);
    }
    let alone = cut(&[], "alone.patch")?.json()?;
    assert_eq!(report["open_share"], alone["open_share"], "lamps change nothing of what is open");
    let toml = std::fs::read_to_string(shop.path("both.patch/patch.toml"))?;
    for line in ["photo_over_dark = \"dark.jpg\"", "lights-3.png from", "lights = \"lights.toml\""] {
        assert!(toml.contains(line), "{line} in {toml}");
    }
    // Shots of another cloth, and shots of another size.
    lit("4", "other")?;
    let mut small = String::new();
    for from in ["0", "120", "240"] {
        let name = format!("small-{from}.png");
        std::fs::copy(shop.path("textures/canvas_normal.png"), shop.path(&name))?;
        small += &format!("[[light]]\nshot = \"{name}\"\nazimuth_deg = {from}\nelevation_deg = 65\n");
    }
    std::fs::write(shop.path("small.toml"), small)?;
    let other = cut(&["--lights", "other.toml"], "other.patch")?;
    assert_eq!(other.code, Some(0), "{}", other.err);
    let warned = |run: &Value| run["warnings"].to_string().contains("may not show");
    assert!(
        warned(&other.json()?) && !warned(&report),
        "another piece of the same linen is noticed, the same is not: {}",
        other.out
    );
    let run = cut(&["--lights", "small.toml"], "new.patch")?;
    assert_eq!(run.code, Some(2), "{}", run.err);
    assert!(run.err.contains("under several lights 256"), "{}", run.err);
    assert!(!shop.path("new.patch").exists(), "nothing is left behind");
    Ok(())
}
