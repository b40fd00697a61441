//! How well placements meet the cloth around them, measured in finished pictures: what an eye sees over the rim.

use std::collections::BTreeMap;

use rayon::prelude::*;
use tatter_core::channel::Channel;
use tatter_core::color::{Lab, ciede2000};
use tatter_core::image::{Image, LinearRgb, Stored};
use tatter_core::model::Garment;
use tatter_core::task::Task;

use super::around::{REACH, cell_of, near};
use super::plan::Target;
use super::run::BuildPlan;
use super::seam::Seam;
use super::{BuildError, BuildReport, BuildSettings};
use crate::matching::injured_at;
use crate::place::Placed;

/// The difference in colour between both sides of a rim.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct RimDifference {
    /// Median CIEDE2000 along the rim.
    pub median: f32,
    /// What a tenth of the rim exceeds.
    pub worst_tenth: f32,
    /// Stretches of the rim that were compared.
    pub stretches: usize,
}

/// A blurred cover between these is near the edge, on one side or the other.
const NEAR: (f32, f32) = (0.05, 0.95);
/// Cover above which a texel shows the patch, and below which it shows the garment.
const INSIDE: f32 = 0.9;
const OUTSIDE: f32 = 0.02;
/// More injured than this is not the patch's cloth.
const INJURED: f32 = 0.1;
/// Texels each side of a stretch must have.
const FEWEST: f64 = 6.0;

/// Build as [`super::build`] does, and tell for each placement the difference between the intact cloth of its patch and the garment's
/// cloth on both sides of its rim, in `pictures` as they then are. Stretches of the rim are three cells of a sixteenth of the
/// canvas long. `None` where no stretch shows: a rim in injured cloth, a patch without a rim, a texture too coarse. Threads, folds and
/// prints of the garment are in it: undisturbed cloth compared with itself is not 0 either.
///
/// # Errors
/// As of a build.
pub fn build_and_compare(
    garment: &Garment,
    pictures: &mut [Vec<Stored>],
    placements: &[Placed<'_>],
    task: &Task,
) -> Result<(BuildReport, Vec<Option<RimDifference>>), BuildError> {
    let mut plan = BuildPlan::new(garment, placements, &BuildSettings::default(), task)?;
    let (report, _, fits) = plan.lay_fitted(pictures, None, task)?;
    let seam = |k: usize| fits[k].seam.as_ref();
    let rim = |k: usize| plan.rim_difference(k, seam(k), pictures);
    Ok((report, task.stage("rims", || (0..placements.len()).into_par_iter().map(rim).collect())))
}

/// The same of `pictures` that were built before, along the covers of the placements.
///
/// # Errors
/// As of a build.
pub fn rim_differences(
    garment: &Garment,
    pictures: &[Vec<Stored>],
    placements: &[Placed<'_>],
    task: &Task,
) -> Result<Vec<Option<RimDifference>>, BuildError> {
    let plan = BuildPlan::new(garment, placements, &BuildSettings::default(), task)?;
    Ok((0..placements.len()).into_par_iter().map(|k| plan.rim_difference(k, None, pictures)).collect())
}

/// Cover as it ends, in the cells of the coarse cover, and blurred over what lies near its edge.
struct Rim<'a> {
    cover: &'a Image<f32>,
    near: &'a Image<f32>,
}

/// Sums of both sides of a cell: inside, outside.
type Sides = [([f64; 3], f64); 2];

impl BuildPlan<'_> {
    fn rim_difference(&self, k: usize, seam: Option<&Seam>, pictures: &[Vec<Stored>]) -> Option<RimDifference> {
        let prepared = &self.patches[self.planned.patch_of[k]].1;
        let ended = seam.map(|seam| seam.ended(&prepared.coarse));
        let blurred = ended.as_ref().map(near);
        let rim = Rim { cover: ended.as_ref().unwrap_or(&prepared.coarse), near: blurred.as_ref().unwrap_or(&prepared.near) };
        let mut cells: BTreeMap<u32, Sides> = BTreeMap::new();
        for target in &self.planned.ground.targets {
            self.add_sides(k, &rim, target, pictures, &mut cells);
        }
        let mut far: Vec<f32> = cells.keys().filter_map(|&cell| difference(&cells, cell)).collect();
        if far.is_empty() {
            return None;
        }
        far.sort_by(f32::total_cmp);
        Some(RimDifference { median: far[far.len() / 2], worst_tenth: far[far.len() * 9 / 10], stretches: far.len() })
    }

    fn add_sides(&self, k: usize, rim: &Rim<'_>, target: &Target, pictures: &[Vec<Stored>], cells: &mut BTreeMap<u32, Sides>) {
        let files = &self.planned.garment.sets[target.set].files;
        let role = |channel: Channel| {
            target
                .files
                .iter()
                .find_map(|&f| Some((&pictures[target.set][f], files[f].roles.iter().find(|r| r.channel == channel)?)))
        };
        let Some((color, coding)) = role(Channel::BaseColor) else { return };
        let opacity = role(Channel::Opacity);
        let (patch, prepared) = &self.patches[self.planned.patch_of[k]];
        let size = (patch.size().width as f64, patch.size().height as f64);
        let part = self.planned.ground.surface.faces()[self.planned.footprints[k].seed.face].part;
        for draw in self.planned.context(target, k, prepared, 0).around(part, REACH) {
            for y in draw.bounds.y0..draw.bounds.y1 {
                for x in draw.triangle.columns(y, draw.bounds.x0, draw.bounds.x1) {
                    let (px, py) = draw.patch_at(x, y);
                    let at = [(px / size.0) as f32, (py / size.1) as f32];
                    if !at.iter().all(|v| (0.0..1.0).contains(v))
                        || opacity.is_some_and(|(o, role)| o.unit_at(x as usize, y as usize, &role.coding) < 0.5)
                    {
                        continue;
                    }
                    let (near, cover) = (injured_at(rim.near, at), injured_at(rim.cover, at));
                    if !(NEAR.0..NEAR.1).contains(&near) {
                        continue;
                    }
                    let side = match cover {
                        c if c > INSIDE && injured_at(&prepared.injury, at) < INJURED => 0,
                        c if c < OUTSIDE => 1,
                        _ => continue,
                    };
                    let seen = color.color_at(x as usize, y as usize, &coding.coding).0;
                    let sum = &mut cells.entry(cell_of(px, py, size)).or_default()[side];
                    (0..3).for_each(|i| sum.0[i] += f64::from(seen[i]));
                    sum.1 += 1.0;
                }
            }
        }
    }
}

/// Over the stretch of rim around a cell.
fn difference(cells: &BTreeMap<u32, Sides>, cell: u32) -> Option<f32> {
    let (column, row) = (cell % 64, cell / 64);
    let mut both = Sides::default();
    let around = (row.saturating_sub(1)..=row + 1).flat_map(|r| (column.saturating_sub(1)..=column + 1).map(move |c| r * 64 + c));
    for sides in around.filter_map(|near| cells.get(&near)) {
        for (sum, side) in both.iter_mut().zip(sides) {
            (0..3).for_each(|i| sum.0[i] += side.0[i]);
            sum.1 += side.1;
        }
    }
    if both.iter().any(|side| side.1 < FEWEST) {
        return None;
    }
    let lab = |(sum, count): ([f64; 3], f64)| Lab::from(LinearRgb(sum.map(|v| (v / count) as f32)));
    Some(ciede2000(lab(both[0]), lab(both[1])))
}
