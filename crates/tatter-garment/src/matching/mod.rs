//! Fitting a patch's colour to the cloth it lies on: what is known of both cloths, and how one becomes the other.
//!
//! Nothing here knows of meshes or textures: the build shows it samples of the garment ([`Glimpse`]).

mod cloth;
mod dye;
mod field;
mod injury;
mod lighten;
mod patch_cloth;
mod recolor;
mod redye;
mod swatch;

pub(crate) use cloth::{Injured, OntoCloth, Shown, pale};
pub(crate) use dye::{Dye, ECRU, bounded, undyed};
pub(crate) use field::{Field, Seen, colors, node_means, stray, trust};
pub(crate) use injury::{injured_at, injury};
pub(crate) use lighten::Lightened;
pub(crate) use patch_cloth::PatchCloth;
pub(crate) use recolor::Recolor;
pub(crate) use redye::Redye;
pub(crate) use swatch::{Glimpse, Swatch};
