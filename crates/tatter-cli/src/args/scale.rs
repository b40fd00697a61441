//! Arguments that tell how large the photographed cloth is.

use clap::{Args, ValueEnum};

use super::{Numbers, length, positive, ruler, two_lengths};

#[derive(Args, Debug)]
pub(crate) struct ScaleArgs {
    /// Millimetres one photo pixel covers
    #[arg(long, value_name = "MM", group = "scale", value_parser = length)]
    pub(crate) mm_per_pixel: Option<f32>,
    /// Millimetres the whole photo is wide
    #[arg(long, value_name = "MM", group = "scale", value_parser = length)]
    pub(crate) width_mm: Option<f32>,
    /// Ends (warp threads) per centimetre, as counted on the cloth
    #[arg(long, value_name = "N", group = "scale", value_parser = positive)]
    pub(crate) ends_per_cm: Option<f32>,
    /// Two pixels and the millimetres between them: x,y,x,y,mm
    #[arg(long, value_name = "X,Y,X,Y,MM", group = "scale", allow_hyphen_values = true, value_parser = ruler)]
    pub(crate) ruler: Option<Numbers<5>>,
    /// What of known size lies flat on the cloth: it is found and gives the scale; a card or a sheet, whole in the photo, takes perspective out, too
    #[arg(long, value_enum, value_name = "WHAT", groups = ["scale", "size"])]
    pub(crate) scale_by: Option<ScaleByArg>,
    /// Four corners of a rectangle of known size on the cloth, in pixels, in order around it: x,y,x,y,x,y,x,y; with --scale-by when it has a name
    #[arg(
        long,
        value_name = "X,Y,…",
        requires = "size",
        conflicts_with_all = ["mm_per_pixel", "width_mm", "ends_per_cm", "ruler"],
        allow_hyphen_values = true
    )]
    pub(crate) corners: Option<Numbers<8>>,
    /// Millimetres from the first corner to the second, and from the second to the third
    #[arg(long, value_name = "WxH", group = "size", requires = "corners", value_parser = two_lengths)]
    pub(crate) corners_mm: Option<Numbers<2>>,
}

#[derive(ValueEnum, Clone, Copy, Debug)]
pub(crate) enum ScaleByArg {
    /// A card of size ID-1, 85.60 × 53.98 mm, as bank cards are
    Card,
    /// A sheet of paper, 210 × 297 mm
    A4,
    /// A sheet of paper, 148 × 210 mm
    A5,
    /// A sheet of paper, 105 × 148 mm
    A6,
    /// A ruler or a tape with millimetres, which may hang out of the photo; perspective stays
    Ruler,
}
