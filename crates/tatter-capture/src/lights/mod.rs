//! Several lights: shots of one cloth from one place, each under another lamp, to its normals and the colour of its dye.
//!
//! Photometric stereo (Woodham, "Photometric Method for Determining Surface Orientation from Multiple Images", 1980) on linear
//! light: at every pixel the readings of all shots are explained by one normal and one colour; readings in shadow, in a
//! highlight or burnt out are found by their disagreement and left out. Nothing is learned and nothing is guessed.

mod ball;
mod lamp;
mod linear;
mod shots;
mod solve;
mod stereo;
mod unknown;

pub use ball::{BallError, lamp_by_ball};
pub use lamp::{Arrangement, Lamp};
pub(crate) use shots::BURNT;
pub use shots::{Calibration, Flat, Shots};
pub use solve::{Fit, least_squares, solve};
pub use stereo::{Stereo, stereo};
pub use unknown::{Found, UnknownError, find_lamps};

/// Fewest shots that can be worked with.
pub const LEAST: usize = 3;
/// Most shots.
pub const MOST: usize = 32;
