//! Profiles: small TOML files that say which textures are handed on, packed how, named how, how large.

use std::fs;
use std::path::Path;

use tatter_core::channel::{Channel, Kind};
use tatter_core::image::{HeightRange, Layout, NormalY};
use tatter_core::model::{AlphaChoice, Component, HandoffPicture, HandoffProfile, Sheen, Source, TextureRecipe};

use super::{FORMAT, ProfileError};
use crate::job::color_codes;
use crate::text::{Fields, TextFault, nearest, parse};

/// Profiles that are always at hand, with their text.
pub const BUILT_IN: [(&str, &str); 4] = [
    ("gltf", include_str!("profiles/gltf.toml")),
    ("separate", include_str!("profiles/separate.toml")),
    ("packed-orm", include_str!("profiles/packed-orm.toml")),
    ("udim", include_str!("profiles/udim.toml")),
];

const TOP_KEYS: [&str; 12] = [
    "format",
    "name",
    "file",
    "max_texels",
    "normal_y",
    "height_range_mm",
    "always_udim",
    "alpha",
    "alpha_cutoff",
    "sheen",
    "rougher_when_smaller",
    "texture",
];
const TEXTURE_KEYS: [&str; 11] = ["name", "rgb", "r", "g", "b", "a", "gray", "picture", "bits", "max_texels", "jpeg_quality"];
const SHEEN_KEYS: [&str; 2] = ["color", "roughness"];
const PLACES: [&str; 4] = ["garment", "material", "channel", "udim"];
const PICTURES: [&str; 4] = ["png", "jpeg", "tiff", "exr"];
const ALPHA: [(&str, AlphaChoice); 4] =
    [("auto", AlphaChoice::Auto), ("opaque", AlphaChoice::Opaque), ("mask", AlphaChoice::Mask), ("blend", AlphaChoice::Blend)];
/// Of a JPEG, where the profile does not say: no block shows on cloth (common practice, no source).
const JPEG_QUALITY: u8 = 92;

type Checked<T> = Result<T, TextFault>;

/// A profile by its name, or from the file of that path when it ends in `.toml`.
///
/// # Errors
/// See [`ProfileError`]; what is wrong in the text comes with its line.
pub fn find_profile(name: &str) -> Result<HandoffProfile, ProfileError> {
    let path = Path::new(name);
    let of = |raw: &str| parse_profile(raw).map_err(|fault| ProfileError::Text { path: path.to_owned(), fault: fault.into() });
    if let Some((_, raw)) = BUILT_IN.iter().find(|(known, _)| *known == name) {
        return of(raw);
    }
    if path.extension().is_none_or(|ending| ending != "toml") {
        return Err(ProfileError::Unknown { name: name.to_owned() });
    }
    let failed = |source: std::io::Error| match source.kind() {
        std::io::ErrorKind::NotFound => ProfileError::Unknown { name: name.to_owned() },
        _ => ProfileError::Disk { source, path: path.to_owned() },
    };
    let raw = fs::read_to_string(path).map_err(failed)?;
    let mut profile = of(raw.strip_prefix('\u{feff}').unwrap_or(&raw))?;
    if profile.name.is_empty() {
        profile.name = path.file_stem().unwrap_or_default().to_string_lossy().into_owned();
    }
    Ok(profile)
}

/// A profile from its text; the name stays empty when the text gives none.
///
/// # Errors
/// What is wrong, and on which line.
pub fn parse_profile(raw: &str) -> Checked<HandoffProfile> {
    let document = parse(raw)?;
    let top = Fields::top(raw, &document);
    top.format(FORMAT)?;
    top.allow(&TOP_KEYS)?;
    let file = top.need("file", top.string("file")?)?.to_owned();
    check_pattern(&top, &file)?;
    let mut textures: Vec<TextureRecipe> = Vec::new();
    for table in top.tables("texture", "[[texture]]")? {
        let made = texture(&table)?;
        if textures.iter().any(|known| known.name == made.name) {
            return Err(table.bad("name", format!("`{}` is that of another texture", made.name)));
        }
        textures.push(made);
    }
    if textures.len() > 1 && !file.contains("{channel}") {
        return Err(top.bad("file", "must hold {channel}, since there are several textures"));
    }
    let profile = HandoffProfile {
        name: top.string("name")?.unwrap_or_default().to_owned(),
        file,
        textures,
        max_texels: texels(&top)?,
        normal_y: normal_y(&top)?,
        height_range: height_range(&top)?,
        always_udim: top.flag("always_udim")?.unwrap_or(false),
        alpha: alpha(&top)?,
        alpha_cutoff: share(&top, "alpha_cutoff")?.unwrap_or(0.5),
        sheen: sheen(&top)?,
        rougher_when_smaller: top.flag("rougher_when_smaller")?.unwrap_or(false),
    };
    if profile.textures.is_empty() {
        return Err(top.bad("texture", "is missing: write a [[texture]] for each file that is handed on"));
    }
    Ok(profile)
}

/// Only places that are known, and no folders.
fn check_pattern(top: &Fields<'_>, pattern: &str) -> Checked<()> {
    let mut rest = pattern;
    while let Some(start) = rest.find('{') {
        let Some(length) = rest[start..].find('}') else { return Err(top.bad("file", "has a { without its }")) };
        let place = &rest[start + 1..start + length];
        if !PLACES.contains(&place) {
            return Err(top.bad("file", format!("has {{{place}}}; the nearest place is {{{}}}", nearest(place, &PLACES))));
        }
        rest = &rest[start + length + 1..];
    }
    if pattern.contains(['/', '\\', ':']) || pattern.starts_with('.') || pattern.trim().is_empty() {
        return Err(top.bad("file", "must be a file name without folders, such as \"{garment}_{channel}\""));
    }
    Ok(())
}

fn texture(table: &Fields<'_>) -> Checked<TextureRecipe> {
    table.allow(&TEXTURE_KEYS)?;
    let name = table.need("name", table.string("name")?)?.to_owned();
    if name.is_empty() || name.contains(['/', '\\', ':', '{', '}']) {
        return Err(table.bad("name", "becomes part of a file name: use letters, digits, - and _"));
    }
    let mut components = Vec::new();
    for (key, at, whole) in
        [("rgb", 0, true), ("r", 0, false), ("g", 1, false), ("b", 2, false), ("a", 3, false), ("gray", 0, false)]
    {
        if let Some(source) = source(table, key, whole)? {
            components.push(Component { at, source });
        }
    }
    let has = |key: &str| table.keys().contains(&key);
    let layout = match (has("gray"), has("rgb"), ["r", "g", "b"].iter().any(|key| has(key)), has("a")) {
        (true, false, false, false) => Layout::Gray,
        (true, false, false, true) => return Err(table.bad("a", "needs rgb, or r, g and b; gray stands alone")),
        (true, ..) => return Err(table.bad("gray", "cannot stand beside other components")),
        (false, true, true, _) => return Err(table.bad("rgb", "cannot stand beside r, g and b")),
        (false, true, false, true) | (false, false, true, true) => Layout::Rgba,
        (false, true, false, false) | (false, false, true, false) => Layout::Rgb,
        (false, false, false, true) => return Err(table.bad("a", "needs rgb, or r, g and b")),
        (false, false, false, false) => return table.need("rgb", None),
    };
    let picture = picture(table)?;
    let usual = if picture.is_float() { 16 } else { 8 };
    let bits = table.whole("bits")?.unwrap_or(usual);
    let fits: &[i64] = match picture {
        HandoffPicture::Exr => &[16, 32],
        HandoffPicture::Jpeg(_) => &[8],
        HandoffPicture::Png | HandoffPicture::Tiff => &[8, 16],
    };
    if !fits.contains(&bits) {
        let words: Vec<String> = fits.iter().map(i64::to_string).collect();
        return Err(table.bad("bits", format!("must be {} in such a file, not {bits}", words.join(" or "))));
    }
    let made = TextureRecipe { name, components, layout, picture, bits: bits as u8, max_texels: texels(table)? };
    if matches!(picture, HandoffPicture::Jpeg(_)) && (layout != Layout::Rgb || made.component_of(Channel::BaseColor).is_none()) {
        return Err(table.bad("picture", "is jpeg, which only opaque base colour survives: write png"));
    }
    Ok(made)
}

/// `"roughness"`, `"roughness inverted"`, or a number.
fn source(table: &Fields<'_>, key: &str, whole: bool) -> Checked<Option<Source>> {
    if !whole && !table.is_string(key) {
        return Ok(share(table, key)?.map(Source::Value));
    }
    let Some(text) = table.string(key)? else { return Ok(None) };
    let (name, inverted) = text.strip_suffix(" inverted").map_or((text, false), |name| (name, true));
    let names: Vec<&str> = Channel::ALL.into_iter().filter(|c| c.info().on_garment).map(Channel::name).collect();
    let channel = Channel::from_name(name).filter(|channel| channel.info().on_garment);
    let channel = channel.ok_or_else(|| {
        table.bad(key, format!("names `{name}`, which is no channel; the nearest is `{}`", nearest(name, &names)))
    })?;
    let three = matches!(channel.info().kind, Kind::Color | Kind::Normal);
    if three != whole {
        let why = if three {
            "takes three components: write it under rgb"
        } else {
            "takes one component: write it under r, g, b, a or gray"
        };
        return Err(table.bad(key, format!("names `{name}`, which {why}")));
    }
    if inverted && channel.info().kind != Kind::Unit {
        return Err(table.bad(key, format!("names `{name}`, which cannot be inverted")));
    }
    Ok(Some(Source::Channel { channel, inverted }))
}

fn picture(table: &Fields<'_>) -> Checked<HandoffPicture> {
    let quality = table.whole("jpeg_quality")?;
    let name = table.string("picture")?.unwrap_or("png");
    if let Some(quality) = quality.filter(|quality| !(1..=100).contains(quality)) {
        return Err(table.bad("jpeg_quality", format!("must be from 1 to 100, not {quality}")));
    }
    if quality.is_some() && name != "jpeg" {
        return Err(table.bad("jpeg_quality", format!("means nothing to {name}")));
    }
    match name {
        "png" => Ok(HandoffPicture::Png),
        "jpeg" => Ok(HandoffPicture::Jpeg(quality.map_or(JPEG_QUALITY, |quality| quality as u8))),
        "tiff" => Ok(HandoffPicture::Tiff),
        "exr" => Ok(HandoffPicture::Exr),
        other => Err(table.bad(
            "picture",
            format!("must be one of {}, not `{other}`; the nearest is `{}`", PICTURES.join(", "), nearest(other, &PICTURES)),
        )),
    }
}

fn texels(table: &Fields<'_>) -> Checked<Option<usize>> {
    match table.whole("max_texels")? {
        Some(texels) if !(16..=65_536).contains(&texels) => {
            Err(table.bad("max_texels", format!("must be from 16 to 65536, not {texels}")))
        }
        other => Ok(other.map(|texels| texels as usize)),
    }
}

fn share(table: &Fields<'_>, key: &str) -> Checked<Option<f32>> {
    match table.number(key)? {
        Some(number) if !(0.0..=1.0).contains(&number) => Err(table.bad(key, format!("must be from 0 to 1, not {number}"))),
        other => Ok(other),
    }
}

fn normal_y(top: &Fields<'_>) -> Checked<NormalY> {
    match top.string("normal_y")? {
        None | Some("up") => Ok(NormalY::Up),
        Some("down") => Ok(NormalY::Down),
        Some(other) => Err(top.bad("normal_y", format!("must be \"up\" or \"down\", not `{other}`"))),
    }
}

fn height_range(top: &Fields<'_>) -> Checked<Option<HeightRange>> {
    let Some([low_mm, high_mm]) = top.numbers("height_range_mm", "two numbers")? else { return Ok(None) };
    if low_mm >= high_mm {
        return Err(top.bad("height_range_mm", "must rise: the height at code 0, then the height at full code"));
    }
    Ok(Some(HeightRange { low_mm, high_mm }))
}

fn alpha(top: &Fields<'_>) -> Checked<AlphaChoice> {
    let Some(word) = top.string("alpha")? else { return Ok(AlphaChoice::Auto) };
    let words = ALPHA.map(|(word, _)| word);
    let found = ALPHA.iter().find(|(known, _)| *known == word).map(|(_, choice)| *choice);
    found.ok_or_else(|| {
        top.bad("alpha", format!("must be one of {}, not `{word}`; the nearest is `{}`", words.join(", "), nearest(word, &words)))
    })
}

fn sheen(top: &Fields<'_>) -> Checked<Option<Sheen>> {
    let Some(table) = top.table("sheen", "[sheen]")? else { return Ok(None) };
    table.allow(&SHEEN_KEYS)?;
    let color = table.need("color", table.string("color")?)?;
    Ok(Some(Sheen { color: color_codes(&table, "color", color)?, roughness: share(&table, "roughness")?.unwrap_or(0.5) }))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn built_in_profiles_are_what_their_names_say() {
        for (name, raw) in BUILT_IN {
            let profile = parse_profile(raw).unwrap();
            assert_eq!(profile.name, name);
            assert_eq!(profile.normal_y, NormalY::Up, "{name}: as glTF and MaterialX have it");
        }
        let gltf = find_profile("gltf").unwrap();
        // glTF 2.0, 3.9: occlusion in red, roughness in green, metallic in blue; alpha of the base colour is coverage.
        let at = |channel| gltf.textures.iter().find_map(|t| t.component_of(channel)).map(|c| c.at);
        let found = [Channel::Occlusion, Channel::Roughness, Channel::Metallic, Channel::Opacity].map(at);
        assert_eq!(found, [Some(0), Some(1), Some(2), Some(3)]);
    }

    #[test]
    fn faults_come_with_their_line_and_a_way_out() {
        let texture = "[[texture]]\nname = \"x\"\n";
        for (raw, line, words) in [
            ("format = 1\nfile = \"x\"\nmax_texel = 4\n", 3, "max_texels"),
            ("format = 1\nfile = \"{garmet}\"\n", 2, "{garment}"),
            ("format = 1\nfile = \"a/b\"\n", 2, "without folders"),
            (&format!("format = 1\nfile = \"x\"\n{texture}rgb = \"base_colour\"\n"), 5, "`base_color`"),
            (&format!("format = 1\nfile = \"x\"\n{texture}r = \"normal\"\n"), 5, "under rgb"),
            (&format!("format = 1\nfile = \"x\"\n{texture}rgb = \"normal\"\npicture = \"jpeg\"\n"), 6, "write png"),
            (&format!("format = 1\nfile = \"x\"\n{texture}gray = \"height\"\nbits = 12\n"), 6, "8 or 16"),
            (&format!("format = 1\nfile = \"x\"\n{texture}gray = \"height inverted\"\n"), 5, "inverted"),
            ("format = 1\nfile = \"x\"\nalpha = \"maks\"\n", 3, "`mask`"),
            ("format = 9\nfile = \"x\"\n", 1, "format 9"),
        ] {
            let fault = parse_profile(raw).unwrap_err();
            let text = format!("{fault} | {}", fault.next());
            assert!(text.contains(words) && text.contains(&format!("line {line}")), "{raw}\n{text}");
        }
    }

    #[test]
    fn packing_bits_and_formats_are_as_written() {
        let raw = "format = 1\nfile = \"{garment}.{channel}\"\nnormal_y = \"down\"\nheight_range_mm = [-2, 3]\nalpha_cutoff = 0.25\n\
            sheen = { color = \"#ffffff\" }\n[[texture]]\nname = \"mads\"\nr = \"metallic\"\ng = \"occlusion\"\nb = 0.5\na = \"roughness inverted\"\n\
            bits = 16\npicture = \"tiff\"\nmax_texels = 1024\n[[texture]]\nname = \"h\"\ngray = \"height\"\npicture = \"exr\"\nbits = 32\n";
        let profile = parse_profile(raw).unwrap();
        assert_eq!(profile.normal_y, NormalY::Down);
        assert_eq!(profile.height_range, Some(HeightRange { low_mm: -2.0, high_mm: 3.0 }));
        assert_eq!(profile.sheen, Some(Sheen { color: [255; 3], roughness: 0.5 }));
        let packed = &profile.textures[0];
        assert_eq!((packed.layout, packed.bits, packed.picture), (Layout::Rgba, 16, HandoffPicture::Tiff));
        assert_eq!(packed.components[2], Component { at: 2, source: Source::Value(0.5) });
        let gloss = Source::Channel { channel: Channel::Roughness, inverted: true };
        assert_eq!(packed.components[3], Component { at: 3, source: gloss });
        assert_eq!(profile.most_texels(packed), Some(1024));
    }
}
