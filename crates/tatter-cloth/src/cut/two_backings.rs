//! The cut from two shots of the same cloth over a dark and a light backing.

use tatter_capture::backings::{BackingsError, Matte, Shots, lay, two_backings};
use tatter_capture::photo::Alignment;
use tatter_core::image::{Image, LinearRgb};
use tatter_core::model::{CutRecipe, Photo};
use tatter_core::task::Task;

use super::{Cut, CutError, Evidence, backed, chain, flat, without_color};

/// The same cloth in the same light over two backings.
#[derive(Clone, Copy, Debug)]
pub struct TwoBackings<'a> {
    /// Over the darker backing.
    pub dark: &'a Photo,
    /// Over the lighter one; the patch lies on this shot's pixels.
    pub light: &'a Photo,
    /// Colours of the dark and the light backing as the shots show them in full light; measured in the shots when absent.
    pub cards: Option<[LinearRgb; 2]>,
}

/// Cut the subject of two shots: opacity and base colour are measured, the rest is as in [`super::cut`]. Working memory is
/// about 60 floats a photo pixel.
///
/// # Errors
/// When the shots do not match, their backings are alike, or as [`super::cut`].
pub fn cut_two_backings(shots: &TwoBackings<'_>, recipe: &CutRecipe, task: &Task) -> Result<Cut, CutError> {
    let (dark, light) = (shots.dark, shots.light);
    let (dark_size, light_size) = (dark.color.size(), light.color.size());
    if dark_size != light_size {
        return Err(BackingsError::Size { dark: dark_size, light: light_size }.into());
    }
    // The rectangle lies on the cloth, and so in one place of both shots.
    let flat = flat(light, recipe, task)?;
    let straight = flat.as_ref().map(|flat| task.stage("straighten", || [dark, light].map(|shot| flat.show(shot))));
    let [dark, light] = straight.as_ref().map_or([dark, light], |[dark, light]| [dark, light]);
    let moved = flat.as_ref().map(|flat| flat.moved(recipe));
    let recipe = moved.as_ref().unwrap_or(recipe);
    let laid = task.stage("align", || lay(&light.color, &dark.color, task))?;
    let alignment = laid.alignment;
    let swapped = lighter(&laid.other, &light.color);
    let (lit, unlit) = if swapped { (&laid.other, &light.color) } else { (&light.color, &laid.other) };
    if swapped {
        task.note(
            "backings-swapped",
            "The shot given as over dark is over the lighter backing; they were taken the other way round",
        );
    }
    let cards = shots.cards.map(|[a, b]| if a.luminance() <= b.luminance() { [a, b] } else { [b, a] });
    let pair = Shots { light: lit, dark: unlit, both: &laid.both };
    let measured = task.stage("backings", || two_backings(&pair, cards, task))?;
    drop(laid);
    let shown = Photo { color: backed::shown(&measured), ..without_color(light) };
    let evidence = Evidence { matte: Some(&measured), flat: flat.as_ref(), ..Evidence::default() };
    let mut cut = chain(&shown, evidence, recipe, task)?;
    let other = if swapped { "photo_over_light" } else { "photo_over_dark" };
    cut.patch.provenance.extend(provenance(other, dark, &measured, &alignment));
    Ok(cut)
}

/// Whether the first shot is over the lighter backing, where they differ most.
fn lighter(first: &Image<LinearRgb>, second: &Image<LinearRgb>) -> bool {
    let differ = first.zip(second, |a, b| a.luminance() - b.luminance());
    let most = differ.texels().iter().fold(0.0f32, |most, d| most.max(d.abs()));
    differ.texels().iter().filter(|d| d.abs() > 0.5 * most).map(|d| f64::from(*d)).sum::<f64>() > 0.0
}

fn provenance(key: &str, other: &Photo, measured: &Matte, alignment: &Alignment) -> Vec<(String, String)> {
    let three = |values: [f32; 3]| values.map(|v| format!("{v:.4}")).join(", ");
    let [light_card, dark_card] = measured.cards;
    vec![
        (key.to_owned(), other.name.clone()),
        (format!("{key}_blake3"), other.hash.clone()),
        ("backing_dark".to_owned(), three(dark_card.0)),
        ("backing_light".to_owned(), three(light_card.0)),
        ("exposure_over_dark".to_owned(), three(measured.gain)),
        (
            "alignment".to_owned(),
            format!(
                "{}, {:.2} pixels off, {:.2} left, correlation {:.2}",
                alignment.freedom.name(),
                alignment.moved,
                alignment.local,
                alignment.correlation
            ),
        ),
        ("alpha_noise".to_owned(), format!("{:.4}", measured.noise)),
    ]
}
