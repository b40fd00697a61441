//! The sample's photos: the smock's canvas woven thread by thread, torn and bitten, and photographed on a card.

use std::path::{Path, PathBuf};

use tatter_core::angle::Angle;
use tatter_core::task::Task;
use tatter_core::units::Mm;
use tatter_weave::{Cloth, Damage, Kind, PatchSpec, Shot, shoot, weave_patch};

use super::DemoError;

/// Side of a photo, pixels.
const SIDE: usize = 1024;
/// What a photo is wide, mm.
const WIDTH: f32 = 96.0;

/// A photo on disk.
pub(super) struct Photo {
    pub(super) name: &'static str,
    pub(super) path: PathBuf,
    /// What the photo is wide, as a ruler beside the cloth would say.
    pub(super) width: Mm,
}

/// Two photos of the ferryman's canvas: torn where a rope ran, and eaten by moths.
pub(super) fn write(folder: &Path, cloth: &Cloth, task: &Task) -> Result<Vec<Photo>, DemoError> {
    let rip = Damage { length: 56.0, width: 13.0, surviving: 0.4, ..Damage::new(Kind::Rip) };
    let bite = Damage { length: 15.0, width: 15.0, ..Damage::new(Kind::MothHole) };
    [("rope-burn", rip, 3), ("moth-hole", bite, 8)]
        .into_iter()
        .map(|(name, damage, seed)| {
            let spec = PatchSpec {
                cloth: cloth.clone(),
                side: SIDE,
                width_mm: WIDTH,
                damage: vec![damage],
                grain: Angle::degrees(90.0),
                seed,
            };
            let (woven, _) = weave_patch(&spec, task)?;
            let light = Shot { light_from: Angle::degrees(125.0), seed, ..Shot::default() };
            let photo = shoot(&woven.maps, woven.scale, &light, task).map_err(tatter_weave::WeaveError::from)?;
            let path = folder.join("photos").join(format!("{name}.png"));
            super::write(&path, &crate::cut::png(photo.photo)?)?;
            Ok(Photo { name, path, width: Mm(woven.scale.get() * SIDE as f32) })
        })
        .collect()
}
