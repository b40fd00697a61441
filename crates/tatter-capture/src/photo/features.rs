//! What two shots of one cloth have in common, whatever the light and the backing.

use tatter_core::image::{Image, LinearRgb};
use tatter_core::kernel::{gaussian, soft, weighted};
use tatter_core::stats::{quantile, sample, sample_all};

/// Light, linear, below which logs are flattened: a camera's black.
const BLACK: f32 = 0.02;
/// Pixels over which light is slow: threads are finer.
const SLOW: f32 = 6.0;
/// Share of the usual contrast below which contrast is not raised: card is plain and stays so.
const PLAIN: f32 = 0.4;

/// Log light.
pub(super) fn logs(color: &Image<LinearRgb>) -> Image<f32> {
    color.map(|c| (c.luminance().max(0.0) + BLACK).ln())
}

/// Fine contrast of log light at one strength all over: exposure, slow light and depth of contrast drop out. Only pixels with
/// weight, where any is given, have any and are looked at: what lies in an opening does not change the cloth beside it.
pub(super) fn contrast(logs: &Image<f32>, weight: Option<&Image<f32>>) -> Image<f32> {
    even(&mean(logs, weight, 0.6).zip(&mean(logs, weight, SLOW), |l, s| l - s), weight)
}

/// Where there is fine contrast, whatever its sign: an opening is dark over dark card and light over light card, yet an
/// opening in both.
pub(super) fn liveliness(logs: &Image<f32>) -> Image<f32> {
    let size = contrast(logs, None).map(|c| c.abs().min(3.0));
    even(&size.zip(&soft(&size, SLOW), |s, m| s - m), None)
}

/// How much fine contrast there is around each pixel, 0 in plain card to 1: noise of a dark card is none.
pub(super) fn busy(logs: &Image<f32>) -> Image<f32> {
    let fine = gaussian(logs, 0.6).zip(&soft(logs, SLOW), |l, s| l - s);
    let (power, floor) = power(&fine, None);
    power.map(|p| p / (p + floor))
}

/// Mean of what has weight around each pixel.
fn mean(image: &Image<f32>, weight: Option<&Image<f32>>, sigma: f32) -> Image<f32> {
    weight.map_or_else(|| soft(image, sigma), |weight| weighted(image, weight, sigma, 0.0))
}

/// Mean square of contrast around each pixel, and below what it counts as plain.
fn power(fine: &Image<f32>, weight: Option<&Image<f32>>) -> (Image<f32>, f32) {
    let power = mean(&fine.map(|f| f * f), weight, SLOW);
    let mut some = weight.map_or_else(|| sample_all(&power), |weight| sample(&power, weight));
    let floor = PLAIN * PLAIN * quantile(&mut some, 0.8) + 1e-8;
    (power, floor)
}

/// Divided by its own deviation around each pixel.
fn even(fine: &Image<f32>, weight: Option<&Image<f32>>) -> Image<f32> {
    let (power, floor) = power(fine, weight);
    let even = fine.zip(&power, |f, p| (f / (p + floor).sqrt()).clamp(-4.0, 4.0));
    match weight {
        Some(weight) => even.zip(weight, |f, w| if w > 0.0 { f } else { 0.0 }),
        None => even,
    }
}
