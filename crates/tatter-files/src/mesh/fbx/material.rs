//! Which texture of an FBX material holds what.

use tatter_core::channel::Channel;
use tatter_core::mesh::Mesh;
use tatter_core::task::Note;
use ufbx::{MaterialMap, Scene, Texture};

use crate::mesh::finish::{unique, used_materials};
use crate::mesh::texture::{beside_mesh, embedded, give};
use crate::mesh::{Material, TextureSource};

/// Unique names of materials, by their number in the file.
pub(super) struct Names(Vec<(u32, String)>);

impl Names {
    pub(super) fn of(&self, material: &ufbx::Material) -> Option<&str> {
        self.0.iter().find(|(id, _)| *id == material.element.element_id).map(|(_, name)| name.as_str())
    }
}

pub(super) fn names(scene: &Scene) -> Names {
    let mut names: Vec<(u32, String)> = Vec::new();
    for material in &scene.materials {
        let name = unique(&material.element.name, names.iter().map(|(_, n)| n.as_str()), "material", names.len() + 1);
        names.push((material.element.element_id, name));
    }
    Names(names)
}

/// The materials that parts use, in the order of their first use.
pub(super) fn used(scene: &Scene, names: &Names, mesh: &Mesh, notes: &mut Vec<Note>) -> Vec<Material> {
    used_materials(mesh, |name| {
        let own = scene.materials.iter().find(|own| names.of(own) == Some(name))?;
        Some(material(own, name, notes))
    })
}

fn material(own: &ufbx::Material, name: &str, notes: &mut Vec<Note>) -> Material {
    let double_sided = own.features.double_sided.enabled;
    let mut material = Material { name: name.to_owned(), double_sided, ..Material::default() };
    // The new way of shading first; what it lacks is taken from the old one.
    let maps: [(&str, Option<Channel>, &[&MaterialMap]); 10] = [
        ("base colour", Some(Channel::BaseColor), &[&own.pbr.base_color, &own.fbx.diffuse_color]),
        ("normal", Some(Channel::Normal), &[&own.pbr.normal_map, &own.fbx.normal_map]),
        // Some programs put normals here: the picture's own content decides later, as with OBJ.
        ("bump", Some(Channel::Height), &[&own.fbx.bump, &own.pbr.displacement_map, &own.fbx.displacement]),
        ("roughness", Some(Channel::Roughness), &[&own.pbr.roughness]),
        ("metallic", Some(Channel::Metallic), &[&own.pbr.metalness]),
        ("opacity", Some(Channel::Opacity), &[&own.pbr.opacity, &own.fbx.transparency_color, &own.fbx.transparency_factor]),
        ("occlusion", Some(Channel::Occlusion), &[&own.pbr.ambient_occlusion]),
        ("glossiness", None, &[&own.pbr.glossiness]),
        ("specular colour", None, &[&own.pbr.specular_color, &own.fbx.specular_color]),
        ("emission", None, &[&own.pbr.emission_color, &own.fbx.emission_color]),
    ];
    for (what, channel, places) in maps {
        let Some(texture) = places.iter().find_map(|map| map.texture.as_ref()) else { continue };
        let texture = file_of(texture);
        let Some(channel) = channel else {
            material.left_aside.push(format!("its {what} texture holds no channel of a garment"));
            continue;
        };
        if is_moved(texture) {
            material.left_aside.push(format!("its {what} texture is shifted, turned or scaled over the cloth"));
            continue;
        }
        match source(texture, notes) {
            Some(source) => give(&mut material, channel, source),
            None => material.left_aside.push(format!("its {what} texture names no picture that can be read")),
        }
    }
    material
}

/// Whether a texture is not looked up just where the texture coordinates say.
fn is_moved(texture: &Texture) -> bool {
    // The other way round is singular in files that scale the third axis by nothing.
    let m = &texture.texture_to_uv;
    let off = [m.m00 - 1.0, m.m01, m.m10, m.m11 - 1.0, m.m03, m.m13];
    texture.has_uv_transform && off.iter().any(|difference| difference.abs() > 1e-6)
}

/// The picture at the bottom of layers.
fn file_of(texture: &Texture) -> &Texture {
    if texture.has_file { texture } else { texture.file_textures.as_ref().first().map_or(texture, |first| first) }
}

fn source(texture: &Texture, notes: &mut Vec<Note>) -> Option<TextureSource> {
    let written = [&texture.relative_filename, &texture.filename, &texture.absolute_filename];
    let written = written.into_iter().find(|name| !name.is_empty()).map_or("", |name| name);
    if !texture.content.is_empty() {
        let file = written.replace('\\', "/");
        let file = file.rsplit('/').next().unwrap_or_default();
        let (stem, ending) = file.rsplit_once('.').unwrap_or((file, ""));
        let media = match ending.to_lowercase().as_str() {
            "tga" => "image/x-tga",
            "webp" => "image/webp",
            "jpg" | "jpeg" => "image/jpeg",
            _ => "",
        };
        return Some(embedded(stem, texture.file_index as usize, media, texture.content.to_vec()));
    }
    beside_mesh(written, notes).map(TextureSource::File)
}
