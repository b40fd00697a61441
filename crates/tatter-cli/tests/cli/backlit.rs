//! `cut --backlit`.
#![expect(clippy::disallowed_methods, reason = "a test of the command line needs a scratch folder")]

use tatter_core::image::{ColorTags, Layout, Samples, Size, Stored};
use tatter_files::limits::Limits;
use tatter_files::picture::{Effort, PictureFormat, encode, read_stored};
use tatter_testkit::pictures::on_screen;

use crate::workshop::{Tried, Workshop, has_keys};

/// Share of the lamp that the cloth of these shots lets through.
const THROUGH: f32 = 0.15;

/// The same cloth photographed from the front, with a lamp behind it, and the lamp alone.
fn shots(shop: &Workshop) -> Tried<()> {
    let cloth = ["weave", "linen", "--texels", "320", "--width-mm", "20", "--seed", "3", "--damage", "moth-hole:length=6"];
    let photo = ["-o", "truth.patch", "--photo", "front.jpg", "--backing", "#202022", "--jpeg-quality", "95"];
    let run = shop.run(&[&cloth[..], &photo[..]].concat())?;
    if run.code != Some(0) {
        return Err(run.err.into());
    }
    let opacity = read_stored(&shop.path("truth.patch/opacity.png"), &Limits::default())?;
    let size = opacity.size;
    let shot = |cloth: &dyn Fn(usize, usize) -> f32| {
        let sample = |i: usize| {
            let (x, y) = (i % size.width, i / size.width);
            let lamp = 0.75 - 0.2 * x as f32 / size.width as f32;
            let alpha = cloth(x, y);
            let code = 255.0 * tatter_core::color::encode_srgb(lamp * (1.0 - alpha + alpha * THROUGH));
            [code.round() as u8; 3]
        };
        let samples = Samples::U8((0..size.area()).flat_map(sample).collect());
        encode(&Stored { size, layout: Layout::Rgb, samples, tags: ColorTags::default() }, PictureFormat::Png, Effort::Fast)
    };
    std::fs::write(shop.path("behind.png"), shot(&|x, y| opacity.value(x, y, 0))?)?;
    std::fs::write(shop.path("lamp.png"), shot(&|_, _| 0.0)?)?;
    std::fs::write(shop.path("whole.png"), shot(&|_, _| 1.0)?)?;
    Ok(())
}

#[test]
fn opacity_and_translucency_are_measured_with_a_lamp_behind() -> Tried<()> {
    let shop = Workshop::new()?;
    shots(&shop)?;
    for more in [&[][..], &["--lamp", "lamp.png"]] {
        let asked = ["cut", "front.jpg", "--backlit", "behind.png", "-o", "moth.patch", "--width-mm", "20", "--json"];
        let run = shop.run(&[&asked[..], more].concat())?;
        assert_eq!(run.code, Some(0), "{}", run.err);
        let report = run.json()?;
        assert!(has_keys(&report, &["patch", "subject", "texels", "maps", "warnings", "photo_from_patch"]), "{report}");
        for (channel, kind) in [("opacity", "measured"), ("translucency", "measured"), ("height", "estimated")] {
            assert_eq!(report["maps"][channel]["kind"], kind, "{channel}");
        }
        let open = report["open_share"].as_f64().unwrap_or(0.0);
        assert!((0.2..0.9).contains(&open), "a hole is open: {open} of the cover");
        let map = read_stored(&shop.path("moth.patch/translucency.png"), &Limits::default())?;
        let mean = (0..map.size.area()).map(|i| map.value(i % map.size.width, i / map.size.width, 0)).sum::<f32>();
        let mean = mean / map.size.area() as f32;
        assert!((mean / THROUGH - 1.0).abs() < 0.15, "{mean} of the lamp comes through, not {THROUGH} ({more:?})");
    }
    let toml = std::fs::read_to_string(shop.path("moth.patch/patch.toml"))?;
    for line in ["photo = \"front.jpg\"", "photo_backlit = \"behind.png\"", "photo_lamp = \"lamp.png\"", "light_through_cloth = "]
    {
        assert!(toml.contains(line), "{line} in {toml}");
    }
    let check = shop.run(&["check", "moth.patch"])?;
    assert!(check.out.contains("measured opacity, translucency\n"), "check says what was measured: {}", check.out);
    Ok(())
}

#[test]
fn a_patch_with_translucency_is_laid_like_any_other() -> Tried<()> {
    let shop = Workshop::with_job()?;
    shots(&shop)?;
    let cut = shop.run(&["cut", "front.jpg", "--backlit", "behind.png", "-o", "moth.patch", "--width-mm", "20"])?;
    assert_eq!(cut.code, Some(0), "{}", cut.err);
    let place = shop.run(&["place", "smock.tatter.toml", "--patch", "moth.patch", "--at", "0.25,0.25"])?;
    assert_eq!(place.code, Some(0), "{}", place.err);
    let build = shop.run(&["build", "smock.tatter.toml"])?;
    assert_eq!(build.code, Some(0), "{}", build.err);
    Ok(())
}

/// What the extension of glTF `KHR_materials_diffuse_transmission` says: how much goes through is alpha of one texture, linear, times a
/// factor; its colour a texture in sRGB, times another.
#[test]
fn what_shines_through_is_handed_on() -> Tried<()> {
    let shop = Workshop::with_job()?;
    let hand_on = || -> Tried<serde_json::Value> {
        let run = shop.run(&["handoff", "smock.tatter.toml", "-o", "out/smock.gltf", "--json"])?;
        assert_eq!(run.code, Some(0), "{}", run.err);
        Ok(serde_json::from_slice(&std::fs::read(shop.path("out/smock.gltf"))?)?)
    };
    let name = "KHR_materials_diffuse_transmission";
    assert!(!hand_on()?.to_string().contains(name), "nothing is said where nothing is known");
    shots(&shop)?;
    let cut = shop.run(&["cut", "front.jpg", "--backlit", "behind.png", "-o", "moth.patch", "--width-mm", "20"])?;
    assert_eq!(cut.code, Some(0), "{}", cut.err);
    let place = shop.run(&["place", "smock.tatter.toml", "--patch", "moth.patch", "--at", "0.25,0.25", "--size-mm", "150"])?;
    assert_eq!(place.code, Some(0), "{}", place.err);
    let document = hand_on()?;
    assert!(document["extensionsUsed"].to_string().contains(name), "{}", document["extensionsUsed"]);
    let material = &document["materials"][0];
    let extension = &material["extensions"][name];
    assert_eq!(extension["diffuseTransmissionFactor"], 1.0, "{material}");
    assert_eq!(
        extension["diffuseTransmissionColorTexture"], material["pbrMetallicRoughness"]["baseColorTexture"],
        "light takes the dye's colour"
    );
    let picture = |texture: &serde_json::Value| -> Tried<Stored> {
        let number = |value: &serde_json::Value| value.as_u64().unwrap_or_default() as usize;
        let source = number(&document["textures"][number(&texture["index"])]["source"]);
        let uri = document["images"][source]["uri"].as_str().unwrap_or_default();
        Ok(read_stored(&shop.path("out").join(uri), &Limits::default())?)
    };
    let alpha = picture(&extension["diffuseTransmissionTexture"])?;
    let color = picture(&material["pbrMetallicRoughness"]["baseColorTexture"])?;
    let mut through = Vec::new();
    let Size { width, height } = alpha.size;
    for (x, y) in (0..width * height).map(|i| (i % width, i / width)) {
        let share = alpha.value(x, y, alpha.layout.components() - 1);
        let (u, v) = ((x as f32 + 0.5) / width as f32, (y as f32 + 0.5) / height as f32);
        assert!(share == 0.0 || (u - 0.25).hypot(v - 0.25) < 0.2, "nothing elsewhere: {u}, {v}");
        if share > 0.0 {
            let (x, y) = (x * color.size.width / width, y * color.size.height / height);
            through.push(share * color.color_at(x, y, &on_screen()).luminance());
        }
    }
    through.sort_by(f32::total_cmp);
    let (count, median) = (through.len(), through.get(through.len() / 2).copied().unwrap_or_default());
    assert!(count > 100 && (median / THROUGH - 1.0).abs() < 0.15, "{median} comes through {count} texels, not {THROUGH}");
    Ok(())
}

#[test]
fn a_shot_that_shows_no_lamp_or_another_size_is_refused_and_leaves_nothing() -> Tried<()> {
    let shop = Workshop::new()?;
    shots(&shop)?;
    for (arguments, code, words) in [
        (&["front.jpg", "--backlit", "whole.png"][..], 2, "nowhere the shot shows the lamp"),
        (&["front.jpg", "--backlit", "textures/canvas_normal.png"], 2, "256"),
        (&["front.jpg", "--backlit", "nowhere.png"], 3, "nowhere.png"),
        (&["--backlit", "behind.png"], 2, "PHOTO"),
        (&["front.jpg", "--lamp", "lamp.png"], 2, "--backlit"),
    ] {
        let run = shop.run(&[&["cut", "-o", "new.patch"][..], arguments].concat())?;
        assert_eq!((run.code, run.out.as_str()), (Some(code), ""), "{arguments:?}: {}", run.err);
        assert!(run.err.contains(words), "{arguments:?}: {}", run.err);
        assert!(!shop.path("new.patch").exists(), "{arguments:?}: nothing is left behind");
    }
    Ok(())
}
