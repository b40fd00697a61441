//! A garment on disk is described, and a job is started from it.
#![expect(clippy::disallowed_methods, reason = "a test of files needs a scratch folder")]

use std::path::Path;

use glam::{Vec2, Vec3};
use tatter::garment::{GarmentError, GarmentRequest, add_plain_maps, describe, start_job};
use tatter_core::channel::Channel;
use tatter_core::explain::{Class, Explain as _};
use tatter_core::image::{ColorTags, Layout, Samples, Size, Stored};
use tatter_core::mesh::{Mesh, Part};
use tatter_core::task::Task;
use tatter_files::mesh::{ImageRef, MaterialToWrite, write_glb};
use tatter_files::picture::{Effort, PictureFormat, encode};

type Tried<T> = Result<T, Box<dyn std::error::Error>>;

fn png(layout: Layout, texel: &[u8]) -> Tried<Vec<u8>> {
    let size = Size::new(64, 64);
    let stored = Stored { size, layout, samples: Samples::U8(texel.repeat(64 * 64)), tags: ColorTags::default() };
    Ok(encode(&stored, PictureFormat::Png, Effort::Fast)?)
}

/// The ferryman's smock as two flat panels of 0.5 m, front and back on the same half of the texture; all of it spans
/// 1000 mm per UV unit.
fn smock() -> Mesh {
    let mut part = Part { name: "panels".into(), material: "canvas".into(), ..Part::default() };
    for z in [0.0, 0.1] {
        let first = part.positions.len() as u32;
        for [u, v] in [[0.0, 0.5], [0.5, 0.5], [0.5, 0.0], [0.0, 0.0]] {
            part.positions.push(Vec3::new(u, 0.5 - v, z));
            part.normals.push(Vec3::Z);
            part.uvs.push(Vec2::new(u, v));
        }
        part.triangles.extend([[first, first + 1, first + 2], [first, first + 2, first + 3]]);
    }
    Mesh { parts: vec![part] }
}

fn write(folder: &Path, embedded: bool) -> Tried<()> {
    std::fs::create_dir_all(folder.join("textures"))?;
    std::fs::write(folder.join("textures/colour.png"), png(Layout::Rgb, &[190, 160, 120])?)?;
    std::fs::write(folder.join("textures/smock_orm.png"), png(Layout::Rgb, &[255, 200, 0])?)?;
    let bytes = png(Layout::Rgb, &[128, 128, 255])?;
    let normal = ImageRef::Embedded { name: "weave".into(), media_type: "image/png", bytes };
    let material = MaterialToWrite {
        name: "canvas".into(),
        base_color: Some(ImageRef::File("textures/colour.png".into())),
        normal: embedded.then_some(normal),
        ..MaterialToWrite::default()
    };
    std::fs::write(folder.join("smock.glb"), write_glb(&smock(), &[material]))?;
    Ok(())
}

fn codes(task: &Task) -> Vec<&'static str> {
    task.notes().iter().map(|note| note.code).collect()
}

#[test]
fn a_job_starts_from_a_mesh_and_a_folder() {
    let folder = tempfile::tempdir().expect("a folder");
    write(folder.path(), false).expect("it is written");
    let maps = Some(folder.path().join("textures"));
    let request = GarmentRequest { source: folder.path().join("smock.glb"), maps, ..GarmentRequest::default() };
    let task = Task::new();
    let report = describe(&request, &task).expect("it is understood");
    assert!((report.garment.mm_per_uv.get() - 1000.0).abs() < 0.1, "half a metre on half a unit: {:?}", report.garment.mm_per_uv);
    assert_eq!(report.size_mm.map(f32::round), [500.0, 500.0, 100.0], "its size");
    let material = &report.materials[0];
    assert_eq!((material.islands, material.mirrored, material.repeats), (2, 0, 1), "front and back");
    assert!((material.used - 0.25).abs() < 1e-3 && material.shared > 0.99, "a quarter of the texture, all of it twice");
    assert_eq!(codes(&task), ["texture-shared"], "which is said");
    assert_eq!(report.missing, [Channel::Height, Channel::Normal, Channel::Opacity], "what no texture holds");
    // 64 texels over a metre.
    assert!(report.maps.iter().all(|map| (map.texels_per_mm - 0.064).abs() < 1e-4 && map.bits == 8), "{:?}", report.maps);

    let job_path = folder.path().join("work/smock.tatter.toml");
    std::fs::create_dir_all(folder.path().join("work")).expect("a folder");
    let job = start_job(&report, &job_path);
    assert_eq!((job.name.as_str(), job.garment.mesh.as_deref()), ("smock", Some("../smock.glb")), "paths are the job's");
    let paths: Vec<&str> = job.garment.sets[0].files.iter().map(|f| f.path.as_str()).collect();
    assert_eq!(paths, ["../textures/colour.png", "../textures/smock_orm.png"], "textures too");
    tatter_files::job::write_job(&job_path, &job).expect("it is written");
    let read = tatter_files::job::read_job(&job_path).expect("it reads");
    assert_eq!(read.garment.mesh, job.garment.mesh, "the mesh comes back");
    let roles = |job: &tatter_core::model::Job| job.garment.sets[0].files.iter().map(|f| f.roles.clone()).collect::<Vec<_>>();
    assert_eq!(roles(&read), roles(&job), "and every role");
}

#[test]
fn textures_inside_the_mesh_are_unpacked_on_request() {
    let folder = tempfile::tempdir().expect("a folder");
    write(folder.path(), true).expect("it is written");
    let mut request = GarmentRequest { source: folder.path().join("smock.glb"), ..GarmentRequest::default() };
    let task = Task::new();
    let report = describe(&request, &task).expect("it is understood");
    assert!(codes(&task).contains(&"texture-embedded"), "it is said: {:?}", task.notes());
    assert!(report.missing.contains(&Channel::Normal), "and not in the map set");
    request.unpack = Some(folder.path().join("smock.maps"));
    let report = describe(&request, &Task::new()).expect("it is understood");
    let normal = report.garment.sets[0].role(Channel::Normal).map(|(file, _)| file.path.clone());
    assert_eq!(normal.as_deref(), Some("smock.maps/weave.png"), "now it is a file");
}

/// A folder of garments, each with its own textures: what lies beside one mesh is not another's.
#[test]
fn textures_of_another_garment_are_not_taken() {
    let folder = tempfile::tempdir().expect("a folder");
    write(&folder.path().join("smock"), false).expect("it is written");
    let bare = MaterialToWrite { name: "wool".into(), ..MaterialToWrite::default() };
    std::fs::write(folder.path().join("waistcoat.glb"), write_glb(&smock(), &[bare])).expect("written");
    let request = GarmentRequest { source: folder.path().join("waistcoat.glb"), ..GarmentRequest::default() };
    let task = Task::new();
    let report = describe(&request, &task).expect("it is understood");
    assert!(report.maps.is_empty(), "the smock keeps its own: {:?}", report.maps);
    assert!(codes(&task).contains(&"no-textures"), "which is said: {:?}", task.notes());
    let own = folder.path().join("wool");
    std::fs::create_dir(&own).expect("a folder");
    std::fs::write(own.join("waistcoat_color.png"), png(Layout::Rgb, &[60, 50, 40]).expect("a picture")).expect("written");
    let report = describe(&request, &Task::new()).expect("it is understood");
    let paths: Vec<&str> = report.maps.iter().map(|map| map.path.as_str()).collect();
    assert_eq!(paths, ["wool/waistcoat_color.png"], "a folder without a mesh is looked into");
}

#[test]
fn a_bare_map_set_is_a_garment_too() {
    let folder = tempfile::tempdir().expect("a folder");
    write(folder.path(), false).expect("it is written");
    let task = Task::new();
    let request = GarmentRequest { source: folder.path().join("textures"), ..GarmentRequest::default() };
    let report = describe(&request, &task).expect("it is understood");
    assert!(report.garment.mesh.is_none() && report.job.mm_per_uv.is_some(), "no mesh, a scale in the job");
    assert!(codes(&task).contains(&"scale-assumed"), "which is assumed aloud: {:?}", task.notes());
    let given = GarmentRequest { mm_per_uv: Some(320.0), ..request };
    let task = Task::new();
    assert_eq!(describe(&given, &task).expect("understood").garment.mm_per_uv.get(), 320.0, "as given");
    assert!(!codes(&task).contains(&"scale-assumed"), "nothing is assumed then");
}

#[test]
fn wrong_requests_say_so() {
    let folder = tempfile::tempdir().expect("a folder");
    let ask = |request: &GarmentRequest| describe(request, &Task::new()).expect_err("it is wrong");
    let source = folder.path().to_owned();
    let error = ask(&GarmentRequest { source: source.clone(), ..GarmentRequest::default() });
    assert!(matches!(error, GarmentError::Nothing { .. }) && error.class() == Class::Input, "{error}");
    let error = ask(&GarmentRequest { source: source.clone(), mm_per_unit: Some(f32::NAN), ..GarmentRequest::default() });
    assert!(matches!(error, GarmentError::Scale { .. }) && error.class() == Class::Request, "{error}");
    for name in ["a.glb", "b.obj"] {
        std::fs::write(folder.path().join(name), b"").expect("written");
    }
    let error = ask(&GarmentRequest { source, ..GarmentRequest::default() });
    assert!(error.to_string().contains("a.glb, b.obj") && error.class() == Class::Request, "{error}");
}

#[test]
fn plain_textures_are_added_for_what_is_missing() {
    let folder = tempfile::tempdir().expect("a folder");
    write(folder.path(), false).expect("it is written");
    let maps = Some(folder.path().join("textures"));
    let request = GarmentRequest { source: folder.path().join("smock.glb"), maps, ..GarmentRequest::default() };
    let mut report = describe(&request, &Task::new()).expect("it is understood");
    let wanted = [Channel::Height, Channel::Normal, Channel::Occlusion, Channel::Opacity];
    add_plain_maps(&mut report, &wanted, &Task::new()).expect("they are added");
    assert!(report.missing.is_empty(), "nothing is missing now: {:?}", report.missing);
    let set = &report.garment.sets[0];
    let read = |channel: Channel| {
        let (file, role) = set.role(channel).expect("a file");
        let path = folder.path().join(&file.path);
        (tatter_files::picture::read_stored(&path, &tatter_files::limits::Limits::default()).expect("it reads"), *role)
    };
    // glTF 2.0, 3.9.3: a flat normal is (128, 128, 255); full opacity is 255; the mid plane of a height is half code.
    let (normal, _) = read(Channel::Normal);
    assert_eq!((normal.layout, normal.size), (Layout::Rgb, Size::new(64, 64)), "as large as the base colour");
    assert!(matches!(&normal.samples, Samples::U8(v) if v.chunks(3).all(|t| t == [128, 128, 255])), "flat");
    assert!(matches!(&read(Channel::Opacity).0.samples, Samples::U8(v) if v.iter().all(|&t| t == 255)), "opaque");
    assert!(matches!(&read(Channel::Height).0.samples, Samples::U16(v) if v.iter().all(|&t| t == 32768)), "mid plane");
    // Occlusion lies in the packed texture already and is left alone.
    assert!(!folder.path().join("textures/canvas_occlusion.png").exists(), "nothing that is there is added");
    let job = start_job(&report, &folder.path().join("smock.tatter.toml"));
    assert_eq!(job.garment.sets[0].files.len(), 5, "two textures it had, three that are new");

    // A second start finds the files of the first: the same texture is taken, another is never replaced.
    let mut again = report.clone();
    again.garment.sets[0].files.truncate(2);
    add_plain_maps(&mut again, &[Channel::Normal], &Task::new()).expect("it is the very texture");
    assert!(again.garment.sets[0].role(Channel::Normal).is_some(), "and known to the job");
    let path = report.base.join(&report.garment.sets[0].role(Channel::Normal).expect("a file").0.path);
    std::fs::copy(report.base.join(&report.garment.sets[0].role(Channel::Opacity).expect("a file").0.path), &path)
        .expect("copied");
    again.garment.sets[0].files.truncate(2);
    let error = add_plain_maps(&mut again, &[Channel::Normal], &Task::new()).expect_err("it is there");
    assert!(matches!(error, GarmentError::Exists { .. }) && error.class() == Class::Request, "{error}");
    let error = add_plain_maps(&mut report, &[Channel::Cover], &Task::new()).expect_err("no garment has a cover");
    assert!(matches!(error, GarmentError::NotPlain { .. }), "{error}");
}
