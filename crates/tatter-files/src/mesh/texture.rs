//! Textures as materials of any format name them.

use tatter_core::channel::Channel;
use tatter_core::image::{Coding, Transfer};
use tatter_core::model::MapRole;
use tatter_core::task::Note;

use super::source::relative;
use super::{AlphaMode, Material, TextureRef, TextureSource};

/// A path as a material has it, relative to the mesh.
pub(super) fn beside_mesh(written: &str, notes: &mut Vec<Note>) -> Option<String> {
    relative(written).or_else(|| {
        // An absolute path is of the machine that wrote the file: the name is tried beside the mesh.
        let name = written.replace('\\', "/").rsplit('/').next().and_then(relative)?;
        let text = format!("\"{written}\" is a path of another machine; \"{name}\" beside the mesh is used");
        notes.push(Note { code: "texture-path-absolute", text });
        Some(name)
    })
}

/// Let a texture of its own hold a channel of a material, unless another does.
pub(super) fn give(material: &mut Material, channel: Channel, source: TextureSource) {
    let taken = material.textures.iter().any(|t| t.roles.iter().any(|r| r.channel == channel));
    // Programs that know no ambient colour write the base colour there.
    let same = material.textures.iter().any(|t| t.source == source);
    if taken || (same && channel == Channel::Occlusion) {
        return;
    }
    let transfer = if channel == Channel::BaseColor { Transfer::Srgb } else { Transfer::Linear };
    // Opacity in the base colour's own file is its alpha.
    let component = if same && channel == Channel::Opacity { 3 } else { 0 };
    if same && channel == Channel::Metallic {
        pack_as_gltf(material, &source);
        return;
    }
    let role = MapRole { channel, coding: Coding { component, transfer, ..Coding::default() } };
    if channel == Channel::Opacity {
        material.alpha = AlphaMode::Blend;
    }
    match material.textures.iter_mut().find(|t| t.source == source) {
        Some(texture) => texture.roles.push(role),
        None => material.textures.push(TextureRef { source, roles: vec![role] }),
    }
}

/// One file for roughness and metallic is packed as glTF 2.0 has it (3.9.2): green and blue.
fn pack_as_gltf(material: &mut Material, source: &TextureSource) {
    let Some(texture) = material.textures.iter_mut().find(|texture| texture.source == *source) else { return };
    let role = |channel, component| MapRole { channel, coding: Coding { component, ..Coding::default() } };
    if texture.roles.iter().all(|role| role.channel == Channel::Roughness) {
        texture.roles = vec![role(Channel::Roughness, 1), role(Channel::Metallic, 2)];
    }
}

/// A picture inside the mesh file; `media` is its media type where the file tells it.
pub(super) fn embedded(name: &str, number: usize, media: &str, bytes: Vec<u8>) -> TextureSource {
    let extension = match (&bytes[..bytes.len().min(4)], media) {
        ([0x89, b'P', b'N', b'G'], _) => "png",
        ([0xFF, 0xD8, ..], _) => "jpg",
        (b"II*\0" | b"MM\0*", _) => "tif",
        (_, "image/webp") => "webp",
        (_, "image/x-tga") => "tga",
        (_, "image/jpeg") => "jpg",
        _ => "png",
    };
    // A name that is safe as a file name on any system.
    let safe = |c: char| if c.is_alphanumeric() || "-_. ".contains(c) { c } else { '_' };
    let stem: String = name.chars().take(80).map(safe).collect();
    let stem = stem.trim_end_matches(".png").trim_end_matches(".jpg").trim_matches(['.', ' ']).to_owned();
    let name = if stem.is_empty() { format!("image-{number}") } else { stem };
    TextureSource::Embedded { name, extension, bytes }
}
