//! Arguments of `scatter`.

use std::path::PathBuf;

use clap::Args;

use super::place_of::WhereArgs;
use super::{MatchArgs, Numbers, length, png, whole};

#[derive(Args, Debug)]
pub(crate) struct Scatter {
    /// Job file
    pub(crate) job: PathBuf,
    /// Patch folder to lay, and its weight among several; may be repeated
    #[arg(long = "patch", value_name = "NAME.patch[:WEIGHT]", required_unless_present_any = ["again", "remove", "list"])]
    pub(crate) patches: Vec<String>,
    /// How many
    #[arg(long, value_name = "N", required_unless_present_any = ["again", "remove", "list"], value_parser = whole::<u16, 1, 10_000>)]
    pub(crate) count: Option<u16>,
    /// Seed of everything random [default: 1]
    #[arg(long, value_name = "S", value_parser = whole::<u32, 0, { u32::MAX as u64 }>)]
    pub(crate) seed: Option<u32>,
    /// Run this scatter again, with what is changed here
    #[arg(long, value_name = "ID")]
    pub(crate) again: Option<String>,
    /// Where
    #[command(flatten)]
    pub(crate) place: WhereArgs,
    /// With --again: what it is no longer bound to, such as edges,along,margin,mirror,overlap,rules,match
    #[arg(long, value_name = "KEY", value_delimiter = ',', requires = "again")]
    pub(crate) without: Vec<String>,
    /// How far covers stay from seams and edges
    #[arg(long, value_name = "MM", value_parser = length)]
    pub(crate) margin_mm: Option<f32>,
    /// Times the patch's own size, least and most [default: 1,1]
    #[arg(long, value_name = "LEAST,MOST")]
    pub(crate) scale: Option<Numbers<2>>,
    /// Turn from the garment's grain in degrees, least and most [default: 0,0]
    #[arg(long, value_name = "LEAST,MOST", allow_hyphen_values = true)]
    pub(crate) turn: Option<Numbers<2>>,
    /// Mirror about half of them
    #[arg(long)]
    pub(crate) mirror: bool,
    /// Let covers lie over each other
    #[arg(long)]
    pub(crate) overlap: bool,
    /// Rule and strength of a channel, such as opacity=keep; may be repeated
    #[arg(long = "rule", value_name = "CHANNEL=RULE[:STRENGTH]")]
    pub(crate) rules: Vec<String>,
    /// How each meets the cloth it lies on
    #[command(flatten)]
    pub(crate) matching: MatchArgs,
    /// Also write a PNG of its placements (24 at most) before and after, lit, at true size
    #[arg(long, value_name = "FILE.png", value_parser = png, conflicts_with_all = ["remove", "list"])]
    pub(crate) preview: Option<PathBuf>,
    /// Take a scatter away with its placements, except those that were changed by hand
    #[arg(long, value_name = "ID", conflicts_with_all = ["patches", "again", "list"])]
    pub(crate) remove: Option<String>,
    /// List the scatters of the job
    #[arg(long, conflicts_with_all = ["patches", "again"])]
    pub(crate) list: bool,
}
