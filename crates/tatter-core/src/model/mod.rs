//! The two recipes a person edits ([`CutRecipe`], [`Job`]) and what is made from them ([`Patch`], [`Garment`]).

mod cut;
mod garment;
mod grain;
mod handoff;
mod job;
mod known_size;
mod lights;
mod matching;
mod patch;
mod patch_map;
mod photo;
mod scatter;
mod shots;
mod variation;
mod wear;
mod weave;

pub use cut::{CutRecipe, Scale, Stroke, StrokeKind, Subject, SubjectChoice};
pub use garment::{Garment, MapFile, MapRole, MapSet, UvTile};
pub use grain::{GrainSource, IslandGrain};
pub use handoff::{AlphaChoice, Component, HandoffPicture, HandoffProfile, Sheen, Source, TextureRecipe};
pub use job::{ChannelRule, Delivery, Job, JobGarment, PatchRef, Placement, Spot};
pub use known_size::KnownSize;
pub use lights::{Ball, BallKind, Lights, LitShot};
pub use matching::{Edge, Match, MatchMode, Relief};
pub use patch::{Origin, Patch, ScaleSource};
pub use patch_map::PatchMap;
pub use photo::Photo;
pub use scatter::{Density, Facing, Scatter, Share};
pub use shots::OtherShots;
pub use variation::Variation;
pub use wear::{Wear, WearKind};
pub use weave::{Hand, Weave};
