//! Whether a spot can take a patch, told before anything is laid.

use tatter_core::explain::{Class, Explain};
use tatter_core::model::{Garment, Spot};

use crate::build::set_of_face;
use crate::surface::{LocateError, Seed, Surface};

/// A point further from the cloth than this, in millimetres, is probably meant for something else.
pub const FAR_MM: f64 = 20.0;

/// A point further than this was never meant for this cloth: its unit or its axes are others.
pub(crate) const LOST_MM: f64 = 100.0;

/// Why nothing can be laid at a spot.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum SpotError {
    /// It is not on the cloth.
    #[error(transparent)]
    OffCloth(#[from] LocateError),
    /// It is nowhere near the cloth.
    #[error("the point lies {distance_mm:.0} mm off the cloth; the nearest place on it is {}", words(.nearest))]
    Lost {
        /// How far off.
        distance_mm: f64,
        /// The nearest place, in the mesh's own unit.
        nearest: [f32; 3],
    },
    /// The cloth there has no textures.
    #[error("the spot lies on part '{part}', whose material '{material}' has no textures")]
    NoTextures {
        /// The part.
        part: String,
        /// Its material.
        material: String,
    },
}

impl Explain for SpotError {
    fn next(&self) -> String {
        match self {
            Self::OffCloth(error) => error.next(),
            Self::Lost { nearest, .. } => {
                format!("give a point on the cloth in the mesh's own unit, such as --point {}", words(nearest))
            }
            Self::NoTextures { .. } => "place it on a part that has textures, or add the missing ones to the job".into(),
        }
    }

    fn class(&self) -> Class {
        Class::Request
    }
}

/// The place on the cloth that a spot names, and the number of the map set it shows. Cost is linear in the faces. A garment without a mesh needs the size of the first
/// file of each map set.
///
/// # Errors
/// [`SpotError`], as a build would say it; a build takes a point however far off it is.
pub fn find_spot(garment: &Garment, spot: &Spot) -> Result<(Seed, usize), SpotError> {
    let surface = Surface::new(garment);
    let seed = surface.locate(spot, garment.mm_per_unit)?;
    if seed.distance_mm > LOST_MM {
        let nearest = (seed.point / f64::from(garment.mm_per_unit)).as_vec3().to_array();
        return Err(SpotError::Lost { distance_mm: seed.distance_mm, nearest });
    }
    let Some(set) = set_of_face(&surface, &garment.sets)[seed.face] else {
        let part = &surface.parts()[surface.faces()[seed.face].part];
        return Err(SpotError::NoTextures { part: part.name.clone(), material: part.material.clone() });
    };
    Ok((seed, set))
}

fn words(point: &[f32; 3]) -> String {
    point.map(|x| format!("{x:.4}")).join(",")
}
