//! Cutting from several shots, each under another lamp.

use tatter_capture::lights::{Shots, stereo};
use tatter_core::angle::Angle;
use tatter_core::image::{Image, LinearRgb, Normal, Rect, Size};
use tatter_core::model::{CutRecipe, Photo};
use tatter_core::task::{Cancelled, Task};
use tatter_core::units::MmPerTexel;

use super::{Canvas, Cut, CutError, Evidence, Flat, chain, flat};
use crate::relief::Lit;

/// Share of the canvas whose pixels may have too few readings before it is said.
const BLIND: f32 = 0.005;
/// Median disagreement of the readings, as a share of the dye, above which something is wrong with the lamps.
const OFF: f32 = 0.08;

/// As [`super::cut`], from shots under several lights: subject and gaps are found where the cloth is evenly lit, in `photo` (see
/// [`Shots::even`]); colour, height and normal are measured. Working memory is that of a cut, and 6 bytes a pixel and shot until the
/// normals are known.
///
/// # Errors
/// As [`super::cut`].
pub fn cut_lit(photo: &Photo, shots: Shots, recipe: &CutRecipe, task: &Task) -> Result<Cut, CutError> {
    // Straightening would turn every lamp: what a rectangle tells is the scale alone.
    let Some(flat) = flat(photo, recipe, task)?.map(Flat::unwarped).transpose()? else {
        return chain(photo, Evidence { lights: Some(shots), ..Evidence::default() }, recipe, task);
    };
    chain(photo, Evidence { lights: Some(shots), flat: Some(&flat), ..Evidence::default() }, recipe, task)
}

/// What the shots say, as the canvas shows it.
pub(super) struct Dyed {
    /// Colour free of shading, on the photo; as evenly lit beyond the canvas.
    pub(super) photo: Image<LinearRgb>,
    /// The same on the canvas.
    pub(super) canvas: Image<LinearRgb>,
    normal: Image<Normal>,
    shots: usize,
    near: bool,
}

impl Dyed {
    pub(super) fn measure(
        shots: Shots,
        photo: &Photo,
        canvas: &Canvas,
        scale: MmPerTexel,
        turn: Angle,
        task: &Task,
    ) -> Result<Self, Cancelled> {
        let part = part(canvas, photo.color.size());
        let found = task.stage("lights", || stereo(&shots, part, Some(scale.get()), task))?;
        let (count, near) = (shots.lamps().len(), shots.lamps().iter().all(|lamp| lamp.distance.is_some()));
        drop(shots);
        let blind = found.blind.texels().iter().filter(|blind| **blind).count() as f32 / part.size().area().max(1) as f32;
        if blind > BLIND {
            let share = 100.0 * blind;
            task.note(
                "too-few-readings",
                format!("At {share:.1} % of the pixels fewer than three shots could be used: they are burnt out or dark; change the exposure"),
            );
        }
        if found.off > OFF {
            let share = 100.0 * found.off;
            task.note(
                "lights-disagree",
                format!("The shots disagree by {share:.0} % of the brightness: check the directions, the strengths, and that nothing moved"),
            );
        }
        let mut whole = photo.color.clone();
        whole.paste(&found.color, part.x, part.y);
        let mut normals = photo.color.map(|_| Normal::FLAT);
        normals.paste(&found.normal, part.x, part.y);
        let (sin, cos) = turn.sin_cos();
        let normal = canvas.show(&normals, Some(Normal::FLAT)).map(|normal| {
            let [x, y, z] = normal.0;
            Normal([cos * x - sin * y, sin * x + cos * y, z]).normalized()
        });
        let color = canvas.show(&whole, None).map(|c| LinearRgb(c.0.map(|v| v.max(0.0))));
        Ok(Self { photo: whole, canvas: color, normal, shots: count, near })
    }

    pub(super) const fn relief<'a>(&'a self, color: &'a Image<LinearRgb>) -> Lit<'a> {
        Lit { normal: &self.normal, color, shots: self.shots, near: self.near }
    }
}

/// The part of the photo that a canvas shows.
fn part(canvas: &Canvas, size: Size) -> Rect {
    let side = canvas.side as f32;
    let corners = [[0.0, 0.0], [side, 0.0], [0.0, side], [side, side]].map(|[x, y]| canvas.photo(x, y));
    let span = |axis: usize, length: usize| {
        let least = corners.iter().map(|c| c[axis]).fold(f32::INFINITY, f32::min) - 3.0;
        let most = corners.iter().map(|c| c[axis]).fold(f32::NEG_INFINITY, f32::max) + 3.0;
        let from = (least.max(0.0) as usize).min(length);
        // A canvas that reaches past the photo mirrors it: all of it may be seen.
        if least < 0.0 || most > length as f32 { (0, length) } else { (from, most.ceil() as usize - from) }
    };
    let ((x, width), (y, height)) = (span(0, size.width), span(1, size.height));
    Rect { x, y, width, height }
}
