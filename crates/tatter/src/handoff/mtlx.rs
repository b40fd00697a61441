//! A MaterialX document: one material for each of the garment's, its maps beside it.

use tatter_core::channel::Channel;
use tatter_core::image::LinearRgb;
use tatter_core::model::AlphaChoice;
use tatter_core::task::Task;
use tatter_files::handoff::{MtlxImage, MtlxMaterial, write_mtlx};
use tatter_files::mesh::Material;
use tatter_files::picture::Effort;

use super::gltf::{factors, sources};
use super::maps::{Packed, named, pack};
use super::{HandoffFailed, Made, Outgoing, Work};

/// The document and its maps.
pub(super) fn mtlx(work: &Work<'_>, task: &Task) -> Result<Made, HandoffFailed> {
    let packed = pack(work, &work.profile.textures, Effort::Fast)?;
    let sets = &work.session.garment.sets;
    let sources = sources(work.session)?;
    let mut materials: Vec<MtlxMaterial> = Vec::new();
    for (number, set) in sets.iter().enumerate() {
        // UV tiles of one material are one material here: `<UDIM>` stands for their numbers.
        if sets[..number].iter().all(|other| other.material != set.material) {
            let source =
                sources.iter().find(|source| source.name == set.material).or(sources.first().filter(|_| sources.len() == 1));
            materials.push(material(work, number, source, &packed));
        }
    }
    if packed.iter().any(|one| one.channels(work).contains(&Channel::Occlusion)) {
        task.note("occlusion-unconnected", "The occlusion map is not connected: OpenPBR has no occlusion");
    }
    let bytes = write_mtlx(&materials).into_bytes();
    let document =
        Outgoing { path: work.output.to_owned(), bytes, role: "document".to_owned(), channels: Vec::new(), size: None };
    let maps = packed.into_iter().map(|one| one.into_file(work));
    Ok(Made { files: std::iter::once(document).chain(maps).collect(), materials: materials.len(), ..Made::default() })
}

fn material(work: &Work<'_>, first: usize, source: Option<&Material>, packed: &[Packed]) -> MtlxMaterial {
    let sets = &work.session.garment.sets;
    let own = &sets[first];
    let tiles = |one: &&Packed| sets[one.set].material == own.material;
    let mut images: Vec<MtlxImage> = Vec::new();
    for one in packed.iter().filter(tiles) {
        if images.iter().all(|image| image.recipe.name != one.recipe.name) {
            images.push(MtlxImage { file: named(work, one.set, &one.recipe, "<UDIM>"), recipe: one.recipe.clone() });
        }
    }
    let has = |channel: Channel| sets.iter().any(|set| set.material == own.material && set.role(channel).is_some());
    let told = work.profile.sheen.map(|sheen| (LinearRgb::from_codes(sheen.color).0, sheen.roughness));
    MtlxMaterial {
        name: if own.material.is_empty() { work.session.job.name.clone() } else { own.material.clone() },
        images,
        see_through: work.alpha[first] != AlphaChoice::Opaque,
        normal_y: work.profile.normal_y,
        factors: factors(source, has),
        sheen: told.or(source.and_then(|source| source.sheen)),
    }
}
