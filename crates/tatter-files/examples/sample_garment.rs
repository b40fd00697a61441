//! Writes a small garment as GLB for `tools/gltf-check`: one part, textures inside and beside it.
//!
//! `cargo build --workspace --example sample_garment && target/debug/examples/sample_garment FOLDER`

use glam::{Vec2, Vec3};
use tatter_core::image::{ColorTags, Layout, Samples, Size, Stored};
use tatter_core::mesh::{Mesh, Part};
use tatter_files::mesh::{ImageRef, MaterialToWrite, write_glb};
use tatter_files::picture::{Effort, PictureFormat, encode};

/// A sleeve: an open tube of 100 mm across and 400 mm long, one seam.
fn sleeve() -> Mesh {
    let mut part = Part { name: "sleeve".into(), material: "canvas".into(), ..Part::default() };
    for row in 0..=4_u8 {
        for column in 0..=16_u8 {
            let (u, v) = (f32::from(column) / 16.0, f32::from(row) / 4.0);
            let out = Vec3::new((u * std::f32::consts::TAU).sin(), 0.0, (u * std::f32::consts::TAU).cos());
            part.positions.push(out * 0.05 + Vec3::Y * (0.4 * (1.0 - v)));
            part.normals.push(out.normalize_or(Vec3::Z));
            part.uvs.push(Vec2::new(u, v));
        }
    }
    for row in 0..4 {
        for column in 0..16 {
            let a = row * 17 + column;
            part.triangles.extend([[a + 17, a + 18, a + 1], [a + 17, a + 1, a]]);
        }
    }
    Mesh { parts: vec![part] }
}

fn main() -> Result<(), Box<dyn std::error::Error>> {
    let folder = std::path::PathBuf::from(std::env::args().nth(1).ok_or("give a folder")?);
    let picture = |texel: &[u8]| {
        let size = Size::new(64, 64);
        let stored =
            Stored { size, layout: Layout::Rgb, samples: Samples::U8(texel.repeat(64 * 64)), tags: ColorTags::default() };
        encode(&stored, PictureFormat::Png, Effort::Small)
    };
    std::fs::create_dir_all(&folder)?;
    std::fs::write(folder.join("base colour.png"), picture(&[190, 160, 120])?)?;
    let inside = |name: &str, bytes| Some(ImageRef::Embedded { name: name.into(), media_type: "image/png", bytes });
    let orm = inside("orm", picture(&[255, 200, 0])?);
    let material = MaterialToWrite {
        name: "canvas".into(),
        base_color: Some(ImageRef::File("base colour.png".into())),
        metallic_roughness: orm.clone(),
        occlusion: orm,
        normal: inside("weave", picture(&[128, 128, 255])?),
        alpha_cutoff: Some(0.5),
        double_sided: true,
        ..MaterialToWrite::default()
    };
    std::fs::write(folder.join("sleeve.glb"), write_glb(&sleeve(), &[material]))?;
    std::fs::write(folder.join("bare.glb"), write_glb(&sleeve(), &[]))?;
    Ok(())
}
