//! Whether a placement meets the cloth around it.

use super::{Fault, Severity};
use crate::build::RimDifference;

/// Median CIEDE2000 over a rim above which it is told: twice the goal of 1.5. Undisturbed worn cloth compared with itself in the same way
/// comes to 1 to 2.
pub const RIM_LIMIT: f32 = 3.0;

/// A rim that shows.
pub fn check_rim(id: &str, rim: &RimDifference) -> Option<Fault> {
    if rim.median <= RIM_LIMIT {
        return None;
    }
    let what = format!(
        "the cloth at its rim differs from the garment's by {:.1} (CIEDE2000, median; above {RIM_LIMIT} it shows)",
        rim.median
    );
    let remedy = "match it (`tatter match JOB ID --match redye` or `fit`), grade it by hand, or move it off prints and seams";
    Some(Fault::new(Severity::Warning, "rim-differs", format!("placement {id}"), what, remedy))
}
