//! What a texture's file name says: role, UV tile, and the name that is left.

use tatter_core::channel::Channel;
use tatter_core::image::{Coding, NormalY, Transfer};
use tatter_core::model::{MapRole, UvTile};

/// What a name says.
#[derive(Clone, Debug, Default, PartialEq)]
pub(super) struct Named {
    /// Words that are neither role, size nor tile, joined by `_`, lower case: the name of the set.
    pub(super) stem: String,
    /// Roles, when the name tells them; empty with `aside` for channels that patches do not have.
    pub(super) roles: Option<Vec<MapRole>>,
    /// Whether the name states which way green points.
    pub(super) states_y: bool,
    /// Whether the name leaves its packing or sense in doubt.
    pub(super) doubtful: bool,
    /// UV tile, when the name has one.
    pub(super) tile: Option<UvTile>,
}

use Channel::{BaseColor, Height, Metallic, Normal, Occlusion, Opacity, Roughness};

/// What lies in red, green, blue and alpha: a channel, and whether inverted.
type Packing = [Option<(Channel, bool)>; 4];

/// Words of a role (joined, lower case), what lies in red, green, blue and alpha.
/// Longer phrases stand before their parts. Words of one letter count only at the end of a name.
#[rustfmt::skip]
const WORDS: &[(&[&str], Packing)] = &[
    (&["occlusionroughnessmetallic", "ambientocclusionroughnessmetallic", "orm", "arm", "aorm", "aoroughnessmetallic", "aoroughmetal"],
        [Some((Occlusion, false)), Some((Roughness, false)), Some((Metallic, false)), None]),
    (&["rma", "roughnessmetallicao", "roughnessmetallicocclusion"],
        [Some((Roughness, false)), Some((Metallic, false)), Some((Occlusion, false)), None]),
    (&["mra", "metallicroughnessao", "metallicroughnessocclusion"],
        [Some((Metallic, false)), Some((Roughness, false)), Some((Occlusion, false)), None]),
    (&["metallicroughness", "roughnessmetallic", "metalroughness", "roughnessmetal", "roughnessmetalness", "metalnessroughness", "metalrough", "mr"],
        [None, Some((Roughness, false)), Some((Metallic, false)), None]),
    (&["metallicsmoothness", "metallicgloss", "metallicglossiness"],
        [Some((Metallic, false)), None, None, Some((Roughness, true))]),
    (&["basecolor", "basecolour", "basecol", "albedo", "diffuse", "diffusecolor", "diff", "color", "colour", "col", "bc", "dif", "alb", "d", "c"],
        [Some((BaseColor, false)), None, None, None]),
    (&["normal", "normals", "normalmap", "nrm", "nor", "nml", "norm", "n"], [Some((Normal, false)), None, None, None]),
    (&["height", "heightmap", "displacement", "displace", "disp", "bump", "bumpmap", "hgt", "h"], [Some((Height, false)), None, None, None]),
    (&["roughness", "rough", "rgh", "r"], [Some((Roughness, false)), None, None, None]),
    (&["glossiness", "gloss", "smoothness"], [Some((Roughness, true)), None, None, None]),
    (&["metallic", "metalness", "metal", "met", "m"], [Some((Metallic, false)), None, None, None]),
    (&["ambientocclusion", "occlusion", "ao", "occ"], [Some((Occlusion, false)), None, None, None]),
    (&["opacity", "alpha", "alphamask", "opacitymask", "mask", "cutout", "transparency", "transparent"], [Some((Opacity, false)), None, None, None]),
    (&["emissive", "emission", "emit", "specular", "spec", "specularglossiness", "sheen", "sheencolor", "translucency", "subsurface", "id", "curvature", "thickness", "cavity", "preview", "thumb", "thumbnail", "sheet", "anisotropy", "clearcoat"],
        [None; 4]),
];

/// The longest phrase is five words ("ambient occlusion roughness metallic" and one to spare).
const LONGEST_PHRASE: usize = 5;

/// Words of a name: parted at anything that is no letter or digit, where small letters meet large ones, and before numbers.
fn words(stem: &str) -> Vec<String> {
    let mut all: Vec<String> = Vec::new();
    let mut word = String::new();
    let letters: Vec<char> = stem.chars().collect();
    for (i, &c) in letters.iter().enumerate() {
        let before = i.checked_sub(1).map(|b| letters[b]);
        let after = letters.get(i + 1);
        let rises = c.is_uppercase() && before.is_some_and(char::is_lowercase);
        let last_of_run = c.is_uppercase() && before.is_some_and(char::is_uppercase) && after.is_some_and(|a| a.is_lowercase());
        if (rises || last_of_run || !c.is_alphanumeric()) && !word.is_empty() {
            all.push(std::mem::take(&mut word));
        }
        if c.is_alphanumeric() {
            word.extend(c.to_lowercase());
        }
    }
    all.extend((!word.is_empty()).then_some(word));
    all
}

/// 1001 and on (ten columns), or `u2` followed by `v1` (counted from one).
fn take_tile(words: &mut Vec<String>) -> Option<UvTile> {
    let udim = |word: &str| word.parse::<i32>().ok().filter(|n| word.len() == 4 && (1001..2000).contains(n));
    if let Some(at) = words.iter().rposition(|word| udim(word).is_some()) {
        let n = udim(&words.remove(at))? - 1001;
        return Some(UvTile { u: n % 10, v: n / 10 });
    }
    let number =
        |word: &str, letter: char| word.strip_prefix(letter).and_then(|n| n.parse::<i32>().ok()).filter(|n| (1..=99).contains(n));
    let at = words.windows(2).rposition(|pair| number(&pair[0], 'u').is_some() && number(&pair[1], 'v').is_some())?;
    let (u, v) = (number(&words[at], 'u')?, number(&words[at + 1], 'v')?);
    words.drain(at..at + 2);
    Some(UvTile { u: u - 1, v: v - 1 })
}

/// Sizes such as `2k`, `1024`, `2048x2048`, and depths such as `16bit`.
fn is_size(word: &str) -> bool {
    let number = |w: &str| w.parse::<u32>().is_ok();
    word.strip_suffix('k').is_some_and(number)
        || matches!(word, "256" | "512" | "1024" | "2048" | "4096" | "8192")
        || word.strip_suffix("bit").is_some_and(number)
        || word.split_once('x').is_some_and(|(a, b)| number(a) && number(b))
}

fn roles(table: Packing) -> Vec<MapRole> {
    let each = table.into_iter().enumerate();
    each.filter_map(|(component, entry)| {
        let (channel, inverted) = entry?;
        let transfer = if channel == BaseColor { Transfer::Srgb } else { Transfer::Linear };
        Some(MapRole { channel, coding: Coding { component, transfer, inverted, ..Coding::default() } })
    })
    .collect()
}

/// Reads the name of a file (without folders).
pub(super) fn read_name(file: &str) -> Named {
    let stem = file.rsplit_once('.').map_or(file, |(stem, _)| stem);
    let mut words = words(stem);
    let tile = take_tile(&mut words);
    words.retain(|word| !is_size(word));
    let mut named = Named { tile, ..Named::default() };
    let mut y = None;
    if let Some(at) = words.iter().rposition(|w| matches!(w.as_str(), "gl" | "opengl" | "dx" | "directx")) {
        let up = words.remove(at).ends_with("gl");
        y = Some(if up { NormalY::Up } else { NormalY::Down });
    }
    // The role is usually the last phrase; a longer phrase wins over a shorter one that ends at the same word.
    'search: for end in (1..=words.len()).rev() {
        for start in end.saturating_sub(LONGEST_PHRASE)..end {
            let phrase = words[start..end].concat();
            let last = end == words.len() && words.len() > 1;
            let found = WORDS.iter().find(|(all, _)| all.contains(&phrase.as_str()) && (phrase.len() > 1 || last));
            let Some((all, table)) = found else { continue };
            let mut list = roles(*table);
            if let (Some(role), Some(y)) = (list.iter_mut().find(|r| r.channel == Normal), y) {
                role.coding.normal_y = y;
                named.states_y = true;
            }
            named.doubtful = phrase.starts_with("transparen") || all[0] == "metallicroughness";
            named.roles = Some(list);
            words.drain(start..end);
            break 'search;
        }
    }
    named.stem = words.join("_");
    named
}

#[cfg(test)]
mod tests {
    use super::*;

    fn told(file: &str) -> (String, Vec<(Channel, usize)>) {
        let named = read_name(file);
        (named.stem, named.roles.unwrap_or_default().iter().map(|r| (r.channel, r.coding.component)).collect())
    }

    #[test]
    fn words_of_the_trade() {
        let orm = vec![(Occlusion, 0), (Roughness, 1), (Metallic, 2)];
        for (file, stem, roles) in [
            ("smock_basecolor.png", "smock", vec![(BaseColor, 0)]),
            ("Smock_BaseColor_2k.tif", "smock", vec![(BaseColor, 0)]),
            ("smock diffuse.jpg", "smock", vec![(BaseColor, 0)]),
            ("terry_cloth_diff_1k.jpg", "terry_cloth", vec![(BaseColor, 0)]),
            ("terry_cloth_nor_gl_1k.jpg", "terry_cloth", vec![(Normal, 0)]),
            ("terry_cloth_arm_1k.jpg", "terry_cloth", orm.clone()),
            ("satchel_occlusionRoughnessMetallic.png", "satchel", orm.clone()),
            ("satchel-ORM.1011.png", "satchel", orm),
            ("Corset_roughnessMetallic.png", "corset", vec![(Roughness, 1), (Metallic, 2)]),
            ("waistcoat_AmbientOcclusion.png", "waistcoat", vec![(Occlusion, 0)]),
            ("waistcoat_AO.png", "waistcoat", vec![(Occlusion, 0)]),
            ("hessian_230_mask.png", "hessian_230", vec![(Opacity, 0)]),
            ("gingham_check_disp_1k.png", "gingham_check", vec![(Height, 0)]),
            ("smock_n.png", "smock", vec![(Normal, 0)]),
            ("smock_emissive.png", "smock", vec![]),
            ("color.png", "", vec![(BaseColor, 0)]),
        ] {
            assert_eq!(told(file), (stem.to_owned(), roles), "{file}");
        }
    }

    #[test]
    fn green_and_gloss_and_tiles() {
        let down = read_name("smock_NormalDX.png");
        assert_eq!(down.roles.expect("a role")[0].coding.normal_y, NormalY::Down, "DX maps point down");
        assert!(read_name("smock_gloss.png").roles.expect("a role")[0].coding.inverted, "gloss is one minus roughness");
        assert_eq!(read_name("smock_normal.1012.exr").tile, Some(UvTile { u: 1, v: 1 }), "1012 is one right, one up");
        assert_eq!(read_name("smock_normal_u2_v1.png").tile, Some(UvTile { u: 1, v: 0 }), "counted from one");
        assert_eq!(read_name("IMG_3012.jpg"), Named { stem: "img_3012".into(), ..Named::default() }, "no role");
        assert_eq!(read_name("d.png").roles, None, "one letter alone is a name, not a role");
    }
}
