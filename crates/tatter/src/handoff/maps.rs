//! Textures of every set by the profile's recipes, and loose maps.

use rayon::prelude::*;
use tatter_core::channel::Channel;
use tatter_core::image::{Layout, Size};
use tatter_core::model::{AlphaChoice, HandoffPicture, TextureRecipe, UvTile};
use tatter_files::picture::{Effort, PictureFormat, encode, encode_jpeg_photo};
use tatter_garment::hand_on::{texture, udim};

use super::names::{Places, file_name};
use super::{HandoffFailed, Made, Outgoing, Work};

/// A packed and encoded texture of one set.
pub(super) struct Packed {
    /// Number of the set.
    pub(super) set: usize,
    /// How it was made, with what the set lacks taken out.
    pub(super) recipe: TextureRecipe,
    /// Its file name by the profile, with ending.
    pub(super) file: String,
    pub(super) size: Size,
    pub(super) bytes: Vec<u8>,
}

/// Every texture that `recipes` ask for and a set has channels for, in order. One is packed at a time a core: each decodes one
/// channel or two.
pub(super) fn pack(work: &Work<'_>, recipes: &[TextureRecipe], effort: Effort) -> Result<Vec<Packed>, HandoffFailed> {
    let sets = work.session.garment.sets.len();
    let wanted: Vec<(usize, TextureRecipe)> =
        (0..sets).flat_map(|set| recipes.iter().map(move |recipe| (set, fitted(recipe, work.alpha[set])))).collect();
    let packed = wanted.into_par_iter().map(|(set, recipe)| one(work, set, recipe, effort)).collect::<Result<Vec<_>, _>>()?;
    let packed: Vec<Packed> = packed.into_iter().flatten().collect();
    for (number, one) in packed.iter().enumerate() {
        if packed[..number].iter().any(|other| other.file.eq_ignore_ascii_case(&one.file)) {
            return Err(HandoffFailed::SameName(one.file.clone()));
        }
    }
    if packed.is_empty() {
        return Err(HandoffFailed::Nothing(work.profile.name.clone()));
    }
    Ok(packed)
}

/// A recipe without opacity in its alpha where nothing is see-through.
fn fitted(recipe: &TextureRecipe, alpha: AlphaChoice) -> TextureRecipe {
    let mut recipe = recipe.clone();
    let opacity_in_alpha = recipe.component_of(Channel::Opacity).is_some_and(|component| component.at == 3);
    if alpha == AlphaChoice::Opaque && opacity_in_alpha {
        recipe.components.retain(|component| component.at != 3);
        recipe.layout = Layout::Rgb;
    }
    if recipe.layout != Layout::Rgb && matches!(recipe.picture, HandoffPicture::Jpeg(_)) {
        recipe.picture = HandoffPicture::Png;
    }
    recipe
}

fn one(work: &Work<'_>, set: usize, recipe: TextureRecipe, effort: Effort) -> Result<Option<Packed>, HandoffFailed> {
    let garment = &work.session.garment;
    let own = &garment.sets[set];
    let masked = work.alpha[set] == AlphaChoice::Mask;
    let Some(stored) = texture(own, &work.pictures[set], &recipe, work.profile, masked) else { return Ok(None) };
    let file = named(work, set, &recipe, &udim(own.tile).to_string());
    let encoded = match recipe.picture {
        HandoffPicture::Png => encode(&stored, PictureFormat::Png, effort),
        HandoffPicture::Tiff => encode(&stored, PictureFormat::Tiff, effort),
        HandoffPicture::Exr => encode(&stored, PictureFormat::Exr, effort),
        HandoffPicture::Jpeg(quality) => encode_jpeg_photo(&stored, quality),
    };
    let bytes = encoded.map_err(|error| HandoffFailed::Encode(error, file.clone()))?;
    Ok(Some(Packed { set, recipe, file, size: stored.size, bytes }))
}

/// The file name of a texture of a set; `number` stands for its UV tile where tiles are numbered.
pub(super) fn named(work: &Work<'_>, set: usize, recipe: &TextureRecipe, number: &str) -> String {
    let numbered = work.profile.always_udim || is_tiled(work, set);
    let places = Places {
        garment: &work.session.job.name,
        material: &work.session.garment.sets[set].material,
        channel: &recipe.name,
        udim: if numbered { number } else { "" },
    };
    format!("{}.{}", file_name(&work.profile.file, places), recipe.picture.extension())
}

/// Whether a set is one of several UV tiles of its material, or lies on another than the first.
pub(super) fn is_tiled(work: &Work<'_>, set: usize) -> bool {
    let sets = &work.session.garment.sets;
    let own = &sets[set];
    own.tile != UvTile::default() || sets.iter().filter(|other| other.material == own.material).count() > 1
}

/// Loose maps in a folder.
pub(super) fn maps(work: &Work<'_>) -> Result<Made, HandoffFailed> {
    let packed = pack(work, &work.profile.textures, Effort::Fast)?;
    let files = packed.into_iter().map(|one| one.into_file(work)).collect();
    Ok(Made { files, ..Made::default() })
}

impl Packed {
    /// The channels of the garment that it holds.
    pub(super) fn channels(&self, work: &Work<'_>) -> Vec<Channel> {
        let own = &work.session.garment.sets[self.set];
        self.recipe.channels().filter(|channel| own.role(*channel).is_some()).collect()
    }

    /// As a file in the output folder, or beside the output file.
    pub(super) fn into_file(self, work: &Work<'_>) -> Outgoing {
        let folder = if work.output.extension().is_some() && !work.output.is_dir() {
            work.output.parent().unwrap_or(std::path::Path::new(""))
        } else {
            work.output
        };
        let channels = self.channels(work);
        Outgoing { path: folder.join(&self.file), bytes: self.bytes, role: self.recipe.name, channels, size: Some(self.size) }
    }
}
