//! Colours of placements against cloth made in code, whose colour is known at every texel.

mod made;

use made::{PatchMaker, color_coding, file, flat, height_coding, picture, picture16};
use tatter_core::channel::Channel;
use tatter_core::color::{Cdl, Lab, ciede2000, encode_srgb};
use tatter_core::image::{Coding, Layout, LinearRgb, Stored};
use tatter_core::model::{ChannelRule, Edge, Match, MatchMode, Patch, Placement, Relief};
use tatter_core::rng::value_noise;
use tatter_core::rule::Rule;
use tatter_core::task::Task;
use tatter_garment::build::{BuildReport, BuildSettings, RimDifference, build, rim_differences};
use tatter_garment::place::Placed;

const SIDE: usize = 512;
const SPAN_MM: f32 = 100.0;
const PATCH_MM: f32 = 40.0;
const RADIUS_MM: f32 = 12.0;

const INDIGO: [f32; 3] = [0.05, 0.09, 0.20];
const MADDER: [f32; 3] = [0.36, 0.05, 0.04];
const OCHRE: [f32; 3] = [0.42, 0.26, 0.10];
const WHITE: [f32; 3] = [0.74, 0.72, 0.68];
const BLACK: [f32; 3] = [0.012, 0.012, 0.013];

/// Light and shade of threads, mean about 1.
fn shade(seed: u64, x_mm: f32, y_mm: f32) -> f32 {
    1.0 + 0.25 * value_noise(seed, 2.0 * x_mm, 2.0 * y_mm)
}

/// Cloth of a colour, with a hole in the middle crossed by bare white threads, and its own colour recorded.
fn torn(color: [f32; 3]) -> Patch {
    let cloth = move |x: f32, y: f32| {
        let bare = x.hypot(y) < 5.0 && (x - 2.0 * (x / 2.0).round()).abs() < 0.5;
        let own = if bare { WHITE } else { color };
        own.map(|v| v * shade(1, x, y))
    };
    let maker = PatchMaker::new(512, PATCH_MM).disc(RADIUS_MM, 1.0).color(cloth).unit(Channel::Roughness, |_, _| 0.6);
    Patch { cloth_color: Some(LinearRgb(color)), ..maker.patch() }
}

/// A garment's base colour from a function of the place in mm.
fn cloth(color: impl Fn(f32, f32) -> [f32; 3]) -> Stored {
    let mm = SPAN_MM / SIDE as f32;
    picture(SIDE, Layout::Rgb, |x, y, c| {
        let (x, y) = (x as f32 * mm, y as f32 * mm);
        encode_srgb(color(x, y)[c] * shade(9, x, y)).clamp(0.0, 1.0)
    })
}

#[expect(clippy::unwrap_used, reason = "a build that fails is a failed test")]
fn lay(before: &Stored, patch: &Patch, placements: &[Placement]) -> (Stored, BuildReport) {
    let garment = flat(vec![file(SIDE, &[(Channel::BaseColor, color_coding())])], SPAN_MM);
    let mut pictures = vec![vec![before.clone()]];
    let placed: Vec<Placed<'_>> = placements.iter().map(|placement| Placed { placement, patch }).collect();
    let report = build(&garment, &mut pictures, &placed, &BuildSettings::default(), &Task::new()).unwrap();
    (pictures.remove(0).remove(0), report)
}

/// What is measured is the patch's own cloth out to the rim of its cover, which a seam leaves to the garment.
const OUT_TO_ITS_RIM: Edge = Edge::Soft;

fn placement(id: &str, u: f32, v: f32) -> Placement {
    let matching = Match { edge: OUT_TO_ITS_RIM, ..Match::default() };
    Placement { matching, ..made::placement(id, u, v) }
}

fn matched(mode: MatchMode) -> Placement {
    let wide = placement("a", 0.5, 0.5);
    Placement { matching: Match { mode: Some(mode), ..wide.matching }, ..wide }
}

/// Mean linear colour of the texels whose distance from a centre (mm) and angle (turns) are in range.
fn mean(picture: &Stored, [cx, cy]: [f32; 2], distance: (f32, f32), angle: (f32, f32)) -> Lab {
    let (mut sum, mut count) = ([0.0f64; 3], 0.0);
    let mm = SPAN_MM / SIDE as f32;
    let near = |c: f32| ((c - distance.1) / mm).max(0.0) as usize..(((c + distance.1) / mm).ceil() as usize).min(SIDE);
    for y in near(cy) {
        for x in near(cx) {
            let (dx, dy) = ((x as f32 + 0.5) * mm - cx, (y as f32 + 0.5) * mm - cy);
            let turn = dy.atan2(dx) / std::f32::consts::TAU + 0.5;
            let d = dx.hypot(dy);
            if d >= distance.0 && d < distance.1 && turn >= angle.0 && turn < angle.1 {
                let color = picture.color_at(x, y, &color_coding()).0;
                (0..3).for_each(|c| sum[c] += f64::from(color[c]));
                count += 1.0;
            }
        }
    }
    Lab::from(LinearRgb(sum.map(|s| (s / count) as f32)))
}

/// Median CIEDE2000 over sixteen sectors between the rim of what was laid and the cloth just outside it.
fn rim(picture: &Stored, centre: [f32; 2]) -> f32 {
    let mut far: Vec<f32> = (0..16)
        .map(|i| (i as f32 / 16.0, (i + 1) as f32 / 16.0))
        .map(|sector| {
            let inside = mean(picture, centre, (RADIUS_MM - 3.0, RADIUS_MM - 0.6), sector);
            ciede2000(inside, mean(picture, centre, (RADIUS_MM + 0.6, RADIUS_MM + 3.0), sector))
        })
        .collect();
    far.sort_by(f32::total_cmp);
    far[far.len() / 2]
}

const MIDDLE: [f32; 2] = [50.0, 50.0];

#[test]
fn the_rim_of_any_cloth_meets_any_cloth() {
    for own in [INDIGO, MADDER, OCHRE, WHITE, BLACK] {
        let patch = torn(own);
        for under in [INDIGO, MADDER, OCHRE, WHITE, BLACK] {
            let (after, report) = lay(&cloth(|_, _| under), &patch, &[placement("a", 0.5, 0.5)]);
            let far = rim(&after, MIDDLE);
            assert!(far <= 1.5, "{own:?} on {under:?}: ΔE00 {far} (design 7: median at most 1.5)");
            let said = report.placements[0].rim_difference.expect("cloth was compared");
            assert!((said - far).abs() < 1.0, "the report says {said}, measured {far}");
        }
        let (plain, _) = lay(&cloth(|_, _| if own == MADDER { WHITE } else { MADDER }), &patch, &[matched(MatchMode::None)]);
        assert!(rim(&plain, MIDDLE) > 10.0, "without a match the colours clash");
    }
}

#[test]
fn bare_threads_stay_white_while_the_cloth_turns() {
    for under in [MADDER, OCHRE, BLACK, INDIGO] {
        let (after, _) = lay(&cloth(|_, _| under), &torn(INDIGO), &[matched(MatchMode::Redye)]);
        // The bare thread through the middle is a millimetre wide.
        let core = mean(&after, MIDDLE, (0.0, 0.35), (0.0, 1.0));
        let white = ciede2000(core, Lab::from(LinearRgb(WHITE.map(|v| v * shade(1, 0.0, 0.0)))));
        assert!(white < 2.5, "on {under:?}: bare fibre is ΔE {white} from white");
    }
}

#[test]
fn on_its_own_cloth_a_patch_does_not_change() {
    for own in [INDIGO, WHITE, BLACK] {
        let before = cloth(|_, _| own);
        let ([plain, dyed], _) =
            ([MatchMode::None, MatchMode::Redye].map(|mode| lay(&before, &torn(own), &[matched(mode)]).0), ());
        let changed: Vec<f32> = (0..SIDE * SIDE)
            .flat_map(|i| [0, 1, 2].map(|c| (plain.value(i % SIDE, i / SIDE, c) - dyed.value(i % SIDE, i / SIDE, c)).abs()))
            .map(|by| (255.0 * by).round())
            .collect();
        let worst = changed.iter().copied().fold(0.0, f32::max);
        let covered = std::f32::consts::PI * (RADIUS_MM * SIDE as f32 / SPAN_MM).powi(2);
        let ordinary = changed.iter().sum::<f32>() / (3.0 * covered);
        // The two cloths' shades differ, place by place, and the patch takes those of its surroundings.
        assert!(ordinary <= 2.0 && worst <= 8.0, "{own:?}: changed by {ordinary} codes on average, {worst} at most");
    }
}

#[test]
fn each_placement_meets_the_cloth_where_it_lies() {
    let faded = |x: f32, _: f32| [0, 1, 2].map(|c| INDIGO[c] * (1.0 + 2.0 * x / SPAN_MM));
    let two = [placement("dark", 0.25, 0.5), placement("pale", 0.75, 0.5)];
    let (after, _) = lay(&cloth(faded), &torn(OCHRE), &two);
    for centre in [[25.0, 50.0], [75.0, 50.0]] {
        let whole = |from: f32, to: f32| mean(&after, centre, (from, to), (0.0, 1.0));
        let far = ciede2000(whole(RADIUS_MM - 3.0, RADIUS_MM - 0.6), whole(RADIUS_MM + 0.6, RADIUS_MM + 3.0));
        assert!(far <= 1.5, "at {centre:?}: ΔE00 {far}");
    }
}

/// What the measure of the crate says of a finished picture.
#[expect(clippy::unwrap_used, reason = "a rim that cannot be measured is a failed test")]
fn measured(after: &Stored, patch: &Patch) -> RimDifference {
    let garment = flat(vec![file(SIDE, &[(Channel::BaseColor, color_coding())])], SPAN_MM);
    let placement = placement("a", 0.5, 0.5);
    let placed = [Placed { placement: &placement, patch }];
    rim_differences(&garment, &[vec![after.clone()]], &placed, &Task::new()).unwrap()[0].unwrap()
}

#[test]
fn a_fade_across_one_placement_is_followed_around_its_rim() {
    // From indigo to three and a half times its light over the placement: CIELAB lightness 33 to 59.
    let faded = |x: f32, _: f32| INDIGO.map(|v| v * (1.0 + 2.5 * ((x - 38.0) / 24.0).clamp(0.0, 1.0)));
    for own in [OCHRE, INDIGO, WHITE] {
        let patch = torn(own);
        let before = cloth(faded);
        let (after, _) = lay(&before, &patch, &[placement("a", 0.5, 0.5)]);
        // The truth is the cloth that lay there: the fade itself differs over the rim.
        let band = |picture: &Stored, i: usize| {
            let sector = (i as f32 / 16.0, (i + 1) as f32 / 16.0);
            mean(picture, MIDDLE, (RADIUS_MM - 3.0, RADIUS_MM - 0.6), sector)
        };
        let mut far: Vec<f32> = (0..16).map(|i| ciede2000(band(&after, i), band(&before, i))).collect();
        far.sort_by(f32::total_cmp);
        assert!(far[8] <= 1.5 && far[15] <= 4.0, "{own:?}: ΔE00 {far:?} (design 7: median at most 1.5)");
        let said = measured(&after, &patch).median;
        assert!((said - rim(&after, MIDDLE)).abs() < 1.0, "{own:?}: measured {said}, sectors say {}", rim(&after, MIDDLE));
        let (plain, _) = lay(&before, &patch, &[matched(MatchMode::None)]);
        assert!(measured(&plain, &patch).median > 6.0, "{own:?}: without a match it differs: {:?}", measured(&plain, &patch));
    }
}

#[test]
fn pale_weft_of_the_patch_does_not_stand_around_it_on_cloth_without() {
    // White weft shows in a quarter of the patch's cloth, as on denim.
    let denim = |x: f32, y: f32| {
        let weft = x.hypot(y) < 5.0 || ((x - x.floor()) < 0.5 && (y - y.floor()) < 0.5);
        if weft { WHITE } else { INDIGO }
    };
    let maker = PatchMaker::new(512, PATCH_MM).disc(RADIUS_MM, 1.0).color(denim).unit(Channel::Roughness, |_, _| 0.6);
    let patch = Patch { cloth_color: Some(LinearRgb(INDIGO)), ..maker.patch() };
    for under in [MADDER, BLACK, INDIGO] {
        let (after, _) = lay(&cloth(|_, _| under), &patch, &[placement("a", 0.5, 0.5)]);
        let far = rim(&after, MIDDLE);
        assert!(far <= 1.5, "on {under:?}: ΔE00 {far} (design 7: median at most 1.5)");
        let white = ciede2000(mean(&after, MIDDLE, (0.0, 3.0), (0.0, 1.0)), Lab::from(LinearRgb(WHITE)));
        assert!(white < 2.5, "on {under:?}: the bare weft of the injury is ΔE {white} from white");
    }
}

#[test]
fn a_print_in_the_ring_is_not_followed_and_is_told() {
    let printed = |x: f32, y: f32| if x - 50.0 > 7.0 && (y - 50.0).abs() < 40.0 { WHITE } else { INDIGO };
    let (after, report) = lay(&cloth(printed), &torn(OCHRE), &[placement("a", 0.5, 0.5)]);
    let left = (0.0, 0.2);
    let inside = mean(&after, MIDDLE, (RADIUS_MM - 3.0, RADIUS_MM - 0.6), left);
    let far = ciede2000(inside, mean(&after, MIDDLE, (RADIUS_MM + 0.6, RADIUS_MM + 3.0), left));
    assert!(far <= 2.0, "it is indigo as the larger part: ΔE00 {far}");
    assert!(report.placements[0].notes.iter().any(|note| note.code == "match-two-cloths"), "{:?}", report.placements[0].notes);
}

#[test]
fn fit_moves_every_colour_and_strength_goes_part_of_the_way() {
    let under = cloth(|_, _| MADDER);
    let (fit, _) = lay(&under, &torn(INDIGO), &[matched(MatchMode::Fit)]);
    assert!(rim(&fit, MIDDLE) <= 1.5, "ΔE00 {}", rim(&fit, MIDDLE));
    let half = Match { strength: 0.5, ..matched(MatchMode::Redye).matching };
    let (half, _) = lay(&under, &torn(INDIGO), &[Placement { matching: half, ..placement("a", 0.5, 0.5) }]);
    let (full, _) = lay(&under, &torn(INDIGO), &[matched(MatchMode::Redye)]);
    let red = |picture: &Stored| mean(picture, MIDDLE, (RADIUS_MM - 3.0, RADIUS_MM - 0.6), (0.0, 1.0)).a;
    assert!(red(&half) > 5.0 && red(&half) < red(&full) - 5.0, "half way: {} of {}", red(&half), red(&full));
}

#[test]
fn without_a_known_cloth_nothing_changes() {
    let under = cloth(|_, _| MADDER);
    let unknown = Patch { cloth_color: None, ..torn(INDIGO) };
    let (by_itself, report) = lay(&under, &unknown, &[placement("a", 0.5, 0.5)]);
    let (kept, _) = lay(&under, &torn(INDIGO), &[matched(MatchMode::None)]);
    assert_eq!(by_itself, kept, "the patch keeps its colour");
    assert!(report.placements[0].notes.iter().any(|note| note.code == "match-unknown"), "{:?}", report.placements[0].notes);
}

#[test]
fn a_grade_is_applied_last() {
    let grade = Cdl { slope: [0.5; 3], saturation: 0.0, ..Cdl::default() };
    let graded = Match { grade: Some(grade), ..matched(MatchMode::None).matching };
    let (after, _) = lay(&cloth(|_, _| INDIGO), &torn(MADDER), &[Placement { matching: graded, ..placement("a", 0.5, 0.5) }]);
    let got = after.color_at(SIDE / 2 + 40, SIDE / 2, &color_coding()).0;
    assert!((got[0] - got[1]).abs() < 0.01 && (got[0] - got[2]).abs() < 0.01, "grey: {got:?}");
    // Half of madder's luminance, by its shade.
    let want = 0.5 * (0.2126 * MADDER[0] + 0.7152 * MADDER[1] + 0.0722 * MADDER[2]);
    assert!((got[0] / want - 1.0).abs() < 0.3, "{} for {want} in the threads' shade", got[0]);
}

#[test]
fn a_mark_does_to_the_garment_what_it_did_to_its_own_cloth() {
    // White cloth, halved in the middle by a stain: on indigo it halves indigo and leaves the rest.
    let stained = |x: f32, y: f32| WHITE.map(|v| if x.hypot(y) < 6.0 { 0.5 * v } else { v });
    let patch = PatchMaker::new(512, PATCH_MM).disc(RADIUS_MM, 1.0).color(stained).patch();
    let patch = Patch { cloth_color: Some(LinearRgb(WHITE)), ..patch };
    let mut mark = placement("a", 0.5, 0.5);
    mark.rules[Channel::BaseColor] = Some(ChannelRule { rule: Rule::Multiply, strength: 1.0 });
    let before = cloth(|_, _| INDIGO);
    let (after, _) = lay(&before, &patch, &[mark]);
    let ratio = |x: usize| after.color_at(x, SIDE / 2, &color_coding()).0[2] / before.color_at(x, SIDE / 2, &color_coding()).0[2];
    assert!((ratio(SIDE / 2) - 0.5).abs() < 0.03, "half the light in the stain: {}", ratio(SIDE / 2));
    assert!((ratio(SIDE / 2 + 45) - 1.0).abs() < 0.03, "as it was beside it: {}", ratio(SIDE / 2 + 45));
}

#[test]
fn roughness_meets_the_cloth_around() {
    let roles = [(Channel::BaseColor, color_coding())];
    let garment = flat(vec![file(SIDE, &roles), file(SIDE, &[(Channel::Roughness, Coding::default())])], SPAN_MM);
    let mut pictures = vec![vec![cloth(|_, _| MADDER), picture(SIDE, Layout::Gray, |_, _, _| 0.8)]];
    let (patch, placement) = (torn(INDIGO), placement("a", 0.5, 0.5));
    let placed = [Placed { placement: &placement, patch: &patch }];
    build(&garment, &mut pictures, &placed, &BuildSettings::default(), &Task::new()).expect("builds");
    let got = pictures[0][1].value(SIDE / 2 + 45, SIDE / 2, 0);
    assert!((got - 0.8).abs() < 0.01, "as dull as the cloth around: {got}");
}

/// Threads 1.6 mm apart both ways, from -`by` to `by` mm.
fn threads(x: f32, y: f32, by: f32) -> f32 {
    let wave = |v: f32| (v * std::f32::consts::TAU / 1.6).sin();
    0.5 * by * (wave(x) + wave(y))
}

/// Heights along the patch's middle line, mm: from the rim, and the deepest of the hole.
#[expect(clippy::unwrap_used, reason = "a build that fails is a failed test")]
fn laid_relief(under_mm: f32, relief: Relief) -> (f32, f32) {
    let roles = [(Channel::BaseColor, color_coding())];
    let garment = flat(vec![file(SIDE, &roles), file(SIDE, &[(Channel::Height, height_coding())])], SPAN_MM);
    let mm = SPAN_MM / SIDE as f32;
    let range = height_coding().height_range;
    let heights = picture16(SIDE, Layout::Gray, |x, y, _| {
        (threads(x as f32 * mm, y as f32 * mm, under_mm) - range.low_mm) / range.span_mm()
    });
    let mut pictures = vec![vec![cloth(|_, _| MADDER), heights]];
    let hole = |x: f32, y: f32| if x.hypot(y) < 5.0 { -0.9 } else { threads(x, y, 0.2) };
    let color = |x: f32, y: f32| if x.hypot(y) < 5.0 { WHITE } else { INDIGO };
    let maker = PatchMaker::new(512, PATCH_MM).disc(RADIUS_MM, 1.0).color(color).height(hole);
    let patch = Patch { cloth_color: Some(LinearRgb(INDIGO)), ..maker.patch() };
    let matching = Match { relief, edge: OUT_TO_ITS_RIM, ..Match::default() };
    let placement = Placement { matching, ..placement("a", 0.5, 0.5) };
    build(&garment, &mut pictures, &[Placed { placement: &placement, patch: &patch }], &BuildSettings::default(), &Task::new())
        .unwrap();
    let at = |x: usize, y: usize| range.low_mm + pictures[0][1].value(x, y, 0) * range.span_mm();
    let texels = |low_mm: f32, high_mm: f32| (SIDE / 2 + (low_mm / mm) as usize)..(SIDE / 2 + (high_mm / mm) as usize);
    let rim: Vec<f32> =
        (SIDE / 2 - 12..SIDE / 2 + 12).flat_map(|y| texels(7.0, 11.0).map(move |x| (x, y))).map(|(x, y)| at(x, y)).collect();
    let mean = rim.iter().sum::<f32>() / rim.len() as f32;
    let stray = (rim.iter().map(|h| (h - mean).powi(2)).sum::<f32>() / rim.len() as f32).sqrt();
    let deepest = texels(0.0, 4.0).map(|x| at(x, SIDE / 2)).fold(f32::MAX, f32::min);
    (stray, deepest)
}

#[test]
fn relief_is_as_deep_as_the_cloths_and_a_hole_no_deeper_than_it_is_thick() {
    // Each sine strays by its amplitude over √2, two of half the amplitude by half of the amplitude.
    for under in [0.1, 0.2, 0.3] {
        let (stray, deepest) = laid_relief(under, Relief::Fit);
        assert!((stray / (0.5 * under) - 1.0).abs() < 0.12, "threads of ±{under} mm: laid ones stray by {stray} mm");
        // A face from -under to under: the back lies three times as deep as the middle plane.
        assert!(deepest < -1.5 * under && deepest > -3.3 * under, "threads of ±{under} mm: the hole is {deepest} mm deep");
    }
    let (stray, deepest) = laid_relief(0.1, Relief::Keep);
    assert!((stray - 0.1).abs() < 0.015 && (deepest + 0.9).abs() < 0.02, "asked for: {stray} mm, {deepest} mm");
    let (stray, deepest) = laid_relief(0.0, Relief::Fit);
    assert!((stray - 0.1).abs() < 0.015 && deepest > -0.65, "beside cloth without relief: {stray} mm, {deepest} mm");
}

/// Laid with an edge on indigo with a white stripe beside the injury, within the cover.
fn laid_beside_a_stripe(edge: Edge) -> (Stored, Stored) {
    let before = cloth(|x, _| if (57.5..58.5).contains(&x) { WHITE } else { INDIGO });
    let matching = Match { edge, ..Match::default() };
    let (after, _) = lay(&before, &torn(INDIGO), &[Placement { matching, ..placement("a", 0.5, 0.5) }]);
    (before, after)
}

#[test]
fn a_seam_leaves_the_garment_what_the_injury_does_not_reach() {
    // Texels of the stripe that the cover reaches, from the truth of its disc, clear of its soft rim.
    let mm = SPAN_MM / SIDE as f32;
    let stripe: Vec<(usize, usize)> = (0..SIDE * SIDE)
        .map(|i| (i % SIDE, i / SIDE))
        .filter(|&(x, y)| {
            let (dx, dy) = ((x as f32 + 0.5) * mm - 50.0, (y as f32 + 0.5) * mm - 50.0);
            (7.7..8.3).contains(&dx) && dx.hypot(dy) < RADIUS_MM - 1.5
        })
        .collect();
    let kept = |edge| {
        let (before, after) = laid_beside_a_stripe(edge);
        let same = |&&(x, y): &&(usize, usize)| (0..3).all(|c| before.value(x, y, c).to_bits() == after.value(x, y, c).to_bits());
        let middle = ciede2000(mean(&after, MIDDLE, (0.0, 4.0), (0.0, 1.0)), mean(&before, MIDDLE, (0.0, 4.0), (0.0, 1.0)));
        assert!(middle > 10.0, "{edge:?}: the injury is laid: ΔE00 {middle}");
        stripe.iter().filter(same).count() as f32 / stripe.len() as f32
    };
    let (soft, seam) = (kept(Edge::Soft), kept(Edge::Seam));
    assert!(soft < 0.1 && seam > 0.9, "of the stripe beside the injury stays: soft {soft}, seam {seam}");
}

#[test]
fn two_cloths_are_mixed_over_less_along_a_seam() {
    // Even ochre with a white hole on even madder, its colour kept: what is neither is mixed.
    let before = picture(SIDE, Layout::Rgb, |_, _, c| encode_srgb(MADDER[c]));
    let color = |x: f32, y: f32| if x.hypot(y) < 5.0 { WHITE } else { OCHRE };
    let maker = PatchMaker::new(512, PATCH_MM).disc(RADIUS_MM, 1.0).color(color);
    let patch = Patch { cloth_color: Some(LinearRgb(OCHRE)), ..maker.patch() };
    let mixed = |edge| {
        let matching = Match { edge, strength: 0.0, ..Match::default() };
        let (after, _) = lay(&before, &patch, &[Placement { matching, ..placement("a", 0.5, 0.5) }]);
        let share = |i: usize| (after.color_at(i % SIDE, i / SIDE, &color_coding()).0[1] - MADDER[1]) / (OCHRE[1] - MADDER[1]);
        (0..SIDE * SIDE).filter(|&i| (0.1..0.9).contains(&share(i))).count()
    };
    let (soft, seam) = (mixed(Edge::Soft), mixed(Edge::Seam));
    // A disc's rim 1 mm soft against a cell of a third of that, nearer to the injury.
    assert!(seam > 0 && seam * 3 < soft, "mixed texels: soft {soft}, seam {seam}");
}

/// Coarse uneven cloth on even cloth, in height as in colour: of the patch shows its injury and the fray around it, all else stays the
/// garment's to the bit, on each map the same texels. Source: the truth of the disc that is injured.
#[test]
fn on_cloth_of_another_weave_little_but_the_injury_is_laid() {
    let own = |x: f32, y: f32| if x.hypot(y) < 5.0 { WHITE } else { INDIGO.map(|v| v * (1.0 + 0.5 * value_noise(5, x, y))) };
    let maker = PatchMaker::new(512, PATCH_MM).disc(RADIUS_MM, 1.0).color(own).height(|x, y| threads(x, y, 0.2));
    let patch = Patch { cloth_color: Some(LinearRgb(INDIGO)), ..maker.patch() };
    let files = vec![file(SIDE, &[(Channel::BaseColor, color_coding())]), file(SIDE, &[(Channel::Height, height_coding())])];
    let garment = flat(files, SPAN_MM);
    let before = vec![picture(SIDE, Layout::Rgb, |_, _, c| encode_srgb(MADDER[c])), picture16(SIDE, Layout::Gray, |_, _, _| 0.5)];
    let mut pictures = vec![before.clone()];
    let placement = Placement { matching: Match::default(), ..placement("a", 0.5, 0.5) };
    build(&garment, &mut pictures, &[Placed { placement: &placement, patch: &patch }], &BuildSettings::default(), &Task::new())
        .unwrap();
    let mm = SPAN_MM / SIDE as f32;
    for (map, (before, after)) in before.iter().zip(&pictures[0]).enumerate() {
        let changed = |from: f32, to: f32| {
            let at = |v: usize| (v as f32 + 0.5) * mm - 0.5 * SPAN_MM;
            let ring = || (0..SIDE * SIDE).filter(|i| (from..to).contains(&at(i % SIDE).hypot(at(i / SIDE))));
            let differs =
                |i: &usize| before.value(i % SIDE, i / SIDE, 0).to_bits() != after.value(i % SIDE, i / SIDE, 0).to_bits();
            ring().filter(differs).count() as f32 / ring().count() as f32
        };
        let (injury, fray, cloth) = (changed(0.0, 4.5), changed(5.0, 5.4), changed(7.5, RADIUS_MM));
        assert!(injury > 0.95, "map {map}: the injury is laid: {injury}");
        assert!(fray > 0.8, "map {map}: and what frays around it: {fray}");
        assert!(cloth < 0.01, "map {map}: of the cloth around is laid: {cloth}");
    }
}

/// Two porous cloths over each other would be doubly open: of a matched damage only the injury lets anything through.
#[test]
fn pores_of_intact_cloth_are_the_garments_affair() {
    let maker = PatchMaker::new(512, PATCH_MM).disc(RADIUS_MM, 1.0);
    let bare = |x: f32, y: f32| x.hypot(y) < 5.0;
    let own = move |x: f32, y: f32| if bare(x, y) { WHITE } else { INDIGO }.map(|v| v * shade(1, x, y));
    // A slit across the bare threads, and pores of a sixth of the cloth, thread by thread.
    let open = move |x: f32, y: f32| {
        let pore = x.rem_euclid(0.6) < 0.24 && y.rem_euclid(0.6) < 0.24;
        if (x.abs() < 4.0 && y.abs() < 1.0) || pore { 0.0 } else { 1.0 }
    };
    let patch = Patch { cloth_color: Some(LinearRgb(INDIGO)), ..maker.color(own).unit(Channel::Opacity, open).patch() };
    let shares = [MatchMode::Redye, MatchMode::None].map(|mode| {
        let files =
            vec![file(SIDE, &[(Channel::BaseColor, color_coding())]), file(SIDE, &[(Channel::Opacity, Coding::default())])];
        let garment = flat(files, SPAN_MM);
        let closed = picture(SIDE, Layout::Gray, |_, _, _| 1.0);
        let mut pictures = vec![vec![cloth(|_, _| MADDER), closed]];
        let placement = matched(mode);
        let placed = [Placed { placement: &placement, patch: &patch }];
        build(&garment, &mut pictures, &placed, &BuildSettings::default(), &Task::new()).unwrap();
        let mm = SPAN_MM / SIDE as f32;
        let share = |from: f32, to: f32| {
            let places = (0..SIDE * SIDE).map(|i| (i % SIDE, i / SIDE));
            let at = |v: usize| (v as f32 + 0.5) * mm - 0.5 * SPAN_MM;
            let ring: Vec<f32> = places
                .filter(|&(x, y)| (from..to).contains(&at(x).hypot(at(y))))
                .map(|(x, y)| 1.0 - pictures[0][1].value(x, y, 0))
                .collect();
            ring.iter().sum::<f32>() / ring.len() as f32
        };
        (share(0.0, 1.0), share(8.5, 10.5))
    });
    let [(slit, ring), (plain_slit, plain_ring)] = shares;
    assert!(slit > 0.95 && plain_slit > 0.95, "the slit is open: {slit}, {plain_slit}");
    assert!(plain_ring > 0.05, "as it was woven its pores show: {plain_ring}");
    assert!(ring < 0.01, "matched, the cloth around is as closed as the garment: {ring}");
}
