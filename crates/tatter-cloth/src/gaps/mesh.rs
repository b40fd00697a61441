//! Cloth so open that one sees through between all its threads: sacking, gauze, net.

use tatter_core::image::{Image, LinearRgb};
use tatter_core::kernel::{gaussian, label};
use tatter_core::stats::quantile;

use super::palette::{Scale, pick};

/// Dark places to a crossing of two threads: one in each mesh. Sacking and gauze have 1.0 to 1.1; closed cloth has fewer or, where
/// threads show their plies, more.
const A_MESH: std::ops::Range<f32> = 0.85..1.25;
/// Share of a mesh that the middle one of them fills at least: sacking and gauze 0.3 to 0.4, the pores of canvas and linen 0.15.
const BREADTH: f32 = 0.22;
/// Least range of log light between threads and what is behind.
const RANGE: f32 = 1.0;
/// Deviation of the darkest twelfth, as a share of that range, up to which it is one even thing: 0.04 and 0.08 in gauze and
/// sacking before the dark, 0.13 and more where shade deepens towards the middle of a pore.
const EVEN: f32 = 0.1;

/// How firmly each texel is seen through (1) or cloth (-1) where every mesh of the weave shows something dark and even; `None`
/// where cloth is closed. Judged on intact cloth, `pitch` texels from thread to thread in both directions.
///
/// No backing colour is asked for: what lies behind may have the cloth's own tint, but no shade in a closed weave is broad and
/// even at once.
pub(super) fn meshes(
    color: &Image<LinearRgb>,
    reference: &Image<bool>,
    scale: Scale,
    [ends, picks]: [f32; 2],
) -> Option<Image<f32>> {
    let cell = ends * picks;
    if cell < 16.0 {
        return None;
    }
    let light = color.map(|c| scale.tint(c).0[0]);
    let slow = gaussian(&light, 3.0 * cell.sqrt());
    let flat = light.zip(&slow, |l, s| l - s);
    let known = pick(&flat, reference);
    let at = |share: f32| quantile(&mut known.clone(), share);
    let (low, high, core) = (at(0.03), at(0.97), at(1.0 / 12.0));
    if high - low < RANGE || deviation(known.iter().filter(|l| **l < core)) > EVEN * (high - low) {
        return None;
    }
    let middle = 0.5 * (low + high);
    let (_, parts) = label(&flat.zip(reference, |l, r| r && l < middle));
    let mut areas: Vec<f32> = parts.iter().map(|p| p.area as f32 / cell).filter(|a| *a > 0.05).collect();
    let meshes = reference.texels().iter().filter(|r| **r).count() as f32 / cell;
    let each = areas.len() as f32 / meshes.max(1.0);
    if meshes < 30.0 || !A_MESH.contains(&each) || quantile(&mut areas, 0.5) < BREADTH {
        return None;
    }
    Some(flat.map(|l| (4.0 * (middle - l) / (high - low)).clamp(-1.0, 1.0)))
}

fn deviation<'a>(values: impl Iterator<Item = &'a f32>) -> f32 {
    let (sum, square, count) = values
        .fold((0.0f64, 0.0f64, 0.0f64), |(sum, square, count), v| (sum + f64::from(*v), square + f64::from(v * v), count + 1.0));
    let mean = sum / count.max(1.0);
    (square / count.max(1.0) - mean * mean).max(0.0).sqrt() as f32
}
