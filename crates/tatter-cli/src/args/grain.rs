//! Arguments of `grain`.

use std::path::PathBuf;
use std::str::FromStr as _;

use clap::Args;

use super::{Numbers, finite};

#[derive(Args, Debug)]
pub(crate) struct Grain {
    /// Job file
    pub(crate) job: PathBuf,
    /// Set by hand: a place in the island, texture coordinates, v down
    #[arg(long, value_name = "U,V", allow_hyphen_values = true, requires = "turn")]
    pub(crate) at: Option<Numbers<2>>,
    /// With --at: from up in the texture to the warp, degrees counter-clockwise as the cloth is seen from outside
    #[arg(long, value_name = "DEG", allow_hyphen_values = true, requires = "at", value_parser = finite)]
    pub(crate) turn: Option<f32>,
    /// Set by hand: an arrow along the warp, from the first place in the texture to the second
    #[arg(long, value_name = "U,V,U,V", allow_hyphen_values = true, conflicts_with = "at")]
    pub(crate) arrow: Option<Numbers<4>>,
    /// With --at, --arrow or --forget: the part of the mesh or its material, when islands of several lie there
    #[arg(long, value_name = "PART")]
    pub(crate) part: Option<String>,
    /// Forget what is known of the island at a place, or of all: grain up the texture again
    #[arg(long, value_name = "U,V|all", allow_hyphen_values = true, conflicts_with_all = ["at", "arrow", "list"], value_parser = forgotten)]
    pub(crate) forget: Option<Forget>,
    /// List the grain that is known
    #[arg(long, conflicts_with_all = ["at", "arrow", "part"])]
    pub(crate) list: bool,
}

/// What is to be forgotten.
#[derive(Clone, Copy, Debug)]
pub(crate) enum Forget {
    /// Everything.
    All,
    /// The island there.
    At(Numbers<2>),
}

fn forgotten(text: &str) -> Result<Forget, String> {
    match text {
        "all" => Ok(Forget::All),
        _ => Numbers::from_str(text).map(Forget::At).map_err(|why| format!("U,V or all is wanted: {why}")),
    }
}
