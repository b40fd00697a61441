//! From a spot, a turn and a size to the faces a placement reaches.

use glam::DVec2;
use tatter_core::angle::Angle;
use tatter_core::model::{Patch, Placement};
use tatter_core::units::Mm;

use super::unfold::unfold;
use super::{Footprint, FootprintFace};
use crate::surface::{LocateError, Surface};

/// How a patch meets a curved surface.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct PlaceSettings {
    /// Cloth that turns by more than this at one edge is another side of it: a hem's inside, a lining.
    pub sharpest_fold: Angle,
    /// Faces to which one walks this many times farther than they lie away lie behind a fold. Half round a tube is 1.57.
    pub longest_detour: f64,
    /// Faces that would be stretched or shrunk by more than this when laid flat are left out.
    pub most_stretched: f64,
}

impl Default for PlaceSettings {
    fn default() -> Self {
        Self { sharpest_fold: Angle::degrees(120.0), longest_detour: 1.6, most_stretched: 2.0 }
    }
}

/// The faces a placement reaches along the cloth: connected to the spot by walking across edges (so across UV seams and
/// parts, never to a layer behind or beside), laid flat around it, within the patch's canvas. True to size on cloth that bends
/// one way; on a dome of radius R threads across the walk grow by (r/R) / sin(r/R) at the distance r.
///
/// # Errors
/// [`LocateError`] when the spot is not on the cloth.
pub fn footprint(
    surface: &Surface,
    placement: &Placement,
    patch: &Patch,
    mm_per_unit: f32,
    settings: &PlaceSettings,
) -> Result<Footprint, LocateError> {
    let canvas = Canvas { size_mm: patch.size_mm(), grain: patch.grain };
    footprint_of(surface, placement, &canvas, mm_per_unit, settings)
}

/// What it takes of a patch to know where it lies.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Canvas {
    /// Width and height of the canvas.
    pub size_mm: [Mm; 2],
    /// Warp direction in the patch, a line; upright when it is not known.
    pub grain: Option<Angle>,
}

/// As [`footprint`] of a patch whose maps are not at hand.
///
/// # Errors
/// As [`footprint`].
pub fn footprint_of(
    surface: &Surface,
    placement: &Placement,
    canvas: &Canvas,
    mm_per_unit: f32,
    settings: &PlaceSettings,
) -> Result<Footprint, LocateError> {
    let seed = surface.locate(&placement.spot, mm_per_unit)?;
    let own = canvas.size_mm.map(|mm| f64::from(mm.get()).max(1e-9));
    let enlargement = placement.size.map_or(1.0, |size| f64::from(size.get()) / own[0].max(own[1]));
    let axes = Axes::new(placement, canvas.grain, enlargement);
    let reach = 0.5 * own[0].hypot(own[1]) * enlargement;
    let unfolded = unfold(surface, &seed, reach, settings);
    let faces = unfolded
        .faces
        .into_iter()
        .map(|(face, flat)| FootprintFace { face, corners_mm: flat.map(|p| axes.patch_mm(p)) })
        .collect();
    Ok(Footprint { seed, enlargement, faces, left_out: unfolded.left_out })
}

/// The patch's own axes on the cloth laid flat (x right, y up along the grain), and how they scale.
struct Axes {
    right: DVec2,
    down: DVec2,
}

impl Axes {
    /// Patch grain on garment grain, turned counter-clockwise as seen from outside; a mirrored patch keeps its grain aligned.
    fn new(placement: &Placement, grain: Option<Angle>, enlargement: f64) -> Self {
        let upright = std::f64::consts::FRAC_PI_2;
        let grain = grain.map_or(upright, |grain| f64::from(grain.as_line().to_radians()));
        let grain = if placement.mirror { std::f64::consts::PI - grain } else { grain };
        let right = DVec2::from_angle(upright + f64::from(placement.turn.to_radians()) - grain);
        let flip = if placement.mirror { -1.0 } else { 1.0 };
        Self { right: right * flip / enlargement, down: -right.perp() / enlargement }
    }

    /// Patch mm (x right, y down) of a place on the cloth laid flat.
    fn patch_mm(&self, flat: DVec2) -> DVec2 {
        DVec2::new(flat.dot(self.right), flat.dot(self.down))
    }
}
