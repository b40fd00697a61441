//! Damage or piece: what touches the picture's edge, cloth or backing?

use tatter_capture::surface::Surface;
use tatter_core::image::LinearRgb;
use tatter_core::kernel::gaussian;
use tatter_core::model::{CutRecipe, StrokeKind, Subject};
use tatter_core::stats::{median, quantile};

use super::Working;

/// Share of the picture's border that must be one smooth colour for a piece on a backing.
const ONE_COLOR: f32 = 0.75;

/// How many times the spread of the border's colour the middle must differ to be something else: folds and stains do not.
const STANDS_OUT: f32 = 2.5;

/// The subject, and one sentence why.
pub(super) fn decide(working: &Working, recipe: &CutRecipe) -> (Subject, String) {
    let said = |kind| recipe.strokes.iter().any(|s| s.kind == kind);
    if said(StrokeKind::Damage) {
        return (Subject::Damage, "a damage because damage was painted".to_owned());
    }
    if said(StrokeKind::Backing) {
        return (Subject::Piece, "a piece because backing was painted".to_owned());
    }
    let border = border(working);
    let middle = middle_unlike(working, &border);
    let alike = format!("{:.0} % of the photo's border is one plain colour", 100.0 * border.plain);
    let stands_out = middle.share > 0.05 && middle.contrast > STANDS_OUT * border.scale;
    if border.plain > ONE_COLOR && stands_out && border.roughness < 0.6 * middle.roughness + 1e-4 {
        (Subject::Piece, format!("a piece because {alike} and something of another colour and texture lies on it"))
    } else if border.plain > ONE_COLOR && stands_out && middle.share > 0.25 && border.roughness < 0.05 {
        (Subject::Piece, format!("a piece because {alike} and much of the middle has another colour"))
    } else {
        (Subject::Damage, "a damage because cloth reaches the photo's border all around".to_owned())
    }
}

struct Border {
    surface: Option<Surface<3>>,
    /// Share of border pixels that fit one slow surface.
    plain: f32,
    /// Median fine contrast of the border, log light.
    roughness: f32,
    scale: f32,
}

pub(super) fn logs(c: LinearRgb) -> LinearRgb {
    LinearRgb(c.0.map(|v| (v.max(0.0) + 0.01).ln()))
}

/// Fine contrast: how much each pixel differs from its surround, log light.
pub(super) fn fine(working: &Working) -> tatter_core::image::Image<f32> {
    let light = working.color.map(|c| (c.luminance().max(0.0) + 0.01).ln());
    light.zip(&gaussian(&light, 2.5), |a, b| (a - b).abs())
}

fn border(working: &Working) -> Border {
    let (width, height) = (working.size().width, working.size().height);
    let depth = (width.min(height) / 24).max(3);
    let soft = gaussian(&working.color.map(logs), 1.0);
    let fine = fine(working);
    let (mut samples, mut rough) = (Vec::new(), Vec::new());
    for y in (0..height).step_by(2) {
        for x in (0..width).step_by(2) {
            if x < depth || y < depth || x + depth >= width || y + depth >= height {
                samples.push(([x as f32 + 0.5, y as f32 + 0.5], soft.get(x, y).0, 1.0));
                rough.push(fine.get(x, y));
            }
        }
    }
    let surface = Surface::<3>::fit([width, height], &samples);
    let off = |s: &Surface<3>, at: [f32; 2], v: [f32; 3]| {
        let fitted = s.at(at);
        (0..3).map(|c| (fitted[c] - v[c]).powi(2)).sum::<f32>().sqrt()
    };
    let scale = surface.as_ref().map_or(1.0, |s| (3.0 * 1.73 * s.spread).clamp(0.08, 0.25));
    let plain = surface.as_ref().map_or(0.0, |s| {
        samples.iter().filter(|(at, v, _)| off(s, *at, *v) < scale).count() as f32 / samples.len().max(1) as f32
    });
    Border { surface, plain, roughness: median(&mut rough), scale }
}

struct Middle {
    /// Share of the inner picture that does not fit the border's surface.
    share: f32,
    /// Fine contrast of what does not fit.
    roughness: f32,
    /// How far it is from the border's colours, log light.
    contrast: f32,
}

fn middle_unlike(working: &Working, border: &Border) -> Middle {
    let Some(surface) = &border.surface else { return Middle { share: 0.0, roughness: 0.0, contrast: 0.0 } };
    let (width, height) = (working.size().width, working.size().height);
    let soft = gaussian(&working.color.map(logs), 1.0);
    let fine = fine(working);
    let (mut unlike, mut offs, mut all) = (Vec::new(), Vec::new(), 0usize);
    for y in (height / 12..height - height / 12).step_by(2) {
        for x in (width / 12..width - width / 12).step_by(2) {
            let (fitted, v) = (surface.at([x as f32 + 0.5, y as f32 + 0.5]), soft.get(x, y).0);
            let off = (0..3).map(|c| (fitted[c] - v[c]).powi(2)).sum::<f32>().sqrt();
            all += 1;
            if off > border.scale {
                unlike.push(fine.get(x, y));
                offs.push(off);
            }
        }
    }
    Middle { share: unlike.len() as f32 / all.max(1) as f32, roughness: quantile(&mut unlike, 0.5), contrast: median(&mut offs) }
}
