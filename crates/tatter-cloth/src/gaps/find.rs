//! Openings in one photo, the whole chain in one screen.

use tatter_core::image::{Image, LinearRgb, Size, Unit};
use tatter_core::kernel::{distance_to, gaussian, label, ridges};
use tatter_core::model::Origin;
use tatter_core::task::Task;

use super::backing::{Search, Tone, backings, larger, likeliest, pick};
use super::{GapError, GapInput, Gaps};
use crate::relief::smooth::{quantile, weighted};

/// Thread spacing in texels when nobody measured it.
const ASSUMED_PITCH: f32 = 12.0;
/// Ridge response, in contrasts of cloth to backing, that makes a thread; and what continues one once begun. Chosen,
/// not tuned: less keeps more fibres and more noise.
const THREAD: [f32; 2] = [0.10, 0.045];

/// Find what one sees through inside the cover, in linear light. Holds some 25 floats a texel at once by count, not measured.
///
/// # Errors
/// Sizes that differ, no texels, or the task was cancelled.
pub fn gaps(color: &Image<LinearRgb>, input: &GapInput<'_>, task: &Task) -> Result<Gaps, GapError> {
    check(color.size(), input)?;
    let pitch = input.pitch_px.map_or(ASSUMED_PITCH, |[a, b]| (a.max(1.0) * b.max(1.0)).sqrt()).clamp(3.0, 400.0);
    let reference = reference(input);
    let mut light: Vec<f32> = color.texels().iter().step_by(37).map(|c| c.luminance()).collect();
    let floor = (0.04 * quantile(&mut light, 0.5)).max(5e-4);
    let logs = color.map(|c| LinearRgb(c.0.map(|v| (v.max(0.0) + floor).ln())));
    let tones = task.stage("gaps.backing", || find_tones(&logs, &reference, input, pitch));
    task.check()?;
    let matte = input.see_through.filter(|m| m.texels().iter().any(|v| v.0 > 0.5));
    if tones.behind.is_empty() && matte.is_none() {
        task.note(
            "no-openings",
            "No opening was found in the damage: the cloth there is opaque everywhere; draw a gap stroke if one sees through",
        );
        return Ok(closed(color.size()));
    }
    let open = task.stage("gaps.openings", || openings(&logs, &tones, input, matte, pitch));
    task.check()?;
    let opacity = task.stage("gaps.edges", || edges(color, &open, input, pitch));
    Ok(report(color, opacity, input, &tones, matte.is_some()))
}

fn check(size: Size, input: &GapInput<'_>) -> Result<(), GapError> {
    if size.area() == 0 {
        return Err(GapError::Empty);
    }
    let sizes = [
        ("cover", Some(input.cover.size())),
        ("matte", input.see_through.map(Image::size)),
        ("intact mask", input.intact.map(Image::size)),
        ("mask of gap strokes", input.gap_strokes.map(Image::size)),
        ("mask of cloth strokes", input.cloth_strokes.map(Image::size)),
    ];
    match sizes.into_iter().find(|(_, found)| found.is_some_and(|s| s != size)) {
        Some((what, found)) => Err(GapError::Size { what, found: found.unwrap_or_default(), wanted: size }),
        None => Ok(()),
    }
}

/// Cloth to compare with: intact, else outside the cover, else everything.
fn reference(input: &GapInput<'_>) -> Image<bool> {
    let enough = |mask: &Image<bool>| mask.texels().iter().filter(|&&m| m).count() * 20 >= mask.size().area();
    let outside = input.cover.map(|c| c.0 < 0.02);
    match input.intact {
        Some(mask) if enough(mask) => mask.clone(),
        _ if enough(&outside) => outside,
        _ => input.cover.map(|c| c.0 > 0.5),
    }
}

struct Tones {
    cloth: Tone,
    behind: Vec<Tone>,
}

fn find_tones(logs: &Image<LinearRgb>, reference: &Image<bool>, input: &GapInput<'_>, pitch: f32) -> Tones {
    let mut samples = pick(logs, reference);
    // Where the reference itself may hold openings, the commonest colours count: twice drop the oddest seventh.
    for _ in 0..2 {
        let tone = Tone::fit(&samples, 0.06);
        let odd = |s: &[f32; 3]| tone.distance(LinearRgb(*s));
        let limit = quantile(&mut samples.iter().map(odd).collect::<Vec<_>>(), 0.985);
        samples.retain(|s| odd(s) <= limit);
    }
    let cloth = Tone::fit(&samples, 0.06);
    let smooth = gaussian(logs, (0.2 * pitch).max(1.0));
    let known = pick(&smooth, reference);
    let blob = Tone::fit(&known, 0.05);
    let mut odd: Vec<f32> = known.iter().map(|v| blob.distance(LinearRgb(*v))).collect();
    let limit = (1.2 * quantile(&mut odd, 0.995)).clamp(12.0, 60.0);
    let inside = |x: usize, y: usize| input.cover.get(x, y).0 > 0.5;
    let odd = Image::from_fn(logs.width(), logs.height(), |x, y| inside(x, y) && blob.distance(smooth.get(x, y)) > limit);
    let candidates = larger(&odd, (0.4 * pitch * pitch).max(12.0) as usize);
    let mut behind = backings(&Search { logs, candidates: &candidates, reference, cloth, pitch });
    if let Some(strokes) = input.gap_strokes {
        let told = pick(logs, strokes);
        if told.len() >= 4 {
            behind.push(Tone::fit(&told, 0.12));
        }
    }
    Tones { cloth, behind }
}

/// Texels one sees through: likelier backing than cloth, specks dropped, threads kept.
fn openings(
    logs: &Image<LinearRgb>,
    tones: &Tones,
    input: &GapInput<'_>,
    matte: Option<&Image<Unit>>,
    pitch: f32,
) -> Image<bool> {
    let (width, height) = (logs.width(), logs.height());
    // Positive: likelier seen through.
    let odds = Image::from_fn(width, height, |x, y| {
        if input.cover.get(x, y).0 <= 0.02 {
            return -8.0;
        }
        let by_matte = matte.map(|m| 16.0 * (m.get(x, y).0 - 0.5));
        let by_color = (!tones.behind.is_empty()).then(|| {
            let v = logs.get(x, y);
            (0.5 * (tones.cloth.cost(v) - likeliest(&tones.behind, v))).clamp(-8.0, 8.0)
        });
        match (by_matte, by_color) {
            (Some(m), Some(c)) => 0.6 * m + 0.4 * c,
            (m, c) => m.or(c).unwrap_or(-8.0),
        }
    });
    let steady = gaussian(&odds, 0.6);
    let mut open = steady.map(|o| o > 0.0);
    let threads = threads(&steady, &open, pitch);
    open = open.zip(&threads, |o, t| o && !t);
    open = larger(&open, ((0.02 * pitch * pitch) as usize).max(4));
    // Crumbs of cloth afloat in an opening are noise, unless long enough for a fibre.
    let (labels, parts) = label(&open.map(|o| !o));
    let crumb = ((0.05 * pitch * pitch) as usize).max(6);
    open = labels.map(|l| l == 0 || parts[l as usize - 1].area < crumb);
    Image::from_fn(width, height, |x, y| {
        let told = |mask: Option<&Image<bool>>| mask.is_some_and(|m| m.get(x, y));
        (open.get(x, y) || told(input.gap_strokes)) && !told(input.cloth_strokes) && input.cover.get(x, y).0 > 0.02
    })
}

/// Thin threads across openings: ridges of "cloth", begun by a strong response, continued by a weak one, and tied to cloth
/// or long.
fn threads(odds: &Image<f32>, open: &Image<bool>, pitch: f32) -> Image<bool> {
    let cloth = odds.map(|o| 1.0 / (1.0 + (0.5 * o).exp()));
    let mut best = Image::filled(odds.width(), odds.height(), 0.0f32);
    for sigma in [1.0, (0.12 * pitch).clamp(1.5, 4.0)] {
        best = best.zip(&ridges(&cloth, sigma), f32::max);
    }
    let weak = best.zip(open, |r, o| o && r > THREAD[1]);
    let (labels, parts) = label(&weak);
    let mut strong = vec![false; parts.len()];
    for (&l, &r) in labels.texels().iter().zip(best.texels()) {
        if l > 0 && r > THREAD[0] {
            strong[l as usize - 1] = true;
        }
    }
    let long =
        |l: u32| parts[l as usize - 1].bounds.width.max(parts[l as usize - 1].bounds.height) as f32 >= (0.4 * pitch).max(5.0);
    labels.map(|l| l > 0 && strong[l as usize - 1] && long(l))
}

/// Fractions at the rims: how far each texel lies from the backing beside it to the cloth beside it, in linear light.
fn edges(color: &Image<LinearRgb>, open: &Image<bool>, input: &GapInput<'_>, pitch: f32) -> Image<Unit> {
    let shut = open.map(|o| !o);
    let (to_open, to_cloth) = (distance_to(open), distance_to(&shut));
    let sure = |distance: &Image<f32>| {
        distance.map(|d| {
            if d > 1.5 {
                1.0
            } else if d > 0.5 {
                0.02
            } else {
                0.0
            }
        })
    };
    let near = (0.15 * pitch).clamp(1.5, 4.0);
    let cloth = weighted(color, &sure(&to_open), near, LinearRgb([0.0; 3]));
    let backing = weighted(color, &sure(&to_cloth), near, LinearRgb([0.0; 3]));
    Image::from_fn(color.width(), color.height(), |x, y| {
        let is_open = open.get(x, y);
        let rim = to_open.get(x, y).max(to_cloth.get(x, y));
        if rim > 1.5 || input.cover.get(x, y).0 <= 0.02 {
            return Unit(if is_open { 0.0 } else { 1.0 });
        }
        let (c, f, b) = (color.get(x, y).0, cloth.get(x, y).0, backing.get(x, y).0);
        let axis: [f32; 3] = std::array::from_fn(|i| f[i] - b[i]);
        let length = axis.iter().map(|a| a * a).sum::<f32>();
        let share = (0..3).map(|i| (c[i] - b[i]) * axis[i]).sum::<f32>() / length.max(1e-7);
        // The side was decided with more than these two colours: the fraction may not cross it.
        let (low, high) = if is_open { (0.0, 0.49) } else { (0.51, 1.0) };
        Unit(share.clamp(low, high))
    })
}

fn closed(size: Size) -> Gaps {
    Gaps {
        opacity: Image::filled(size.width, size.height, Unit(1.0)),
        openings: 0,
        share: 0.0,
        backing: None,
        confidence: 0.6,
        how: "no place inside the cover looks like something behind the cloth".to_owned(),
        origin: Origin::Derived,
    }
}

fn report(color: &Image<LinearRgb>, opacity: Image<Unit>, input: &GapInput<'_>, tones: &Tones, matte: bool) -> Gaps {
    let openings = label(&opacity.map(|o| o.0 < 0.5)).1.len();
    let total: f64 = input.cover.texels().iter().map(|c| f64::from(c.0)).sum();
    let through = opacity.texels().iter().zip(input.cover.texels()).map(|(o, c)| f64::from((1.0 - o.0) * c.0)).sum::<f64>();
    let (mut sum, mut count) = ([0.0f64; 3], 0.0f64);
    for (c, _) in color.texels().iter().zip(opacity.texels()).filter(|(_, o)| o.0 <= 0.0) {
        count += 1.0;
        for (total, value) in sum.iter_mut().zip(c.0) {
            *total += f64::from(value);
        }
    }
    let separation = tones.behind.iter().map(|b| tones.cloth.distance(LinearRgb(b.mean))).fold(0.0f32, f32::max);
    Gaps {
        openings,
        share: (through / total.max(1e-9)) as f32,
        backing: (count > 0.0).then(|| LinearRgb(sum.map(|s| (s / count) as f32))),
        confidence: (0.4 + 0.02 * separation + if matte { 0.2 } else { 0.0 }).clamp(0.0, 0.95),
        how: match (matte, tones.behind.len()) {
            (true, 0) => "matte of the backing, thin threads kept".to_owned(),
            (true, n) => format!("matte of the backing and {n} backing colours, thin threads kept"),
            (false, n) => format!("{n} backing colours that intact cloth does not have, thin threads kept"),
        },
        opacity,
        origin: Origin::Derived,
    }
}
