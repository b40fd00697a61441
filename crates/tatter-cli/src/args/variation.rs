//! Arguments of `variation`.

use std::path::PathBuf;

use clap::Args;

use super::whole;

#[derive(Args, Debug)]
pub(crate) struct Variation {
    /// Job file
    pub(crate) job: PathBuf,
    /// Its name, which its folder bears
    #[arg(required_unless_present = "list")]
    pub(crate) name: Option<String>,
    /// The colour its cloth has in the mean
    #[arg(long, value_name = "#RRGGBB")]
    pub(crate) dye: Option<String>,
    /// Which colour is dyed, where the cloth shows several [default: the one with most cloth]
    #[arg(long, value_name = "#RRGGBB")]
    pub(crate) from: Option<String>,
    /// Fibre without dye in that cloth, which stays [default: as seen in it, else ecru]
    #[arg(long, value_name = "#RRGGBB")]
    pub(crate) fibre: Option<String>,
    /// Materials that are dyed [default: all]
    #[arg(long, value_name = "NAME", value_delimiter = ',')]
    pub(crate) materials: Option<Vec<String>>,
    /// The placements, scatters and wear it has [default: all]
    #[arg(long, value_name = "ID", value_delimiter = ',')]
    pub(crate) only: Option<Vec<String>>,
    /// Those it lacks
    #[arg(long, value_name = "ID", value_delimiter = ',')]
    pub(crate) leave_out: Option<Vec<String>>,
    /// Times the strength of all it has, 0 to 1, or of one of them; may be repeated
    #[arg(long, value_name = "0..1|ID=0..1")]
    pub(crate) strength: Vec<String>,
    /// Texels along the longer side of its textures, a whole part of what they are
    #[arg(long, value_name = "N", value_parser = whole::<usize, 16, 65_536>)]
    pub(crate) texels: Option<usize>,
    /// What is again as in the job: dye, from, fibre, materials, only, leave-out, strength, texels
    #[arg(long, value_name = "KEY", value_delimiter = ',')]
    pub(crate) without: Vec<String>,
    /// Take it away; what was built or delivered of it stays
    #[arg(long, conflicts_with = "list")]
    pub(crate) remove: bool,
    /// List the variations of the job
    #[arg(long, conflicts_with = "name")]
    pub(crate) list: bool,
}
