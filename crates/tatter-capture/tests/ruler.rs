//! Rulers on woven cloth, photographed from known places: the scale beside them, and that cloth alone is none.

use std::sync::LazyLock;

use tatter_capture::ruler::{RulerError, find_ruler};
use tatter_core::image::{Image, LinearRgb, Size};
use tatter_core::task::Task;
use tatter_testkit::cards::{Torn, cloths};
use tatter_testkit::laid::{Laid, at, inverse};
use tatter_testkit::rulers::{CASES, Case, SIXTEENTHS, photograph};
use tatter_testkit::scene::{Spec, cloths as woven};

static CLOTHS: LazyLock<Vec<Torn>> = LazyLock::new(cloths);

/// Millimetres a pixel at a photo place, by the area that it covers.
fn truth(case: &Case, [x, y]: [f64; 2]) -> f64 {
    let mm = inverse(&case.photo_from_mm());
    let [o, a, b] = [[x, y], [x + 1.0, y], [x, y + 1.0]].map(|p| at(&mm, p));
    ((a[0] - o[0]) * (b[1] - o[1]) - (a[1] - o[1]) * (b[0] - o[0])).abs().sqrt()
}

/// Exact geometry: a pinhole over a plane.
#[test]
fn rulers_are_found_and_are_as_sure_as_they_say() {
    let mut wrong = Vec::new();
    for case in &CASES {
        let photo = case.shoot(&CLOTHS[case.cloth]);
        let found = match find_ruler(&photo, &Task::new()) {
            Ok(found) => found,
            Err(error) => {
                wrong.push(format!("{}: {error}", case.what));
                continue;
            }
        };
        let off = |place: [f64; 2]| 100.0 * (found.scale_at(place) / truth(case, place) - 1.0);
        let (beside, middle) = (found.middle(), [640.0, 480.0]);
        let text = format!(
            "{}: {} marks to {:.3} px, scale {:+.3} % beside it (said to {:.3}), {:+.3} % in the middle (said to {:.3}), change {:.2} % to {:.2}",
            case.what,
            found.marks,
            found.deviation,
            off(beside),
            100.0 * found.uncertainty_at(beside),
            off(middle),
            100.0 * found.uncertainty_at(middle),
            100.0 * found.change,
            100.0 * found.change_unsure,
        );
        let flat = case.tilt_deg == 0.0;
        let most = if flat { 0.1 } else { 0.7 };
        let sure = off(beside).abs() < most && off(beside).abs() < 200.0 * found.uncertainty_at(beside);
        let told = off(middle).abs() < 200.0 * found.uncertainty_at(middle);
        // What is set aside covers what of the ruler is in the photo, and no more than twice that.
        let aside = found.aside();
        let laid = case.laid();
        let mm = inverse(&case.photo_from_mm());
        let (mut covered, mut ruler, mut all) = (0, 0, 0);
        for (x, y) in (0..960).step_by(5).flat_map(|y| (0..1280).step_by(5).map(move |x| (x, y))) {
            let on = on(&laid, at(&mm, [f64::from(x) + 0.5, f64::from(y) + 0.5]));
            let aside = aside.get(x as usize, y as usize);
            ruler += u32::from(on);
            covered += u32::from(on && aside);
            all += u32::from(aside);
        }
        let place = format!("{covered} of {ruler} places of it set aside, {all} in all");
        if !sure || !told || covered * 100 < ruler * 97 || all > 2 * ruler {
            wrong.push(format!("{text}; {place}"));
        }
    }
    assert!(wrong.is_empty(), "{wrong:#?}");
}

fn on(laid: &Laid, [x, y]: [f64; 2]) -> bool {
    let (s, c) = laid.turn.sin_cos();
    let (x, y) = (x - laid.at[0], y - laid.at[1]);
    (c * x + s * y).abs() < 0.5 * laid.mm[0] && (c * y - s * x).abs() < 0.5 * laid.mm[1]
}

#[test]
fn what_is_no_ruler_in_millimetres_is_refused() {
    let case = CASES[0];
    let refused = |photo: &Image<LinearRgb>| find_ruler(photo, &Task::new()).map(|found| found.marks).unwrap_err();
    let inches = Case { ruled: SIXTEENTHS, ..case }.shoot(&CLOTHS[0]);
    assert_eq!(refused(&inches), RulerError::Inches);
    // Another ruler, 8 per cent larger: nearer to the camera, or a toy.
    let mut other = Case { at: [90.0, 130.0], turn_deg: 20.0, ..case };
    other.ruled.pitch = 1.08;
    let two = photograph(&CLOTHS[0], &[case.laid(), other.laid()], &case.photo_from_mm());
    assert!(matches!(refused(&two), RulerError::Disagree { .. }), "two that disagree: {}", refused(&two));
    let same =
        photograph(&CLOTHS[0], &[case.laid(), Case { at: [90.0, 130.0], turn_deg: 20.0, ..case }.laid()], &case.photo_from_mm());
    assert!(find_ruler(&same, &Task::new()).is_ok(), "two that agree");
    let tilted = Case { tilt_deg: 15.0, axis_deg: 90.0, ..case }.shoot(&CLOTHS[0]);
    let tilt = refused(&tilted);
    assert!(matches!(tilt, RulerError::Tilted { percent, .. } if percent > 5.0), "15 degrees along it: {tilt}");
}

/// Woven cloth, striped and checked cloth and other rows of marks without longer ones.
#[test]
fn cloth_alone_is_no_ruler() {
    let refused = |photo: &Image<LinearRgb>, what: &str| {
        let found = find_ruler(photo, &Task::new());
        assert!(matches!(found, Err(RulerError::NotFound | RulerError::Short { .. })), "{what}: {found:?}");
    };
    for torn in CLOTHS.iter() {
        refused(&photograph(torn, &[], &CASES[0].photo_from_mm()), "cloth");
    }
    for (name, cloth, pitch) in woven() {
        let photo = Spec::new(cloth, 512, pitch).soft().shoot().photo;
        refused(&photo, name);
    }
    let Size { width, height } = Size::new(900, 700);
    let striped = |of: &(dyn Fn(usize, usize) -> f32 + Sync)| Image::from_fn(width, height, |x, y| LinearRgb([of(x, y); 3]));
    refused(&striped(&|x, _| if x % 6 < 2 { 0.1 } else { 0.5 }), "stripes");
    refused(&striped(&|x, _| if x % 6 < 2 || x % 30 < 4 { 0.1 } else { 0.5 }), "stripes, every fifth broader");
    refused(&striped(&|x, y| if (x % 5 < 2) != (y % 5 < 2) { 0.1 } else { 0.5 }), "small checks");
    refused(&striped(&|x, y| if x % 5 < 2 && y % 60 < 20 { 0.1 } else { 0.5 }), "rows of stitches of one length");
}
