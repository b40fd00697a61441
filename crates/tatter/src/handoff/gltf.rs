//! The garment as glTF: its mesh in metres, a material for each set of textures.

use tatter_core::channel::Channel;
use tatter_core::image::{Layout, LinearRgb};
use tatter_core::mesh::{Mesh, Part};
use tatter_core::model::{AlphaChoice, Component, HandoffPicture, HandoffProfile, Source, TextureRecipe};
use tatter_core::task::Task;
use tatter_files::limits::Limits;
use tatter_files::mesh::{AlphaMode, Factors, ImageRef, Material, MaterialToWrite, read_mesh, write_glb, write_gltf};
use tatter_files::picture::Effort;
use tatter_garment::hand_on::{TexturedPart, parts_by_set, udim};

use super::maps::{Packed, is_tiled, pack};
use super::{HandoffFailed, Inside, Made, Outgoing, Work};
use crate::session::Session;

/// One GLB with everything inside.
pub(super) fn glb(work: &Work<'_>, task: &Task) -> Result<Made, HandoffFailed> {
    let packed = pack(work, &recipes(work.profile), Effort::Small)?;
    let inside = packed.iter().map(|one| Inside {
        name: one.file.clone(),
        channels: one.channels(work),
        size: one.size,
        bytes: one.bytes.len() as u64,
    });
    let inside: Vec<Inside> = inside.collect();
    let image = |one: &Packed| ImageRef::Embedded {
        name: one.file.rsplit_once('.').map_or(one.file.as_str(), |(stem, _)| stem).to_owned(),
        media_type: media_type(one),
        bytes: one.bytes.clone(),
    };
    let (mesh, materials) = scene(work, &packed, image, task)?;
    let total: u64 = inside.iter().map(|one| one.bytes).sum::<u64>() + mesh_bytes(&mesh);
    if total > u64::from(u32::MAX) {
        return Err(HandoffFailed::TooLarge(total));
    }
    let bytes = write_glb(&mesh, &materials);
    let triangles = Some(mesh.triangle_count());
    Ok(Made { files: vec![garment(work, bytes)], inside, triangles, materials: materials.len() })
}

/// A glTF file with its data and textures beside it.
pub(super) fn gltf(work: &Work<'_>, task: &Task) -> Result<Made, HandoffFailed> {
    let packed = pack(work, &recipes(work.profile), Effort::Small)?;
    let (mesh, materials) = scene(work, &packed, |one| ImageRef::File(one.file.clone()), task)?;
    let buffer = work.output.with_extension("bin");
    let name = buffer.file_name().unwrap_or_default().to_string_lossy().into_owned();
    let (description, data) = write_gltf(&mesh, &materials, &name);
    let mut files = vec![garment(work, description)];
    files.push(Outgoing { path: buffer, bytes: data, role: "buffer".to_owned(), channels: Vec::new(), size: None });
    files.extend(packed.into_iter().map(|one| one.into_file(work)));
    Ok(Made { files, triangles: Some(mesh.triangle_count()), materials: materials.len(), ..Made::default() })
}

fn garment(work: &Work<'_>, bytes: Vec<u8>) -> Outgoing {
    Outgoing { path: work.output.to_owned(), bytes, role: "garment".to_owned(), channels: Vec::new(), size: None }
}

fn media_type(one: &Packed) -> &'static str {
    if matches!(one.recipe.picture, HandoffPicture::Jpeg(_)) { "image/jpeg" } else { "image/png" }
}

fn mesh_bytes(mesh: &Mesh) -> u64 {
    mesh.parts.iter().map(|part| 32 * part.positions.len() as u64 + 12 * part.triangles.len() as u64 + 4096).sum()
}

/// The three textures of glTF 2.0 (3.9), and that of its extension for thin cloth; file format, depth and size of each as the profile has them for its first channel.
fn recipes(profile: &HandoffProfile) -> Vec<TextureRecipe> {
    let channel = |channel, at| Component { at, source: Source::Channel { channel, inverted: false } };
    let packed = vec![channel(Channel::Occlusion, 0), channel(Channel::Roughness, 1), channel(Channel::Metallic, 2)];
    let color = vec![channel(Channel::BaseColor, 0), channel(Channel::Opacity, 3)];
    // Only alpha counts.
    let through = vec![Component { at: 0, source: Source::Value(1.0) }, channel(Channel::Translucency, 1)];
    let all = [
        ("base_color", color, Layout::Rgba, Channel::BaseColor),
        ("occlusion_roughness_metallic", packed, Layout::Rgb, Channel::Roughness),
        ("normal", vec![channel(Channel::Normal, 0)], Layout::Rgb, Channel::Normal),
        ("diffuse_transmission", through, Layout::GrayAlpha, Channel::Translucency),
    ];
    let made = all.map(|(name, components, layout, leader)| {
        let like = profile.textures.iter().find(|texture| texture.component_of(leader).is_some());
        let jpeg = like.map(|texture| texture.picture).filter(|picture| matches!(picture, HandoffPicture::Jpeg(_)));
        let picture = jpeg.filter(|_| leader == Channel::BaseColor).unwrap_or(HandoffPicture::Png);
        // 16 bits are legal in a PNG of glTF, but most renderers drop the lower 8 and all must load them.
        let max_texels = like.and_then(|texture| texture.max_texels);
        TextureRecipe { name: name.to_owned(), components, layout, picture, bits: 8, max_texels }
    });
    made.into()
}

/// Mesh and materials: one for each material and set of textures that parts show.
fn scene(
    work: &Work<'_>,
    packed: &[Packed],
    image: impl Fn(&Packed) -> ImageRef,
    task: &Task,
) -> Result<(Mesh, Vec<MaterialToWrite>), HandoffFailed> {
    let session = work.session;
    let sources = sources(session)?;
    let metres = session.garment.mm_per_unit / 1000.0;
    let mut mesh = Mesh::default();
    let mut materials: Vec<(Option<usize>, String, MaterialToWrite)> = Vec::new();
    for TexturedPart { mut part, set } in parts_by_set(&session.garment) {
        let of_part = part.material.clone();
        let known = materials.iter().position(|(own, name, _)| (own, name) == (&set, &of_part));
        let number = known.unwrap_or_else(|| {
            let source = sources.iter().find(|material| material.name == of_part);
            let made = material(work, &part, set, source, packed, &image);
            materials.push((set, of_part, made));
            materials.len() - 1
        });
        part.material.clone_from(&materials[number].2.name);
        if (metres - 1.0).abs() > 1e-6 {
            part.positions.iter_mut().for_each(|position| *position *= metres);
        }
        mesh.parts.push(part);
    }
    tell_lost(&sources, &materials, task);
    Ok((mesh, materials.into_iter().map(|(_, _, material)| material).collect()))
}

/// The materials as the mesh's own file has them.
pub(super) fn sources(session: &Session) -> Result<Vec<Material>, HandoffFailed> {
    let Some(mesh) = &session.job.garment.mesh else { return Ok(Vec::new()) };
    Ok(read_mesh(&session.folder().join(mesh), &Limits::default())?.materials)
}

/// Say which textures of the source the garment handed on lacks.
fn tell_lost(sources: &[Material], materials: &[(Option<usize>, String, MaterialToWrite)], task: &Task) {
    for source in sources {
        for what in &source.left_aside {
            task.note("handoff-left-out", format!("Material \"{}\" is handed on without {what}", source.name));
        }
        let bare = materials.iter().any(|(set, name, _)| set.is_none() && *name == source.name);
        if bare && !source.textures.is_empty() {
            let text = format!("Material \"{}\" is handed on without its textures, which the job does not have", source.name);
            task.note("handoff-left-out", text);
        }
    }
}

fn material(
    work: &Work<'_>,
    part: &Part,
    set: Option<usize>,
    source: Option<&Material>,
    packed: &[Packed],
    image: impl Fn(&Packed) -> ImageRef,
) -> MaterialToWrite {
    let own = set.map(|set| &work.session.garment.sets[set]);
    let names = [Some(part.material.as_str()), own.map(|own| own.material.as_str()), Some(work.session.job.name.as_str())];
    let name = names.into_iter().flatten().find(|name| !name.is_empty()).unwrap_or("cloth");
    let tile = set.filter(|set| is_tiled(work, *set)).and(own).map(|own| format!(".{}", udim(own.tile)));
    let find = |channel: Channel| packed.iter().find(|one| Some(one.set) == set && one.recipe.component_of(channel).is_some());
    let has = |channel: Channel| own.is_some_and(|own| own.role(channel).is_some());
    let packed_orm = find(Channel::Roughness).filter(|_| has(Channel::Roughness) || has(Channel::Metallic));
    let alpha = set.map_or(AlphaChoice::Opaque, |set| work.alpha[set]);
    // Where the textures say nothing of opacity, a factor may.
    let factor = source.filter(|_| !has(Channel::Opacity)).map_or(AlphaMode::Opaque, |source| source.alpha);
    let told = work.profile.sheen.map(|sheen| (LinearRgb::from_codes(sheen.color).0, sheen.roughness));
    MaterialToWrite {
        name: format!("{name}{}", tile.unwrap_or_default()),
        base_color: find(Channel::BaseColor).map(&image),
        metallic_roughness: packed_orm.map(&image),
        occlusion: find(Channel::Occlusion).filter(|_| has(Channel::Occlusion)).map(&image),
        normal: find(Channel::Normal).map(&image),
        alpha_cutoff: match (alpha, factor) {
            (AlphaChoice::Mask, _) => Some(work.profile.alpha_cutoff),
            (_, AlphaMode::Mask) => source.and_then(|source| source.alpha_cutoff).or(Some(0.5)),
            _ => None,
        },
        alpha_blend: alpha == AlphaChoice::Blend || factor == AlphaMode::Blend,
        factors: Some(factors(source, has)),
        sheen: told.or(source.and_then(|source| source.sheen)),
        diffuse_transmission: find(Channel::Translucency).map(&image),
        // Through holes one sees the inside.
        double_sided: true,
    }
}

/// What the source multiplies its textures with, where the garment's textures are the source's; a texture that the source has
/// not is taken as it is.
pub(super) fn factors(source: Option<&Material>, has: impl Fn(Channel) -> bool) -> Factors {
    let usual = Factors::default();
    let own = source.and_then(|source| source.factors);
    let bare = |factors: Factors| Factors {
        metallic: if has(Channel::Roughness) || has(Channel::Metallic) { 1.0 } else { 0.0 },
        ..factors
    };
    let (Some(own), Some(source)) = (own, source) else { return bare(usual) };
    let textured = |channel| source.textures.iter().any(|t| t.roles.iter().any(|role| role.channel == channel));
    let added = |channel| has(channel) && !textured(channel);
    Factors {
        base_color: if added(Channel::BaseColor) { usual.base_color } else { own.base_color },
        metallic: if added(Channel::Metallic) { usual.metallic } else { own.metallic },
        roughness: if added(Channel::Roughness) { usual.roughness } else { own.roughness },
        normal_scale: if added(Channel::Normal) { usual.normal_scale } else { own.normal_scale },
        occlusion_strength: if added(Channel::Occlusion) { usual.occlusion_strength } else { own.occlusion_strength },
    }
}
