//! The cut from a photo and a shot with a lamp behind the cloth.

use tatter_capture::backlit::{Backlit, backlit};
use tatter_capture::lights;
use tatter_core::image::{Map, Unit};
use tatter_core::model::{CutRecipe, Origin, PatchMap, Photo};
use tatter_core::task::Task;

use super::{Canvas, Cut, CutError, Evidence, Flat, chain, flat};

/// How what cloth lets through is known.
const HOW: &str = "light through the cloth as a share of the lamp behind it; in openings that of the cloth around";

/// The same cloth from the same place with a lamp or a window behind it.
#[derive(Clone, Copy, Debug)]
pub struct Behind<'a> {
    /// With the cloth before the lamp.
    pub shot: &'a Photo,
    /// The lamp alone; found in the openings when absent.
    pub lamp: Option<&'a Photo>,
}

/// As [`super::cut`], and opacity and translucency measured with a lamp behind the cloth; relief and colour measured as well where there
/// are shots under several lamps, whose mean `photo` is then. Working memory is about 60 floats a photo pixel.
///
/// # Errors
/// When the shot behind tells nothing, or as [`super::cut`].
pub fn cut_backlit(
    photo: &Photo,
    behind: &Behind<'_>,
    lit: Option<lights::Shots>,
    recipe: &CutRecipe,
    task: &Task,
) -> Result<Cut, CutError> {
    // The rectangle lies on the cloth, and so in one place of all shots.
    let flat = flat(photo, recipe, task)?;
    // Straightening would turn every lamp.
    let flat = if lit.is_some() { flat.map(Flat::unwarped).transpose()? } else { flat };
    let show = |flat: &Flat| (flat.show(photo), flat.show(behind.shot), behind.lamp.map(|lamp| flat.show(lamp)));
    let straight = flat.as_ref().map(|flat| task.stage("straighten", || show(flat)));
    let (front, shot, lamp) = match &straight {
        Some((front, shot, lamp)) => (front, shot, lamp.as_ref()),
        None => (photo, behind.shot, behind.lamp),
    };
    let moved = flat.as_ref().map(|flat| flat.moved(recipe));
    let recipe = moved.as_ref().unwrap_or(recipe);
    let measured = task.stage("backlit", || backlit(&front.color, &shot.color, lamp.map(|lamp| &lamp.color), task))?;
    let evidence = Evidence { backlit: Some(&measured), lights: lit, flat: flat.as_ref(), ..Evidence::default() };
    let mut cut = chain(front, evidence, recipe, task)?;
    cut.patch.provenance.extend(provenance(behind, &measured));
    Ok(cut)
}

/// What cloth lets through, on the canvas.
pub(super) fn translucency(measured: &Backlit, canvas: &Canvas) -> PatchMap {
    let map = canvas.show(&measured.translucency, None).map(|t| Unit(t.0.clamp(0.0, 1.0)));
    PatchMap::new(Map::Unit(map), Origin::Measured, HOW)
}

fn provenance(behind: &Behind<'_>, measured: &Backlit) -> Vec<(String, String)> {
    let file = |key: &str, photo: &Photo| [(key.to_owned(), photo.name.clone()), (format!("{key}_blake3"), photo.hash.clone())];
    let mut lines = Vec::from(file("photo_backlit", behind.shot));
    lines.extend(behind.lamp.into_iter().flat_map(|lamp| file("photo_lamp", lamp)));
    lines.push(("light_through_cloth".to_owned(), format!("{:.4}", measured.through)));
    let laid = measured.alignment.as_ref().map_or_else(|| "as it stands".to_owned(), super::two_backings::told);
    lines.push(("alignment_backlit".to_owned(), laid));
    lines
}
