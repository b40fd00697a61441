//! Where on the garment there is more of something, 0 to 1: what scatters and wear share.

mod curvature;
mod density;
mod lines;

pub(crate) use curvature::Curvature;
pub(crate) use density::{Sought, Weight};
pub(crate) use lines::{Lines, seams};

use std::collections::BTreeSet;

use glam::DVec3;
use tatter_core::model::MapSet;

use crate::build::set_of_face;
use crate::surface::{LocateError, Seed, Surface};

/// Cloth whose normals differ by more lies on another side of the garment: distance through it does not count.
pub(crate) const SAME_SIDE: f64 = -0.2;

/// A place on the cloth.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Place {
    pub(crate) face: usize,
    /// Of the face's corners; a little outside 0..1 in the gutter of an island.
    pub(crate) weights: [f64; 3],
    pub(crate) point: DVec3,
    pub(crate) normal: DVec3,
}

impl Place {
    pub(crate) fn of(seed: &Seed) -> Self {
        Self { face: seed.face, weights: seed.weights, point: seed.point, normal: seed.normal }
    }
}

/// Faces that have textures and lie on parts that are allowed: on `only` those named (all when none is), never `off`.
///
/// # Errors
/// A name that no part or material has.
pub(crate) fn allowed(surface: &Surface, sets: &[MapSet], only: &[String], off: &[String]) -> Result<Vec<bool>, LocateError> {
    let named = |names: &[String]| -> Result<BTreeSet<usize>, LocateError> {
        let mut parts = BTreeSet::new();
        for name in names {
            parts.extend(surface.chosen_parts(Some(name))?.iter().enumerate().filter(|(_, chosen)| **chosen).map(|(p, _)| p));
        }
        Ok(parts)
    };
    let (wanted, unwanted) = (named(only)?, named(off)?);
    let textured = set_of_face(surface, sets);
    let fits = |part: usize| (only.is_empty() || wanted.contains(&part)) && !unwanted.contains(&part);
    Ok(surface.faces().iter().zip(textured).map(|(f, set)| set.is_some() && fits(f.part) && f.mm_per_uv().is_some()).collect())
}
