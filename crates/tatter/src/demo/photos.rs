//! The sample's photos: the smock's canvas woven thread by thread, torn and bitten, and photographed on a card.

use tatter_core::angle::Angle;
use tatter_core::task::Task;
use tatter_core::units::Mm;
use tatter_weave::{Cloth, Damage, Kind, PatchSpec, Shot, shoot, weave_patch};

use super::{DemoError, SamplePhoto};

/// Side of a photo, pixels.
const SIDE: usize = 1024;
/// What a photo is wide, as a ruler beside the cloth would say.
pub(super) const WIDTH: Mm = Mm(96.0);

/// Two photos of the ferryman's canvas: torn where a rope ran, and eaten by moths.
pub(super) fn write(photos: &[SamplePhoto; 2], cloth: &Cloth, task: &Task) -> Result<(), DemoError> {
    let rip = Damage { length: 56.0, width: 13.0, surviving: 0.4, ..Damage::new(Kind::Rip) };
    let bite = Damage { length: 15.0, width: 15.0, ..Damage::new(Kind::MothHole) };
    photos.iter().zip([(rip, 3), (bite, 8)]).try_for_each(|(photo, (damage, seed))| {
        let spec = PatchSpec {
            cloth: cloth.clone(),
            side: SIDE,
            width_mm: WIDTH.get(),
            damage: vec![damage],
            grain: Angle::degrees(90.0),
            seed,
        };
        let (woven, _) = weave_patch(&spec, task)?;
        let light = Shot { light_from: Angle::degrees(125.0), seed, ..Shot::default() };
        let taken = shoot(&woven.maps, woven.scale, &light, task).map_err(tatter_weave::WeaveError::from)?;
        super::write(&photo.path, &crate::cut::png(taken.photo)?)
    })
}
