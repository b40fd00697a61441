//! The shot over one backing laid on the pixels of the other.

use tatter_core::image::{Image, LinearRgb, Pixel as _};
use tatter_core::kernel::{dilate, gaussian, soft};
use tatter_core::task::Task;

use super::agree::Agreement;
use super::{BackingsError, Shots, cards, exposure};
use crate::photo::{Alignment, Fitted, Homography, Likeness, found, inside, refined, warp};

/// Motion of the cloth within itself, pixels, from which edges double (algorithm notes 1.9).
const DOUBLES: f32 = 0.3;
/// Share of the greatest difference between the shots up to which a pixel is opaque, in two rounds: shots that lie a pixel off
/// differ on opaque cloth too.
const OPAQUE: [f32; 2] = [0.15, 0.04];
/// Pixels around one that is not opaque that a lens mixes with it.
const RIM: f32 = 1.5;
/// Pixels over which light is a mean before it is compared, and over which the cloth's own light is looked at.
pub(super) const BLUR: f32 = 0.8;
pub(super) const AROUND: f32 = 6.0;
/// Share of the light around by which cloth must differ to do so beyond noise, and the share of the cloth that may.
const STEP: f32 = 0.2;
const MOST_AGAINST: f32 = 0.04;
/// Light that counts besides, so that the noise of JPEG files of dark cloth is no change of its light.
const DARK: f32 = 0.03;
/// The same where nothing else speaks for the shots.
const STILL_AGAINST: f32 = 0.002;
/// Correlation and motion at which no other start is tried.
const HOLDS: (f32, f32) = (0.75, 0.2);

/// The second shot on the first one's pixels.
#[derive(Clone, Debug)]
pub struct Laid {
    /// The second shot.
    pub other: Image<LinearRgb>,
    /// Where both show the cloth.
    pub both: Image<bool>,
    /// How it lay.
    pub alignment: Alignment,
}

/// Lay `other` on `first`, two shots of one cloth over two backings.
///
/// Contrast cannot tell where white gauze lies before white card: its shadows are all that one sees. Then shots that agree as they
/// stand are taken so, and it is said.
///
/// # Errors
/// When they do not match, or the cloth moved within itself.
pub fn lay(first: &Image<LinearRgb>, other: &Image<LinearRgb>, task: &Task) -> Result<Laid, BackingsError> {
    let by = |likeness| -> Result<(usize, Fitted), BackingsError> {
        settled(first, other, task.stage("align.found", || found(first, other, likeness, task))?, task)
    };
    let outlines = by(Likeness::Outlines)?;
    let of_outlines = outlines.1.figures();
    let alignment = if let Some(agreement) = Agreement::of(first, other, &of_outlines.other_from_reference) {
        let others = [by(Likeness::Shades), settled(first, other, Fitted::still(first, other), task)];
        task.check()?;
        // One of them may find nothing to hold on to.
        let others = others.into_iter().flatten().map(|(_, fitted)| fitted.map());
        let starts: Vec<Homography> = others.chain([of_outlines.other_from_reference]).collect();
        task.stage("align.agreed", || agreed(first, other, &agreement, &starts))?
    } else if of_outlines.correlation > HOLDS.0 && of_outlines.local < HOLDS.1 {
        of_outlines
    } else {
        let shades = by(Likeness::Shades)?;
        if shades.0 > outlines.0 { shades.1.figures() } else { of_outlines }
    };
    let judged =
        alignment.judged().map_err(BackingsError::from).and_then(|alignment| agreeing(first, other, alignment, MOST_AGAINST));
    match judged {
        Ok(laid) => {
            let local = laid.alignment.local;
            if local > DOUBLES {
                let text =
                    format!("The cloth moved within itself between the shots, by {local:.1} pixels: edges may double there");
                task.note("cloth-moved", text);
            }
            Ok(laid)
        }
        Err(refused) => {
            let still = Alignment { correlation: alignment.correlation, ..Alignment::STILL };
            let laid = (first.size() == other.size()).then(|| agreeing(first, other, still, STILL_AGAINST));
            let Some(Ok(laid)) = laid else { return Err(refused) };
            task.note(
                "not-aligned",
                "The shots could not be laid on each other by their contrast and were taken as they stand; they must be from a tripod",
            );
            Ok(laid)
        }
    }
}

/// Laid by an alignment, when at most that share of the cloth speaks `most` against it.
fn agreeing(first: &Image<LinearRgb>, other: &Image<LinearRgb>, alignment: Alignment, most: f32) -> Result<Laid, BackingsError> {
    let map = alignment.other_from_reference;
    let laid = Laid { other: warp(other, &map, first.size()), both: inside(other.size(), &map, first.size()), alignment };
    let against = against(first, &laid);
    if against > most {
        return Err(BackingsError::Unlike { against, most, correlation: alignment.correlation });
    }
    Ok(laid)
}

/// Share of the cloth, both ways round, that is darker over the lighter backing: no cloth is, in one light.
fn against(first: &Image<LinearRgb>, laid: &Laid) -> f32 {
    let (other, greatest) = exposure::evened(&Shots { light: first, dark: &laid.other, both: &laid.both });
    let change = gaussian(&first.zip(&other, |a, b| a.luminance() - b.luminance()), BLUR);
    let usual = soft(&other.map(LinearRgb::luminance), AROUND);
    let steps = change.zip(&usual, |c, u| c / (u.max(0.0) + DARK));
    let mut counts = [0u32; 3];
    for ((step, both), c) in steps.texels().iter().zip(laid.both.texels()).zip(change.texels()) {
        if *both && c.abs() < 0.3 * greatest {
            counts[0] += 1;
            counts[1] += u32::from(*step < -STEP);
            counts[2] += u32::from(*step > STEP);
        }
    }
    // The shots may have been given the wrong way round.
    counts[1].min(counts[2]) as f32 / counts[0].max(1) as f32
}

/// Refined on what is opaque in both shots, since shadows in openings stand to one side of their threads and pull; and how many
/// pixels that is.
fn settled(
    first: &Image<LinearRgb>,
    other: &Image<LinearRgb>,
    mut fitted: Fitted,
    task: &Task,
) -> Result<(usize, Fitted), BackingsError> {
    let mut pixels = 0;
    for share in OPAQUE {
        let map = fitted.map();
        let cloth = task.stage("align.opaque", || {
            let shown = warp(other, &map, first.size());
            let both = inside(other.size(), &map, first.size());
            opaque(&Shots { light: first, dark: &shown, both: &both }, share)
        });
        pixels = cloth.texels().iter().filter(|c| **c > 0.0).count();
        // Too little to hold on to: gauze is nowhere opaque.
        if pixels * 50 < cloth.size().area() {
            break;
        }
        fitted = task.stage("align.refined", || refined(first, other, &cloth, &map))?;
        task.check()?;
    }
    Ok((pixels, fitted))
}

/// Dark cloth, from whichever start most of it agrees: refined on that, since it may lie turned, and moved to where most agrees again.
fn agreed(
    first: &Image<LinearRgb>,
    other: &Image<LinearRgb>,
    agreement: &Agreement,
    starts: &[Homography],
) -> Result<Alignment, BackingsError> {
    let climbed = starts.iter().map(|start| agreement.climbed(start)).max_by(|a, b| a.0.total_cmp(&b.0));
    let (share, map) = climbed.unwrap_or((0.0, Homography::IDENTITY));
    let fitted = refined(first, other, &agreement.agreeing(&map), &map)?;
    let again = agreement.climbed(&fitted.map());
    Ok(fitted.with(if again.0 > share { &again.1 } else { &map }).figures())
}

/// 1 where cloth is opaque in both shots, away from openings: where they differ by no more than a `share` (0..1) of what they do
/// where they differ most. All, where they nowhere differ much.
fn opaque(shots: &Shots<'_>, share: f32) -> Image<f32> {
    let (dark, greatest) = exposure::evened(shots);
    let change = gaussian(&shots.light.zip(&dark, |l, d| l.plus(d, -1.0)), BLUR);
    let open = change.map(|c| cards::distance(c, LinearRgb::ZERO) > share * greatest.max(0.2));
    away_from(&open, shots.both)
}

/// 1 where both shots show the cloth, away from what is not opaque.
pub(super) fn away_from(open: &Image<bool>, both: &Image<bool>) -> Image<f32> {
    dilate(open, RIM).zip(both, |open, both| if !open && both { 1.0 } else { 0.0 })
}
