//! Arguments of `match`, which `place` and `scatter` share.

use std::path::PathBuf;

use clap::{Args, ValueEnum};

use super::share;

#[derive(Clone, Copy, Debug, ValueEnum)]
pub(crate) enum MatchArg {
    /// Re-dyed when it is a damage whose own cloth is known, else as it is
    Auto,
    /// Its dye becomes the garment's; fibre without dye stays as it is
    Redye,
    /// Every colour moves as its intact cloth moves onto the garment's
    Fit,
    /// It keeps its colour
    None,
}

#[derive(Clone, Copy, Debug, ValueEnum)]
pub(crate) enum ReliefArg {
    /// As deep as the cloth's it lies on, nowhere deeper than that cloth is thick
    Fit,
    /// As the patch has it
    Keep,
}

#[derive(Clone, Copy, Debug, ValueEnum)]
pub(crate) enum EdgeArg {
    /// Where its cover ends
    Soft,
    /// Along a cut through its intact cloth, where that differs least from the garment's
    Seam,
}

#[derive(Args, Debug)]
pub(crate) struct MatchArgs {
    /// How its colour meets the cloth it lies on [new placements: auto]
    #[arg(long = "match", id = "match", value_name = "MODE", value_enum)]
    pub(crate) mode: Option<MatchArg>,
    /// From 0, as the patch is, to 1, as the cloth is [new placements: 1]
    #[arg(long, value_name = "0..1", value_parser = share)]
    pub(crate) match_strength: Option<f32>,
    /// Whether its relief becomes as deep as the cloth's, or keeps its millimetres [new placements: fit]
    #[arg(long, value_name = "RELIEF", value_enum)]
    pub(crate) match_relief: Option<ReliefArg>,
    /// How its cloth ends on the garment's [new placements: seam]
    #[arg(long, value_name = "EDGE", value_enum)]
    pub(crate) edge: Option<EdgeArg>,
    /// Correct its colour by hand after that: slope=N,offset=N,power=N,saturation=N, a number or R/G/B each; or none
    #[arg(long, value_name = "KEY=N,…|none", allow_hyphen_values = true)]
    pub(crate) grade: Option<String>,
}

#[derive(Args, Debug)]
pub(crate) struct Match {
    /// Job file
    pub(crate) job: PathBuf,
    /// Placements to change, as `tatter place JOB --list` names them
    #[arg(required = true, value_name = "ID")]
    pub(crate) ids: Vec<String>,
    /// What changes
    #[command(flatten)]
    pub(crate) matching: MatchArgs,
}
