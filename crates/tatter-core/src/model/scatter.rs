//! The recipe of many placements at once.

use crate::angle::Angle;
use crate::channel::PerChannel;
use crate::model::ChannelRule;
use crate::units::Mm;

/// A patch of a scatter and how often it is taken compared with the others.
#[derive(Clone, Debug, PartialEq)]
pub struct Share {
    /// Name of a [`crate::model::PatchRef`].
    pub patch: String,
    /// Above 0.
    pub weight: f32,
}

/// Where on the garment there are more. Several multiply.
#[derive(Clone, Debug, PartialEq)]
pub enum Density {
    /// A grey picture over the texture, white for most; its path relative to the job file.
    Picture(String),
    /// Most at the first share of the garment's height (0 bottom, 1 top), none at the second, evenly between.
    Height([f32; 2]),
    /// Most at hems, cuffs and sharp folds, none this far from them.
    Edges(Mm),
    /// Most where cloth bends as tightly as this radius: elbows, knees, folds.
    Bends(Mm),
}

/// A rule that yields many placements from a seed. A larger count adds to those that a smaller one yields.
#[derive(Clone, Debug, PartialEq)]
pub struct Scatter {
    /// Unique in its job; its placements are called `ID-1`, `ID-2`, …
    pub id: String,
    /// What is laid.
    pub patches: Vec<Share>,
    /// How many.
    pub count: usize,
    /// Of everything random.
    pub seed: u64,
    /// Parts or materials it stays on; empty: all.
    pub only: Vec<String>,
    /// Parts or materials it keeps off.
    pub keep_off: Vec<String>,
    /// How far covers stay from seams and from the edges of the cloth.
    pub margin: Mm,
    /// Times the patch's own size, least and most.
    pub scale: [f32; 2],
    /// Turn from the garment's grain, least and most.
    pub turn: [Angle; 2],
    /// Whether about half of them are mirrored.
    pub mirror: bool,
    /// Whether covers may lie over each other.
    pub overlap: bool,
    /// Channels that do not follow the default rule at strength 1.
    pub rules: PerChannel<Option<ChannelRule>>,
    /// Where there are more.
    pub density: Vec<Density>,
    /// A line in UV (v down) that they lie along, such as a hem; empty: anywhere.
    pub along: Vec<[f32; 2]>,
    /// How far from that line, at most.
    pub spread: Mm,
    /// Numbers a person took away; they do not come back.
    pub removed: Vec<usize>,
    /// What was laid last: each number and the mark its placement had, so that a person's changes are known.
    pub laid: Vec<(usize, String)>,
}

impl Default for Scatter {
    fn default() -> Self {
        Self {
            id: String::new(),
            patches: Vec::new(),
            count: 0,
            seed: 1,
            only: Vec::new(),
            keep_off: Vec::new(),
            margin: Mm(0.0),
            scale: [1.0; 2],
            turn: [Angle::ZERO; 2],
            mirror: false,
            overlap: false,
            rules: PerChannel::default(),
            density: Vec::new(),
            along: Vec::new(),
            spread: Mm(0.0),
            removed: Vec::new(),
            laid: Vec::new(),
        }
    }
}
