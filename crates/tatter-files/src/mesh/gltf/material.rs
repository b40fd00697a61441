//! Materials: which texture holds what, and under which texture coordinates.

use tatter_core::channel::Channel;
use tatter_core::image::{Coding, Transfer};
use tatter_core::model::MapRole;
use tatter_core::task::Note;

use super::Fault;
use super::json::{MaterialEntry, Sheen, TextureUse};
use super::load::Loaded;
use crate::mesh::finish::unique;
use crate::mesh::source::{Address, address};
use crate::mesh::texture::embedded;
use crate::mesh::{AlphaMode, Factors, Material, TextureRef, TextureSource, UvTransform};

/// A texture a material uses, before it is decided which lie under the part's coordinates.
struct Use<'a> {
    what: &'static str,
    texture: &'a TextureUse,
    roles: Vec<MapRole>,
}

fn role(channel: Channel, component: usize) -> MapRole {
    let transfer = if channel == Channel::BaseColor { Transfer::Srgb } else { Transfer::Linear };
    MapRole { channel, coding: Coding { component, transfer, ..Coding::default() } }
}

/// All materials, and their unique names by number.
pub(super) fn materials(loaded: &Loaded, notes: &mut Vec<Note>) -> Result<(Vec<Material>, Vec<String>), Fault> {
    let mut names: Vec<String> = Vec::new();
    let mut all = Vec::new();
    for (number, entry) in loaded.document.materials.iter().enumerate() {
        let name = unique(&entry.name, names.iter().map(String::as_str), "material", number + 1);
        names.push(name.clone());
        all.push(material(loaded, entry, name, notes)?);
    }
    Ok((all, names))
}

/// What the textures of a material hold (glTF 2.0, 3.9: base colour sRGB with alpha; metallic B, roughness G; occlusion
/// R; normals +Y up).
fn uses(entry: &MaterialEntry, alpha: AlphaMode) -> Vec<Use<'_>> {
    let with_alpha = |mut roles: Vec<MapRole>| {
        if alpha != AlphaMode::Opaque {
            roles.push(role(Channel::Opacity, 3));
        }
        roles
    };
    let gloss = entry.extensions.gloss.as_ref();
    let sheen = entry.extensions.sheen.as_ref();
    let color = entry.pbr_metallic_roughness.base_color_texture.as_ref().or(gloss.and_then(|g| g.diffuse_texture.as_ref()));
    let inverted = Coding { component: 3, inverted: true, ..Coding::default() };
    let candidates = [
        ("base colour", color, with_alpha(vec![role(Channel::BaseColor, 0)])),
        ("normal", entry.normal_texture.as_ref(), vec![role(Channel::Normal, 0)]),
        (
            "metallic-roughness",
            entry.pbr_metallic_roughness.metallic_roughness_texture.as_ref(),
            vec![role(Channel::Roughness, 1), role(Channel::Metallic, 2)],
        ),
        (
            "glossiness",
            gloss.and_then(|g| g.specular_glossiness_texture.as_ref()),
            vec![MapRole { channel: Channel::Roughness, coding: inverted }],
        ),
        ("occlusion", entry.occlusion_texture.as_ref(), vec![role(Channel::Occlusion, 0)]),
        ("emission", entry.emissive_texture.as_ref(), Vec::new()),
        ("sheen", sheen.and_then(|s| s.sheen_color_texture.as_ref().or(s.sheen_roughness_texture.as_ref())), Vec::new()),
    ];
    candidates.into_iter().filter_map(|(what, texture, roles)| texture.map(|texture| Use { what, texture, roles })).collect()
}

/// The coordinate set and transform of a texture, the extension's set over the plain one.
fn coordinates(texture: &TextureUse) -> (u32, UvTransform) {
    let Some(t) = &texture.extensions.transform else { return (texture.tex_coord, UvTransform::default()) };
    let transform =
        UvTransform { offset: t.offset.unwrap_or([0.0; 2]), rotation: t.rotation, scale: t.scale.unwrap_or([1.0; 2]) };
    (t.tex_coord.unwrap_or(texture.tex_coord), transform)
}

/// Sheen by numbers alone: without its texture a number would mean another cloth.
fn plain_sheen(sheen: &Sheen) -> Option<([f32; 3], f32)> {
    let textured = sheen.sheen_color_texture.is_some() || sheen.sheen_roughness_texture.is_some();
    (!textured).then_some((sheen.sheen_color_factor, sheen.sheen_roughness_factor))
}

fn factors(entry: &MaterialEntry) -> Factors {
    let (usual, surface) = (Factors::default(), &entry.pbr_metallic_roughness);
    let of = |texture: &Option<TextureUse>, value: fn(&TextureUse) -> Option<f32>| texture.as_ref().and_then(value);
    Factors {
        base_color: surface.base_color_factor.unwrap_or(usual.base_color),
        metallic: surface.metallic_factor.unwrap_or(usual.metallic),
        roughness: surface.roughness_factor.unwrap_or(usual.roughness),
        normal_scale: of(&entry.normal_texture, |texture| texture.scale).unwrap_or(usual.normal_scale),
        occlusion_strength: of(&entry.occlusion_texture, |texture| texture.strength).unwrap_or(usual.occlusion_strength),
    }
}

fn material(loaded: &Loaded, entry: &MaterialEntry, name: String, notes: &mut Vec<Note>) -> Result<Material, Fault> {
    let alpha = match entry.alpha_mode.as_str() {
        "MASK" => AlphaMode::Mask,
        "BLEND" => AlphaMode::Blend,
        _ => AlphaMode::Opaque,
    };
    let uses = uses(entry, alpha);
    // The base colour decides where things lie; without one the first texture does.
    let (uv_set, transform) = uses.iter().find(|u| !u.roles.is_empty()).map(|u| coordinates(u.texture)).unwrap_or_default();
    let mut made = Material {
        name,
        alpha,
        alpha_cutoff: entry.alpha_cutoff,
        double_sided: entry.double_sided,
        factors: Some(factors(entry)),
        sheen: entry.extensions.sheen.as_ref().and_then(plain_sheen),
        uv_set,
        transform,
        ..Material::default()
    };
    for Use { what, texture, roles } in uses {
        if roles.is_empty() {
            made.left_aside.push(format!("the {what} texture, a channel that patches do not have"));
            continue;
        }
        if coordinates(texture) != (uv_set, transform) {
            made.left_aside.push(format!("the {what} texture, laid on with other texture coordinates than the base colour"));
            continue;
        }
        match source(loaded, texture.index)? {
            Ok(source) => match made.textures.iter_mut().find(|t| t.source == source) {
                Some(known) => known.roles.extend(roles),
                None => made.textures.push(TextureRef { source, roles }),
            },
            Err(why) => {
                let text = format!("The {what} texture of material \"{}\" {why}", made.name);
                notes.push(Note { code: "texture-unreadable", text });
            }
        }
    }
    for texture in &mut made.textures {
        texture.roles.sort_by_key(|role| (role.channel, role.coding.component));
    }
    Ok(made)
}

/// Where a texture is, or why nobody can know.
fn source(loaded: &Loaded, texture: usize) -> Result<Result<TextureSource, &'static str>, Fault> {
    let entry = loaded.document.textures.get(texture).ok_or_else(|| Fault::damaged(format!("there is no texture {texture}")))?;
    let Some(number) = entry.source.or(entry.extensions.webp.as_ref().and_then(|w| w.source)) else {
        return Ok(Err("names no picture that can be read"));
    };
    let image = loaded.document.images.get(number).ok_or_else(|| Fault::damaged(format!("there is no image {number}")))?;
    if let Some(view) = image.buffer_view {
        return Ok(Ok(embedded(&image.name, number, &image.mime_type, loaded.view(view)?.0.to_vec())));
    }
    let Some(uri) = &image.uri else { return Ok(Err("names no picture")) };
    Ok(match address(uri) {
        Some(Address::Relative(path)) => Ok(TextureSource::File(path)),
        Some(Address::Data(media, bytes)) => Ok(embedded(&image.name, number, &media, bytes)),
        Some(Address::Elsewhere) => Err("lies at a network address or an absolute path, which is not followed"),
        None => Err("is not valid base64"),
    })
}
