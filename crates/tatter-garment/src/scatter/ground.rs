//! Where a rule may lay something, kept from one throw to the next.

use std::sync::{Arc, Mutex, PoisonError};

use tatter_core::model::{Density, Garment, Scatter};
use tatter_core::units::Mm;

use super::line::Line;
use super::{Areas, ScatterError, ScatterInput};
use crate::field::{Lines, Sought, allowed, seams};
use crate::surface::Surface;

/// What throws on one garment have in common: as long as its surface and its map sets stay what they were.
#[derive(Debug, Default)]
pub struct ScatterGround(Mutex<Option<Arc<Reach>>>);

/// What decides where a rule may lay something.
#[derive(Debug, PartialEq)]
struct By {
    only: Vec<String>,
    keep_off: Vec<String>,
    density: Vec<Density>,
    along: Vec<[f32; 2]>,
    spread: Mm,
    margin: Mm,
    /// Radius of the largest cover, mm.
    widest: f64,
}

/// Where a rule may lay something: linear in the faces to find.
#[derive(Debug)]
pub(super) struct Reach {
    by: By,
    pub(super) allowed: Vec<bool>,
    pub(super) areas: Areas,
    pub(super) sought: Arc<Sought>,
    pub(super) line: Option<Line>,
    /// Seams and open edges of all cloth and trims, when there is a margin.
    pub(super) margin: Option<(f64, Lines)>,
}

impl ScatterGround {
    /// What was found for the last rule, if it is that of this one, too.
    pub(super) fn reach(
        &self,
        surface: &Surface,
        garment: &Garment,
        input: &ScatterInput<'_>,
    ) -> Result<Arc<Reach>, ScatterError> {
        let by = By::of(input);
        let mut known = self.0.lock().unwrap_or_else(PoisonError::into_inner);
        if let Some(known) = known.as_ref().filter(|known| known.by == by) {
            return Ok(Arc::clone(known));
        }
        let reach = Arc::new(Reach::new(surface, garment, input.rule, by)?);
        *known = Some(Arc::clone(&reach));
        Ok(reach)
    }
}

impl By {
    fn of(input: &ScatterInput<'_>) -> Self {
        let Scatter { only, keep_off, density, along, spread, margin, scale, .. } = input.rule;
        Self {
            only: only.clone(),
            keep_off: keep_off.clone(),
            density: density.clone(),
            along: along.clone(),
            spread: *spread,
            margin: *margin,
            widest: input.radius_mm.iter().copied().fold(0.0, f64::max) * f64::from(scale[1]),
        }
    }
}

impl Reach {
    fn new(surface: &Surface, garment: &Garment, rule: &Scatter, by: By) -> Result<Self, ScatterError> {
        let allowed = allowed(surface, &garment.sets, &rule.only, &rule.keep_off)?;
        let sought = Arc::new(Sought::new(surface, &allowed, &rule.density));
        let margin = f64::from(rule.margin.get());
        // Also of cloth that nothing is laid on: a button stand, a belt loop.
        let lines = (margin > 0.0).then(|| (margin, seams(surface, &vec![true; allowed.len()], margin + by.widest)));
        let line = Line::new(surface, &rule.along, rule.spread, &rule.only)?;
        let areas = Areas::new(surface, &allowed)?;
        Ok(Self { by, allowed, areas, sought, line, margin: lines })
    }
}
