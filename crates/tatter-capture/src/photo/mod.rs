//! Several shots of one cloth, laid pixel on pixel.
//!
//! Start at [`align`]: where the cloth of one shot lies in another. [`warp`] then shows the other on the first one's pixels.

mod align;
mod features;
mod homography;
mod phase;
mod refine;
mod warp;

pub use align::{AlignError, Alignment, Likeness, align, realign};
pub(crate) use align::{Fitted, found, refined};
pub use homography::{Freedom, Homography};
pub(crate) use warp::{Source, is_inside};
pub use warp::{inside, warp};
