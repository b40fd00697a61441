//! Where placements were found last, for all who ask: a window draws their borders, then they are laid, at more than one fineness.

use std::collections::{BTreeMap, BTreeSet};
use std::sync::{Arc, Mutex, PoisonError};

use tatter_core::angle::Angle;
use tatter_core::model::{Placement, Spot};
use tatter_core::units::Mm;

use super::{Canvas, Footprint, PlaceSettings, footprint_of};
use crate::surface::{LocateError, Surface};

/// Footprints on one surface, by the id of their placement; what is asked again where it lay is not found again.
#[derive(Debug, Default)]
pub struct Footprints(Mutex<BTreeMap<String, (Geometry, Arc<Footprint>)>>);

/// What decides where a placement lies.
#[derive(Clone, Debug, PartialEq)]
struct Geometry {
    spot: Spot,
    turn: Angle,
    size: Option<Mm>,
    mirror: bool,
    canvas: Canvas,
}

impl Footprints {
    /// As [`footprint_of`]; surface, unit and settings must be the same each time.
    ///
    /// # Errors
    /// As [`footprint_of`].
    pub fn of(
        &self,
        surface: &Surface,
        placement: &Placement,
        canvas: &Canvas,
        mm_per_unit: f32,
        settings: &PlaceSettings,
    ) -> Result<Arc<Footprint>, LocateError> {
        let Placement { turn, size, mirror, .. } = *placement;
        let geometry = Geometry { spot: placement.spot.clone(), turn, size, mirror, canvas: *canvas };
        let all = || self.0.lock().unwrap_or_else(PoisonError::into_inner);
        if let Some((known, found)) = all().get(&placement.id)
            && *known == geometry
        {
            return Ok(Arc::clone(found));
        }
        let found = Arc::new(footprint_of(surface, placement, canvas, mm_per_unit, settings)?);
        all().insert(placement.id.clone(), (geometry, Arc::clone(&found)));
        Ok(found)
    }

    /// Forget all others.
    pub fn keep(&self, ids: &BTreeSet<&str>) {
        self.0.lock().unwrap_or_else(PoisonError::into_inner).retain(|id, _| ids.contains(id.as_str()));
    }
}
