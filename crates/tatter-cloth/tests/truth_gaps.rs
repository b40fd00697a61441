//! Openings found in made photos, against their truth.
//!
//! Goals of the design: `IoU` 0.90, recall 0.97. Floors measured outside on another torn weave (`gap_detection_measured.csv` of
//! the project checks): two-class colour projection with ridge protection over a light card `IoU` 0.818 and in-hole recall
//! 0.962, over near black 0.902 and 0.999 without protection, over wood 0.291 and 0.51. The bounds below are what is
//! reached, less a margin: they guard it, they do not claim the goals. Pores of the weave within the rim count as openings.
//! Skeleton recall is the topology sensitivity of Shit et al., "clDice", 2021.

mod gap_scenes;

use gap_scenes::{closed, cover, found, opened, score, taken};
use tatter_cloth::gaps::{GapInput, gaps};
use tatter_core::image::{LinearRgb, Unit};
use tatter_core::task::Task;
use tatter_testkit::measures::{count, overlap};
use tatter_testkit::scene::{Spec, cloth};
use tatter_weave::{Kind, Shot};

/// Least harmonic mean of threads kept and threads not made up; the least is that of a moth hole, which has few threads to find.
const CL_DICE: f32 = 0.3;
/// Least `IoU`, most SAD in thousands, least thread recall and skeleton recall, in the order of the scenes. None: not found. What is
/// torn takes in openings that fuzz crosses, the hardest part of them; before it did, overlaps of rips were 0.03 to 0.08 higher and
/// skeleton recall lower by as much.
/// Indigo's weft is as white as the card behind it; the lining behind madder cloth has nearly its colour.
const BOUNDS: [Option<[f32; 4]>; 15] = [
    Some([0.75, 1.7, 0.85, 0.82]),
    Some([0.69, 2.3, 0.93, 0.93]),
    Some([0.71, 1.3, 0.92, 0.95]),
    Some([0.67, 2.9, 0.92, 0.87]),
    Some([0.68, 2.4, 0.91, 0.95]),
    Some([0.82, 0.8, 0.95, 0.94]),
    Some([0.68, 2.4, 0.93, 0.96]),
    None,
    Some([0.50, 2.6, 0.95, 0.92]),
    None,
    Some([0.83, 0.9, 0.70, 0.65]),
    Some([0.69, 2.2, 0.93, 0.94]),
    Some([0.66, 2.4, 0.89, 0.94]),
    Some([0.78, 2.1, 0.83, 0.73]),
    // Under the nap of crimped wool the slit is drawn in by a tenth of it.
    Some([0.66, 0.4, 0.72, 0.55]),
];

#[test]
fn openings_are_found_over_many_backings() {
    let (mut all, mut short) = (Vec::new(), Vec::new());
    for (case, bounds) in opened().iter().zip(BOUNDS) {
        let Some([iou, sad, threads, lines]) = bounds else { continue };
        let scene = taken(case);
        let got = score(&scene, &found(&scene, &Task::new()).unwrap().opacity);
        let lost = got.thread_recall < threads || got.skeleton_recall < lines;
        if got.iou < iou || got.sad > sad || lost || got.cl_dice < CL_DICE {
            short.push(format!("{}: {got:.3?}, wanted IoU {iou}, SAD {sad}, threads {threads}, lines {lines}", case.name));
        }
        all.push(got.iou);
    }
    assert!(short.is_empty(), "{short:#?}");
    let mean = all.iter().sum::<f32>() / all.len() as f32;
    assert!(all.len() == 13 && mean >= 0.72, "mean IoU {mean} of {}", all.len());
}

#[test]
fn marks_without_an_opening_stay_opaque() {
    for case in closed() {
        let scene = taken(&case);
        let task = Task::new();
        let got = found(&scene, &task).unwrap();
        let open = got.opacity.texels().iter().filter(|o| o.0 < 1.0).count();
        assert!(open == 0, "{}: nothing is seen through", case.name);
        assert!(task.notes().iter().any(|n| n.code == "no-openings"), "{}: it is said", case.name);
    }
}

/// Fuzz of worn threads gives a backing lighter than indigo many tints; where it is broader than threads it is one still.
#[test]
fn an_opening_in_worn_cloth_is_found() {
    let shot = Shot { backing: LinearRgb([0.10, 0.30, 0.22]), sky: 0.38, ..Shot::default() };
    let scene = Spec { seed: 113, shot, ..Spec::injured("denim", 448, 9.0, Kind::WornThrough, [8.0, 5.0]) }.shoot();
    let open = found(&scene, &Task::new()).unwrap().opacity.map(|o| o.0 < 0.5);
    let iou = overlap(&open, &scene.maps.opacity.map(|o| o.0 < 0.5), &scene.torn());
    assert!(iou > 0.6, "IoU {iou} of the openings in what is torn");
}

/// Gauze over something dark is seen through in every mesh; cloth with mere pores between its threads is not.
#[test]
fn cloth_open_in_every_mesh_needs_no_injury() {
    for (name, least) in [("gauze", Some(0.6)), ("linen", None), ("canvas", None), ("jersey", None)] {
        let shot = Shot { backing: LinearRgb([0.03; 3]), ..Shot::default() };
        let scene = Spec { seed: 40, shot, ..Spec::new(cloth(name), 256, 10.0) }.shoot();
        let cover = scene.photo.map(|_| Unit(1.0));
        let input = GapInput { pitch_px: Some(scene.pitch_px), ..GapInput::new(&cover) };
        let open = gaps(&scene.photo, &input, &Task::new()).unwrap().opacity.map(|o| o.0 < 0.5);
        let iou = overlap(&open, &scene.maps.opacity.map(|o| o.0 < 0.5), &cover.map(|_| true));
        assert!(least.map_or(count(&open) == 0.0, |least| iou > least), "{name}: {} texels open, IoU {iou}", count(&open));
    }
}

/// Where the truth is backing and nothing of it is cloth, its colour must not enter base colour; where it is whole cloth of a dye
/// that the card does not have, it must.
#[test]
fn colour_of_a_card_in_the_shade_is_not_taken_for_the_cloths() {
    let case = &opened()[0];
    let scene = taken(case);
    let own = found(&scene, &Task::new()).unwrap().own_color;
    let mean = |takes: &dyn Fn(usize, usize) -> bool| {
        let (mut sum, mut count) = (0.0, 0.0);
        for y in 0..own.height() {
            for x in (0..own.width()).filter(|&x| takes(x, y)) {
                sum += own.get(x, y).0;
                count += 1.0;
            }
        }
        sum / count
    };
    let opacity = &scene.maps.opacity;
    let cover = cover(&scene);
    let behind = mean(&|x, y| opacity.get(x, y).0 == 0.0 && cover.get(x, y).0 > 0.5);
    let cloth = mean(&|x, y| opacity.get(x, y).0 == 1.0);
    assert!(behind < 0.05 && cloth > 0.9, "{}: backing counts {behind}, cloth {cloth}", case.name);
}
