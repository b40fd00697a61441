//! Where the light came from.

use tatter_core::angle::Angle;
use tatter_core::image::Image;
use tatter_core::kernel::gaussian;
use tatter_core::stats::{quantile, sample, stride};

/// The light on the photo.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Light {
    /// Direction it came from, counter-clockwise from image right; `None`: soft light from all sides.
    pub from: Option<Angle>,
    /// Its elevation above the cloth.
    pub elevation: Angle,
    /// Whether a person said so.
    pub told: bool,
    /// 0 no idea .. 1 sure.
    pub confidence: f32,
}

/// Skewness below which the light is called soft, and that which counts as certain. On 16 made scenes soft light gave 0.11
/// and less, above the limit on four; one lamp gave 0.39 and more, but 0.04 to 0.16 on cloth of 6 texels a thread.
const LEAST: f32 = 0.04;
const SURE: f32 = 0.3;
/// Directions tried.
const TRIED: usize = 24;

/// From the shape of the threads' shading alone. Threads are round on top and meet in sharp valleys, so going *away* from
/// the lamp brightness rises steeply out of each valley's shade and falls gently over the thread: the derivative is skewed
/// towards bright along that direction, and not at all under soft light.
pub(super) fn find_light(shade: &Image<f32>, intact: &Image<f32>, pitch: f32) -> Light {
    // Specks, bright or dark, are no threads: without their tails.
    let mut values = sample(shade, intact);
    let (low, high) = (quantile(&mut values, 0.03), quantile(&mut values, 0.97));
    let smooth = gaussian(&shade.map(|s| s.clamp(low, high.max(low))), (0.06 * pitch).max(0.6));
    let reach = 0.12 * pitch.max(8.0);
    let margin = reach.ceil() as usize + 2;
    let step = stride(shade.width() * shade.height());
    let mut turn = [0.0f64; 2];
    for k in 0..TRIED {
        let angle = std::f32::consts::TAU * k as f32 / TRIED as f32;
        let (sin, cos) = angle.sin_cos();
        let (mut count, mut square, mut cube) = (0.0f64, 0.0f64, 0.0f64);
        for y in (margin..shade.height().saturating_sub(margin)).step_by(step) {
            for x in (margin..shade.width().saturating_sub(margin)).step_by(step) {
                if intact.get(x, y) < 0.5 {
                    continue;
                }
                let (cx, cy) = (x as f32 + 0.5, y as f32 + 0.5);
                let ahead = smooth.bilinear(cx + reach * cos, cy - reach * sin);
                let d = f64::from(ahead - smooth.bilinear(cx - reach * cos, cy + reach * sin));
                count += 1.0;
                square += d * d;
                cube += d * d * d;
            }
        }
        if count > 100.0 && square > 0.0 {
            let skew = (cube / count) / (square / count).powf(1.5);
            turn[0] += skew * f64::from(cos);
            turn[1] += skew * f64::from(sin);
        }
    }
    let strength = (turn[0].hypot(turn[1]) * 2.0 / TRIED as f64) as f32;
    let away = turn[1].atan2(turn[0]) as f32;
    let confidence = ((strength - LEAST) / (SURE - LEAST)).clamp(0.0, 1.0);
    let from = (confidence > 0.0).then(|| Angle::radians((away + std::f32::consts::PI).rem_euclid(std::f32::consts::TAU)));
    Light { from, elevation: Angle::degrees(45.0), told: false, confidence }
}
