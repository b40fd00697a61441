//! What is settled before anything is laid: who lies where, on which textures.

use std::sync::Arc;

use tatter_core::channel::Channel;
use tatter_core::image::Stored;
use tatter_core::model::Garment;

use super::fit::Fit;
use super::ground::Ground;
use super::plan::{Draw, DrawContext, Target};
use super::pyramid::{Levels, Prepared};
use super::rim::{LocalHeight, height_role, local_height};
use super::seam::Seam;
use super::tile::{Layer, RuleOf as _};
use crate::place::{Footprint, Placed};

/// Everything about a build that its patches and pictures do not change.
#[derive(Debug)]
pub(super) struct Planned<'a> {
    pub(super) garment: &'a Garment,
    pub(super) placements: &'a [Placed<'a>],
    /// What the garment's builds have in common.
    pub(super) ground: Arc<Ground>,
    /// Of each placement.
    pub(super) footprints: Vec<Arc<Footprint>>,
    /// Number of the patch that each placement lays.
    pub(super) patch_of: Vec<usize>,
}

impl Planned<'_> {
    /// How the faces of a placement show in a target.
    pub(super) fn context<'b>(&'b self, target: &'b Target, k: usize, prepared: &'b Prepared, padding: i64) -> DrawContext<'b> {
        DrawContext {
            surface: &self.ground.surface,
            assignment: &self.ground.assignment,
            sets: &self.garment.sets,
            target,
            footprint: &self.footprints[k],
            patch: self.placements[k].patch,
            prepared,
            padding,
        }
    }

    /// A placement in a target, ready to be laid on pristine pictures.
    pub(super) fn layer<'b>(
        &'b self,
        pictures: &[Vec<Stored>],
        target: &Target,
        k: usize,
        (prepared, levels): (&'b Prepared, &'b Levels),
        draws: &'b [Draw],
        fit: &'b Fit,
    ) -> Layer<'b> {
        let placed = &self.placements[k];
        let size = placed.patch.size();
        let height = target.files.iter().find_map(|&file| {
            let role = height_role(&self.garment.sets[target.set].files[file].roles)?;
            placed.rule_of(Channel::Height)?;
            Some(local_height(draws, prepared, (size.width as f64, size.height as f64), &pictures[target.set][file], role))
        });
        // Its cover reaches further than what its seam leaves of it.
        let window =
            fit.seam.as_ref().and_then(Seam::window).map(|[across, down]| {
                [across.map(|share| share * size.width as f64), down.map(|share| share * size.height as f64)]
            });
        let showing = |draw: &Draw| window.map_or(draw.bounds, |window| draw.showing(window, target.size));
        Layer {
            prepared,
            levels,
            draws,
            showing: draws.iter().map(showing).collect(),
            window,
            rules: placed,
            fit,
            enlargement: self.footprints[k].enlargement as f32,
            local_height: height.unwrap_or(LocalHeight::default()),
            canvas_per_texel: [1.0 / size.width as f64, 1.0 / size.height as f64],
        }
    }
}
