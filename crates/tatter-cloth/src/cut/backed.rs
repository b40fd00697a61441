//! Opacity on the canvas where it was measured, and colour where two backings measured it.

use tatter_capture::backings::Matte;
use tatter_capture::backlit::Backlit;
use tatter_core::image::{Image, LinearRgb, Pixel as _, Unit};
use tatter_core::kernel::{bleed, label};
use tatter_core::model::{Origin, Subject};

use super::{Canvas, View};
use crate::gaps::Gaps;
use crate::isolate::Isolated;

/// Alpha from which a pixel's own colour counts in full, and from which it counts at all: below, what is divided is noise.
const FIRM: f32 = 0.45;
const FAINT: f32 = 0.12;

/// Opacity that was measured, on the canvas, and in what way for people; `None` where it was not.
pub(super) fn opacity(matte: Option<&Matte>, backlit: Option<&Backlit>, canvas: &Canvas) -> Option<(Image<Unit>, String)> {
    match (matte, backlit) {
        (Some(matte), _) => Some((
            alpha(&matte.alpha, canvas),
            format!("two backings (Smith, Blinn 1996), deviation by noise {:.3}", matte.noise),
        )),
        (None, Some(lamp)) => {
            Some((alpha(&lamp.alpha, canvas), format!("a lamp behind the cloth, deviation by noise and weave {:.3}", lamp.noise)))
        }
        (None, None) => None,
    }
}

/// Openings by an opacity that was measured, and strokes as told.
pub(super) fn gaps(view: &View, isolated: &Isolated, alpha: &Image<Unit>, how: String) -> Gaps {
    let mut opacity = alpha.zip(&view.cover, |a, c| match isolated.subject {
        _ if c.0 <= 0.02 => Unit(1.0),
        // The rim of a piece is in its cover already.
        Subject::Piece => Unit((a.0 / c.0).min(1.0)),
        Subject::Damage => a,
    });
    for (told, value) in [(&view.gap_strokes, 0.0), (&view.cloth_strokes, 1.0)] {
        if let Some(mask) = told {
            opacity = opacity.zip(mask, |o, m| if m { Unit(value) } else { o });
        }
    }
    let covered: f64 = view.cover.texels().iter().map(|c| f64::from(c.0)).sum();
    let through: f64 = opacity.texels().iter().zip(view.cover.texels()).map(|(o, c)| f64::from((1.0 - o.0) * c.0)).sum();
    Gaps {
        own_color: alpha.map(|a| Unit(((a.0 - FAINT) / (FIRM - FAINT)).clamp(0.0, 1.0))),
        scorched: None,
        openings: label(&opacity.map(|o| o.0 < 0.5)).1.len(),
        opacity,
        share: (through / covered.max(1e-9)) as f32,
        backing: None,
        confidence: 1.0,
        how,
        origin: Origin::Measured,
    }
}

/// The cloth's own colour, free of both backings, bled into what is hardly cloth.
pub(super) fn color(backed: &Matte, canvas: &Canvas) -> Image<LinearRgb> {
    let (alpha, front) = (alpha(&backed.alpha, canvas), canvas.show(&backed.front, None));
    let own = front.zip(&alpha, |f, a| LinearRgb(f.times(1.0 / a.0.max(FAINT)).0.map(|v| v.max(0.0))));
    bleed(&own, &alpha.map(|a| ((a.0 - FAINT) / (FIRM - FAINT)).clamp(0.0, 1.0)))
}

/// The cloth's own colour free of shading: as measured under several lights where all of a pixel is cloth; the parted `color` of fibres, made
/// lighter or darker as cloth around them was by its shading.
pub(super) fn unshaded(color: &Image<LinearRgb>, lit: &Image<LinearRgb>, backed: &Matte, canvas: &Canvas) -> Image<LinearRgb> {
    /// Alpha from which a pixel shows nothing of what lies behind it, and from which it counts at all.
    const WHOLE: f32 = 0.98;
    const NEARLY: f32 = 0.9;
    let whole = alpha(&backed.alpha, canvas).map(|a| ((a.0 - NEARLY) / (WHOLE - NEARLY)).clamp(0.0, 1.0));
    let gain = color.zip(lit, |color, lit| LinearRgb([(lit.luminance() / color.luminance().max(1e-3)).clamp(0.2, 5.0); 3]));
    let gain = bleed(&gain, &whole);
    let parted = color.zip(&gain, |color, gain| color.times(gain.0[0]));
    parted.zip(&lit.zip(&whole, |lit, whole| (lit, whole)), |parted, (lit, whole)| parted.times(1.0 - whole).plus(lit, whole))
}

fn alpha(measured: &Image<Unit>, canvas: &Canvas) -> Image<Unit> {
    canvas.show(measured, None).map(|a| Unit(a.0.clamp(0.0, 1.0)))
}

/// The cloth before the backing that it stands out from most, free of shadows: what the subject and the threads are
/// looked for in.
pub(super) fn shown(backed: &Matte) -> Image<LinearRgb> {
    let mut sum = [0.0f64; 2];
    for (a, f) in backed.alpha.texels().iter().zip(backed.front.texels()).filter(|(a, _)| a.0 > 0.9) {
        sum = [sum[0] + f64::from(f.luminance()), sum[1] + f64::from(a.0)];
    }
    let cloth = (sum[0] / sum[1].max(1.0)) as f32;
    let contrast = |card: &LinearRgb| ((card.luminance() + 0.02) / (cloth + 0.02)).ln().abs();
    let [light, dark] = backed.cards;
    let card = if contrast(&light) >= contrast(&dark) { light } else { dark };
    backed.front.zip(&backed.alpha, |f, a| f.plus(card, 1.0 - a.0))
}
