//! Openings of a piece: what lies behind it is seen beside it, so its pores and what is between the threads of its fringe are told by
//! colour, deeper than a matte's unknown rim reaches.

use tatter_core::image::{Image, LinearRgb, Unit};
use tatter_core::kernel::{dilate, distance_to, label};
use tatter_core::model::Origin;
use tatter_core::stats::quantile;

use super::backing::{Backing, lit};
use super::fibres::with_fibres;
use super::find::{ASSUMED_PITCH, FOREIGN_ODDS, own_color};
use super::odds::{Colors, Links, SURE, beliefs};
use super::palette::{Palette, Scale, Tint, pick};
use super::{GapInput, Gaps, rim};

/// Share of the piece's middle that must show colours which no shade of the backing has; and from which what is left may be its pores:
/// more of it is cloth of the backing's colour.
const LEAST: f32 = 0.05;
const OWN: f32 = 0.75;
/// Least and most light of the backing in a pore, as a share of what it has in the open: as [`Backing`] expects.
const SHADES: [f32; 2] = [0.15, 1.15];
/// Part of its greatest depth from which a piece holds no fringe.
const MIDDLE: f32 = 0.5;
/// Matte from which a texel may be cloth, and most that the matte says beside the colour, logs of odds.
const SOME: f32 = 0.02;
const MATTE: f32 = 0.5;
/// How far beyond a matte the threads reach that it lost, thread spacings.
const FRINGE: f32 = 2.5;

/// Alpha (cover × opacity) of a piece on a backing that is seen beside it; `alpha` is a matte's, `input.cover` its outline with openings
/// filled. `None` where nothing is seen beside it, or nearly all of the piece has the backing's colours.
pub fn piece_gaps(color: &Image<LinearRgb>, alpha: &Image<Unit>, input: &GapInput<'_>) -> Option<Gaps> {
    let pitch = input.pitch_px.map_or(ASSUMED_PITCH, |[a, b]| (a.max(1.0) * b.max(1.0)).sqrt()).clamp(3.0, 400.0);
    let some = alpha.map(|a| a.0 > SOME);
    let beside = distance_to(&some).map(|d| d > 0.5 * pitch);
    let scale = Scale::guess(color).refined(color, &beside);
    let tints = color.map(|c| scale.tint(c));
    let (backing, brightest) = card(color, &tints, &beside, scale)?;
    let shown = backing.color;
    let (own, apart) = own_tints(&pick(&tints, &middle(input.cover)), &backing, brightest, scale)?;
    let colors = Colors { scale, cloth: Palette::of(&own), behind: vec![backing], seeds: None, foreign: FOREIGN_ODDS };
    let support = dilate(&some, FRINGE * pitch);
    let by_color = tints.map(|t| colors.odds(t)).zip(&support, |o, s| if s { o } else { SURE });
    let odds = by_color.zip(alpha, |o, a| (o + 2.0 * MATTE * (0.5 - a.0)).clamp(-SURE, SURE));
    let mut belief = beliefs(&odds, &Links::of(color, &tints, scale));
    for (told, value) in [(input.gap_strokes, 1.0), (input.cloth_strokes, -1.0)] {
        if let Some(mask) = told {
            belief = belief.zip(mask, |b, m| if m { value } else { b });
        }
    }
    let firm = belief.texels().iter().zip(support.texels()).filter(|(_, s)| **s).map(|(b, _)| f64::from(b.abs())).sum::<f64>();
    let asked = support.texels().iter().filter(|s| **s).count().max(1) as f64;
    let by_shades = with_fibres(color, &rim::opacity(color, &belief, scale, pitch), scale, pitch);
    // Both err towards cloth: the matte where its rim ends, the shades where a lens mixes threads finer than it with the backing.
    let least = by_shades.zip(alpha, |o, a| if a.0 > SOME { Unit(o.0.min(a.0)) } else { o });
    let mut opacity = least.zip(&support, |o, s| if s { o } else { Unit(0.0) });
    for (told, value) in [(input.gap_strokes, 0.0), (input.cloth_strokes, 1.0)] {
        if let Some(mask) = told {
            opacity = opacity.zip(mask, |o, m| if m { Unit(value) } else { o });
        }
    }
    let opacity = attached(&opacity, alpha);
    let through: f64 = opacity.texels().iter().zip(input.cover.texels()).map(|(o, c)| f64::from((1.0 - o.0) * c.0)).sum();
    let total: f64 = input.cover.texels().iter().map(|c| f64::from(c.0)).sum();
    Some(Gaps {
        own_color: own_color(&by_color, &opacity, colors.foreign),
        scorched: None,
        openings: label(&opacity.zip(input.cover, |o, c| c.0 > 0.5 && o.0 < 0.5)).1.len(),
        share: (through / total.max(1e-9)) as f32,
        backing: Some(shown),
        confidence: apart * (firm / asked) as f32,
        how: "matte of the backing, and its colour beside the piece in every shade".to_owned(),
        origin: Origin::Derived,
        opacity,
    })
}

/// The backing by what shows beside the piece, threads that the matte lost left out, and the most light of it.
fn card(color: &Image<LinearRgb>, tints: &Image<Tint>, beside: &Image<bool>, scale: Scale) -> Option<(Backing, f32)> {
    let seen = pick(color, beside);
    if seen.len() < 100 {
        return None;
    }
    let middle = |axis: usize| quantile(&mut seen.iter().map(|c| c.0[axis]).collect::<Vec<_>>(), 0.5);
    let first = Backing::of(&pick(tints, beside), LinearRgb([0, 1, 2].map(middle)), scale, 0.0);
    let most = (1.5 * first.color.luminance() + scale.floor).ln();
    let own = beside.zip(tints, |b, t| b && t.0[0] < most && first.explains(t, scale));
    let seen = pick(color, &own);
    let brightest = quantile(&mut seen.iter().map(|c| c.luminance()).collect::<Vec<_>>(), 0.995);
    Some((Backing::of(&pick(tints, &own), lit(&seen), scale, brightest), brightest))
}

/// The cloth's tints among those of the piece's middle, without its pores, and the share that no shade of the backing has.
fn own_tints(all: &[Tint], backing: &Backing, brightest: f32, scale: Scale) -> Option<(Vec<Tint>, f32)> {
    let [least, most] = SHADES.map(|shade| shade * backing.color.luminance());
    let [least, most] = [least, most.max(SHADES[1] * brightest)].map(|light| (light + scale.floor).ln());
    let like = |t: &Tint| t.0[0] > least && t.0[0] < most && backing.explains(*t, scale);
    let apart = all.iter().filter(|t| !like(t)).count() as f32 / all.len().max(1) as f32;
    if apart < LEAST {
        return None;
    }
    // Threads shade a pore: what is lighter than the cloth is thread of another dye.
    let usual = quantile(&mut all.iter().map(|t| t.0[0]).collect::<Vec<_>>(), 0.5);
    let pore = |t: &Tint| apart >= OWN && t.0[0] < usual + 0.1 && like(t);
    Some((all.iter().filter(|t| !pore(t)).copied().collect(), apart))
}

/// The middle of a piece, where its threads lie close.
fn middle(cover: &Image<Unit>) -> Image<bool> {
    let depth = distance_to(&cover.map(|c| c.0 < 0.5));
    let most = depth.texels().iter().copied().filter(|d| d.is_finite()).fold(0.0f32, f32::max);
    depth.map(|d| d > MIDDLE * most)
}

/// What hangs together with the piece that the matte found.
fn attached(opacity: &Image<Unit>, alpha: &Image<Unit>) -> Image<Unit> {
    let (labels, parts) = label(&opacity.map(|o| o.0 > 0.1));
    let mut shared = vec![0usize; parts.len() + 1];
    for (l, a) in labels.texels().iter().zip(alpha.texels()) {
        shared[*l as usize] += usize::from(a.0 > 0.5);
    }
    let most = shared.iter().skip(1).copied().max().unwrap_or(0);
    opacity.zip(&labels, |o, l| if l > 0 && shared[l as usize] * 50 < most { Unit(0.0) } else { o })
}
