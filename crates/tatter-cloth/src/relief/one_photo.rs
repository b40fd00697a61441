//! One photo to relief, the whole chain in one screen.

use tatter_core::angle::Angle;
use tatter_core::image::{HeightMm, HeightRange, Image, LinearRgb, Size};
use tatter_core::kernel::{
    OcclusionSettings, area_resize, bilinear_resize, gaussian, normals_from_height, occlusion, open, soft,
};
use tatter_core::stats::{quantile, sample};
use tatter_core::task::Task;

use super::gain::{Gain, Known};
use super::light::{Light, find_light};
use super::net::{self, Net};
use super::shading::Shading;
use super::{Relief, ReliefError, ReliefHow, ReliefInput, finish, shading, spectrum};

/// Thread spacing in texels when nobody measured it.
const ASSUMED_PITCH: f32 = 12.0;
/// Yarn breadth over thread spacing of ordinary cloth (cover factor of canvas and shirting, common practice, no source).
pub(super) const YARN_OF_PITCH: f32 = 0.85;
/// From valley to crown at most, as a share of yarn breadth: Peirce's round threads stand one breadth above the mid plane,
/// and the deepest that is seen lies little below it. More contrast than that is dye or a hard picture, not depth.
const MOST_OF_YARN: f32 = 0.8;
/// Share of light from all sides beside a lamp: a window in a light room (common practice, no source).
const AMBIENT: f32 = 0.3;

/// How far a guessed light direction is off in the mean, degrees: on made scenes 0 to 35.
const GUESS_OFF: f32 = 15.0;

/// Height, normal, colour without shading, occlusion and roughness of cloth in one photo (linear light). Measured for 2048²
/// on two idle cores: 1.3 to 1.5 s; the process held 0.64 GB at most, photo and results included.
///
/// # Errors
/// Sizes that differ, no texels, a scale that is no length, or the task was cancelled.
pub fn relief(color: &Image<LinearRgb>, input: &ReliefInput<'_>, task: &Task) -> Result<Relief, ReliefError> {
    let Look { pitch, weight, intact, parts, light } = look(color, input, task)?;
    let yarn_px = YARN_OF_PITCH * pitch;
    let (height, shading) = task.stage("relief.height", || {
        let (threads, shading) = threads(&parts, &intact, &light, input, pitch);
        let scale = input.scale.get();
        (finish::with_openings(&threads.map(|h| h * scale), input.opacity, yarn_px * scale, yarn_px), shading)
    });
    task.check()?;
    let normal = task.stage("relief.normal", || normals_from_height(&height, input.scale));
    let occlusion = task.stage("relief.occlusion", || occlusion(&height, input.scale, &openness(pitch)));
    task.check()?;
    let base_color = task.stage("relief.colour", || finish::unshaded(color, &shading, &parts.slow, &intact));
    let roughness = task.stage("relief.roughness", || finish::roughness(&parts.shade, &weight, &intact, pitch));
    let confidence = confidence(&parts.shade, &intact, &light, input.pitch_px.is_some());
    let how = how(&light, input.pitch_px.is_some(), confidence);
    let measured = false;
    Ok(Relief {
        height_range: range(&height),
        height,
        normal,
        base_color,
        occlusion,
        roughness,
        confidence,
        light,
        how,
        measured,
    })
}

/// Occlusion by what stands within three threads.
pub(super) fn openness(pitch: f32) -> OcclusionSettings {
    OcclusionSettings { radius_texels: (3.0 * pitch).clamp(8.0, 64.0), growth: 1.4, ..OcclusionSettings::default() }
}

/// What the net is shown of a photo; for those that teach it (`tatter-quality lessons`).
#[derive(Clone, Debug)]
pub struct Lesson {
    /// Log luminance about uneven light, and the log ratios red to green and blue to green; 0 where no cloth is seen.
    pub seen: [Image<f32>; 3],
    /// The light as told or found.
    pub light: Light,
}

/// The first steps of [`relief`], as far as the net.
///
/// # Errors
/// Those of [`relief`].
pub fn lesson(color: &Image<LinearRgb>, input: &ReliefInput<'_>, task: &Task) -> Result<Lesson, ReliefError> {
    let Look { parts, light, .. } = look(color, input, task)?;
    Ok(Lesson { seen: parts.seen, light })
}

/// The photo taken apart.
struct Look {
    pitch: f32,
    weight: Image<f32>,
    intact: Image<f32>,
    parts: Shading,
    light: Light,
}

fn look(color: &Image<LinearRgb>, input: &ReliefInput<'_>, task: &Task) -> Result<Look, ReliefError> {
    check(color.size(), input)?;
    let pitch = pitch(input, task);
    let (weight, intact) = weights(input);
    let parts = task.stage("relief.shading", || shading::shading(color, &weight, &intact, pitch));
    task.check()?;
    let light = task.stage("relief.light", || {
        let pores = pores(&weight, pitch);
        if input.light_from.is_some() || !pores.texels().contains(&true) {
            return light(&parts.shade, &intact, input, pitch, task);
        }
        let with = |known: &Image<f32>| known.zip(&pores, |k, pore| if pore { 1.0 } else { k });
        let (weight, intact) = (with(&weight), with(&intact));
        light(&shading::shading(color, &weight, &intact, pitch).shade, &intact, input, pitch, task)
    });
    Ok(Look { pitch, weight, intact, parts, light })
}

pub(super) fn check(size: Size, input: &ReliefInput<'_>) -> Result<(), ReliefError> {
    if size.area() == 0 {
        return Err(ReliefError::Empty);
    }
    let intact = input.intact.map_or(size, Image::size);
    for (what, found) in [("cover", input.cover.size()), ("opacity", input.opacity.size()), ("intact mask", intact)] {
        if found != size {
            return Err(ReliefError::Size { what, found, wanted: size });
        }
    }
    let scale = input.scale.get();
    if scale.is_finite() && scale > 0.0 { Ok(()) } else { Err(ReliefError::Scale(scale)) }
}

pub(super) fn pitch(input: &ReliefInput<'_>, task: &Task) -> f32 {
    match input.pitch_px {
        Some([ends, picks]) if ends > 1.0 && picks > 1.0 => (ends * picks).sqrt().clamp(3.0, 400.0),
        _ => {
            task.note(
                "pitch-assumed",
                format!(
                    "No thread spacing is known, so {ASSUMED_PITCH} texels were assumed; give the thread count for a truer height"
                ),
            );
            ASSUMED_PITCH
        }
    }
}

/// Where cloth is seen, and where it is intact besides. Cloth that is neither intact nor covered, as between the two, is
/// cloth all the same: left out, it would be flat.
pub(super) fn weights(input: &ReliefInput<'_>) -> (Image<f32>, Image<f32>) {
    let size = input.cover.size();
    let known = |x: usize, y: usize| input.intact.is_none_or(|mask| mask.get(x, y));
    let weight = input.opacity.map(|o| if o.0 >= 0.9 { 1.0 } else { 0.0 });
    let intact = Image::from_fn(size.width, size.height, |x, y| if known(x, y) { weight.get(x, y) } else { 0.0 });
    let enough = intact.texels().iter().filter(|&&w| w >= 0.5).count() * 50 >= size.area();
    let intact = if enough { intact } else { weight.clone() };
    (weight, intact)
}

/// Openings narrower than a thread. Left out, they take the valleys' shade along, which tells where the light came from:
/// on eight woven cloths under four lamps it was 85 degrees off in the mean without them, 18 with them (satin 76, the others 10).
fn pores(weight: &Image<f32>, pitch: f32) -> Image<bool> {
    let openings = weight.map(|w| w < 0.5);
    openings.zip(&open(&openings, 0.4 * pitch), |small, large| small && !large)
}

fn light(shade: &Image<f32>, intact: &Image<f32>, input: &ReliefInput<'_>, pitch: f32, task: &Task) -> Light {
    let found = find_light(shade, intact, pitch);
    let elevation = input.light_elevation.unwrap_or(found.elevation);
    if let Some(from) = input.light_from {
        return Light { from: Some(from), elevation, told: true, confidence: 1.0 };
    }
    if let Some(from) = found.from {
        let degrees = from.to_degrees().round();
        task.note(
            "light-estimated",
            format!(
                "The light seems to come from {degrees} degrees (counter-clockwise from image right); tell it if that is wrong"
            ),
        );
    }
    Light { elevation, ..found }
}

/// Height of the threads about the mid plane in texels, and their log shading.
fn threads(parts: &Shading, intact: &Image<f32>, light: &Light, input: &ReliefInput<'_>, pitch: f32) -> (Image<f32>, Image<f32>) {
    let [height, shading] = match input.pitch_px.zip(input.thread_dirs) {
        Some((spacing, [warp, _])) if pitch >= net::PITCHES[0] => by_net(parts, light, (spacing, warp), input, pitch),
        _ => by_waves(&parts.shade, light, input, pitch),
    };
    let middle = quantile(&mut sample(&height, intact), 0.5);
    let yarn = YARN_OF_PITCH * pitch;
    let held = (MOST_OF_YARN * yarn / spread(&height, intact).max(1e-6)).min(1.0);
    // No thread stands farther off the mid plane than one and a half yarns, softly reached: never wild.
    let limit = 1.5 * yarn;
    (height.map(|h| limit * (held * (h - middle) / limit).tanh()), shading)
}

/// The learned net's height in texels and log shading. Threads coarser than it knows are shown smaller, and what is finer than that
/// comes from the gains of single waves.
fn by_net(
    parts: &Shading,
    light: &Light,
    (spacing, grain): ([f32; 2], Angle),
    input: &ReliefInput<'_>,
    pitch: f32,
) -> [Image<f32>; 2] {
    let smaller = (pitch / net::PITCHES[1]).ceil().max(1.0);
    let lamp = light.from.map(|from| ([from, light.elevation], light.confidence));
    let net = Net::new(&net::Known { spacing: spacing.map(|p| p / smaller), grain, lamp, told: light.told });
    if smaller <= 1.0 {
        let [height, shading] = net.run(parts.seen.each_ref());
        return [height, without_slow(&shading, pitch)];
    }
    let size = parts.shade.size();
    let side = |length: usize| ((length as f32 / smaller).round() as usize).max(1);
    let small = parts.seen.each_ref().map(|part| area_resize(part, side(size.width), side(size.height)));
    let [height, shading] = net.run(small.each_ref()).map(|part| bilinear_resize(&part, size.width, size.height));
    let [waves, _] = by_waves(&parts.shade, light, input, pitch);
    let coarse = gaussian(&waves, 0.5 * smaller);
    let fine = waves.zip(&coarse, |all, coarse| all - coarse);
    [height.zip(&fine, |h, fine| smaller * h + fine), without_slow(&shading, pitch)]
}

/// Shading of threads alone: what is slower is dye, fold or dirt more often than relief.
fn without_slow(shading: &Image<f32>, pitch: f32) -> Image<f32> {
    shading.zip(&soft(shading, 1.5 * pitch), |all, slow| all - slow)
}

/// The same by a gain for each wave.
fn by_waves(shade: &Image<f32>, light: &Light, input: &ReliefInput<'_>, pitch: f32) -> [Image<f32>; 2] {
    let spacing = input.pitch_px.map_or([1.0; 2], |[ends, picks]| [ends / pitch, picks / pitch].map(|s| s.clamp(0.4, 2.5)));
    let known = Known {
        grain: input.pitch_px.and(input.thread_dirs).map(|[warp, _]| warp),
        counted: input.pitch_px.is_some(),
        spacing,
        lamp: light.from.map(|from| [from, light.elevation]),
        trust: light.from.map_or(0.0, |_| light.confidence),
        spread: if light.told { Angle::ZERO } else { Angle::degrees(GUESS_OFF) },
        ambient: AMBIENT,
    };
    spectrum::raised(shade, &Gain::learn(&known), pitch)
}

fn spread(height: &Image<f32>, intact: &Image<f32>) -> f32 {
    let mut values = sample(height, intact);
    quantile(&mut values, 0.98) - quantile(&mut values, 0.02)
}

/// Half of it is contrast of shading against what eight bits can hold, the rest what is known of scale and light.
fn confidence(shade: &Image<f32>, intact: &Image<f32>, light: &Light, measured: bool) -> f32 {
    let contrast = (spread(shade, intact) / 0.5).min(1.0);
    let lit = match (light.told, light.from) {
        (true, _) => 0.3,
        (false, Some(_)) => 0.2 * light.confidence,
        (false, None) => 0.1,
    };
    (0.4 * contrast + lit + if measured { 0.2 } else { 0.0 }).clamp(0.0, 0.9)
}

fn how(light: &Light, counted: bool, confidence: f32) -> ReliefHow {
    let from_what = if counted { "woven scenes" } else { "woven swatches" };
    let height = match light.from {
        Some(from) => format!(
            "shape from shading, learned from {from_what}, light from {:.0} degrees ({}), confidence {confidence:.2}",
            from.to_degrees(),
            if light.told { "told" } else { "estimated" }
        ),
        None => format!("shape from soft light, learned from {from_what}, confidence {confidence:.2}"),
    };
    ReliefHow {
        height,
        normal: "slopes of the height".to_owned(),
        base_color: "photo less uneven light and most of the relief's shading".to_owned(),
        roughness: "cloth prior 0.84, rougher where fibres stand out; one photo cannot measure it".to_owned(),
    }
}

pub(super) fn range(height: &Image<HeightMm>) -> HeightRange {
    let (low, high) =
        height.texels().iter().fold((f32::INFINITY, f32::NEG_INFINITY), |(low, high), h| (low.min(h.0), high.max(h.0)));
    // A range of no breadth cannot be stored.
    HeightRange { low_mm: low, high_mm: high.max(low + 1e-3) }
}

#[cfg(test)]
mod tests {
    use super::*;
    use tatter_core::image::Unit;
    use tatter_core::units::MmPerTexel;

    #[test]
    fn cloth_between_the_damage_and_the_intact_is_cloth() {
        let cover = Image::from_fn(32, 32, |x, _| Unit(if x < 4 { 1.0 } else { 0.0 }));
        let opacity = Image::from_fn(32, 32, |x, _| Unit(if x < 2 { 0.0 } else { 1.0 }));
        let intact = Image::from_fn(32, 32, |x, _| x >= 8);
        let mut input = ReliefInput::new(&cover, &opacity, MmPerTexel(0.1));
        input.intact = Some(&intact);
        let (weight, learned) = weights(&input);
        let row: Vec<f32> = (0..10).map(|x| weight.get(x, 5)).collect();
        assert_eq!(row, [0.0, 0.0, 1.0, 1.0, 1.0, 1.0, 1.0, 1.0, 1.0, 1.0], "only the opening is no cloth");
        assert_eq!((learned.get(6, 5), learned.get(8, 5)), (0.0, 1.0), "but light is learned from intact cloth alone");
    }
}
