//! Which texture file holds what: from what a material says, from names, and from the texels themselves.
//!
//! What it is not: it opens no file. It is handed what was found and answers with map sets, what is missing, and doubts.

mod content;
mod names;
mod settle;

use tatter_core::channel::Channel;
use tatter_core::image::{Layout, Size, Stored};
use tatter_core::model::{MapRole, MapSet, UvTile};
use tatter_core::task::Note;

use self::names::read_name;

/// A texture file that was found.
#[derive(Clone, Debug)]
pub struct Candidate {
    /// Path as it shall stand in the map set, `/` between folders.
    pub path: String,
    /// Columns and rows.
    pub size: Size,
    /// Its components.
    pub layout: Layout,
    /// Bits a sample.
    pub bits: u8,
    /// A part of it at full resolution, the same part of every file of one size; `None` when it could not be decoded.
    pub sample: Option<Stored>,
}

/// What a material says about a texture file.
#[derive(Clone, Debug, PartialEq)]
pub struct Told {
    /// Path as in [`Candidate::path`].
    pub path: String,
    /// The material.
    pub material: String,
    /// What the file holds.
    pub roles: Vec<MapRole>,
}

/// What was understood.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Recognised {
    /// Textures by material and UV tile, in the order of materials, then tiles.
    pub sets: Vec<MapSet>,
    /// Channels a garment may have that no set has.
    pub missing: Vec<Channel>,
    /// Files whose role nobody can see.
    pub unknown: Vec<String>,
    /// Guesses and doubts.
    pub notes: Vec<Note>,
    /// Bits a sample of every file that was handed in.
    pub bits: Vec<(String, u8)>,
    /// Normal maps whose green is stated by a material or a name.
    pub stated_green: Vec<String>,
}

/// One file with its role, before sets are made.
#[derive(Clone, Debug)]
struct Placed<'a> {
    file: &'a Candidate,
    material: String,
    tile: UvTile,
    roles: Vec<MapRole>,
    /// A material or the name states which way green points.
    states_y: bool,
    /// The name leaves its packing or sense in doubt.
    doubtful: bool,
    /// A material told.
    told: bool,
}

/// What a texture's file name (without folders) says beside role, size and tile: the name of its set, lower case.
pub fn set_name(file: &str) -> String {
    read_name(file).stem
}

/// Understands a garment's textures. `materials` are the materials of its mesh, empty for a bare map set; `told` what
/// they say. Files that no material names are recognised by name, then by content; they fill channels that are missing.
pub fn recognise(files: &[Candidate], told: &[Told], materials: &[String]) -> Recognised {
    let bits = files.iter().map(|file| (file.path.clone(), file.bits)).collect();
    let mut result = Recognised { bits, ..Recognised::default() };
    let mut placed: Vec<Placed<'_>> = Vec::new();
    for told in told {
        let Some(file) = files.iter().find(|file| file.path == told.path) else { continue };
        let (material, roles) = (told.material.clone(), told.roles.clone());
        let tile = UvTile::default();
        placed.push(Placed { file, material, tile, roles, states_y: true, doubtful: false, told: true });
    }
    let mut unnamed: Vec<&Candidate> = Vec::new();
    let free = files.iter().filter(|file| !told.iter().any(|told| told.path == file.path));
    let named: Vec<_> = free.map(|file| (file, read_name(file.path.rsplit('/').next().unwrap_or(&file.path)))).collect();
    let mut stems: Vec<&str> = named.iter().filter(|(_, n)| n.roles.is_some()).map(|(_, n)| n.stem.as_str()).collect();
    stems.sort_unstable();
    stems.dedup();
    for (file, name) in &named {
        let Some(roles) = name.roles.clone() else {
            unnamed.push(file);
            continue;
        };
        if roles.is_empty() {
            let text = format!("\"{}\" holds a channel that patches do not have; it is left as it is", file.path);
            result.notes.push(Note { code: "map-left-aside", text });
            continue;
        }
        let Some(material) = material_of(&name.stem, &stems, materials) else {
            unnamed.push(file);
            continue;
        };
        let tile = name.tile.unwrap_or_default();
        let (states_y, doubtful) = (name.states_y, name.doubtful);
        placed.push(Placed { file, material, tile, roles, states_y, doubtful, told: false });
    }
    settle::by_content(unnamed, materials, &mut placed, &mut result);
    for one in &mut placed {
        settle::fit_to_content(one, &mut result.notes);
    }
    settle::into_sets(placed, &mut result);
    settle::find_green(files, &mut result);
    let has = |channel: Channel| result.sets.iter().any(|set| set.role(channel).is_some());
    result.missing = Channel::ALL.into_iter().filter(|&c| c.info().on_garment && !has(c)).collect();
    result
}

/// The material a set's name belongs to. Without a mesh each name is a material of its own, unless there is but one.
fn material_of(stem: &str, stems: &[&str], materials: &[String]) -> Option<String> {
    let plain = |name: &str| name.to_lowercase().chars().filter(|c| c.is_alphanumeric()).collect::<String>();
    let key = plain(stem);
    match materials {
        [] if stems.len() <= 1 => Some(String::new()),
        [] => Some(stem.to_owned()),
        [only] => Some(only.clone()),
        many => {
            // The longest material name that the file's name holds, or that holds it.
            let fits = many.iter().filter(|m| {
                let material = plain(m);
                !material.is_empty() && !key.is_empty() && (key.contains(&material) || material.contains(&key))
            });
            fits.max_by_key(|m| plain(m).len()).cloned()
        }
    }
}
