//! Arguments that tell what of known colour lies in a photo.

use clap::Args;

use super::{Chart, Numbers, reflectance, spot};

#[derive(Args, Debug)]
pub(crate) struct ColorArgs {
    /// A neutral place in the photo, in pixels: white balance and exposure
    #[arg(long, value_name = "X,Y[,R]", allow_hyphen_values = true, conflicts_with = "chart", value_parser = spot)]
    pub(crate) grey: Option<(Numbers<2>, Option<f32>)>,
    /// Share of light that the neutral place gives back; a grey card 0.18, white paper 0.85 to 0.9 [default: 0.18]
    #[arg(long, value_name = "SHARE", requires = "grey", value_parser = reflectance)]
    pub(crate) grey_reflectance: Option<f32>,
    /// A 24-patch colour chart (6 × 4) in the photo: 'find', or its four corners in pixels, in order around it; colours are fitted to its published values
    #[arg(long, value_name = "find|X,Y,…", allow_hyphen_values = true)]
    pub(crate) chart: Option<Chart>,
}
