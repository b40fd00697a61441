//! Handing a garment on: GLB, glTF, MaterialX, maps.
#![expect(clippy::disallowed_methods, reason = "a test of the command line needs a scratch folder")]

use serde_json::Value;
use tatter_core::image::{Layout, Samples};
use tatter_files::limits::Limits;
use tatter_files::mesh::{AlphaMode, TextureSource, read_mesh};
use tatter_files::picture::{decode_stored, read_stored};

use crate::workshop::{SIDE, Tried, Workshop, has_keys};

const JOB: &str = "smock.tatter.toml";

fn torn() -> Tried<Workshop> {
    let shop = Workshop::with_job()?;
    let run = shop.run(&["place", JOB, "--patch", "rip.patch", "--at", "0.25,0.25"])?;
    if run.code == Some(0) { Ok(shop) } else { Err(run.err.into()) }
}

fn names(files: &Value) -> Vec<String> {
    let name = |file: &Value| file["path"].as_str().and_then(|path| path.rsplit('/').next()).unwrap_or_default().to_owned();
    files.as_array().map(|files| files.iter().map(name).collect()).unwrap_or_default()
}

#[test]
fn a_glb_holds_the_worn_garment_and_leaves_its_files_alone() {
    let shop = torn().expect("a workshop");
    let before = shop.files().expect("files");
    let run = shop.run(&["handoff", JOB, "-o", "out/smock.glb", "--json"]).expect("runs");
    assert_eq!(run.code, Some(0), "{}", run.err);
    let told = run.json().expect("one object");
    assert!(has_keys(&told, &["files", "inside", "profile", "triangles", "warnings"]), "{told}");
    assert!(has_keys(&told["files"][0], &["path", "role", "channel", "size", "bytes"]), "{told}");
    for (path, bytes) in before {
        assert_eq!(std::fs::read(shop.path(&path.to_string_lossy())).ok(), Some(bytes), "{} is as it was", path.display());
    }
    let read = read_mesh(&shop.path("out/smock.glb"), &Limits::default()).expect("a mesh");
    let given = read_mesh(&shop.path("smock.glb"), &Limits::default()).expect("the source");
    assert_eq!(read.mesh.parts.len(), 2, "both panels");
    for (own, source) in read.mesh.parts.iter().zip(&given.mesh.parts) {
        assert_eq!((&own.name, &own.material), (&source.name, &source.material), "names stay");
        assert_eq!((&own.positions, &own.uvs, &own.triangles), (&source.positions, &source.uvs, &source.triangles), "to the bit");
    }
    let canvas = &read.materials[0];
    assert_eq!((canvas.alpha, canvas.double_sided), (AlphaMode::Mask, true), "a hole to look through");
    let TextureSource::Embedded { bytes, .. } = &canvas.textures[0].source else { panic!("inside") };
    let color = decode_stored(bytes, &Limits::default()).expect("a picture");
    assert_eq!((color.layout, color.size.width), (Layout::Rgba, SIDE));
    assert_eq!(color.value(64, 64, 3), 0.0, "the middle of the hole");
    assert_eq!(color.value(200, 200, 3), 1.0, "whole cloth");
    let again = shop.run(&["handoff", JOB, "-o", "out/smock.glb"]).expect("runs");
    assert_eq!(again.code, Some(0), "its own file is replaced: {}", again.err);
}

#[test]
fn a_gltf_and_a_materialx_document_name_what_lies_beside_them() {
    let shop = torn().expect("a workshop");
    let run = shop.run(&["handoff", JOB, "-o", "gltf/smock.gltf", "--json"]).expect("runs");
    assert_eq!(run.code, Some(0), "{}", run.err);
    assert!(names(&run.json().expect("one object")["files"]).contains(&"smock.bin".to_owned()), "{}", run.out);
    let read = read_mesh(&shop.path("gltf/smock.gltf"), &Limits::default()).expect("a mesh");
    for texture in read.materials.iter().flat_map(|material| &material.textures) {
        let TextureSource::File(name) = &texture.source else { panic!("beside it") };
        assert!(shop.path("gltf").join(name).is_file(), "{name}");
    }
    let run = shop.run(&["handoff", JOB, "-o", "mtlx/smock.mtlx", "--normal-y", "down"]).expect("runs");
    assert_eq!(run.code, Some(0), "{}", run.err);
    let text = std::fs::read_to_string(shop.path("mtlx/smock.mtlx")).expect("a document");
    // The nodes themselves are judged by the standard libraries in tools/mtlx-check.
    for part in text.split("type=\"filename\" value=\"").skip(1) {
        let file = part.split('"').next().unwrap_or_default();
        assert!(shop.path("mtlx").join(file).is_file(), "{file}");
    }
    for word in ["open_pbr_surface", "srgb_texture", "normalmap", "geometry_opacity", "1, -1, 1"] {
        assert!(text.contains(word), "{word} in {text}");
    }
}

#[test]
fn maps_are_named_and_packed_by_a_profile() {
    let shop = torn().expect("a workshop");
    let profile = "format = 1\nfile = \"{garment}-{channel}.{udim}\"\nalways_udim = true\nmax_texels = 64\n\
        [[texture]]\nname = \"mro\"\nr = 0.0\ng = \"roughness inverted\"\nb = \"opacity\"\nbits = 16\npicture = \"tiff\"\n";
    std::fs::write(shop.path("house.toml"), profile).expect("writes");
    let run = shop.run(&["handoff", JOB, "-o", "maps", "--profile", "house.toml", "--json"]).expect("runs");
    assert_eq!(run.code, Some(0), "{}", run.err);
    assert_eq!(names(&run.json().expect("one object")["files"]), ["smock-mro.1001.tif"]);
    let made = read_stored(&shop.path("maps/smock-mro.1001.tif"), &Limits::default()).expect("a picture");
    assert!(matches!(made.samples, Samples::U16(_)) && made.size.width == 64, "{:?} {}", made.size, made.bits());
    assert_eq!(made.value(60, 60, 0), 0.0);
    assert!((made.value(60, 60, 1) - 55.0 / 255.0).abs() < 1e-4, "one minus 200/255");
    // A block of 4 × 4 texels in the middle of a hole of 19 mm radius; its corner, 22 mm away, reaches the rim.
    assert!(made.value(16, 16, 2) < 0.02 && made.value(60, 60, 2) == 1.0, "hole {} and cloth", made.value(16, 16, 2));
    std::fs::write(shop.path("house.toml"), profile.replace("max_texels", "max_texel")).expect("writes");
    let run = shop.run(&["handoff", JOB, "-o", "maps", "--profile", "house.toml"]).expect("runs");
    assert_eq!(run.code, Some(2), "{}", run.err);
    assert!(run.err.contains("line 4") && run.err.contains("max_texels"), "{}", run.err);
}

#[test]
fn nothing_of_others_is_overwritten() {
    let shop = torn().expect("a workshop");
    let clean = shop.textures().expect("textures");
    for (output, word) in [("textures", "textures"), ("textures/smock.glb", "textures"), ("smock.glb", "mesh"), ("x.obj", ".glb")]
    {
        let run = shop.run(&["handoff", JOB, "-o", output]).expect("runs");
        assert_eq!(run.code, Some(2), "{output}: {}", run.err);
        assert!(run.err.contains(word), "{output}: {}", run.err);
    }
    assert_eq!(shop.textures().expect("textures"), clean, "nothing new among them");
    std::fs::create_dir(shop.path("out")).expect("a folder");
    std::fs::write(shop.path("out/smock.glb"), b"of somebody else").expect("writes");
    let run = shop.run(&["handoff", JOB, "-o", "out/smock.glb"]).expect("runs");
    assert_eq!(run.code, Some(2), "{}", run.err);
    assert!(run.err.contains("--replace"), "{}", run.err);
    assert_eq!(std::fs::read(shop.path("out/smock.glb")).expect("reads"), b"of somebody else");
    let run = shop.run(&["handoff", JOB, "-o", "out/smock.glb", "--replace"]).expect("runs");
    assert_eq!(run.code, Some(0), "{}", run.err);
    assert!(run.out.contains("overwritten"), "said so: {}", run.out);
}
