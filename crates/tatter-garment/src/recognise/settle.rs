//! From files with roles to map sets: texels have the last word, twice-told channels are settled, green is tested.

use tatter_core::channel::Channel;
use tatter_core::image::{Coding, NormalY, Transfer};
use tatter_core::model::{MapFile, MapRole, MapSet, UvTile};
use tatter_core::task::Note;

use super::content::{green_against_height, green_from_curl, look};
use super::names::read_name;
use super::{Candidate, Placed, Recognised};

/// A correlation below this says nothing: a map of pure noise stays under it.
const SURE: f32 = 0.1;

/// Roles for files whose names say nothing: normals by their length, the only coloured picture as base colour.
pub(super) fn by_content<'a>(
    files: Vec<&'a Candidate>,
    materials: &[String],
    placed: &mut Vec<Placed<'a>>,
    result: &mut Recognised,
) {
    let has = |placed: &[Placed<'_>], channel| placed.iter().any(|p| p.roles.iter().any(|r| r.channel == channel));
    let mut colored: Vec<&Candidate> = Vec::new();
    // Several materials: nobody can see which one a nameless file belongs to.
    let material = if materials.len() > 1 { None } else { Some(materials.first().cloned().unwrap_or_default()) };
    let put = |placed: &mut Vec<Placed<'a>>, file: &'a Candidate, material: String, channel: Channel| {
        let transfer = if channel == Channel::BaseColor { Transfer::Srgb } else { Transfer::Linear };
        let role = MapRole { channel, coding: Coding { transfer, ..Coding::default() } };
        let tile = UvTile::default();
        placed.push(Placed { file, material, tile, roles: vec![role], states_y: false, doubtful: false, told: false });
    };
    for file in files {
        let seen = file.sample.as_ref().map(look);
        match (seen, &material) {
            (Some(seen), Some(material)) if seen.is_normals() && !has(placed, Channel::Normal) => {
                let text = format!("\"{}\" was taken as the normal map: its texels are unit directions", file.path);
                result.notes.push(Note { code: "role-from-content", text });
                put(placed, file, material.clone(), Channel::Normal);
            }
            (Some(seen), Some(_)) if !seen.gray && !seen.is_normals() && file.layout.components() >= 3 => colored.push(file),
            _ => result.unknown.push(file.path.clone()),
        }
    }
    // One picture in several UV tiles: the same name but for the tile.
    let names: Vec<_> = colored.iter().map(|f| read_name(f.path.rsplit('/').next().unwrap_or(&f.path))).collect();
    let tiled = names.len() > 1 && names.iter().all(|n| n.tile.is_some() && n.stem == names[0].stem);
    match (colored.as_slice(), material) {
        (several, Some(material)) if tiled && !has(placed, Channel::BaseColor) => {
            let text = format!(
                "The {} tiles of \"{}\" were taken as the base colour: they are the only coloured pictures",
                several.len(),
                names[0].stem
            );
            result.notes.push(Note { code: "role-from-content", text });
            for (file, name) in several.iter().zip(&names) {
                put(placed, file, material.clone(), Channel::BaseColor);
                if let Some(last) = placed.last_mut() {
                    last.tile = name.tile.unwrap_or_default();
                }
            }
        }
        ([only], Some(material)) if !has(placed, Channel::BaseColor) => {
            let text = format!("\"{}\" was taken as the base colour: it is the only coloured picture", only.path);
            result.notes.push(Note { code: "role-from-content", text });
            put(placed, only, material, Channel::BaseColor);
        }
        (several, _) => result.unknown.extend(several.iter().map(|file| file.path.clone())),
    }
    result.unknown.sort();
}

/// Corrects roles that the file cannot hold or plainly does not hold.
pub(super) fn fit_to_content(one: &mut Placed<'_>, notes: &mut Vec<Note>) {
    let path = &one.file.path;
    let mut say = |code, text: String| notes.push(Note { code, text });
    let components = one.file.layout.components();
    let color_end = if one.file.layout.has_alpha() { components - 1 } else { components };
    // Component 3 means alpha, wherever alpha lies.
    for role in one.roles.iter_mut().filter(|r| r.coding.component == 3 && one.file.layout.has_alpha()) {
        role.coding.component = components - 1;
    }
    let before = one.roles.len();
    let single = color_end == 1 && before > 1;
    one.roles.retain(|role| role.coding.component < components);
    if one.roles.len() < before {
        let what = if single { "is grey, so it cannot hold packed channels" } else { "has fewer components than its roles need" };
        say("packing-impossible", format!("\"{path}\" {what}; the others were dropped"));
    }
    let Some(seen) = one.file.sample.as_ref().map(look) else { return };
    if let [role] = one.roles.as_mut_slice() {
        if role.channel == Channel::Height && seen.is_normals() {
            role.channel = Channel::Normal;
            one.states_y = false;
            say("role-corrected", format!("\"{path}\" is called a bump or height map but holds normals; it is read as normals"));
        } else if role.channel == Channel::Normal && (seen.gray || color_end == 1) {
            role.channel = Channel::Height;
            say("role-corrected", format!("\"{path}\" is called a normal map but is grey; it is read as height"));
        } else if role.channel == Channel::Normal && !seen.is_normals() {
            let share = 100.0 * (1.0 - seen.unit_vectors);
            say(
                "normals-doubtful",
                format!("{share:.0} % of \"{path}\" are no unit directions, though it is called a normal map"),
            );
        } else if role.channel == Channel::Opacity && !one.told && seen.mean < 0.5 {
            role.coding.inverted = true;
            say("opacity-inverted", format!("\"{path}\" is mostly dark; cloth is mostly there, so dark is read as cloth"));
        }
    }
    if one.doubtful && one.roles.len() == 2 {
        let text = format!("\"{path}\" is read as glTF packs it: roughness in green, metallic in blue; its name does not say");
        say("packing-assumed", text);
    }
    let alpha = components - 1;
    let color =
        one.roles.iter().any(|r| r.channel == Channel::BaseColor) && !one.roles.iter().any(|r| r.coding.component == alpha);
    if color && !one.told && one.file.layout.has_alpha() && seen.alpha_used {
        let coding = Coding { component: alpha, ..Coding::default() };
        one.roles.push(MapRole { channel: Channel::Opacity, coding });
        say("alpha-is-opacity", format!("The alpha of \"{path}\" is read as opacity"));
    }
}

/// How much a file is worth when two tell one channel: what a material says, stated +Y, more texels, more bits.
fn worth(one: &Placed<'_>, channel: Channel) -> (bool, bool, usize, u8) {
    let role = one.roles.iter().find(|r| r.channel == channel);
    let up = role.is_some_and(|r| r.coding.normal_y == NormalY::Up);
    (one.told, up, one.file.size.area(), one.file.bits)
}

/// Sets by material and tile; of two files for one channel the better one stays.
pub(super) fn into_sets(mut placed: Vec<Placed<'_>>, result: &mut Recognised) {
    let mut keys: Vec<(String, UvTile)> = Vec::new();
    for one in &placed {
        let key = (one.material.clone(), one.tile);
        if !keys.contains(&key) {
            keys.push(key);
        }
    }
    keys.sort();
    for (material, tile) in keys {
        let mine: Vec<usize> = (0..placed.len()).filter(|&i| placed[i].material == material && placed[i].tile == tile).collect();
        for channel in Channel::ALL {
            let tellers = mine.iter().copied().filter(|&i| placed[i].roles.iter().any(|r| r.channel == channel));
            let mut tellers: Vec<usize> = tellers.collect();
            tellers.sort_by(|&a, &b| worth(&placed[b], channel).cmp(&worth(&placed[a], channel)).then(a.cmp(&b)));
            for &loser in tellers.iter().skip(1) {
                let text =
                    format!("\"{}\" also holds {channel}; \"{}\" is used", placed[loser].file.path, placed[tellers[0]].file.path);
                result.notes.push(Note { code: "channel-told-twice", text });
                placed[loser].roles.retain(|r| r.channel != channel);
            }
        }
        let mut files: Vec<MapFile> = Vec::new();
        for &i in mine.iter().filter(|&&i| !placed[i].roles.is_empty()) {
            files.push(MapFile { path: placed[i].file.path.clone(), roles: placed[i].roles.clone(), size: placed[i].file.size });
        }
        files.sort_by_key(|file| file.roles.iter().map(|r| r.channel).min());
        if !files.is_empty() {
            result.sets.push(MapSet { material, tile, files });
        }
    }
    let stated = |path: &str| placed.iter().any(|p| p.file.path == path && p.states_y);
    result.stated_green = result.sets.iter().flat_map(|s| &s.files).filter(|f| stated(&f.path)).map(|f| f.path.clone()).collect();
}

/// Tests which way green points in every normal map, against the set's height or by curl.
pub(super) fn find_green(files: &[Candidate], result: &mut Recognised) {
    let sample = |path: &str| files.iter().find(|f| f.path == path).and_then(|f| f.sample.as_ref());
    for set in &mut result.sets {
        let Some((normal_file, normal)) = set.role(Channel::Normal).map(|(f, r)| (f.path.clone(), *r)) else { continue };
        let Some(normals) = sample(&normal_file) else { continue };
        let against = set
            .role(Channel::Height)
            .and_then(|(file, role)| green_against_height(normals, &normal, sample(&file.path)?, role))
            .filter(|green| green.confidence > SURE);
        let by = if against.is_some() { "the height map" } else { "their own integrability" };
        let found = against.or_else(|| green_from_curl(normals, &normal)).filter(|green| green.confidence > SURE);
        let stated = result.stated_green.contains(&normal_file);
        let name = |way| if way == NormalY::Up { "up (+Y)" } else { "down (-Y)" };
        let mut say = |code, text| result.notes.push(Note { code, text });
        match found {
            Some(green) if stated && green.way != normal.coding.normal_y => {
                let (said, seen) = (name(normal.coding.normal_y), name(green.way));
                let sure = green.confidence;
                let text = format!(
                    "\"{normal_file}\" should have green pointing {said}, but {by} says {seen} (correlation {sure:.2}); it is read as stated"
                );
                say("normal-y-doubtful", text);
            }
            Some(green) if !stated => {
                let sure = green.confidence;
                say(
                    "normal-y-found",
                    format!("Green of \"{normal_file}\" points {}, found from {by} (correlation {sure:.2})", name(green.way)),
                );
                let mut roles = set.files.iter_mut().flat_map(|f| &mut f.roles);
                if let Some(role) = roles.find(|r| r.channel == Channel::Normal) {
                    role.coding.normal_y = green.way;
                }
            }
            None if !stated => {
                say(
                    "normal-y-assumed",
                    format!("Green of \"{normal_file}\" is assumed to point up (+Y): its texels do not tell"),
                );
            }
            _ => {}
        }
    }
}
