//! A correction from one neutral place.

use tatter_core::image::{Image, LinearRgb};
use tatter_core::stats::{median, quantile};

use super::{BURNT, ColorError, Correction};

/// Radius looked at when none is told, of the photo's longer side.
const RADIUS: f32 = 0.006;
/// Light below which a channel is the camera's black.
const DARK: f32 = 0.004;

/// A place that is neutral.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct GreyPick {
    /// Its middle, photo pixels (first centre at 0.5, 0.5).
    pub at: [f32; 2],
    /// How far around is looked at, pixels; a hundredth and a half of the photo across when absent.
    pub radius: Option<f32>,
    /// Share of light that it gives back, 0..1. Grey cards are made to give back 0.18; white paper gives 0.85 to 0.9 (common practice, no
    /// source).
    pub reflectance: f32,
}

/// A correction by it.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Grey {
    /// What to do.
    pub correction: Correction,
    /// What it reads, linear.
    pub seen: LinearRgb,
    /// How much its light varies within the radius, as a share of it.
    pub uneven: f32,
}

/// The factors that make a place neutral and as bright as it is said to be: white balance and exposure.
///
/// # Errors
/// When it lies outside, is burnt out or black.
pub fn grey(color: &Image<LinearRgb>, pick: &GreyPick) -> Result<Grey, ColorError> {
    let (width, height) = (color.width(), color.height());
    let [x, y] = pick.at;
    let radius = pick.radius.unwrap_or((RADIUS * width.max(height) as f32).max(2.0));
    let span = |at: f32, n: usize| {
        let from = ((at - radius).floor().max(0.0) as usize).min(n);
        from..((at + radius).ceil().max(0.0) as usize).min(n)
    };
    let mut samples: [Vec<f32>; 3] = std::array::from_fn(|_| Vec::new());
    for row in span(y, height) {
        for column in span(x, width) {
            if (column as f32 + 0.5 - x).hypot(row as f32 + 0.5 - y) <= radius {
                samples.iter_mut().zip(color.get(column, row).0).for_each(|(samples, v)| samples.push(v));
            }
        }
    }
    let inside = x >= 0.0 && y >= 0.0 && x <= width as f32 && y <= height as f32;
    if samples[0].is_empty() || !inside {
        return Err(ColorError::GreyOutside { x, y });
    }
    if samples.iter_mut().any(|s| quantile(s, 0.9) >= BURNT) {
        return Err(ColorError::GreyBurnt { x, y });
    }
    let seen: [f32; 3] = std::array::from_fn(|c| median(&mut samples[c]));
    let light = seen.into_iter().fold(f32::INFINITY, f32::min);
    if light < DARK {
        return Err(ColorError::GreyDark { x, y, light });
    }
    let spread = quantile(&mut samples[1], 0.84) - quantile(&mut samples[1], 0.16);
    Ok(Grey {
        correction: Correction::Gains(seen.map(|v| pick.reflectance / v)),
        seen: LinearRgb(seen),
        uneven: 0.5 * spread / seen[1],
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_card_in_a_cast_becomes_neutral_and_as_bright_as_told() {
        let cast = Image::from_fn(200, 100, |x, _| LinearRgb(if x < 100 { [0.3, 0.25, 0.2] } else { [0.9, 0.1, 0.1] }));
        let pick = GreyPick { at: [50.0, 50.0], radius: Some(8.0), reflectance: 0.18 };
        let found = grey(&cast, &pick).unwrap();
        let got = found.correction.apply(cast.get(10, 10));
        assert!(got.0.iter().all(|v| (v - 0.18).abs() < 1e-6), "{got:?}");
        let outside = GreyPick { at: [250.0, 50.0], ..pick };
        assert_eq!(grey(&cast, &outside), Err(ColorError::GreyOutside { x: 250.0, y: 50.0 }), "beyond the photo");
        let white = Image::filled(50, 50, LinearRgb([1.0, 0.9, 0.8]));
        assert_eq!(
            grey(&white, &GreyPick { at: [20.0, 20.0], ..pick }),
            Err(ColorError::GreyBurnt { x: 20.0, y: 20.0 }),
            "white"
        );
        let black = Image::filled(50, 50, LinearRgb([0.1, 0.001, 0.1]));
        assert!(matches!(grey(&black, &GreyPick { at: [20.0, 20.0], ..pick }), Err(ColorError::GreyDark { .. })), "black");
    }
}
