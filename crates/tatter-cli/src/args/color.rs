//! Arguments that tell what of known colour lies in a photo.

use std::str::FromStr;

use clap::Args;

use super::{Numbers, reflectance, spot};

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

/// Where a colour chart lies in the photo.
#[derive(Clone, Copy, Debug)]
pub(crate) enum Chart {
    /// Somewhere.
    Find,
    /// Its corners in order around it, pixels from the first one's centre.
    Corners(Numbers<8>),
}

impl FromStr for Chart {
    type Err = String;

    fn from_str(text: &str) -> Result<Self, String> {
        if text.trim() == "find" {
            return Ok(Self::Find);
        }
        text.parse().map(Self::Corners).map_err(|why| format!("{why}; write 'find' to have it found in the photo"))
    }
}
