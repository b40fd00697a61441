//! Cards and sheets on woven cloth, photographed from known places: corners, scale and what is left of perspective.

use std::sync::LazyLock;

use tatter_capture::photo::Homography;
use tatter_capture::plane::{PlaneError, Straight, fill, place, straighten};
use tatter_core::image::{Image, LinearRgb, Rect};
use tatter_core::model::KnownSize;
use tatter_core::stats::quantile;
use tatter_core::task::Task;
use tatter_testkit::cards::{CASES, Case, PHOTO, Torn, cloths};

static CLOTHS: LazyLock<Vec<Torn>> = LazyLock::new(cloths);

/// Pixels off the true corners, whichever is the first; worst.
fn corners_off(straight: &Straight, truth: &Homography, case: &Case) -> f64 {
    let corners = case.laid().corners().map(|c| truth.at(c));
    let off = |k: usize| {
        (0..4)
            .map(|i| {
                let (a, b) = (straight.placed.corners[i], corners[(i + k) % 4]);
                (a[0] - b[0]).hypot(a[1] - b[1])
            })
            .fold(0.0, f64::max)
    };
    (0..4).map(off).fold(f64::INFINITY, f64::min)
}

/// Error of the scale at the middle of the straightened photo, and how far it varies over it, per cent.
fn scale_off(straight: &Straight, truth: &Homography) -> [f64; 2] {
    let mm = truth.inverse().after(&straight.photo_from_straight);
    let (w, h) = (straight.size.width as f64, straight.size.height as f64);
    let at = |u: f64, v: f64| 100.0 * (f64::from(straight.scale.get()) / mm.area_at([u * w, v * h]).sqrt() - 1.0);
    let all = [at(0.1, 0.1), at(0.9, 0.1), at(0.1, 0.9), at(0.9, 0.9)];
    let span = all.into_iter().fold(f64::NEG_INFINITY, f64::max) - all.into_iter().fold(f64::INFINITY, f64::min);
    [at(0.5, 0.5), span]
}

#[test]
fn cards_and_sheets_are_found_and_perspective_goes() {
    for case in &CASES {
        let photo = case.shoot(&CLOTHS[case.cloth]);
        let truth = Homography(case.photo_from_mm()).after(&Homography::IDENTITY);
        let found = place(&photo, case.size, None, &Task::new());
        let placed = found.unwrap_or_else(|error| panic!("{}: {error}", case.what));
        let straight = straighten(placed, PHOTO).unwrap();
        let [scale, span] = scale_off(&straight, &truth);
        let middle = [0.5 * straight.size.width as f64, 0.5 * straight.size.height as f64];
        let unsure = 100.0 * straight.uncertainty_at(middle, PHOTO);
        let corners = corners_off(&straight, &truth, case);
        let text = format!(
            "{}: corners {corners:.3} px, scale {scale:+.3} % (said to {unsure:.3}), over the photo {span:.3} %, {:?}",
            case.what, straight.placed.misfit
        );
        // Shade beside a dark card is nearly as dark as the card.
        let [most_px, most_scale, most_span] = if case.what.starts_with("dark") { [1.3, 0.3, 0.6] } else { [0.3, 0.06, 0.1] };
        assert!(corners < most_px && scale.abs() < most_scale && span < most_span, "{text}");
        assert!(scale.abs() < 2.0 * unsure, "it is as sure as it says: {text}");
        let tilt = straight.placed.misfit.tilt_deg - case.tilt_deg;
        assert!(straight.is_warped() == (case.tilt_deg > 0.0) && tilt.abs() < 1.0, "{text}");
    }
}

/// What the straightened photo shows in the card's place is cloth: as bright as the cloth around, and no brighter anywhere.
#[test]
fn the_card_gives_way_to_cloth() {
    let case = &CASES[2];
    let photo = case.shoot(&CLOTHS[case.cloth]);
    let straight = straighten(place(&photo, case.size, None, &Task::new()).unwrap(), PHOTO).unwrap();
    let shown = straight.show(&photo);
    let filled = fill(&shown, &straight.aside);
    let light = |image: &Image<LinearRgb>, inside: bool| {
        let all = image.texels().iter().zip(straight.aside.texels()).filter(|(_, aside)| **aside == inside);
        let mut light: Vec<f32> = all.map(|(c, _)| c.luminance()).collect();
        [0.1, 0.5, 0.9].map(|share| quantile(&mut light, share))
    };
    let (cloth, card, made) = (light(&shown, false), light(&shown, true), light(&filled, true));
    assert!(card[2] > 1.8 * cloth[1], "the card is bright: {card:?}, cloth {cloth:?}");
    for k in 0..3 {
        assert!((made[k] / cloth[k] - 1.0).abs() < 0.15, "tenth, half, nine tenths: {made:?}, cloth {cloth:?}");
    }
}

#[test]
fn what_is_no_card_is_refused() {
    let photo = CASES[0].shoot(&CLOTHS[0]);
    let refused = |photo: &Image<LinearRgb>, size, corners| place(photo, size, corners, &Task::new()).unwrap_err();
    let unlike = refused(&photo, KnownSize::A6, None);
    assert!(matches!(unlike, PlaneError::Unlike { aspect, .. } if aspect.abs() > 5.0), "a card is no sheet of paper: {unlike}");
    let half = photo.crop(Rect::new(0, 0, 420, 960));
    let cut_off = refused(&half, KnownSize::Card, None);
    assert!(matches!(cut_off, PlaneError::CutOff { .. }), "half a card: {cut_off}");
    let bare = photo.crop(Rect::new(0, 620, 700, 340));
    let none = refused(&bare, KnownSize::Card, None);
    assert!(matches!(none, PlaneError::NotFound { .. } | PlaneError::CutOff { .. }), "cloth alone: {none}");
    let small = Some([[100.0, 100.0], [143.0, 100.0], [143.0, 127.0], [100.0, 127.0]]);
    let unsure = refused(&photo, KnownSize::Card, small);
    assert!(matches!(unsure, PlaneError::TooSmall { percent, .. } if percent > 1.0), "43 pixels by hand: {unsure}");
    let line = Some([[100.0, 100.0], [300.0, 100.0], [500.0, 100.0], [500.0, 300.0]]);
    assert_eq!(refused(&photo, KnownSize::Card, line), PlaneError::Corners, "three corners in a line");
    let outside = Some([[-40.0, 100.0], [502.0, 100.0], [502.0, 442.0], [-40.0, 442.0]]);
    assert!(matches!(refused(&photo, KnownSize::Card, outside), PlaneError::CutOff { .. }), "a corner outside");
}
