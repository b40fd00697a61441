//! Cloth that is woven while a person chooses: looked at before it is kept, and then kept as the command line weaves it.

use std::path::PathBuf;
use std::sync::Arc;

use tatter_core::angle::Angle;
use tatter_core::task::{Note, Task};

use super::{Damage, Kind, Said, SaidError, WeaveFailed, WeaveReport, WeaveRequest, patch, report, spec, weave, weave_patch};
use crate::cut::patch_name;
use crate::cutting::Existing;
use crate::looking::PatchView;

/// All that a person says of a patch to be woven.
#[derive(Clone, Debug, PartialEq)]
pub struct Weaving {
    /// The cloth.
    pub said: Said,
    /// What happened to it.
    pub damage: Vec<Damage>,
    /// Side of the square maps, texels.
    pub side: usize,
    /// Width of the cloth shown, mm.
    pub width_mm: f32,
    /// Everything random follows from it.
    pub seed: u64,
}

impl Default for Weaving {
    /// Ripped canvas, a hand's breadth of it: woven in about a second.
    fn default() -> Self {
        Self { said: Said::of("canvas"), damage: vec![Damage::new(Kind::Rip)], side: 1024, width_mm: 60.0, seed: 1 }
    }
}

impl Weaving {
    /// What is asked of [`weave`], the warp upright.
    ///
    /// # Errors
    /// When what is said makes no cloth.
    pub fn request(&self, output: PathBuf) -> Result<WeaveRequest, SaidError> {
        Ok(WeaveRequest {
            cloth: self.said.cloth()?,
            output,
            damage: self.damage.clone(),
            side: self.side,
            width_mm: self.width_mm,
            grain: Angle::degrees(90.0),
            seed: self.seed,
            photo: None,
        })
    }
}

/// What would be woven.
#[derive(Debug)]
pub struct WovenView {
    /// Its maps and its swatch.
    pub view: Arc<PatchView>,
    /// The cloth as woven, its geometry, how much of it one sees through.
    pub report: WeaveReport,
    /// What the person should hear.
    pub notes: Vec<Note>,
    /// Whether it is what accepting would keep, texel for texel.
    pub is_whole: bool,
}

/// Weave a patch to be looked at: with maps of `longest` texels a side where fewer than asked will do for a first look. No picture of it is
/// longer than `largest`.
///
/// # Errors
/// As [`weave`]; threads that are lost on so few texels among it.
pub fn look(request: &WeaveRequest, longest: Option<usize>, largest: usize, task: &Task) -> Result<WovenView, WeaveFailed> {
    let side = longest.map_or(request.side, |longest| request.side.min(longest));
    let asked = WeaveRequest { side, ..request.clone() };
    let heard = task.notes().len();
    let name = patch_name(&request.output).ok_or_else(|| WeaveFailed::Name(request.output.clone()))?;
    let (woven, cover) = weave_patch(&spec(&asked), task)?;
    let report = report(&asked, &woven, false);
    let patch = patch(&asked, woven, cover, &name, &report);
    let view = Arc::new(PatchView::of(patch, &request.output, largest));
    Ok(WovenView { view, report, notes: task.notes().split_off(heard), is_whole: side == request.side })
}

/// Weave a patch and write it, byte for byte as [`weave`] does. One that is there stays unless it is to be replaced.
///
/// # Errors
/// As [`weave`]; and when there is a patch.
pub fn accept(request: &WeaveRequest, existing: Existing, task: &Task) -> Result<WeaveReport, WeaveFailed> {
    if existing == Existing::Stays && request.output.join("patch.toml").exists() {
        return Err(WeaveFailed::Taken(request.output.clone()));
    }
    weave(request, task)
}
