//! Openings found in made photos, against their truth.
//!
//! Goals of the design: `IoU` 0.90, recall 0.97. Floors measured outside on another torn weave (`gap_detection_measured.csv` of
//! the project checks): two-class colour projection with ridge protection over a light card `IoU` 0.818 and in-hole recall
//! 0.962, over near black 0.902 and 0.999 without protection, over wood 0.291 and 0.51. The bounds below are what is
//! reached, less a margin: they guard it, they do not claim the goals. Skeleton recall is the topology sensitivity of Shit et
//! al., "clDice", 2021.

mod gap_scenes;

use gap_scenes::{closed, found, opened, score, taken};
use tatter_core::task::Task;

/// Least `IoU`, most SAD in thousands, least thread recall and skeleton recall, in the order of the scenes; `None` where the
/// openings are not found today.
const BOUNDS: [Option<[f32; 4]>; 13] = [
    Some([0.79, 2.1, 0.89, 0.80]),
    None,
    None,
    None,
    Some([0.59, 3.4, 0.89, 0.89]),
    Some([0.80, 1.1, 0.95, 0.95]),
    Some([0.50, 2.4, 0.97, 0.97]),
    None,
    Some([0.75, 2.1, 0.93, 0.93]),
    None,
    Some([0.89, 0.8, 0.67, 0.56]),
    Some([0.86, 1.5, 0.90, 0.84]),
    Some([0.71, 1.6, 0.94, 0.93]),
];

#[test]
fn openings_are_found_over_many_backings() {
    for (case, bounds) in opened().iter().zip(BOUNDS) {
        let scene = taken(case);
        let got = score(&scene, &found(&scene, &Task::new()).unwrap().opacity);
        let Some([iou, sad, threads, lines]) = bounds else {
            assert!(got.iou < 0.5, "{}: found now ({got:?}); give it bounds", case.name);
            continue;
        };
        assert!(got.cl_dice >= 0.68, "{}: clDice {}", case.name, got.cl_dice);
        let good = got.iou >= iou && got.sad <= sad && got.thread_recall >= threads && got.skeleton_recall >= lines;
        assert!(good, "{}: {got:?}, wanted IoU {iou}, SAD {sad}, threads {threads}, lines {lines}", case.name);
    }
}

#[test]
fn marks_without_an_opening_stay_opaque() {
    for case in closed() {
        let scene = taken(&case);
        let task = Task::new();
        let got = found(&scene, &task).unwrap();
        let open = got.opacity.texels().iter().filter(|o| o.0 < 1.0).count();
        if case.name == "white stain" {
            assert!(open > 0, "the white stain is opaque now; expect no opening of it");
            continue;
        }
        assert!(open == 0, "{}: nothing is seen through", case.name);
        assert!(task.notes().iter().any(|n| n.code == "no-openings"), "{}: it is said", case.name);
    }
}
