//! Which views a proof has, and where the eye stands for each.

use std::path::Path;

use glam::Vec3;
use tatter_core::angle::Angle;
use tatter_core::model::Garment;
use tatter_garment::place::Placed;
use tatter_garment::surface::Surface;
use tatter_proof::{Camera, Scene, Side};

use super::{ProofError, ProofRequest};
use crate::session::Session;

/// The view of every placement.
pub const PLACEMENTS: &str = "placements";
/// How much more cloth than the patch a close-up shows.
const AROUND: f32 = 1.5;
/// How far the eye leans from straight above: relief shows, and shape.
const LEAN_DEGREES: f32 = 22.0;

/// One view.
pub(super) struct Shot {
    /// For file names.
    pub(super) name: String,
    pub(super) camera: Camera,
    /// Columns and rows.
    pub(super) size: [u32; 2],
}

/// The views asked for, in their order.
pub(super) fn shots(
    session: &Session,
    surface: &Surface,
    scene: &Scene<'_>,
    request: &ProofRequest,
    job: &Path,
) -> Result<Vec<Shot>, ProofError> {
    let size = request.size;
    if let Some(count) = request.turntable {
        return Ok((0..count).map(|frame| turned(scene, frame, count, size)).collect());
    }
    let placed = session.placed();
    let mut all = Vec::new();
    for name in &request.views {
        if let Some(side) = side_of(name) {
            all.push(side_shot(scene, side, size));
        } else {
            let wanted = named(&placed, name, job)?;
            all.extend(close_ups(&session.garment, surface, &wanted, size)?);
        }
    }
    Ok(all)
}

/// The side of the garment of that name.
pub(super) fn side_of(name: &str) -> Option<Side> {
    Side::ALL.into_iter().find(|side| side.name() == name)
}

/// A side of the garment, as large as fits.
pub(super) fn side_shot(scene: &Scene<'_>, side: Side, size: [u32; 2]) -> Shot {
    let (turn, lift) = side.turn_and_lift();
    let camera = Camera::around(scene.points(), turn, lift, aspect(size));
    Shot { name: side.name().to_owned(), camera, size }
}

fn aspect([width, height]: [u32; 2]) -> f32 {
    width as f32 / height as f32
}

fn turned(scene: &Scene<'_>, frame: usize, count: usize, size: [u32; 2]) -> Shot {
    let aspect = aspect(size);
    let turn = Angle::degrees(360.0 * frame as f32 / count as f32);
    // The eye keeps its distance: it stands where the garment fits from every side.
    let lift = Angle::degrees(6.0);
    let around = (0..8).map(|i| Camera::around(scene.points(), Angle::degrees(45.0 * i as f32), lift, aspect));
    let far = around.map(|camera| camera.eye.distance(camera.target)).fold(0.0, f32::max);
    let (low, high) = scene.bounds();
    let middle = 0.5 * (low + high);
    let one = Camera::around(scene.points(), turn, lift, aspect);
    let back = (one.eye - one.target).normalize_or(Vec3::Z);
    let camera = Camera { eye: middle + back * far, target: middle, ..one };
    Shot { name: format!("{frame:03}"), camera, size }
}

/// The placements that the name of a view stands for: all, or the one of that id.
pub(super) fn named<'a>(placed: &[Placed<'a>], name: &str, job: &Path) -> Result<Vec<Placed<'a>>, ProofError> {
    let wanted: Vec<_> = placed.iter().filter(|placed| name == PLACEMENTS || placed.placement.id == *name).copied().collect();
    if !wanted.is_empty() {
        return Ok(wanted);
    }
    if name == PLACEMENTS {
        return Err(ProofError::Nothing(job.to_owned()));
    }
    let ids = placed.iter().map(|placed| placed.placement.id.clone());
    let own = Side::ALL.into_iter().map(Side::name).chain([PLACEMENTS]).map(str::to_owned);
    let known: Vec<String> = own.chain(ids).collect();
    Err(ProofError::NoView { name: name.to_owned(), known: known.join(", "), job: job.to_owned() })
}

/// Placements from near.
pub(super) fn close_ups(
    garment: &Garment,
    surface: &Surface,
    placed: &[Placed<'_>],
    size: [u32; 2],
) -> Result<Vec<Shot>, ProofError> {
    // A bare map set is shown in millimetres.
    let mm_per_unit = if garment.mesh.is_some() { garment.mm_per_unit } else { 1.0 };
    let shot = |placed: &Placed<'_>| {
        let id = &placed.placement.id;
        let seed =
            surface.locate(&placed.placement.spot, garment.mm_per_unit).map_err(|error| ProofError::Spot(error, id.clone()))?;
        let side_mm = AROUND * placed.placement.size.map_or_else(|| placed.patch.size_mm()[0].get(), |size| size.get());
        let camera = Camera::close_up(
            seed.point.as_vec3() / mm_per_unit,
            seed.normal.as_vec3(),
            side_mm / mm_per_unit,
            Angle::degrees(LEAN_DEGREES),
        );
        Ok(Shot { name: id.clone(), camera, size })
    };
    placed.iter().map(shot).collect()
}
