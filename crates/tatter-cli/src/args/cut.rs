//! Arguments of `cut`.

use std::path::PathBuf;

use clap::Args;

use super::{ColorArgs, Numbers, ScaleArgs, SubjectArg, circle, finite, positive, whole};

#[derive(Args, Debug)]
pub(crate) struct Cut {
    /// Photo of damaged cloth, or of a piece on a backing
    #[arg(required_unless_present_any = ["lights", "over_dark", "over_light"])]
    pub(crate) photo: Option<PathBuf>,
    /// Instead of PHOTO: several shots from a tripod, each under another lamp, listed in a file; relief and colour are measured.
    /// With --over-dark and --over-light from the same place, opacity too
    #[arg(long, value_name = "LIGHTS.toml", conflicts_with_all = ["photo", "light_from"])]
    pub(crate) lights: Option<PathBuf>,
    /// Instead of PHOTO: the cloth over a dark backing; with --over-light, opacity and colour are measured
    #[arg(long, value_name = "PHOTO", requires = "over_light", conflicts_with = "photo")]
    pub(crate) over_dark: Option<PathBuf>,
    /// The same cloth in the same light over a light backing, the camera not moved
    #[arg(long, value_name = "PHOTO", requires = "over_dark")]
    pub(crate) over_light: Option<PathBuf>,
    /// Colours of the dark and the light backing as the photos show them in full light [default: measured in the photos]
    #[arg(long, value_name = "#RRGGBB,#RRGGBB", requires = "over_dark")]
    pub(crate) backings: Option<String>,
    /// One more shot from the same place, a lamp or a window behind the cloth in a dark room: opacity and translucency are measured
    #[arg(long, value_name = "PHOTO", conflicts_with = "over_dark")]
    pub(crate) backlit: Option<PathBuf>,
    /// The lamp alone as --backlit shows it, without the cloth [default: found in the openings]
    #[arg(long, value_name = "PHOTO", requires = "backlit")]
    pub(crate) lamp: Option<PathBuf>,
    /// Patch folder to write
    #[arg(short, long, value_name = "NAME.patch")]
    pub(crate) output: PathBuf,
    /// What is to be cut
    #[arg(long, value_enum, default_value = "auto")]
    pub(crate) subject: SubjectArg,
    /// Roughly where: centre and radius in pixels
    #[arg(long, value_name = "X,Y,R", allow_hyphen_values = true, value_parser = circle)]
    pub(crate) around: Option<Numbers<3>>,
    /// A picture of the photo's size with strokes: green cloth, blue backing, red damage, white gap, else nothing
    #[arg(long, value_name = "PICTURE")]
    pub(crate) strokes: Option<PathBuf>,
    /// Scale of the photo
    #[command(flatten)]
    pub(crate) scale: ScaleArgs,
    /// What of known colour lies in the photo
    #[command(flatten)]
    pub(crate) color: ColorArgs,
    /// Photo of an even card in the cloth's place, by which uneven light is evened out
    #[arg(long, value_name = "PHOTO", conflicts_with = "lights")]
    pub(crate) flat: Option<PathBuf>,
    /// Picks (weft threads) per centimetre, as counted
    #[arg(long, value_name = "N", value_parser = positive)]
    pub(crate) picks_per_cm: Option<f32>,
    /// Turn the canvas so that the grain runs upright
    #[arg(long)]
    pub(crate) upright: bool,
    /// Warp direction in the photo, degrees counter-clockwise from image right
    #[arg(long, value_name = "DEG", allow_hyphen_values = true, value_parser = finite)]
    pub(crate) grain_deg: Option<f32>,
    /// Where the light came from, degrees counter-clockwise from image right
    #[arg(long, value_name = "DEG", allow_hyphen_values = true, value_parser = finite)]
    pub(crate) light_from: Option<f32>,
    /// Elevation of that light above the cloth
    #[arg(long, value_name = "DEG", requires = "light_from", value_parser = finite)]
    pub(crate) light_elevation: Option<f32>,
    /// Side of the square canvas in texels [default: as the photo shows]
    #[arg(long, value_name = "N", value_parser = whole::<usize, 64, 8192>)]
    pub(crate) canvas: Option<usize>,
    /// Seed of everything random
    #[arg(long, value_name = "N", default_value_t = tatter::cutting::USUAL_SEED, value_parser = whole::<u64, 0, { u64::MAX }>)]
    pub(crate) seed: u64,
}
