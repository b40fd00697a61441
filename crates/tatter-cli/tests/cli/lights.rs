//! `tatter cut --lights`: shots under several lamps.
#![expect(clippy::disallowed_methods, reason = "a test of the command line needs a scratch folder")]

use tatter_core::image::Samples;
use tatter_files::limits::Limits;
use tatter_files::picture::{Effort, PictureFormat, encode, read_stored};

use crate::workshop::{Tried, Workshop, has_keys};

/// Torn canvas under lamps around it, shot by `weave`, and its lights file.
fn shots(shop: &Workshop, count: usize, elevation: u32) -> Tried<()> {
    let mut lights = String::new();
    for i in 0..count {
        let (from, name) = ((20 + 360 * i / count).to_string(), format!("shot-{i}.png"));
        let up = elevation.to_string();
        let run = shop.run(&[
            "weave",
            "canvas",
            "--damage",
            "rip:length=9,width=3",
            "--width-mm",
            "20",
            "--texels",
            "320",
            "-o",
            "truth.patch",
            "--photo",
            &name,
            "--light-from",
            &from,
            "--light-elevation",
            &up,
        ])?;
        if run.code != Some(0) {
            return Err(run.err.into());
        }
        lights += &format!("[[light]]\nshot = \"{name}\"\nazimuth_deg = {from}\nelevation_deg = {elevation}\n");
    }
    std::fs::write(shop.path("lights.toml"), lights)?;
    Ok(())
}

#[test]
fn several_lights_give_a_measured_patch() {
    let shop = Workshop::new().unwrap();
    shots(&shop, 4, 65).unwrap();
    let run = shop.run(&["cut", "--lights", "lights.toml", "-o", "rip-lit.patch", "--width-mm", "20", "--json"]).unwrap();
    assert_eq!(run.code, Some(0), "{}", run.err);
    let report = run.json().unwrap();
    let keys = ["patch", "subject", "texels", "size_mm", "photo_from_patch", "height_range_mm", "seconds", "warnings"];
    assert!(has_keys(&report, &keys), "{report}");
    for (channel, kind) in
        [("height", "measured"), ("normal", "measured"), ("base_color", "measured"), ("roughness", "estimated")]
    {
        assert_eq!(report["maps"][channel]["kind"], kind, "{channel}: {}", report["maps"]);
    }
    let patch = std::fs::read_to_string(shop.path("rip-lit.patch").join("patch.toml")).unwrap();
    for i in 0..4 {
        assert!(patch.contains(&format!("shot-{i}.png from")), "shot {i} is in the provenance: {patch}");
    }
    let check = shop.run(&["check", "rip-lit.patch", "--json"]).unwrap();
    assert!(!check.out.contains("normal-disagrees"), "{}", check.out);
    assert_eq!(check.json().unwrap()["origins"][0]["maps"]["height"], "measured", "check says it too: {}", check.out);
}

#[test]
fn lights_that_cannot_work_are_refused_with_figures() {
    let shop = Workshop::new().unwrap();
    shots(&shop, 3, 65).unwrap();
    let lights = |directions: &[&str]| {
        let light = |(i, d): (usize, &&str)| format!("[[light]]\nshot = \"shot-{i}.png\"\ndirection = {d}\n");
        directions.iter().enumerate().map(light).collect::<String>()
    };
    let good = lights(&["[0.5, 0, 0.9]", "[-0.3, 0.4, 0.9]", "[-0.3, -0.4, 0.9]"]);
    for (text, code, words) in [
        (lights(&["[0.5, 0, 0.9]", "[0, 0, 1]", "[-0.4, 0, 0.8]"]), 2, "condition number"),
        (lights(&["[0.5, 0, 0.9]", "[0, 0.5, 1]"]), 2, "2 lights"),
        (good.replace("shot =", "shots ="), 2, "line 2: `shots` is not a key of [[light]]; the nearest is `shot`"),
        (good.replace("shot-1.png", "absent.png"), 3, "absent.png"),
        (good.replace("shot-1.png", "textures/canvas_normal.png"), 2, "the first shot 320"),
    ] {
        // Another size than the shots'.
        std::fs::write(shop.path("lights.toml"), &text).unwrap();
        let run = shop.run(&["cut", "--lights", "lights.toml", "-o", "new.patch", "--width-mm", "20"]).unwrap();
        assert_eq!(run.code, Some(code), "{text}\n{}", run.err);
        assert!(run.err.contains(words), "{words} in {}", run.err);
        assert!(!shop.path("new.patch").exists(), "nothing is written");
    }
    let both = shop.run(&["cut", "shot-0.png", "--lights", "lights.toml", "-o", "new.patch"]).unwrap();
    assert_eq!(both.code, Some(2), "a photo and lights: {}", both.err);
}

/// Draw a matte ball under a far lamp into a shot: Lambert's law.
fn with_ball(shop: &Workshop, name: &str, toward: [f32; 3]) -> Tried<()> {
    let mut picture = read_stored(&shop.path(name), &Limits::default())?;
    let (width, components) = (picture.size.width, picture.layout.components());
    let shade = |x: usize, y: usize| {
        let (right, up) = ((x as f32 + 0.5 - 270.5) / 30.0, (50.5 - y as f32 - 0.5) / 30.0);
        let out = right * right + up * up;
        let facing = right * toward[0] + up * toward[1] + (1.0 - out).max(0.0).sqrt() * toward[2];
        (out < 1.0).then(|| tatter_core::color::encode_srgb(0.7 * facing.max(0.0)))
    };
    for i in 0..picture.size.area() {
        let Some(code) = shade(i % width, i / width) else { continue };
        for c in 0..components {
            match &mut picture.samples {
                Samples::U8(samples) => samples[components * i + c] = (255.0 * code).round() as u8,
                Samples::U16(samples) => samples[components * i + c] = (65_535.0 * code).round() as u16,
                Samples::F16(_) | Samples::F32(_) => return Err("shots are PNG".into()),
            }
        }
    }
    std::fs::write(shop.path(name), encode(&picture, PictureFormat::Png, Effort::Fast)?)?;
    Ok(())
}

#[test]
fn a_ball_beside_the_cloth_tells_where_the_lamps_stand() -> Tried<()> {
    let shop = Workshop::new()?;
    shots(&shop, 4, 65)?;
    let mut lights = "[ball]\nat = [270, 50]\nradius = 30\nkind = \"matte\"\n".to_owned();
    let mut lamps = Vec::new();
    for i in 0..4_u16 {
        let (up, flat) = 65_f32.to_radians().sin_cos();
        let (sin, cos) = f32::from(20 + 90 * i).to_radians().sin_cos();
        lamps.push([cos * flat, sin * flat, up]);
        with_ball(&shop, &format!("shot-{i}.png"), lamps[usize::from(i)])?;
        lights += &format!("[[light]]\nshot = \"shot-{i}.png\"\n");
    }
    std::fs::write(shop.path("lights.toml"), &lights)?;
    let cut = ["cut", "--lights", "lights.toml", "-o", "rip-lit.patch", "--width-mm", "20", "--json"];
    let run = shop.run(&cut)?;
    assert_eq!(run.code, Some(0), "{}", run.err);
    let patch = std::fs::read_to_string(shop.path("rip-lit.patch/patch.toml"))?;
    for (i, lamp) in lamps.iter().enumerate() {
        let line = patch.lines().find(|line| line.contains(&format!("shot-{i}.png from"))).ok_or("a line for each shot")?;
        let numbers = line.split(" from ").nth(1).and_then(|rest| rest.split(" by the ball").next()).ok_or("by the ball")?;
        let found: Vec<f32> =
            numbers.split(" strength").next().unwrap_or(numbers).split(", ").map(str::parse).collect::<Result<_, _>>()?;
        let cos: f32 = found.iter().zip(lamp).map(|(a, b)| a * b).sum();
        assert!(cos > 1_f32.to_radians().cos(), "shot {i}: {found:?} is not {lamp:?}");
    }
    // A ball where there is none.
    std::fs::write(shop.path("lights.toml"), lights.replace("at = [270, 50]", "at = [80, 80]"))?;
    let run = shop.run(&[&cut[..4], &["new.patch", "--width-mm", "20"]].concat())?;
    assert_eq!(run.code, Some(2), "{}", run.err);
    assert!(run.err.contains("no matte one") && run.err.contains("shot-0.png"), "{}", run.err);
    assert!(!shop.path("new.patch").exists(), "nothing is written");
    Ok(())
}

#[test]
fn lamps_that_went_round_are_found_in_the_shots() -> Tried<()> {
    let shop = Workshop::new()?;
    shots(&shop, 6, 65)?;
    let listed: String = (0..6).map(|i| format!("[[light]]\nshot = \"shot-{i}.png\"\n")).collect();
    // They stand at 20, 80, ... degrees; about there is good enough.
    let round = "[round]\nfrom_deg = 30\nway = \"counter-clockwise\"\n";
    std::fs::write(shop.path("lights.toml"), format!("{round}{listed}"))?;
    let cut = ["cut", "--lights", "lights.toml", "-o", "round.patch", "--width-mm", "20", "--json"];
    let run = shop.run(&cut)?;
    assert_eq!(run.code, Some(0), "{}", run.err);
    let report = run.json()?;
    assert_eq!(report["maps"]["height"]["kind"], "measured", "{}", report["maps"]);
    assert!(report["warnings"].to_string().contains("found in the shots"), "it is said: {}", report["warnings"]);
    let patch = std::fs::read_to_string(shop.path("round.patch/patch.toml"))?;
    assert_eq!(patch.matches(" found in the shots blake3 ").count(), 6, "{patch}");
    std::fs::write(shop.path("lights.toml"), listed)?;
    let run = shop.run(&cut)?;
    assert_eq!((run.code, run.err.contains("direction")), (Some(2), true), "without a round or a ball: {}", run.err);
    Ok(())
}
