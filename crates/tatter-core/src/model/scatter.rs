//! The recipe of many placements at once.

use crate::angle::Angle;
use crate::channel::PerChannel;
use crate::model::{ChannelRule, Match};
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
    /// Most at seams and edges of the cloth, none this far from them.
    Seams(Mm),
    /// Most where cloth stands out as roundly as this radius: elbows, knees, the seat, crowns of folds.
    Bulges(Mm),
    /// Most where cloth sinks in as roundly as this radius: the bottoms of folds, armpits.
    Hollows(Mm),
    /// Most where cloth faces this way, none where it faces across or away.
    Facing(Facing),
}

impl Density {
    /// Its name on the command line; a rule has at most one of each.
    pub const fn name(&self) -> &'static str {
        match self {
            Self::Picture(_) => "picture",
            Self::Height(_) => "height",
            Self::Edges(_) => "edges",
            Self::Bends(_) => "bends",
            Self::Seams(_) => "seams",
            Self::Bulges(_) => "bulges",
            Self::Hollows(_) => "hollows",
            Self::Facing(_) => "facing",
        }
    }
}

/// A direction of the garment as it is worn, glTF axes.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Facing {
    /// Towards the sky: +Y.
    Up,
    /// Towards the ground.
    Down,
    /// Where the wearer looks: +Z.
    Front,
    /// Away from where the wearer looks.
    Back,
    /// The wearer's left: +X.
    Left,
    /// The wearer's right.
    Right,
}

impl Facing {
    /// All of them.
    pub const ALL: [Self; 6] = [Self::Up, Self::Down, Self::Front, Self::Back, Self::Left, Self::Right];

    /// Its name in files and on the command line.
    pub const fn name(self) -> &'static str {
        match self {
            Self::Up => "up",
            Self::Down => "down",
            Self::Front => "front",
            Self::Back => "back",
            Self::Left => "left",
            Self::Right => "right",
        }
    }

    /// By its name.
    pub fn from_name(name: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|facing| facing.name() == name)
    }

    /// As a unit vector.
    pub const fn axis(self) -> [f64; 3] {
        match self {
            Self::Up => [0.0, 1.0, 0.0],
            Self::Down => [0.0, -1.0, 0.0],
            Self::Front => [0.0, 0.0, 1.0],
            Self::Back => [0.0, 0.0, -1.0],
            Self::Left => [1.0, 0.0, 0.0],
            Self::Right => [-1.0, 0.0, 0.0],
        }
    }
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
    /// How each meets the cloth it lies on.
    pub matching: Match,
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
            matching: Match::default(),
            density: Vec::new(),
            along: Vec::new(),
            spread: Mm(0.0),
            removed: Vec::new(),
            laid: Vec::new(),
        }
    }
}
