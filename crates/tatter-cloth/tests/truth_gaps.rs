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

/// Least `IoU`, most SAD in thousands, least thread recall and skeleton recall, in the order of the scenes.
const BOUNDS: [[f32; 4]; 13] = [
    [0.85, 1.3, 0.96, 0.92],
    [0.57, 1.9, 0.97, 0.98],
    [0.89, 1.0, 0.70, 0.66],
    [0.82, 1.3, 0.95, 0.93],
    [0.68, 2.6, 0.87, 0.89],
    [0.86, 1.0, 0.95, 0.96],
    [0.67, 2.3, 0.98, 0.98],
    [0.74, 2.5, 0.90, 0.71],
    [0.80, 1.9, 0.93, 0.95],
    [0.73, 1.9, 0.93, 0.87],
    [0.91, 0.8, 0.88, 0.81],
    [0.88, 1.3, 0.93, 0.84],
    [0.70, 1.6, 0.95, 0.96],
];

#[test]
fn openings_are_found_over_many_backings() {
    let mut sum = 0.0;
    for (case, [iou, sad, threads, lines]) in opened().iter().zip(BOUNDS) {
        let scene = taken(case);
        let got = score(&scene, &found(&scene, &Task::new()).unwrap().opacity);
        assert!(got.cl_dice >= 0.75, "{}: clDice {}", case.name, got.cl_dice);
        let good = got.iou >= iou && got.sad <= sad && got.thread_recall >= threads && got.skeleton_recall >= lines;
        assert!(good, "{}: {got:?}, wanted IoU {iou}, SAD {sad}, threads {threads}, lines {lines}", case.name);
        sum += got.iou;
    }
    assert!(sum / 13.0 >= 0.79, "mean IoU {}", sum / 13.0);
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
    let opacity = &scene.truth.opacity;
    let behind = mean(&|x, y| opacity.get(x, y).0 == 0.0 && scene.truth.cover.get(x, y).0 > 0.5);
    let cloth = mean(&|x, y| opacity.get(x, y).0 == 1.0);
    assert!(behind < 0.05 && cloth > 0.9, "{}: backing counts {behind}, cloth {cloth}", case.name);
}
