//! The editable recipe of a garment's wear: `NAME.tatter.toml`.

use crate::angle::Angle;
use crate::channel::PerChannel;
use crate::model::{IslandGrain, MapSet, Match, Scatter, Variation, Wear};
use crate::rule::Rule;
use crate::units::{Mm, MmPerUv};

/// Rule and strength of one channel of one placement.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct ChannelRule {
    /// How it meets what lies beneath.
    pub rule: Rule,
    /// 0 nothing, 1 full; multiplied with cover.
    pub strength: f32,
}

/// Where a placement lies.
#[derive(Clone, Debug, PartialEq)]
pub enum Spot {
    /// UV, v down; `part` by name when the mesh has several.
    Uv {
        /// Texture coordinates, v down, integer part = tile.
        at: [f32; 2],
        /// Mesh part, when it must be told.
        part: Option<String>,
    },
    /// The surface point nearest to a point in the mesh's own unit.
    Point([f32; 3]),
}

/// One patch laid on the garment.
#[derive(Clone, Debug, PartialEq)]
pub struct Placement {
    /// Unique in its job; stays when others are removed.
    pub id: String,
    /// Name of a [`PatchRef`].
    pub patch: String,
    /// Where.
    pub spot: Spot,
    /// Turn of the patch's grain from the garment's grain, counter-clockwise as seen from outside.
    pub turn: Angle,
    /// Side of the square canvas on the cloth; `None`: the patch's own size.
    pub size: Option<Mm>,
    /// Mirrored left to right.
    pub mirror: bool,
    /// Channels that do not follow the default rule at strength 1.
    pub rules: PerChannel<Option<ChannelRule>>,
    /// How its colour, roughness and relief meet the cloth it lies on.
    pub matching: Match,
}

impl Placement {
    /// Rule and strength of a channel.
    pub fn rule(&self, channel: crate::channel::Channel) -> ChannelRule {
        self.rules[channel].unwrap_or(ChannelRule { rule: channel.info().rule, strength: 1.0 })
    }
}

/// A patch a job uses.
#[derive(Clone, Debug, PartialEq)]
pub struct PatchRef {
    /// Name within the job.
    pub name: String,
    /// Path of the patch folder relative to the job file, `/` between folders.
    pub path: String,
}

/// The garment as the job file describes it.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct JobGarment {
    /// Mesh path relative to the job file; `None` for a bare map set.
    pub mesh: Option<String>,
    /// Millimetres in one unit of the mesh.
    pub mm_per_unit: f32,
    /// Millimetres per UV unit, when given rather than computed from the mesh.
    pub mm_per_uv: Option<MmPerUv>,
    /// Textures by material and tile; sizes are filled in when the files are read.
    pub sets: Vec<MapSet>,
    /// Grain of islands where it is known.
    pub grain: Vec<IslandGrain>,
}

/// Where the built maps go.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Delivery {
    /// Folder relative to the job file; `None`: over the garment's own files, under their own names.
    pub folder: Option<String>,
}

/// The editable recipe.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Job {
    /// Name for people.
    pub name: String,
    /// The garment.
    pub garment: JobGarment,
    /// Patches used.
    pub patches: Vec<PatchRef>,
    /// What lies where, later ones on top.
    pub placements: Vec<Placement>,
    /// Rules that placements were made by.
    pub scatters: Vec<Scatter>,
    /// Wear of the cloth itself, in the order it happened; placements lie on top of it.
    pub wear: Vec<Wear>,
    /// Its variations.
    pub variations: Vec<Variation>,
    /// Where the result goes.
    pub delivery: Delivery,
}

impl Job {
    /// Let variations forget what is no longer in the job. A variation that had nothing else keeps the name, so that it does not
    /// come to mean everything: such a job cannot be written.
    pub fn forget_missing(&mut self) {
        let ids = (self.placements.iter().map(|p| &p.id))
            .chain(self.scatters.iter().map(|s| &s.id))
            .chain(self.wear.iter().map(|w| &w.id));
        let known: std::collections::BTreeSet<&String> = ids.collect();
        for variation in &mut self.variations {
            variation.without.retain(|id| known.contains(id));
            variation.strengths.retain(|(id, _)| known.contains(id));
            if variation.only.iter().any(|id| known.contains(id)) {
                variation.only.retain(|id| known.contains(id));
            }
        }
    }
}
