//! Meshes: written and read back, and odd or broken files.

use glam::{Vec2, Vec3};
use tatter_core::channel::Channel;
use tatter_core::explain::{Class, Explain as _};
use tatter_core::mesh::{Mesh, Part, islands, tangents};
use tatter_files::limits::Limits;
use tatter_files::mesh::{
    AlphaMode, ImageRef, MaterialToWrite, MeshError, MeshFile, TextureSource, UnitSource, read_mesh, unpack_textures, write_glb,
};

type Tried<T> = Result<T, Box<dyn std::error::Error>>;

/// Writes files into a folder of their own and reads the first.
fn read(files: &[(&str, &[u8])]) -> Tried<Result<MeshFile, MeshError>> {
    let folder = tempfile::tempdir()?;
    for (name, bytes) in files {
        std::fs::write(folder.path().join(name), bytes)?;
    }
    Ok(read_mesh(&folder.path().join(files[0].0), &Limits::default()))
}

/// A cloth of 0.4 by 0.6 m with a ripple, times a scale.
fn cloth(scale: f32) -> Mesh {
    let mut part = Part { name: "body".into(), material: "canvas".into(), ..Part::default() };
    for row in 0..4_u8 {
        for column in 0..3_u8 {
            let (u, v) = (f32::from(column) / 2.0, f32::from(row) / 3.0);
            part.positions.push(Vec3::new(0.4 * u, 0.6 * (1.0 - v), f32::from(column % 2) * 0.02) * scale);
            part.normals.push(Vec3::Z);
            part.uvs.push(Vec2::new(u, v));
        }
    }
    for row in 0..3 {
        for column in 0..2 {
            let a = row * 3 + column;
            part.triangles.extend([[a + 3, a + 4, a + 1], [a + 3, a + 1, a]]);
        }
    }
    Mesh { parts: vec![part] }
}

fn canvas() -> MaterialToWrite {
    let file = |name: &str| Some(ImageRef::File(name.into()));
    MaterialToWrite {
        name: "canvas".into(),
        base_color: file("smock maps/base colour.png"),
        metallic_roughness: file("smock maps/orm.png"),
        occlusion: file("smock maps/orm.png"),
        normal: Some(ImageRef::Embedded { name: "weave".into(), media_type: "image/png", bytes: b"\x89PNG-not-really".to_vec() }),
        alpha_cutoff: Some(0.5),
        double_sided: true,
        ..MaterialToWrite::default()
    }
}

#[test]
fn a_written_garment_reads_back_the_same() {
    let mesh = cloth(1.0);
    let file = read(&[("smock.glb", &write_glb(&mesh, &[canvas()]))]).expect("files are written").expect("it reads");
    let (old, new) = (&mesh.parts[0], &file.mesh.parts[0]);
    assert_eq!(
        (&new.name, &new.material, new.triangles.len()),
        (&old.name, &old.material, old.triangles.len()),
        "names and count"
    );
    for t in 0..old.triangles.len() {
        assert_eq!(old.corners(t), new.corners(t), "positions bit for bit");
        assert_eq!(old.corner_uvs(t), new.corner_uvs(t), "texture coordinates bit for bit");
    }
    assert_eq!((file.unit_source, file.mm_per_unit), (UnitSource::Stated, 1000.0), "glTF 2.0, 3.4: metres");
    let material = &file.materials[0];
    assert_eq!((material.alpha, material.double_sided), (AlphaMode::Mask, true), "how it is seen");
    let held = material.textures.iter().map(|t| {
        let roles: Vec<_> = t.roles.iter().map(|r| (r.channel, r.coding.component)).collect();
        (format!("{:?}", t.source), roles)
    });
    let expected = vec![
        ("File(\"smock maps/base colour.png\")".to_owned(), vec![(Channel::BaseColor, 0), (Channel::Opacity, 3)]),
        ("Embedded(weave.png, 15 bytes)".to_owned(), vec![(Channel::Normal, 0)]),
        // glTF 2.0, 3.9.2 and 3.9.3: roughness green, metallic blue, occlusion red.
        (
            "File(\"smock maps/orm.png\")".to_owned(),
            vec![(Channel::Roughness, 1), (Channel::Metallic, 2), (Channel::Occlusion, 0)],
        ),
    ];
    assert_eq!(held.collect::<Vec<_>>(), expected, "textures with what they hold");
    assert!(file.notes.is_empty(), "nothing to say: {:?}", file.notes);
}

#[test]
fn textures_come_out_of_the_file_and_nothing_is_written_over() {
    let mut file = read(&[("smock.glb", &write_glb(&cloth(1.0), &[canvas()]))]).expect("files are written").expect("it reads");
    let folder = tempfile::tempdir().expect("a folder");
    let name = |path: &std::path::Path| path.file_name().unwrap_or_default().to_string_lossy().into_owned();
    let mut first = file.materials.clone();
    let paths = unpack_textures(&mut first, folder.path(), name).expect("it unpacks");
    assert_eq!(std::fs::read(&paths[0]).expect("it is there"), b"\x89PNG-not-really", "byte for byte");
    assert_eq!(first[0].textures[1].source, TextureSource::File("weave.png".into()), "the material names it");
    assert!(unpack_textures(&mut file.materials.clone(), folder.path(), name).is_ok(), "the same bytes are no conflict");
    std::fs::write(&paths[0], b"someone's work").expect("written");
    assert!(unpack_textures(&mut file.materials, folder.path(), name).is_err(), "other bytes are");
    assert_eq!(std::fs::read(&paths[0]).expect("it is there"), b"someone's work", "and stay");
}

/// A quad in the z = 0 plane facing +z, all inline, without normals, with 16-bit texture coordinates 4 bytes apart.
fn quad(node: &str) -> String {
    let mut bin: Vec<u8> = Vec::new();
    for p in [[0.0_f32, 0.0, 0.0], [0.5, 0.0, 0.0], [0.5, 0.5, 0.0], [0.0, 0.5, 0.0]] {
        bin.extend(p.iter().flat_map(|x| x.to_le_bytes()));
    }
    bin.extend([0_u8, 1, 2, 0, 2, 3, 0, 0]);
    bin.extend([[0_u16, 65535], [65535, 65535], [65535, 0], [0, 0]].iter().flatten().flat_map(|x| x.to_le_bytes()));
    format!(
        r#"{{"asset":{{"version":"2.0"}},"nodes":[{{"mesh":0{node}}}],
        "meshes":[{{"primitives":[{{"attributes":{{"POSITION":0,"TEXCOORD_0":2}},"indices":1}}]}}],
        "accessors":[{{"bufferView":0,"componentType":5126,"count":4,"type":"VEC3"}},
          {{"bufferView":0,"byteOffset":48,"componentType":5121,"count":6,"type":"SCALAR"}},
          {{"bufferView":1,"componentType":5123,"normalized":true,"count":4,"type":"VEC2"}}],
        "bufferViews":[{{"buffer":0,"byteLength":56}},{{"buffer":0,"byteOffset":56,"byteLength":16,"byteStride":4}}],
        "buffers":[{{"byteLength":72,"uri":"data:application/octet-stream;base64,{}"}}]}}"#,
        base64(&bin)
    )
}

fn base64(bytes: &[u8]) -> String {
    const LETTERS: &[u8; 64] = b"ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789+/";
    let mut out = String::new();
    for group in bytes.chunks(3) {
        let word = group.iter().enumerate().fold(0_u32, |word, (i, &byte)| word | u32::from(byte) << (16 - 8 * i));
        let letters = (0..=group.len()).map(|i| char::from(LETTERS[(word >> (18 - 6 * i)) as usize & 63]));
        out.extend(letters.chain(std::iter::repeat_n('=', 3 - group.len())));
    }
    out
}

#[test]
fn whole_number_texture_coordinates_are_scaled() {
    let file = read(&[("quad.gltf", quad("").as_bytes())]).expect("files are written").expect("it reads");
    // Normals were absent: glTF 2.0, 3.7.2.1 wants flat ones, so every triangle has its own corners.
    assert_eq!(file.mesh.parts[0].uvs[..3], [Vec2::new(0.0, 1.0), Vec2::new(1.0, 1.0), Vec2::new(1.0, 0.0)], "65535 is one");
    assert_eq!(file.mesh.parts[0].normals, [Vec3::Z; 6], "flat normals");
}

#[test]
fn a_mirroring_node_turns_the_winding() {
    let text = quad(r#","scale":[-1,1,1]"#);
    let file = read(&[("quad.gltf", text.as_bytes())]).expect("files are written").expect("it reads");
    let part = &file.mesh.parts[0];
    let [a, b, c] = part.corners(0);
    assert!((b - a).cross(c - a).z > 0.0, "glTF 2.0, 3.7.4: still counter-clockwise from its front");
    assert!(islands(part).all[0].is_mirrored(), "and the texture is seen from behind");
    assert!(tangents(part)[0][0].w < 0.0, "so its tangent frame is mirrored");
}

#[test]
fn odd_names_are_found() {
    let text = quad("");
    let (start, end) = (text.find("data:").expect("inline"), text.rfind("\"}]").expect("it ends"));
    let mut data = vec![0_u8; 72];
    data[12..16].copy_from_slice(&0.5_f32.to_le_bytes());
    data[28..32].copy_from_slice(&0.5_f32.to_le_bytes());
    data[48..54].copy_from_slice(&[0, 1, 2, 0, 1, 2]);
    for (uri, name) in [(".bin", ".bin"), ("Two%20Words.bin", "Two Words.bin"), ("Two Words.bin", "Two Words.bin")] {
        let text = format!("{}{uri}{}", &text[..start], &text[end..]);
        let file = read(&[("quad.gltf", text.as_bytes()), (name, &data)]).expect("files are written");
        assert!(file.is_ok(), "{uri}: {file:?}");
        let missing = read(&[("quad.gltf", text.as_bytes())]).expect("files are written").expect_err("it is not there");
        assert!(missing.to_string().contains(name), "the missing file is named: {missing}");
    }
}

#[test]
fn obj_runs_v_down_and_says_that_its_unit_is_assumed() {
    let obj = b"mtllib a.mtl\no skirt\nusemtl wool\nv 0 0 0\nv 70 0 0\nv 70 90 0\nv 0 90 0\nvt 0 0\nvt 1 0\nvt 1 1\nvt 0 1\nf 1/1 2/2 3/3 4/4\n";
    let mtl = b"newmtl wool\nmap_Kd -s 1 1 1 -bm 0.5 skirt colour.png\nmap_Pr C:\\temp\\rough.png\nnorm n.png\n";
    let file = read(&[("skirt.obj", obj), ("a.mtl", mtl)]).expect("files are written").expect("it reads");
    let part = &file.mesh.parts[0];
    assert_eq!((part.name.as_str(), part.triangles.len()), ("skirt", 2), "one square");
    assert!(part.positions.iter().zip(&part.uvs).all(|(p, uv)| (uv.y - (1.0 - p.y / 90.0)).abs() < 1e-6), "top has v = 0");
    assert!(part.normals.iter().all(|n| (*n - Vec3::Z).length() < 1e-6), "normals made");
    assert_eq!((file.mm_per_unit, file.unit_source), (10.0, UnitSource::Assumed), "90 cm long, not 90 m or 90 mm");
    let paths: Vec<_> = file.materials[0].textures.iter().map(|t| t.source.clone()).collect();
    let expected = ["skirt colour.png", "rough.png", "n.png"].map(|p| TextureSource::File(p.into()));
    assert_eq!(paths, expected, "options and foreign folders are passed over");
    let codes: Vec<_> = file.notes.iter().map(|n| n.code).collect();
    assert_eq!(codes, ["unit-assumed", "texture-path-absolute"], "and said");
}

#[test]
fn missing_texture_coordinates_name_the_part() {
    let bare = b"o sleeve\nv 0 0 0\nv 1 0 0\nv 0 1 0\nf 1 2 3\n";
    let error = read(&[("a.obj", bare)]).expect("files are written").expect_err("no uvs");
    assert!(error.to_string().contains("\"sleeve\""), "{error}");
    let mixed = b"o sleeve\nv 0 0 0\nv 1 0 0\nv 0 1 0\nvt 0 0\nf 1/1 2/1 3/1\no button\nf 1 2 3\n";
    let file = read(&[("a.obj", mixed)]).expect("files are written").expect("the sleeve reads");
    assert_eq!(file.mesh.parts.len(), 1, "only the sleeve");
    assert!(file.notes.iter().any(|n| n.code == "part-without-uvs" && n.text.contains("button")), "{:?}", file.notes);
}

#[test]
fn a_garment_of_six_centimetres_is_doubted() {
    let file = read(&[("tiny.glb", &write_glb(&cloth(0.1), &[]))]).expect("files are written").expect("it reads");
    assert!(file.notes.iter().any(|n| n.code == "scale-small"), "{:?}", file.notes);
}

#[test]
fn hostile_files_end_in_one_sentence() {
    let glb = write_glb(&cloth(1.0), &[canvas()]);
    let good = quad("");
    let swap = |from: &str, to: &str| {
        assert!(good.contains(from), "{from} is in the file");
        good.replace(from, to).into_bytes()
    };
    let hostile: Vec<(&str, Vec<u8>)> = vec![
        ("empty.glb", Vec::new()),
        ("only.gltf", b"glTF".to_vec()),
        ("cut.glb", glb[..glb.len() / 2].to_vec()),
        ("deep.gltf", format!("{{\"asset\":{}", "[".repeat(100_000)).into_bytes()),
        ("huge-count.gltf", swap("\"count\":4,\"type\":\"VEC3\"", "\"count\":4000000000,\"type\":\"VEC3\"")),
        ("huge-offset.gltf", swap("\"byteOffset\":48", "\"byteOffset\":18446744073709551615")),
        ("view-outside.gltf", swap("\"byteLength\":56", "\"byteLength\":5600000")),
        ("corner-outside.gltf", swap("\"byteOffset\":48", "\"byteOffset\":12")),
        ("ring.gltf", swap("\"mesh\":0", "\"mesh\":0,\"children\":[0]")),
        ("elsewhere.gltf", swap("data:application", "http:application")),
        ("version.gltf", swap("\"2.0\"", "\"1.0\"")),
        ("not-a-number.obj", b"v nan inf x\nv 0 0 0\nv 1 0 0\nvt 0 0\nf 1/1 2/1 3/1\n".to_vec()),
        ("outside.obj", b"v 0 0 0\nf 0 100 -100\nf 99999999999999999999 1 1\n".to_vec()),
        ("a.fbx", b"Binary  \0".to_vec()),
        ("empty.fbx", Vec::new()),
        ("cut.fbx", FBX.as_bytes()[..FBX.len() / 2].to_vec()),
        ("binary.fbx", b"Kaydara FBX Binary  \0\x1a\0\x4c\x1d\0\0\xff\xff\xff\xff".to_vec()),
        ("corner-outside.fbx", FBX.replacen("0,1,-3", "0,1,-3000", 1).into_bytes()),
        ("bare.fbx", FBX.replace("LayerElementUV", "LayerElementXX").into_bytes()),
        ("a.stl", b"solid".to_vec()),
    ];
    for (name, bytes) in hostile {
        let error = read(&[(name, &bytes)]).expect("files are written").expect_err(name);
        let text = error.to_string();
        assert_eq!(error.class(), Class::Input, "{name}: {text}");
        assert!(text.ends_with(name) && text.len() < 400 && !text.contains('\n'), "{name}: one sentence, path last: {text}");
    }
}

/// The cloth of these tests as OBJ, written as FBX 7500 in text by the Open Asset Import Library 5.2.0 (`assimp export cloth.obj
/// cloth.fbx -ffbxa -jiv`). It calls its unit centimetres, whatever it was.
const FBX: &str = include_str!("mesh_data/cloth.fbx");

#[test]
fn an_fbx_of_another_library_holds_the_cloth_it_was_made_of() {
    let file = read(&[("cloth.fbx", FBX.as_bytes())]).expect("files are written").expect("it reads");
    assert_eq!((file.mm_per_unit, file.unit_source), (10.0, UnitSource::Stated), "the file says centimetres");
    let (made, read_back) = (&cloth(1.0).parts[0], &file.mesh.parts[0]);
    assert_eq!((read_back.material.as_str(), read_back.triangles.len()), ("canvas", 12), "one part, two triangles a square");
    assert_eq!(read_back.positions.len(), 12, "corners are shared as they were");
    let corners = |part: &Part| -> Vec<(Vec3, Vec2)> {
        part.triangles.iter().flatten().map(|&i| (part.positions[i as usize], part.uvs[i as usize])).collect()
    };
    for ((p, uv), (q, uw)) in corners(made).into_iter().zip(corners(read_back)) {
        assert!(p.distance(q) < 1e-6 && uv.distance(uw) < 1e-6, "{p} {uv} became {q} {uw}");
    }
    assert!(read_back.normals.iter().all(|n| n.distance(Vec3::Z) < 1e-6), "normals are the file's own");
    let textures = &file.materials[0].textures;
    let held: Vec<_> = textures.iter().map(|t| (t.source.clone(), t.roles[0].channel)).collect();
    let at = |name: &str| TextureSource::File(format!("maps/canvas_{name}.png"));
    let wanted = [(at("base_color"), Channel::BaseColor), (at("height"), Channel::Height), (at("opacity"), Channel::Opacity)];
    assert_eq!(held, wanted, "textures by what they hold; left aside: {:?}", file.materials[0].left_aside);
}

#[test]
fn an_fbx_is_turned_upright_and_keeps_its_own_unit() {
    // The scene's settings as the format has them: axis 2 is z, the unit is given in centimetres.
    let text = FBX
        .replace("P: \"UpAxis\", \"int\", \"Integer\", \"\", 1", "P: \"UpAxis\", \"int\", \"Integer\", \"\", 2")
        .replace("P: \"FrontAxis\", \"int\", \"Integer\", \"\", 2", "P: \"FrontAxis\", \"int\", \"Integer\", \"\", 1")
        .replace("P: \"FrontAxisSign\", \"int\", \"Integer\", \"\", 1", "P: \"FrontAxisSign\", \"int\", \"Integer\", \"\", -1")
        .replace(
            "P: \"UnitScaleFactor\", \"double\", \"Number\", \"\", 1",
            "P: \"UnitScaleFactor\", \"double\", \"Number\", \"\", 2.54",
        );
    assert_ne!(text, FBX, "the settings are in the file");
    let file = read(&[("cloth.fbx", text.as_bytes())]).expect("files are written").expect("it reads");
    assert!((file.mm_per_unit - 25.4).abs() < 1e-4, "an inch, exactly 25.4 mm (ISO 31-1): {}", file.mm_per_unit);
    let turned: Vec<Vec3> = cloth(1.0).parts[0].positions.iter().map(|p| Vec3::new(p.x, p.z, -p.y)).collect();
    for position in &file.mesh.parts[0].positions {
        assert!(turned.iter().any(|p| p.distance(*position) < 1e-6), "{position} is a corner with z up turned to y up");
    }
    assert!(file.mesh.parts[0].normals.iter().all(|n| n.distance(Vec3::Y) < 1e-6), "normals turn along");
}

#[test]
fn every_cut_of_a_file_is_survived() {
    let glb = write_glb(&cloth(1.0), &[canvas()]);
    for end in (0..glb.len()).step_by(37) {
        assert!(read(&[("cut.glb", &glb[..end])]).expect("files are written").is_err(), "cut at {end}");
    }
    for end in (0..FBX.len()).step_by(211) {
        // A text that ends after its geometry is a file without materials; what counts is that it ends in an answer.
        let _ = read(&[("cut.fbx", &FBX.as_bytes()[..end])]).expect("files are written");
    }
}
