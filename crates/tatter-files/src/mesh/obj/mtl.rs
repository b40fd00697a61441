//! MTL: which texture holds what.

use tatter_core::channel::Channel;
use tatter_core::task::Note;

use crate::mesh::texture::{beside_mesh, give};
use crate::mesh::{Material, TextureSource};

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
        let Some(path) = beside_mesh(&written, notes) else { continue };
        give(material, channel, TextureSource::File(path));
    }
    all
}
