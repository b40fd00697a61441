//! Places along a line drawn over the texture.

use glam::{DVec2, DVec3};
use tatter_core::rng::Rng;
use tatter_core::units::Mm;

use crate::surface::{LocateError, Seed, Surface};

/// Steps a stretch of the line is followed in, of one UV unit.
pub(crate) const STEP: f64 = 1.0 / 512.0;
/// Throws beside the line are put back onto the cloth, which costs a walk over all faces: no farther than this.
const OFF_CLOTH_MM: f64 = 1.0;

/// A line on the cloth with the length up to each of its places.
#[derive(Debug)]
pub(crate) struct Line {
    places: Vec<DVec3>,
    lengths: Vec<f64>,
    spread: f64,
}

impl Line {
    /// `None` when nothing is drawn.
    ///
    /// # Errors
    /// A corner of the line that lies off the cloth.
    pub(super) fn new(surface: &Surface, along: &[[f32; 2]], spread: Mm, only: &[String]) -> Result<Option<Self>, LocateError> {
        if along.is_empty() {
            return Ok(None);
        }
        let spread = f64::from(spread.get());
        let places: Vec<DVec3> = places(surface, along, only)?.iter().map(|seed| seed.point).collect();
        let mut sum = 0.0;
        let lengths = places
            .iter()
            .enumerate()
            .map(|(i, place)| {
                sum += i.checked_sub(1).map_or(0.0, |before| places[before].distance(*place));
                sum
            })
            .collect();
        Ok(Some(Self { places, lengths, spread }))
    }

    /// Even along the line, up to the spread beside it.
    pub(super) fn place(&self, surface: &Surface, rng: &mut Rng) -> Option<Seed> {
        let at = f64::from(rng.unit()) * self.lengths.last()?;
        let next = self.lengths.partition_point(|length| *length <= at).clamp(1, self.lengths.len().max(2) - 1);
        let (before, after) = (*self.places.get(next - 1)?, *self.places.get(next).or(self.places.last())?);
        let whole = (self.lengths.get(next).unwrap_or(&0.0) - self.lengths[next - 1]).max(1e-12);
        let on_line = before.lerp(after, ((at - self.lengths[next - 1]) / whole).clamp(0.0, 1.0));
        // Between islands the line jumps through the air.
        let seed = surface.at_point(on_line).ok().filter(|seed| seed.distance_mm < OFF_CLOTH_MM)?;
        if self.spread <= 0.0 {
            return Some(seed);
        }
        let (angle, far) = (f64::from(rng.unit()) * std::f64::consts::TAU, self.spread * f64::from(rng.unit()).sqrt());
        let beside = seed.grain * angle.cos() + seed.grain.cross(seed.normal) * angle.sin();
        surface.at_point(seed.point + beside * far).ok().filter(|seed| seed.distance_mm < OFF_CLOTH_MM.max(0.3 * far))
    }
}

/// Places along a line drawn in UV, in steps; between islands it jumps.
///
/// # Errors
/// A corner of the line that lies off the cloth.
pub(crate) fn places(surface: &Surface, along: &[[f32; 2]], only: &[String]) -> Result<Vec<Seed>, LocateError> {
    // Parts may share the texture: the line lies on those it is to stay on.
    let at = |uv: DVec2| {
        let on_part = only.iter().find_map(|part| surface.at_uv(uv, Some(part)).ok());
        on_part.map_or_else(|| surface.at_uv(uv, None), Ok)
    };
    let corners: Vec<DVec2> = along.iter().map(|at| DVec2::new(f64::from(at[0]), f64::from(at[1]))).collect();
    let mut places = match corners.first() {
        Some(first) => vec![at(*first)?],
        None => return Ok(Vec::new()),
    };
    for pair in corners.windows(2) {
        let steps = (pair[0].distance(pair[1]) / STEP).ceil().clamp(1.0, 512.0) as usize;
        for step in 1..=steps {
            let found = at(pair[0].lerp(pair[1], step as f64 / steps as f64));
            // Between its corners a line may cross a gap between islands.
            if step == steps {
                places.push(found?);
            } else if let Ok(seed) = found {
                places.push(seed);
            }
        }
    }
    Ok(places)
}
