//! Writes the sample models of the tests for another renderer: a GLB each with its eye and lamp, the sky, and our own picture.
//!
//!     cargo build --workspace --example sample_models && target/debug/examples/sample_models FOLDER
#![expect(clippy::disallowed_methods, reason = "a tool writes to the folder it is told")]

#[path = "../tests/sample_models/models.rs"]
mod models;

use std::fmt::Write as _;
use std::path::PathBuf;

use tatter_core::image::{ColorTags, Layout, Samples, Size, Stored};
use tatter_core::mesh::Mesh;
use tatter_core::task::Task;
use tatter_files::mesh::{ImageRef, MaterialToWrite, write_glb};
use tatter_files::picture::{Effort, PictureFormat, encode};
use tatter_proof::{Environment, Renderer};

use models::{Cloth, Model};

type Done<T> = Result<T, Box<dyn std::error::Error>>;

fn main() -> Done<()> {
    let folder = PathBuf::from(std::env::args().nth(1).ok_or("give a folder")?);
    std::fs::create_dir_all(&folder)?;
    let renderer = Renderer::new()?;
    let sky = Environment::studio().picture;
    std::fs::write(
        folder.join("studio.sky"),
        sky.texels().iter().flat_map(|c| c.0).flat_map(f32::to_le_bytes).collect::<Vec<u8>>(),
    )?;
    let mut list = String::new();
    for model in Model::all() {
        let materials = model.cloths.iter().map(written).collect::<Done<Vec<_>>>()?;
        std::fs::write(folder.join(format!("{}.glb", model.name)), write_glb(&Mesh { parts: model.parts.clone() }, &materials))?;
        let world_from_camera = model.camera.camera_from_world().inverse().to_cols_array();
        let key = model.key;
        writeln!(
            list,
            r#"{{"name": "{}", "eye": {world_from_camera:?}, "field": {}, "towards": {:?}, "irradiance": {:?}, "sky": {}, "side": {}}}"#,
            model.name,
            model.camera.field.to_radians(),
            key.towards.to_array(),
            key.irradiance.0,
            model.sky,
            models::SIDE,
        )?;
        let scene = model.scene();
        let loaded = renderer.load(&scene, &vec![4096.0; scene.materials.len()]);
        let drawn = renderer.still(&loaded, &model.camera, &model.light(), &Model::settings(), &Task::new())?;
        let size = Size::new(drawn.width as usize, drawn.height as usize);
        let stored = Stored { size, layout: Layout::Rgb, samples: Samples::U8(drawn.rgb), tags: ColorTags::default() };
        std::fs::write(folder.join(format!("{}-ours.png", model.name)), encode(&stored, PictureFormat::Png, Effort::Small)?)?;
    }
    std::fs::write(folder.join("models.jsonl"), list)?;
    Ok(())
}

fn written(cloth: &Cloth) -> Done<MaterialToWrite> {
    let inside = |what: &str, picture: &Stored| -> Done<ImageRef> {
        let bytes = encode(picture, PictureFormat::Png, Effort::Small)?;
        Ok(ImageRef::Embedded { name: format!("{} {what}", cloth.name), media_type: "image/png", bytes })
    };
    let surface = inside("surface", &cloth.surface)?;
    Ok(MaterialToWrite {
        name: cloth.name.clone(),
        base_color: Some(inside("colour", &cloth.color)?),
        metallic_roughness: Some(surface.clone()),
        occlusion: Some(surface),
        normal: cloth.normal.as_ref().map(|picture| inside("normal", picture)).transpose()?,
        alpha_cutoff: cloth.cutoff,
        sheen: cloth.sheen,
        double_sided: true,
        ..MaterialToWrite::default()
    })
}
