//! Colours freed of what lay behind: foreground estimation at the soft edge, then bled outward.

mod foreground;
mod threads;

pub(crate) use threads::{Sight, thread_color};

use tatter_core::image::{Image, LinearRgb, Unit};
use tatter_core::kernel::bleed;
use tatter_core::task::{Cancelled, Task};

use crate::isolate::BackingModel;

/// Below this alpha an estimated colour is mostly guess; it is blended towards what bleeds in from firmer pixels.
const FIRM: f32 = 0.3;

/// The subject's own colour everywhere, linear light: where `alpha` (cover × opacity) is 1 the photo itself, bit for bit; at soft
/// edges cleaned of the backing (Germer, Uelwer, Conrad, Harmeling, "Fast Multi-Level Foreground Estimation", 2020); beyond,
/// bled outward so that no filter picks up background. Peak memory: about 60 bytes a pixel.
///
/// # Errors
/// When stopped.
///
/// # Panics
/// When the sizes differ: a bug of the caller.
pub fn clean_color(
    color: &Image<LinearRgb>,
    alpha: &Image<Unit>,
    backing: Option<&BackingModel>,
    task: &Task,
) -> Result<Image<LinearRgb>, Cancelled> {
    assert_eq!(color.size(), alpha.size(), "a picture and its alpha have one size");
    let cleaned = foreground::estimate(color, alpha, backing, task)?;
    task.check()?;
    Ok(bleed(&cleaned, &alpha.map(|a| (a.0 / FIRM).clamp(0.0, 1.0))))
}
