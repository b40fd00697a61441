//! The cut from two shots of the same cloth over a dark and a light backing.

use tatter_capture::backings::{BackingsError, Matte, Shots, lay, two_backings};
use tatter_capture::lights;
use tatter_capture::photo::{Alignment, Likeness, align};
use tatter_core::image::{Image, LinearRgb};
use tatter_core::model::{CutRecipe, Photo};
use tatter_core::task::Task;

use super::{Cut, CutError, Evidence, Flat, backed, chain, flat, without_color};

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
    cut_backed(shots, None, recipe, task)
}

/// As [`cut_two_backings`], and height, normal and colour measured from shots of the same cloth under several lights, taken from the same
/// place: nothing is guessed but roughness. 6 bytes a pixel and shot more.
///
/// # Errors
/// As [`cut_two_backings`], and when the camera or the cloth moved between both kinds of shots: readings of several lamps cannot be shifted
/// without losing what they tell of slopes.
pub fn cut_backed_and_lit(shots: &TwoBackings<'_>, lit: lights::Shots, recipe: &CutRecipe, task: &Task) -> Result<Cut, CutError> {
    cut_backed(shots, Some(lit), recipe, task)
}

fn cut_backed(shots: &TwoBackings<'_>, lit: Option<lights::Shots>, recipe: &CutRecipe, task: &Task) -> Result<Cut, CutError> {
    let (dark, light) = (shots.dark, shots.light);
    let (dark_size, light_size) = (dark.color.size(), light.color.size());
    if dark_size != light_size {
        return Err(BackingsError::Size { dark: dark_size, light: light_size }.into());
    }
    let together = lit.as_ref().map(|lit| task.stage("align", || from_one_place(light, lit, task))).transpose()?;
    // The rectangle lies on the cloth, and so in one place of both shots.
    let flat = flat(light, recipe, task)?;
    // Straightening would turn every lamp.
    let flat = if lit.is_some() { flat.map(Flat::unwarped).transpose()? } else { flat };
    let straight = flat.as_ref().map(|flat| task.stage("straighten", || [dark, light].map(|shot| flat.show(shot))));
    let [dark, light] = straight.as_ref().map_or([dark, light], |[dark, light]| [dark, light]);
    let moved = flat.as_ref().map(|flat| flat.moved(recipe));
    let recipe = moved.as_ref().unwrap_or(recipe);
    let laid = task.stage("align", || lay(&light.color, &dark.color, task))?;
    let alignment = laid.alignment;
    let swapped = is_lighter(&laid.other, &light.color);
    let (lighter, darker) = if swapped { (&laid.other, &light.color) } else { (&light.color, &laid.other) };
    if swapped {
        task.note(
            "backings-swapped",
            "The shot given as over dark is over the lighter backing; they were taken the other way round",
        );
    }
    let cards = shots.cards.map(|[a, b]| if a.luminance() <= b.luminance() { [a, b] } else { [b, a] });
    let pair = Shots { light: lighter, dark: darker, both: &laid.both };
    let measured = task.stage("backings", || two_backings(&pair, cards, task))?;
    drop(laid);
    let shown = Photo { color: backed::shown(&measured), ..without_color(light) };
    let evidence = Evidence { matte: Some(&measured), lights: lit, flat: flat.as_ref(), ..Evidence::default() };
    let mut cut = chain(&shown, evidence, recipe, task)?;
    let other = if swapped { "photo_over_light" } else { "photo_over_dark" };
    cut.patch.provenance.extend(provenance(other, dark, &measured, &alignment));
    cut.patch.provenance.extend(together.map(|alignment| ("alignment_lights".to_owned(), told(&alignment))));
    Ok(cut)
}

/// Pixels that shots under several lamps may seem to lie off, mean over the picture: one-sided light over the backings moves threads of shots
/// that lie pixel on pixel by 1.2 to 1.5 (made photographs of linen and canvas).
const MOST_OFF: f32 = 4.0;
/// Beyond these, correlation and motion of places on their own, a person should look: the same photographs have 0.8 and 0.1, of another piece of
/// the same cloth 0.5 and 0.4.
const ALIKE: f32 = 0.65;
const STILL: f32 = 0.3;

/// Refuse shots under several lamps that lie too far off those over the backings, and tell when they hardly match.
fn from_one_place(light: &Photo, lit: &lights::Shots, task: &Task) -> Result<Alignment, CutError> {
    let (backed, lit_size) = (light.color.size(), lit.size());
    if backed != lit_size {
        return Err(CutError::LightsSize { backed, lit: lit_size });
    }
    let even = lit.even();
    let alike = |likeness| align(&light.color, &even, likeness, task).and_then(Alignment::judged).map_err(BackingsError::from);
    // What shows through openings may be another card.
    let alignment = alike(Likeness::Shades).or_else(|_| alike(Likeness::Outlines))?;
    let Alignment { moved, correlation, local, .. } = alignment;
    if moved > MOST_OFF {
        return Err(CutError::LightsMoved { moved, most: MOST_OFF });
    }
    if correlation < ALIKE || local > STILL {
        let text = format!(
            "The shots under several lights may not show what those over the backings do (contrast correlates by {correlation:.2}, places \
             lie {local:.1} pixels apart): look whether threads and their relief lie on each other in the sheet."
        );
        task.note("lights-apart", text);
    }
    Ok(alignment)
}

/// Whether the first shot is over the lighter backing, where they differ most.
fn is_lighter(first: &Image<LinearRgb>, second: &Image<LinearRgb>) -> bool {
    let differ = first.zip(second, |a, b| a.luminance() - b.luminance());
    let most = differ.texels().iter().fold(0.0f32, |most, d| most.max(d.abs()));
    differ.texels().iter().filter(|d| d.abs() > 0.5 * most).map(|d| f64::from(*d)).sum::<f64>() > 0.0
}

pub(super) fn told(alignment: &Alignment) -> String {
    let Alignment { freedom, moved, local, correlation, .. } = alignment;
    format!("{}, {moved:.2} pixels off, {local:.2} left, correlation {correlation:.2}", freedom.name())
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
        ("alignment".to_owned(), told(alignment)),
        ("alpha_noise".to_owned(), format!("{:.4}", measured.noise)),
    ]
}
