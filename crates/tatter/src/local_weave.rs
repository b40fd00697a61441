//! The garment's own weave where a patch is to lie, read from its textures, and how the patch's threads compare.

use std::path::Path;

use tatter_cloth::measure::{MeasureSettings, measure};
use tatter_core::angle::Angle;
use tatter_core::channel::Channel;
use tatter_core::model::{Garment, MapFile, Patch, Spot};
use tatter_core::task::Task;
use tatter_core::units::PerCm;
use tatter_files::limits::Limits;
use tatter_files::picture::read_stored;
use tatter_files::store::Store;
use tatter_garment::view::Viewer;

/// Pixels of the piece of cloth that is looked at: some dozens of threads where they can be read at all.
const PIXELS: usize = 448;
/// A count below this confidence is not told.
const SURE: f32 = 0.6;
/// Threads that differ by more are seen to differ.
const COARSER: f32 = 1.15;
/// Grain that is off by more is seen to be off.
const TURNED_DEG: f32 = 2.5;

/// The cloth around a spot.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) struct LocalWeave {
    pub(crate) ends_per_cm: PerCm,
    pub(crate) picks_per_cm: PerCm,
    /// From the texture's upright to the warp, counter-clockwise as seen from outside, -90..90 degrees.
    pub(crate) off_upright: Angle,
}

/// Read the weave around a spot from the base colour of its map set, as it was before Tatter touched it. `None` where it cannot
/// be counted: too coarse a texture, a knit, a print, a texture that cannot be read (a build will say so).
pub(crate) fn local_weave(garment: &Garment, set: usize, job: &Path, spot: &Spot) -> Option<LocalWeave> {
    let mut colored = garment.clone();
    let mut pictures = vec![Vec::new(); colored.sets.len()];
    for (index, own) in colored.sets.iter_mut().enumerate() {
        let is_color = |file: &MapFile| file.roles.iter().any(|role| role.channel == Channel::BaseColor);
        own.files.retain(|file| index == set && is_color(file));
    }
    let file = colored.sets.get_mut(set)?.files.first_mut()?;
    let kept = Store::open(job).and_then(|store| store.pristine(&file.path)).ok();
    let path = kept.unwrap_or_else(|| job.parent().unwrap_or(Path::new("")).join(&file.path));
    let picture = read_stored(&path, &Limits::default()).ok()?;
    file.size = picture.size;
    // One pixel a texel: finer shows nothing more, coarser loses threads.
    let mm_per_texel = f64::from(garment.mm_per_uv.get()) / file.size.width.max(1) as f64;
    pictures[set].push(picture);
    let flat = Viewer::new(&colored).lay_flat(&pictures, spot, mm_per_texel * PIXELS as f64, PIXELS).ok()?;
    let cloth = flat.opacity.map(|o| o.0 > 0.5);
    let settings = MeasureSettings { grain: Some(Angle::degrees(90.0)), ..MeasureSettings::default() };
    // Its notes are about photos.
    let found = measure(&flat.color, Some(&cloth), &settings, &Task::new()).ok()?;
    if !found.woven || found.confidence < SURE {
        return None;
    }
    let per_cm = |pitch: f32| PerCm(10.0 / (pitch * mm_per_texel as f32));
    let off = found.grain.as_line().to_degrees() - 90.0;
    Some(LocalWeave {
        ends_per_cm: per_cm(found.pitch_px[0]),
        picks_per_cm: per_cm(found.pitch_px[1]),
        off_upright: Angle::degrees(off),
    })
}

/// Notes on how the patch's threads, laid `enlargement` times their size and turned by `turn`, compare with those there.
pub(crate) fn compare(patch: &Patch, enlargement: f32, turn: Angle, there: &LocalWeave, task: &Task) {
    if let (Some(ends), Some(picks)) = (patch.ends_per_cm, patch.picks_per_cm) {
        let own = (ends.get() * picks.get()).sqrt() / enlargement;
        let cloth = (there.ends_per_cm.get() * there.picks_per_cm.get()).sqrt();
        let coarser = cloth / own;
        if !(1.0 / COARSER..COARSER).contains(&coarser) {
            let (times, word) = if coarser > 1.0 { (coarser, "coarser") } else { (1.0 / coarser, "finer") };
            task.note(
                "threads-differ",
                format!(
                    "The patch's cloth is {times:.2} times {word} than the garment's there ({own:.1} threads per cm on {cloth:.1}): \
                     --scale {:.2} would fit its threads.",
                    enlargement / coarser
                ),
            );
        }
    }
    let off = there.off_upright.to_degrees();
    // A turn that was asked for is a wish.
    if patch.grain.is_some() && turn == Angle::ZERO && off.abs() > TURNED_DEG {
        task.note(
            "grain-differs",
            format!("The garment's warp runs {off:.0} degrees off the texture's upright there: --turn {off:.0} lays the patch's along it."),
        );
    }
}

#[cfg(test)]
mod tests {
    use tatter_core::channel::PerChannel;
    use tatter_core::image::HeightRange;
    use tatter_core::model::{ScaleSource, Subject};
    use tatter_core::units::MmPerTexel;

    use super::*;

    fn patch(ends: f32, picks: f32) -> Patch {
        Patch {
            name: "rip".to_owned(),
            maps: PerChannel::default(),
            subject: Subject::Damage,
            scale: MmPerTexel(0.1),
            scale_source: ScaleSource::Assumed,
            grain: Some(Angle::degrees(90.0)),
            ends_per_cm: Some(PerCm(ends)),
            picks_per_cm: Some(PerCm(picks)),
            height_range: HeightRange::default(),
            cloth_color: None,
            photo_from_patch: None,
            provenance: Vec::new(),
        }
    }

    #[test]
    fn what_differs_is_said_with_what_would_fit() {
        let there = LocalWeave { ends_per_cm: PerCm(24.0), picks_per_cm: PerCm(24.0), off_upright: Angle::degrees(-7.0) };
        let told = |patch: &Patch, enlargement: f32, turn: f32| {
            let task = Task::new();
            compare(patch, enlargement, Angle::degrees(turn), &there, &task);
            task.notes().into_iter().map(|note| note.text).collect::<Vec<_>>()
        };
        let coarse = told(&patch(12.0, 12.0), 1.0, 0.0);
        assert!(coarse[0].contains("2.00 times coarser") && coarse[0].contains("--scale 0.50"), "{coarse:?}");
        assert!(coarse[1].contains("--turn -7"), "{coarse:?}");
        assert!(told(&patch(12.0, 12.0), 0.5, -7.0).is_empty(), "at the scale and turn offered nothing is left to say");
        assert!(told(&patch(18.0, 32.0), 1.0, 20.0).is_empty(), "the same mean count; a turn that was asked for is a wish");
    }
}
