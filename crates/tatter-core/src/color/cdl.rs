//! The manual grade of a placement: the colour decision list of the American Society of Cinematographers (ASC CDL 1.2).

use crate::image::LinearRgb;

/// Slope, offset and power of each channel, then saturation about Rec.709 luminance. Works on linear light.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Cdl {
    /// Factor of each channel, 0 or more; 1 changes nothing.
    pub slope: [f32; 3],
    /// Added to each channel after the slope; 0 changes nothing.
    pub offset: [f32; 3],
    /// Exponent of each channel after slope and offset, above 0; 1 changes nothing, more is darker.
    pub power: [f32; 3],
    /// 0 grey, 1 unchanged, more is more colourful.
    pub saturation: f32,
}

impl Default for Cdl {
    fn default() -> Self {
        Self { slope: [1.0; 3], offset: [0.0; 3], power: [1.0; 3], saturation: 1.0 }
    }
}

impl Cdl {
    /// The name of a number that means nothing, and what it must be.
    pub fn beyond(&self) -> Option<(&'static str, &'static str)> {
        let all = |values: [f32; 3], fits: fn(f32) -> bool| values.into_iter().all(|v| v.is_finite() && fits(v));
        if !all(self.slope, |v| v >= 0.0) {
            return Some(("slope", "0 or more"));
        }
        if !all(self.offset, |_| true) {
            return Some(("offset", "a number"));
        }
        if !all(self.power, |v| v > 0.0) {
            return Some(("power", "above 0"));
        }
        if !all([self.saturation; 3], |v| v >= 0.0) {
            return Some(("saturation", "0 or more"));
        }
        None
    }

    /// The graded colour, clamped to 0..1 before the power and at the end as ASC CDL 1.2 says.
    #[must_use]
    pub fn apply(&self, color: LinearRgb) -> LinearRgb {
        let toned =
            LinearRgb(std::array::from_fn(|i| (color.0[i] * self.slope[i] + self.offset[i]).clamp(0.0, 1.0).powf(self.power[i])));
        let luminance = toned.luminance();
        LinearRgb(toned.0.map(|v| (luminance + self.saturation * (v - luminance)).clamp(0.0, 1.0)))
    }
}
