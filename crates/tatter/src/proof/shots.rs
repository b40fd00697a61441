//! Which views a proof has, and where the eye stands for each.

use std::path::Path;

use glam::Vec3;
use tatter_core::angle::Angle;
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
}

/// The views asked for, in their order.
pub(super) fn shots(
    session: &Session,
    surface: &Surface,
    scene: &Scene<'_>,
    request: &ProofRequest,
    job: &Path,
) -> Result<Vec<Shot>, ProofError> {
    let aspect = request.size[0] as f32 / request.size[1] as f32;
    if let Some(count) = request.turntable {
        return Ok((0..count).map(|frame| turned(scene, frame, count, aspect)).collect());
    }
    let mut all = Vec::new();
    for name in &request.views {
        if let Some(facing) = Side::ALL.into_iter().find(|facing| facing.name() == name) {
            let (turn, lift) = facing.turn_and_lift();
            let camera = Camera::around(scene.points(), turn, lift, aspect);
            all.push(Shot { name: name.clone(), camera });
        } else {
            all.extend(close_ups(session, surface, name, job)?);
        }
    }
    Ok(all)
}

fn turned(scene: &Scene<'_>, frame: usize, count: usize, aspect: f32) -> Shot {
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
    Shot { name: format!("{frame:03}"), camera }
}

fn close_ups(session: &Session, surface: &Surface, name: &str, job: &Path) -> Result<Vec<Shot>, ProofError> {
    let placed = session.placed();
    let wanted: Vec<_> = placed.iter().filter(|placed| name == PLACEMENTS || placed.placement.id == *name).collect();
    if wanted.is_empty() {
        if name == PLACEMENTS {
            return Err(ProofError::Nothing(job.to_owned()));
        }
        let ids = placed.iter().map(|placed| placed.placement.id.clone());
        let own = Side::ALL.into_iter().map(Side::name).chain([PLACEMENTS]).map(str::to_owned);
        let known: Vec<String> = own.chain(ids).collect();
        return Err(ProofError::NoView { name: name.to_owned(), known: known.join(", "), job: job.to_owned() });
    }
    let mm_per_unit = world_unit(session);
    wanted
        .into_iter()
        .map(|placed| {
            let id = &placed.placement.id;
            let seed = surface
                .locate(&placed.placement.spot, session.garment.mm_per_unit)
                .map_err(|error| ProofError::Spot(error, id.clone()))?;
            let side_mm = AROUND * placed.placement.size.map_or_else(|| placed.patch.size_mm()[0].get(), |size| size.get());
            let camera = Camera::close_up(
                seed.point.as_vec3() / mm_per_unit,
                seed.normal.as_vec3(),
                side_mm / mm_per_unit,
                Angle::degrees(LEAN_DEGREES),
            );
            Ok(Shot { name: id.clone(), camera })
        })
        .collect()
}

/// Millimetres in a unit of the scene: a bare map set is shown in millimetres.
fn world_unit(session: &Session) -> f32 {
    if session.garment.mesh.is_some() { session.garment.mm_per_unit } else { 1.0 }
}
