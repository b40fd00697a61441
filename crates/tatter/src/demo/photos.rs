//! The sample's photos, shot from cloth made thread by thread.

use std::path::{Path, PathBuf};

use tatter_cloth::made::{Damage, SceneSpec, shoot};
use tatter_core::angle::Angle;
use tatter_core::image::LinearRgb;
use tatter_core::units::{Mm, MmPerTexel, PerCm};

use super::DemoError;
use super::canvas::THREADS_PER_CM;

/// Side of a photo, pixels.
const SIDE: usize = 1024;

/// A photo on disk.
pub(super) struct Shot {
    pub(super) name: &'static str,
    pub(super) path: PathBuf,
    /// What the photo is wide, as a ruler beside the cloth would say.
    pub(super) width: Mm,
}

/// Two photos of the ferryman's canvas: torn where a rope ran, and eaten by moths.
pub(super) fn write(folder: &Path) -> Result<Vec<Shot>, DemoError> {
    let rip = Damage::RipAlongWeft { length: Mm(55.0), opening: Mm(11.0), surviving: 0.35 };
    [("rope-burn", rip, 3), ("moth-hole", Damage::MothHole { diameter: Mm(14.0) }, 8)]
        .into_iter()
        .map(|(name, damage, seed)| {
            let scale = MmPerTexel(0.1);
            let scene = shoot(&SceneSpec {
                width: SIDE,
                height: SIDE,
                scale,
                ends_per_cm: PerCm(THREADS_PER_CM[0]),
                picks_per_cm: PerCm(THREADS_PER_CM[1]),
                warp: LinearRgb([0.42, 0.30, 0.155]),
                weft: LinearRgb([0.40, 0.29, 0.16]),
                damage,
                light_from: Angle::degrees(125.0),
                seed,
                ..SceneSpec::default()
            });
            let path = folder.join("photos").join(format!("{name}.png"));
            write_picture(&path, scene.photo)?;
            Ok(Shot { name, path, width: Mm(scale.get() * SIDE as f32) })
        })
        .collect()
}

fn write_picture(path: &Path, photo: tatter_core::image::Image<LinearRgb>) -> Result<(), DemoError> {
    super::write(path, &crate::cut::png(photo)?)
}
