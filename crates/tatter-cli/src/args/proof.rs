//! Arguments of `proof`.

use std::path::PathBuf;
use std::str::FromStr;

use clap::{ArgGroup, Args, ValueEnum};
use tatter_core::channel::Channel;

use super::{Numbers, channel, finite, share};

#[derive(Clone, Copy, Debug, ValueEnum)]
pub(crate) enum TransformArg {
    /// Base colours keep their tone, highlights are rolled off (Khronos PBR Neutral)
    Neutral,
    /// A film-like curve (ACES, fitted)
    Film,
    /// Clipped at white
    Plain,
}

/// Columns and rows: `1600x1200`, or one number for a square.
#[derive(Clone, Copy, Debug)]
pub(crate) struct PictureSize(pub(crate) [u32; 2]);

impl FromStr for PictureSize {
    type Err = String;

    fn from_str(text: &str) -> Result<Self, String> {
        let side = |text: &str| {
            let side = text.parse::<u32>().map_err(|_unread| "columns and rows are wanted, such as 1600x1200".to_owned())?;
            if (16..=16_384).contains(&side) { Ok(side) } else { Err("a side has 16 to 16384 pixels".to_owned()) }
        };
        match text.split_once('x') {
            None => side(text).map(|side| Self([side; 2])),
            Some((width, height)) => Ok(Self([side(width)?, side(height)?])),
        }
    }
}

#[derive(Args, Debug)]
#[command(group(ArgGroup::new("written").args(["output", "page"]).required(true).multiple(true)))]
pub(crate) struct Proof {
    /// Job file
    pub(crate) job: PathBuf,
    /// One PNG with all views side by side; or a folder, with a slash behind it, for one PNG a view
    #[arg(short, long, value_name = "FILE.png|DIR/")]
    pub(crate) output: Option<PathBuf>,
    /// One self-contained index.html in this folder, for approval: before and after under a slider, every placement with its
    /// figures, what changes in the textures, where the patches come from
    #[arg(long, value_name = "DIR")]
    pub(crate) page: Option<PathBuf>,
    /// front, three-quarter, left, back, right, placements (all close up), or the id of one; may be repeated
    /// [default: front, three-quarter, back]
    #[arg(long = "view", value_name = "NAME")]
    pub(crate) views: Vec<String>,
    /// So many pictures all around instead, one file each
    #[arg(long, value_name = "COUNT", conflicts_with_all = ["views", "page"], value_parser = clap::value_parser!(u16).range(2..=720))]
    pub(crate) turntable: Option<u16>,
    /// Also the garment as it was: above what it becomes, or in files of its own
    #[arg(long)]
    pub(crate) before_after: bool,
    /// One channel as its textures hold it, unlit
    #[arg(long, value_name = "CHANNEL", value_parser = channel)]
    pub(crate) channel: Option<Channel>,
    /// Pixels of each view
    #[arg(long, value_name = "WIDTHxHEIGHT", default_value = "1200x1200")]
    pub(crate) size: PictureSize,
    /// Pictures averaged: more is smoother and slower
    #[arg(long, value_name = "COUNT", default_value_t = 64, value_parser = clap::value_parser!(u16).range(1..=4096))]
    pub(crate) samples: u16,
    /// A variation of the job in place of the job itself
    #[arg(long, value_name = "NAME")]
    pub(crate) variation: Option<String>,
    /// Light it by a picture of surroundings, twice as wide as high (HDR, EXR, …) [default: a built-in studio]
    #[arg(long, value_name = "PICTURE")]
    pub(crate) environment: Option<PathBuf>,
    /// Brighter or darker, in stops
    #[arg(long, value_name = "STOPS", default_value_t = 0.0, allow_hyphen_values = true, value_parser = finite)]
    pub(crate) exposure: f32,
    /// From light to screen
    #[arg(long, value_name = "CURVE", value_enum, default_value_t = TransformArg::Neutral)]
    pub(crate) view_transform: TransformArg,
    /// Let the height stand out by this share of it, beyond what the normals show
    #[arg(long, value_name = "0..1", default_value_t = 0.0, value_parser = share)]
    pub(crate) relief: f32,
    /// Fuzz of the cloth: its colour, linear, and its roughness (cotton about 0.04,0.04,0.04,0.6)
    #[arg(long, value_name = "R,G,B,ROUGHNESS")]
    pub(crate) sheen: Option<Numbers<4>>,
    /// Cloth where opacity is at least this, instead of by share
    #[arg(long, value_name = "0..1", value_parser = share)]
    pub(crate) cutoff: Option<f32>,
}
