//! MTL: which texture holds what.

use tatter_core::channel::Channel;
use tatter_core::image::{Coding, Transfer};
use tatter_core::model::MapRole;
use tatter_core::task::Note;

use crate::mesh::source::relative;
use crate::mesh::{AlphaMode, Material, TextureRef, TextureSource};

/// What a statement's texture holds. `bump` is a height, though some programs put normals there: the picture's own
/// content decides later.
fn channel(word: &str) -> Option<Channel> {
    Some(match word.to_lowercase().as_str() {
        "map_kd" => Channel::BaseColor,
        "norm" | "map_norm" | "map_kn" => Channel::Normal,
        "bump" | "map_bump" | "disp" | "map_disp" => Channel::Height,
        "map_pr" => Channel::Roughness,
        "map_pm" => Channel::Metallic,
        "map_d" => Channel::Opacity,
        "map_ao" | "map_ka" => Channel::Occlusion,
        _ => return None,
    })
}

/// How many numbers at most an option takes; the file name follows the options.
fn arguments(option: &str) -> usize {
    match option {
        "-mm" => 2,
        "-o" | "-s" | "-t" => 3,
        _ => 1,
    }
}

/// The file name after the options. It may hold spaces.
fn file_name(rest: &str) -> Option<String> {
    let mut words = rest.split_whitespace().peekable();
    while let Some(option) = words.next_if(|word| word.starts_with('-') && word.len() > 1) {
        for n in 0..arguments(option) {
            // -o, -s and -t may have one to three numbers.
            let number = |word: &&str| word.parse::<f32>().is_ok();
            if n == 0 {
                words.next()
            } else {
                words.next_if(number)
            };
        }
    }
    let name = words.collect::<Vec<_>>().join(" ");
    (!name.is_empty()).then_some(name)
}

/// All materials of a library.
pub(super) fn read(text: &str, notes: &mut Vec<Note>) -> Vec<Material> {
    let mut all: Vec<Material> = Vec::new();
    for line in super::logical_lines(text) {
        let line = line.trim();
        let (word, rest) = line.split_once(char::is_whitespace).unwrap_or((line, ""));
        if word == "newmtl" {
            all.push(Material { name: rest.trim().to_owned(), ..Material::default() });
            continue;
        }
        let (Some(material), Some(channel)) = (all.last_mut(), channel(word)) else { continue };
        let Some(written) = file_name(rest) else { continue };
        let path = relative(&written).or_else(|| {
            // An absolute path is of the machine that wrote the file: the name is tried beside the mesh.
            let name = written.replace('\\', "/").rsplit('/').next().and_then(relative)?;
            let text = format!("\"{written}\" is a path of another machine; \"{name}\" beside the mesh is used");
            notes.push(Note { code: "texture-path-absolute", text });
            Some(name)
        });
        let Some(path) = path else { continue };
        add(material, channel, path);
    }
    all
}

fn add(material: &mut Material, channel: Channel, path: String) {
    let taken = material.textures.iter().any(|t| t.roles.iter().any(|r| r.channel == channel));
    let source = TextureSource::File(path);
    // Programs that know no ambient colour write the base colour there.
    let same = material.textures.iter().any(|t| t.source == source);
    if taken || (same && channel == Channel::Occlusion) {
        return;
    }
    let transfer = if channel == Channel::BaseColor { Transfer::Srgb } else { Transfer::Linear };
    // Opacity in the base colour's own file is its alpha.
    let component = if same && channel == Channel::Opacity { 3 } else { 0 };
    let role = MapRole { channel, coding: Coding { component, transfer, ..Coding::default() } };
    if channel == Channel::Opacity {
        material.alpha = AlphaMode::Blend;
    }
    match material.textures.iter_mut().find(|t| t.source == source) {
        Some(texture) => texture.roles.push(role),
        None => material.textures.push(TextureRef { source, roles: vec![role] }),
    }
}
