//! A photo that is cut again and again, told otherwise each time: what comes of it is what a cut from nothing gives, to the bit, and nothing
//! is looked for twice that follows from nothing that was told.

use tatter_cloth::cut::{Kept, cut, cut_again};
use tatter_core::angle::Angle;
use tatter_core::channel::Channel;
use tatter_core::model::{CutRecipe, KnownSize, Scale, Stroke, StrokeKind};
use tatter_core::task::Task;
use tatter_core::units::Mm;
use tatter_testkit::scene::{Spec, photo};
use tatter_weave::Kind;

const SIDE: usize = 256;

fn stroke(kind: StrokeKind, from: [f32; 2], to: [f32; 2]) -> Stroke {
    Stroke { kind, points: vec![from, to], radius: 3.0 }
}

/// What is told, and which long steps it calls for.
fn steps() -> Vec<(&'static str, CutRecipe, &'static [&'static str])> {
    let width = CutRecipe { scale: Scale::Width(Mm(40.0)), ..CutRecipe::default() };
    let gap = stroke(StrokeKind::Gap, [120.0, 128.0], [136.0, 128.0]);
    let cloth = stroke(StrokeKind::Cloth, [40.0, 60.0], [60.0, 60.0]);
    let strokes = CutRecipe { strokes: vec![gap.clone()], ..width.clone() };
    let more = CutRecipe { strokes: vec![gap, cloth], ..width.clone() };
    let grain = CutRecipe { grain: Some(Angle::degrees(88.0)), ..more.clone() };
    let corners = [[8.0, 6.0], [128.0, 6.0], [128.0, 86.0], [8.0, 86.0]];
    let size = KnownSize::Told { width: Mm(9.0), height: Mm(6.0) };
    let card = CutRecipe { scale: Scale::Rectangle { size, corners: Some(corners) }, ..CutRecipe::default() };
    let upright = |recipe: &CutRecipe| CutRecipe { upright: true, ..recipe.clone() };
    vec![
        ("nothing", CutRecipe::default(), &["measure", "isolate"]),
        ("a width", width.clone(), &[]),
        ("a gap", strokes.clone(), &["isolate"]),
        ("that it stands upright", upright(&strokes), &[]),
        ("cloth, too", more, &["isolate"]),
        // Threads are measured along it; where they are what they were, so is the subject.
        ("a grain", grain.clone(), &["measure"]),
        ("a light", CutRecipe { light_from: Some(Angle::degrees(40.0)), ..grain.clone() }, &[]),
        ("the weft for a grain", CutRecipe { grain: Some(Angle::degrees(2.0)), ..grain }, &["measure", "isolate"]),
        ("a rectangle", card.clone(), &["straighten", "measure", "isolate"]),
        ("that it stands upright by a rectangle", upright(&card), &[]),
    ]
}

#[test]
fn a_cut_told_otherwise_is_a_cut_from_nothing() {
    let scene = Spec::injured("canvas", SIDE, 6.5, Kind::Rip, [12.0, 4.0]).shoot();
    let shot = photo("canvas", &scene.photo);
    let mut kept = Kept::default();
    for (told, recipe, wanted) in steps() {
        let (again, whole) = (Task::new(), Task::new());
        let (one, other) = (cut_again(&shot, &recipe, &mut kept, &again), cut(&shot, &recipe, &whole));
        let (one, other) = (one.unwrap(), other.unwrap());
        for channel in Channel::ALL {
            let maps = [&one, &other].map(|cut| format!("{:?}", cut.patch.map(channel)));
            assert!(maps[0] == maps[1], "{told}: {channel} as from nothing");
        }
        let rest = [&one, &other].map(|cut| {
            let patch = &cut.patch;
            let scale = (patch.scale, patch.scale_uncertainty, patch.grain, patch.ends_per_cm, patch.picks_per_cm);
            format!("{scale:?} {:?} {:?} {} {}", patch.photo_from_patch, patch.provenance, cut.why, cut.openings)
        });
        assert_eq!(rest[0], rest[1], "{told}: numbers");
        assert_eq!(again.notes(), whole.notes(), "{told}: what is said");
        let done = |stage: &str| again.seconds().iter().any(|(name, _)| name == stage);
        let done: Vec<&str> = ["straighten", "measure", "isolate"].into_iter().filter(|stage| done(stage)).collect();
        // A photo that is straightened is shown so each time.
        let wanted: Vec<&str> = if told.ends_with("by a rectangle") { vec!["straighten"] } else { wanted.to_vec() };
        assert_eq!(done, wanted, "{told}: nothing is looked for twice");
    }
}
