//! Relief of cloth whose normals were measured under several lights.
//!
//! A height is integrated from the normals. Slow slopes are then those of the height, which lies flat, and fine ones stay as they were
//! measured: a height map of the same resolution holds the flanks of threads less steep than they are.

use tatter_core::angle::Angle;
use tatter_core::image::{Image, LinearRgb, Normal, Pixel as _};
use tatter_core::kernel::{normals_from_height, occlusion, weighted};
use tatter_core::stats::{quantile, sample};
use tatter_core::task::Task;

use super::integrate::{Integration, integrate_trusted};
use super::one_photo::{YARN_OF_PITCH, check, openness, pitch, range, weights};
use super::{Light, Relief, ReliefError, ReliefHow, ReliefInput, finish};

/// What was measured; images have the size of the canvas.
#[derive(Clone, Copy, Debug)]
pub struct Lit<'a> {
    /// Normals as measured.
    pub normal: &'a Image<Normal>,
    /// Colour free of shading, cleaned of the backing.
    pub color: &'a Image<LinearRgb>,
    /// How many shots, for people.
    pub shots: usize,
    /// Where every lamp stood is known to the millimetre, so that slow slopes can be trusted.
    pub near: bool,
}

/// Waves of the cloth longer than this many threads are flattened where lamps are taken as far away: their slopes are those of the
/// lamps' fall-off as much as the cloth's (5.7 degrees at the rim of 100 mm under lamps 500 mm away, `algorithms.md` 3.4).
const REACH_THREADS: f32 = 4.0;
/// The same where distances of the lamps are known.
const REACH_NEAR_THREADS: f32 = 16.0;
/// Where no thread was counted, a share of the canvas.
const REACH_CANVAS: f32 = 0.25;
/// Slopes slower than this many threads are those of the height.
const SLOW_THREADS: f32 = 1.5;
/// How far finest slopes are kept. On eight woven cloths under eight lamps normals of the height were off by 8.7 degrees at 0.5, 7.8 at
/// 0.9, 7.3 as measured; the shortest wave is five times as high as a plain height would have it at 0.8, ten times at 0.9.
const DETAIL: f64 = 0.8;

/// Height, normal, colour, occlusion and roughness from measured normals and colour.
///
/// # Errors
/// Sizes that differ, no texels, a scale that is no length, or the task was cancelled.
pub fn lit_relief(lit: &Lit<'_>, input: &ReliefInput<'_>, task: &Task) -> Result<Relief, ReliefError> {
    check(lit.color.size(), input)?;
    let pitch = pitch(input, task);
    let (weight, intact) = weights(input);
    let scale = input.scale.get();
    let yarn_px = YARN_OF_PITCH * pitch;
    let height = task.stage("relief.height", || {
        let slopes = level(lit.normal, &weight, &intact);
        let reach = match input.pitch_px {
            Some(_) => pitch * if lit.near { REACH_NEAR_THREADS } else { REACH_THREADS },
            None => REACH_CANVAS * lit.color.width() as f32,
        };
        // Of an error of the normal, a slope has one over the square of its z as much.
        let trust = lit.normal.zip(&weight, |normal, w| w * normal.0[2].powi(2));
        let raised = integrate_trusted(&slopes, &trust, Integration { reach: Some(reach), detail: DETAIL }, task)?;
        let middle = quantile(&mut sample(&raised, &intact), 0.5);
        Ok::<_, ReliefError>(finish::with_openings(
            &raised.map(|h| (h - middle) * scale),
            input.opacity,
            yarn_px * scale,
            yarn_px,
        ))
    })?;
    task.check()?;
    let of_height = normals_from_height(&height, input.scale);
    let normal = task.stage("relief.normal", || agreeing(lit.normal, &of_height, &weight, pitch));
    let occlusion = task.stage("relief.occlusion", || occlusion(&height, input.scale, &openness(pitch)));
    task.check()?;
    let shade = lit.color.map(|c| c.luminance().max(1e-4).ln());
    let roughness = task.stage("relief.roughness", || finish::roughness(&shade, &weight, &intact, pitch));
    let apart = apart(&normal, &of_height, &weight);
    let how = ReliefHow {
        height: format!(
            "normals under {} lights, integrated; its slopes are {apart:.1} degrees off the measured normals",
            lit.shots
        ),
        normal: format!("under {} lights; its slow slopes are those of the height", lit.shots),
        base_color: format!("dye under {} lights, free of shading", lit.shots),
        roughness: "cloth prior 0.84, rougher where fibres stand out; not measured".to_owned(),
    };
    let light = Light { from: None, elevation: Angle::ZERO, told: true, confidence: 1.0 };
    Ok(Relief {
        height_range: range(&height),
        height,
        normal,
        base_color: lit.color.clone(),
        occlusion,
        roughness,
        confidence: 1.0,
        light,
        how,
        measured: true,
    })
}

/// Slopes of the cloth about its mean plane; flat in openings, where the backing was measured.
fn level(normal: &Image<Normal>, weight: &Image<f32>, intact: &Image<f32>) -> Image<[f32; 2]> {
    let (mut sum, mut count) = ([0.0f64; 2], 0.0f64);
    for (normal, w) in normal.texels().iter().zip(intact.texels()) {
        let (p, q) = normal.slopes();
        sum = [sum[0] + f64::from(p * w), sum[1] + f64::from(q * w)];
        count += f64::from(*w);
    }
    let mean = sum.map(|total| (total / count.max(1.0)) as f32);
    normal.zip(weight, |normal, w| {
        let (p, q) = normal.slopes();
        [(p - mean[0]) * w, (q - mean[1]) * w]
    })
}

/// Measured normals whose slow slopes are those of the height; those of the height in openings.
fn agreeing(measured: &Image<Normal>, of_height: &Image<Normal>, weight: &Image<f32>, pitch: f32) -> Image<Normal> {
    let slopes = |normal: Normal| LinearRgb([normal.slopes().0, normal.slopes().1, 0.0]);
    let apart = measured.zip(of_height, |m, h| slopes(m).plus(slopes(h), -1.0));
    let slow = weighted(&apart, weight, SLOW_THREADS * pitch, LinearRgb::ZERO);
    let own = weight.zip(&slow, |w, slow| (w, slow));
    let corrected = measured.zip(&own, |normal, (w, slow)| {
        let (p, q) = normal.slopes();
        (Normal::from_slopes(p - slow.0[0], q - slow.0[1]), w)
    });
    corrected.zip(of_height, |(normal, w), h| if w >= 0.5 { normal } else { h })
}

/// Mean angle between two normal maps where cloth is seen, degrees.
fn apart(a: &Image<Normal>, b: &Image<Normal>, weight: &Image<f32>) -> f32 {
    let angles = a.zip(b, |a, b| a.angle_to(b).to_degrees());
    let values = sample(&angles, weight);
    values.iter().sum::<f32>() / values.len().max(1) as f32
}
