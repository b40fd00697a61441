//! Growing and shrinking masks by a round brush, through the distance field: constant cost whatever the radius.

use super::distance_to;
use crate::image::Image;

/// Grow by `radius` texels.
#[must_use]
pub fn dilate(mask: &Image<bool>, radius: f32) -> Image<bool> {
    distance_to(mask).map(|d| d <= radius)
}

/// Shrink by `radius` texels; outside the image counts as inside.
#[must_use]
pub fn erode(mask: &Image<bool>, radius: f32) -> Image<bool> {
    distance_to(&mask.map(|inside| !inside)).map(|d| d > radius)
}

/// Close gaps narrower than twice `radius`.
#[must_use]
pub fn close(mask: &Image<bool>, radius: f32) -> Image<bool> {
    erode(&dilate(mask, radius), radius)
}

/// Drop parts narrower than twice `radius`.
#[must_use]
pub fn open(mask: &Image<bool>, radius: f32) -> Image<bool> {
    dilate(&erode(mask, radius), radius)
}
