//! Colours of a photo corrected by what of known colour lies in it: a neutral place ([`grey`]) or a 24-patch chart ([`chart`]).

mod chart;
mod find;
mod fit;
mod grey;
mod patches;

pub use chart::{ChartFit, chart};
pub use find::find_chart;
pub use fit::{Correction, Form, difference, fit};
pub use grey::{Grey, GreyPick, grey};
pub use patches::{Edition, PATCHES};

use tatter_core::explain::{Class, Explain};

pub(crate) use crate::lights::BURNT;

/// Why nothing corrects the colours.
#[derive(Clone, Copy, Debug, PartialEq, thiserror::Error)]
pub enum ColorError {
    /// A corner outside the photo.
    #[error("a corner of the chart lies outside the photo")]
    ChartOutside,
    /// No quadrilateral.
    #[error("the four corners do not go around a chart in the photo")]
    ChartCorners,
    /// Burnt out.
    #[error("{patches} of the chart's 24 patches are burnt out in the photo")]
    ChartBurnt {
        /// How many.
        patches: usize,
    },
    /// Other colours.
    #[error(
        "the colours under the four corners are not those of a 24-patch chart: at best they are off by {left:.1} (CIEDE2000, mean)"
    )]
    ChartUnlike {
        /// What the best fit leaves.
        left: f32,
    },
    /// Not seen.
    #[error("no 24-patch chart (6 × 4) was found in the photo for certain{}", nearest(*.left))]
    ChartNotFound {
        /// Mean CIEDE2000 of each patch by the others in the grid most like one; infinite when there was no grid.
        left: f32,
    },
    /// Two.
    #[error("more than one place in the photo looks like a 24-patch chart")]
    ChartTwice,
    /// Outside.
    #[error("the grey place at {x:.0}, {y:.0} lies outside the photo")]
    GreyOutside {
        /// Column told.
        x: f32,
        /// Row told.
        y: f32,
    },
    /// Burnt out.
    #[error("the grey place at {x:.0}, {y:.0} is burnt out")]
    GreyBurnt {
        /// Column told.
        x: f32,
        /// Row told.
        y: f32,
    },
    /// Too dark.
    #[error("the grey place at {x:.0}, {y:.0} is too dark to be a neutral grey: it reads {light:.4} of 1")]
    GreyDark {
        /// Column told.
        x: f32,
        /// Row told.
        y: f32,
        /// Its darkest channel.
        light: f32,
    },
}

/// What came nearest to a chart.
fn nearest(left: f32) -> String {
    if left.is_finite() {
        format!(": the grid of patches most like one is off by {left:.1} (CIEDE2000)")
    } else {
        ": no grid of even patches in its colours is seen".to_owned()
    }
}

impl Explain for ColorError {
    fn next(&self) -> String {
        match self {
            Self::ChartOutside | Self::ChartCorners => {
                "Give the chart's corners one after the other around it, as x,y,x,y,x,y,x,y in photo pixels"
            }
            Self::ChartBurnt { .. } => "Expose for the chart's white patch: it should read 220 to 245 of 255",
            Self::ChartUnlike { .. } => {
                "Mark the outer corners of its 6 × 4 patches; it must be a classic 24-patch chart in one light"
            }
            Self::ChartNotFound { .. } => {
                "Mark its four corners in order around it, or lay it flat, whole, sharp and not burnt out in one light, at least a tenth of the photo wide"
            }
            Self::ChartTwice => "Mark the four corners of the one that lies in the cloth's light, in order around it",
            Self::GreyOutside { .. } => "Give x,y and a radius in photo pixels, counted from the top-left corner",
            Self::GreyBurnt { .. } => "Expose darker, or pick another neutral place",
            Self::GreyDark { .. } => "Pick a place of middle grey or white in the cloth's light",
        }
        .to_owned()
    }

    fn class(&self) -> Class {
        Class::Request
    }
}
