//! Arguments of `handoff`.

use std::path::PathBuf;

use clap::{Args, ValueEnum};

use super::whole;

#[derive(Args, Debug)]
pub(crate) struct Handoff {
    /// Job file
    pub(crate) job: PathBuf,
    /// What to write: mesh, materials and textures in one file or beside it, a MaterialX document with its maps, or a folder of
    /// maps
    #[arg(short, long, value_name = "FILE.glb|FILE.gltf|FILE.mtlx|DIR")]
    pub(crate) output: PathBuf,
    /// How maps are packed and named: gltf, separate, packed-orm, udim, or a profile of yours
    /// [default: gltf in glTF, else separate]
    #[arg(long, value_name = "NAME|FILE.toml")]
    pub(crate) profile: Option<String>,
    /// Longest side of textures; smaller ones keep as much see-through as the full size
    #[arg(long, value_name = "N", value_parser = whole::<usize, 16, 65_536>)]
    pub(crate) max_texels: Option<usize>,
    /// Which way green points in normal maps [default: as the profile says, up]
    #[arg(long, value_enum, value_name = "up|down")]
    pub(crate) normal_y: Option<NormalYArg>,
    /// How renderers are told to treat opacity [default: as the profile says, auto]
    #[arg(long, value_enum, value_name = "auto|opaque|mask|blend")]
    pub(crate) alpha: Option<AlphaArg>,
    /// This variation of the job in place of the job itself
    #[arg(long, value_name = "NAME")]
    pub(crate) variation: Option<String>,
    /// Overwrite files that were not handed on from this job
    #[arg(long)]
    pub(crate) replace: bool,
}

#[derive(Clone, Copy, Debug, ValueEnum)]
pub(crate) enum NormalYArg {
    /// More green faces image top
    Up,
    /// More green faces image bottom
    Down,
}

#[derive(Clone, Copy, Debug, ValueEnum)]
pub(crate) enum AlphaArg {
    /// Masked where opacity is nearly all or nothing, else blended
    Auto,
    /// None
    Opaque,
    /// All or nothing
    Mask,
    /// By degrees
    Blend,
}
