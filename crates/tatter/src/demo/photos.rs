//! The sample's photos: the smock's canvas woven thread by thread, torn and bitten, and photographed on a card.

use tatter_core::angle::Angle;
use tatter_core::image::{Image, LinearRgb};
use tatter_core::task::Task;
use tatter_core::units::Mm;
use tatter_weave::{Cloth, Damage, Kind, PatchSpec, Shot, Woven, shoot, weave_patch};

use super::{DemoError, SamplePhoto};

/// Side of a photo, pixels.
const SIDE: usize = 1024;
/// What a photo is wide, as a ruler beside the cloth would say.
pub(super) const WIDTH: Mm = Mm(96.0);

/// Two photos of the ferryman's canvas: torn where a rope ran, and eaten by moths.
pub(super) fn write(photos: &[SamplePhoto; 2], cloth: &Cloth, task: &Task) -> Result<(), DemoError> {
    let bite = Damage { length: 15.0, width: 15.0, ..Damage::new(Kind::MothHole) };
    photos.iter().zip([(rip(), 3), (bite, 8)]).try_for_each(|(photo, (damage, seed))| {
        let taken = taken(&woven(cloth, damage, seed, task)?, seed, task)?;
        super::write(&photo.path, &crate::cut::png(taken)?)
    })
}

fn rip() -> Damage {
    Damage { length: 56.0, width: 13.0, surviving: 0.4, ..Damage::new(Kind::Rip) }
}

fn woven(cloth: &Cloth, damage: Damage, seed: u64, task: &Task) -> Result<Woven, DemoError> {
    let (cloth, damage) = (cloth.clone(), vec![damage]);
    let spec = PatchSpec { cloth, side: SIDE, width_mm: WIDTH.get(), damage, grain: Angle::degrees(90.0), seed };
    Ok(weave_patch(&spec, task)?.0)
}

fn taken(woven: &Woven, seed: u64, task: &Task) -> Result<Image<LinearRgb>, DemoError> {
    let light = Shot { light_from: Angle::degrees(125.0), seed, ..Shot::default() };
    Ok(shoot(&woven.maps, woven.scale, &light, task).map_err(tatter_weave::WeaveError::from)?.photo)
}

#[cfg(test)]
mod tests {
    use tatter_core::channel::{Channel, Kind as Values};
    use tatter_files::patch::read_patch;

    use super::super::canvas;
    use super::*;
    use crate::cut::{CutRequest, CutSource, cut_photo, png};

    /// Beside the scene's own openings: intersection over union 0.84, of which 0.85 is the goal. The canvas is so loose that its pores show the card.
    #[test]
    fn the_first_photo_a_new_user_sees_is_cut_with_its_threads() {
        let (folder, task) = (tempfile::tempdir().unwrap(), Task::new());
        let woven = woven(&canvas::cloth().unwrap(), rip(), 3, &task).unwrap();
        let (photo, output) = (folder.path().join("rope-burn.png"), folder.path().join("rope-burn.patch"));
        super::super::write(&photo, &png(taken(&woven, 3, &task).unwrap()).unwrap()).unwrap();
        let mut request = CutRequest { source: CutSource::Photo(photo), output: output.clone(), ..CutRequest::default() };
        request.recipe.scale = tatter_core::model::Scale::Width(WIDTH);
        cut_photo(&request, &task).unwrap();
        let patch = read_patch(&output, &tatter_files::limits::Limits::default()).unwrap();
        let [across, down] = patch.photo_from_patch.unwrap();
        let map = |channel| patch.map_of(channel, Values::Unit).unwrap();
        let (cover, opacity) = (map(Channel::Cover), map(Channel::Opacity));
        let (mut both, mut either) = (0.0, 0.0);
        for y in 0..patch.size().height {
            let row = |map: &tatter_core::model::PatchMap| map.row(y, 0..patch.size().width).into_units().unwrap().into_owned();
            for (x, (cover, opacity)) in row(cover).iter().zip(row(opacity)).enumerate() {
                let (px, py) = (x as f32 + 0.5, y as f32 + 0.5);
                let at = [across, down].map(|[a, b, c]| (a * px + b * py + c) as isize);
                let truth = woven.maps.opacity.get_clamped(at[0], at[1]).0 < 0.5;
                if cover.0 > 0.5 {
                    let found = opacity.0 < 0.5;
                    both += f64::from(u8::from(found && truth));
                    either += f64::from(u8::from(found || truth));
                }
            }
        }
        assert!(both / either > 0.8, "gap IoU {}", both / either);
    }
}
