//! The garment's own weave where a patch is to lie, and how the patch's threads compare.

use std::path::Path;

use tatter_core::angle::Angle;
use tatter_core::model::{Garment, IslandGrain, Patch, Placement, Spot};
use tatter_core::task::Task;
use tatter_garment::surface::{FaceGrain, Seed, Surface};
use tatter_garment::view::Viewer;

use super::reading::{Colors, PIXELS, Reading, SURE, largest, read};

/// Threads that differ by more are seen to differ.
const COARSER: f32 = 1.15;
/// Grain that is off by more is seen to be off.
const TURNED_DEG: f32 = 2.5;

/// The weave around a spot, its warp from the island's grain: what is known of the island, else as read from the textures.
/// `None` where it cannot be counted: too coarse a texture, a knit, a print, a texture that cannot be read (a build will say so).
pub(crate) fn local_weave(garment: &Garment, set: usize, job: &Path, spot: &Spot, seed: &Seed) -> Option<Reading> {
    if !garment.grain.is_empty()
        && let Some(face) = Surface::new(garment).grain_of(seed.face)
        && let Some(known) = known(&garment.grain[face.entry], face)
    {
        return Some(known);
    }
    let colors = Colors::new(garment, job);
    let pictures = colors.read(set).ok()?;
    let size = largest(pictures[set].iter().map(|picture| picture.size));
    // One pixel a texel: finer shows nothing more, coarser loses threads.
    let mm_per_texel = f64::from(garment.mm_per_uv.get()) / size.width.max(1) as f64;
    let flat = Viewer::new(&colors.garment).lay_flat(&pictures, spot, mm_per_texel * PIXELS as f64, PIXELS).ok()?;
    read(&flat, mm_per_texel)
}

/// What an entry says of the cloth of a face; `None` when nobody counted there.
fn known(entry: &IslandGrain, face: &FaceGrain) -> Option<Reading> {
    Some(Reading {
        ends_per_cm: entry.ends_per_cm?,
        picks_per_cm: entry.picks_per_cm?,
        off_upright: Angle::ZERO,
        weave: face.weave(entry),
        confidence: SURE,
    })
}

/// How a patch is to lie.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Lie {
    pub(crate) enlargement: f32,
    pub(crate) turn: Angle,
    pub(crate) mirror: bool,
}

/// Whether the twill lines of a patch climb against those of the cloth it lies on. `false` where one has none or they run apart.
pub(crate) fn twills_clash(patch: &Patch, lie: &Lie, there: &Reading) -> bool {
    let (Some(own), Some(cloth)) = (patch.weave.hand(), there.weave.hand()) else { return false };
    let own = if lie.mirror { own.turned() } else { own };
    own.climbs_against(cloth, lie.turn - there.off_upright)
}

/// Notes on many placements where the weave of the islands is known: how far their threads differ in the middle, and how many
/// twills clash. Costs time in proportion to the faces for each of them.
pub(crate) fn compare_many(garment: &Garment, placed: &[(&Placement, &Patch)], task: &Task) {
    if garment.grain.is_empty() {
        return;
    }
    let surface = Surface::new(garment);
    let (mut coarser, mut clashes) = (Vec::new(), 0);
    for (placement, patch) in placed {
        let Ok(seed) = surface.locate(&placement.spot, garment.mm_per_unit) else { continue };
        let there = surface.grain_of(seed.face).and_then(|face| known(&garment.grain[face.entry], face));
        let Some(there) = there else { continue };
        let enlargement = placement.size.map_or(1.0, |size| size.get() / patch.size_mm()[0].get());
        let lie = Lie { enlargement, turn: placement.turn, mirror: placement.mirror };
        coarser.extend(threads_per_cm(patch, enlargement).map(|own| there.threads_per_cm() / own));
        clashes += usize::from(twills_clash(patch, &lie, &there));
    }
    coarser.sort_by(f32::total_cmp);
    let middle = coarser.get(coarser.len() / 2).copied().unwrap_or(1.0);
    if !(1.0 / COARSER..COARSER).contains(&middle) {
        let (times, word) = times(middle);
        task.note(
            "threads-differ",
            format!(
                "The cloth of the patches is {times:.2} times {word} than the garment's, by the middle one: sizes of {:.2} times \
                 theirs would fit its threads.",
                1.0 / middle
            ),
        );
    }
    if clashes > 0 {
        let text = format!(
            "The twill of {clashes} of {} placements climbs against the garment's: `mirror = true` on each lays its lines alike.",
            placed.len()
        );
        task.note("twill-clash", text);
    }
}

/// Threads of a patch on a centimetre when it lies so many times its size.
fn threads_per_cm(patch: &Patch, enlargement: f32) -> Option<f32> {
    Some((patch.ends_per_cm?.get() * patch.picks_per_cm?.get()).sqrt() / enlargement)
}

/// How many times, of what.
fn times(coarser: f32) -> (f32, &'static str) {
    if coarser > 1.0 { (coarser, "coarser") } else { (1.0 / coarser, "finer") }
}

/// Notes on how the patch's threads compare with those there.
pub(crate) fn compare(patch: &Patch, lie: &Lie, there: &Reading, task: &Task) {
    let enlargement = lie.enlargement;
    if let Some(own) = threads_per_cm(patch, enlargement) {
        let cloth = there.threads_per_cm();
        let coarser = cloth / own;
        if !(1.0 / COARSER..COARSER).contains(&coarser) {
            let (times, word) = times(coarser);
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
    if patch.grain.is_some() && lie.turn == Angle::ZERO && off.abs() > TURNED_DEG {
        task.note(
            "grain-differs",
            format!(
                "The garment's warp runs {off:.0} degrees off the grain of its island there: --turn {off:.0} lays the patch's along it, \
                 and `tatter grain JOB` finds the grain of every island."
            ),
        );
    }
    if twills_clash(patch, lie, there)
        && let Some(hand) = patch.weave.hand()
    {
        let way = if lie.mirror { "without --mirror" } else { "--mirror" };
        task.note(
            "twill-clash",
            format!(
                "The patch's twill ({hand:?}) climbs against the garment's there ({}): {way} lays its lines alike.",
                there.weave
            ),
        );
    }
}

#[cfg(test)]
mod tests {
    use tatter_core::channel::PerChannel;
    use tatter_core::image::HeightRange;
    use tatter_core::model::{Hand, ScaleSource, Subject, Weave};
    use tatter_core::units::{MmPerTexel, PerCm};

    use super::*;

    fn patch(ends: f32, picks: f32) -> Patch {
        Patch {
            name: "rip".to_owned(),
            maps: PerChannel::default(),
            subject: Subject::Damage,
            scale: MmPerTexel(0.1),
            scale_source: ScaleSource::Assumed,
            scale_uncertainty: None,
            grain: Some(Angle::degrees(90.0)),
            ends_per_cm: Some(PerCm(ends)),
            picks_per_cm: Some(PerCm(picks)),
            weave: Weave::Unknown,
            height_range: HeightRange::default(),
            cloth_color: None,
            photo_from_patch: None,
            provenance: Vec::new(),
        }
    }

    fn cloth(off_deg: f32, weave: Weave) -> Reading {
        Reading {
            ends_per_cm: PerCm(24.0),
            picks_per_cm: PerCm(24.0),
            off_upright: Angle::degrees(off_deg),
            weave,
            confidence: 0.9,
        }
    }

    fn told(patch: &Patch, lie: Lie, there: &Reading) -> Vec<String> {
        let task = Task::new();
        compare(patch, &lie, there, &task);
        task.notes().into_iter().map(|note| note.text).collect()
    }

    fn lie(enlargement: f32, turn: f32) -> Lie {
        Lie { enlargement, turn: Angle::degrees(turn), mirror: false }
    }

    #[test]
    fn what_differs_is_said_with_what_would_fit() {
        let there = cloth(-7.0, Weave::Unknown);
        let coarse = told(&patch(12.0, 12.0), lie(1.0, 0.0), &there);
        assert!(coarse[0].contains("2.00 times coarser") && coarse[0].contains("--scale 0.50"), "{coarse:?}");
        assert!(coarse[1].contains("--turn -7"), "{coarse:?}");
        assert!(
            told(&patch(12.0, 12.0), lie(0.5, -7.0), &there).is_empty(),
            "at the scale and turn offered nothing is left to say"
        );
        assert!(
            told(&patch(18.0, 32.0), lie(1.0, 20.0), &there).is_empty(),
            "the same mean count; a turn that was asked for is a wish"
        );
    }

    /// A line that climbs to the right climbs to the left in a mirror, and lying on its side (drafts of weaving handbooks, from
    /// memory): denim Z on denim S clashes unless mirrored or turned a quarter.
    #[test]
    fn twill_lines_that_climb_against_each_other_are_told() {
        let twill = |hand| Weave::Twill { over: 3, under: 1, hand };
        let denim = Patch { weave: twill(Hand::Z), ..patch(24.0, 24.0) };
        let cases = [
            (Hand::S, 0.0, false, 0.0, true),
            (Hand::Z, 0.0, false, 0.0, false),
            (Hand::S, 0.0, true, 0.0, false),
            (Hand::Z, 0.0, true, 0.0, true),
            (Hand::S, 180.0, false, 0.0, true),
            (Hand::S, 90.0, false, 0.0, false),
            (Hand::Z, -90.0, false, 0.0, true),
            (Hand::S, 45.0, false, 0.0, false),
            (Hand::S, 50.0, false, 45.0, true),
        ];
        for (hand, turn, mirror, off, clash) in cases {
            let how = Lie { mirror, ..lie(1.0, turn) };
            let notes = told(&denim, how, &cloth(off, twill(hand)));
            let said = notes.iter().any(|text| text.contains("climbs against"));
            assert_eq!(said, clash, "on {hand:?}, turned {turn}, mirrored {mirror}, cloth {off}: {notes:?}");
        }
        let plain = told(&denim, lie(1.0, 0.0), &cloth(0.0, Weave::Plain));
        assert!(plain.is_empty(), "plain cloth has no lines: {plain:?}");
    }
}
