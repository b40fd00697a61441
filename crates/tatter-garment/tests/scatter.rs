//! Many placements from a rule: where they lie, and what they keep to.

mod made;

use glam::DVec3;
use made::{dressed, quad};
use tatter_core::angle::Angle;
use tatter_core::image::{Image, Unit};
use tatter_core::mesh::Part;
use tatter_core::model::{Density, Garment, Scatter, Share, Spot};
use tatter_core::rng::Rng;
use tatter_core::task::Task;
use tatter_core::units::Mm;
use tatter_garment::scatter::{ScatterError, ScatterGround, ScatterInput, Scattered, scatter, scatter_on};
use tatter_garment::surface::Surface;

/// 400 x 200 mm; the right half has twice the texture of the left, so that a spread by UV would put four times as many there.
fn uneven() -> Garment {
    let mut part = Part { name: "back".into(), ..Part::default() };
    for i in 0..20 {
        let (x0, x1) = (20.0 * i as f32, 20.0 * (i + 1) as f32);
        let u = |x: f32| if x <= 200.0 { 0.05 + 0.3 * x / 200.0 } else { 0.35 + 0.6 * (x - 200.0) / 200.0 };
        quad(
            &mut part,
            [[x0, 0.0, 0.0], [x1, 0.0, 0.0], [x1, 200.0, 0.0], [x0, 200.0, 0.0]],
            [[u(x0), 0.9], [u(x1), 0.9], [u(x1), 0.1], [u(x0), 0.1]],
            [0.0, 0.0, 1.0],
        );
    }
    dressed(part)
}

fn rule(count: usize) -> Scatter {
    Scatter {
        id: "moths".into(),
        patches: vec![Share { patch: "moth".into(), weight: 1.0 }],
        count,
        seed: 5,
        ..Scatter::default()
    }
}

#[expect(clippy::unwrap_used, reason = "a scatter that fails is a failed test")]
fn spread(garment: &Garment, rule: &Scatter, radius: f64) -> Vec<Scattered> {
    let radii = vec![radius; rule.patches.len()];
    let pictures = rule.density.iter().map(|_| None).collect::<Vec<_>>();
    scatter(garment, &ScatterInput { rule, radius_mm: &radii, pictures: &pictures }, &Task::new()).unwrap()
}

#[expect(clippy::unwrap_used, reason = "a place that is not found is a failed test")]
fn points(garment: &Garment, found: &[Scattered]) -> Vec<DVec3> {
    let surface = Surface::new(garment);
    found.iter().map(|s| surface.locate(&s.spot, garment.mm_per_unit).unwrap().point).collect()
}

#[test]
fn they_lie_by_true_area_and_far_apart() {
    let garment = uneven();
    let places = points(&garment, &spread(&garment, &rule(200), 0.5));
    assert_eq!(places.len(), 200, "all fit");
    let left = places.iter().filter(|p| p.x < 200.0).count();
    // Halves of one area; a blue-noise spread varies less than the binomial deviation of 7.
    assert!((86..=114).contains(&left), "{left} of 200 lie on half of the cloth");
    let mut nearest: Vec<f64> = places
        .iter()
        .enumerate()
        .map(|(i, p)| places.iter().enumerate().filter(|(j, _)| *j != i).map(|(_, q)| p.distance(*q)).fold(f64::MAX, f64::min))
        .collect();
    nearest.sort_by(f64::total_cmp);
    // Lagae, Dutré, "A Comparison of Methods for Generating Poisson Disk Distributions", 2008: the largest distance n points
    // can keep is sqrt(2 / (sqrt(3) n)) of the side. White noise has a mean of half the square root of the area per point,
    // 0.465 of that; blue noise is well above.
    let most = (2.0 / (3f64.sqrt() * 200.0) * 400.0 * 200.0).sqrt();
    let mean = nearest.iter().sum::<f64>() / 200.0 / most;
    assert!(mean > 0.68, "the nearest neighbour is {mean:.3} of the largest possible away on average");
    assert!(nearest[0] / most > 0.4, "and {:.3} at least", nearest[0] / most);
}

/// Mean power of points on the cloth of [`uneven`] over frequencies of `low..high`, in the one that points in a square grid would have; of
/// whole waves across each side, of which the cloth's outline has none. White noise has 1 everywhere (Ulichney, "Dithering with Blue
/// Noise", 1988).
fn power(points: &[[f64; 2]], low: f64, high: f64) -> f64 {
    let (width, height) = (400.0, 200.0);
    let own = (points.len() as f64 / (width * height)).sqrt();
    let (mut sum, mut count) = (0.0, 0.0);
    for (a, b) in (-60..=60).flat_map(|a| (0..=30).map(move |b| (f64::from(a) / width, f64::from(b) / height))) {
        if (low..high).contains(&(a.hypot(b) / own)) {
            let turns = |p: &[f64; 2]| (std::f64::consts::TAU * (a * p[0] + b * p[1])).sin_cos();
            let (sin, cos) = points.iter().map(turns).fold((0.0, 0.0), |sum, one| (sum.0 + one.0, sum.1 + one.1));
            sum += (sin * sin + cos * cos) / points.len() as f64;
            count += 1.0;
        }
    }
    sum / count
}

#[test]
fn their_spectrum_is_blue() {
    let garment = uneven();
    let (mut white, mut blue) = ([0.0; 2], [0.0; 2]);
    for seed in 1..=4 {
        let found = spread(&garment, &Scatter { seed, ..rule(400) }, 0.5);
        let places: Vec<[f64; 2]> = points(&garment, &found).iter().map(|p| [p.x, p.y]).collect();
        let mut random = Rng::new(seed);
        let any: Vec<[f64; 2]> = (0..400).map(|_| [400.0 * f64::from(random.unit()), 200.0 * f64::from(random.unit())]).collect();
        for (sums, points) in [(&mut blue, &places), (&mut white, &any)] {
            sums[0] += power(points, 0.01, 0.6) / 4.0;
            sums[1] += power(points, 0.85, 1.25) / 4.0;
        }
    }
    assert!(white.iter().all(|p| (p - 1.0).abs() < 0.2), "the measure sees white noise: {white:.2?}");
    assert!(blue[0] < 0.3 && blue[1] > 1.2, "little below their own frequency, most about it: {blue:.2?}");
}

#[test]
fn a_larger_count_adds_and_the_same_seed_repeats() {
    let garment = uneven();
    let few = spread(&garment, &rule(15), 3.0);
    let more = spread(&garment, &rule(40), 3.0);
    assert_eq!(few[..], more[..few.len()], "the first fifteen stay");
    assert_eq!(more, spread(&garment, &rule(40), 3.0), "again the same");
    let other = spread(&garment, &Scatter { seed: 6, ..rule(15) }, 3.0);
    assert_ne!(few, other, "another seed, other places");
}

#[test]
fn covers_do_not_overlap_unless_asked_and_keep_off_seams() {
    let garment = uneven();
    let crowded = Scatter {
        margin: Mm(10.0),
        scale: [0.5, 1.5],
        turn: [Angle::degrees(-20.0), Angle::degrees(20.0)],
        mirror: true,
        ..rule(400)
    };
    let found = spread(&garment, &crowded, 12.0);
    assert!(found.len() > 20 && found.len() < 400, "only as many as fit: {}", found.len());
    let places = points(&garment, &found);
    for (i, (a, p)) in found.iter().zip(&places).enumerate() {
        let radius = 12.0 * f64::from(a.scale);
        let inside = p.x.min(400.0 - p.x).min(p.y).min(200.0 - p.y);
        assert!(inside >= 10.0 + radius - 0.01, "{}: {inside} mm from the edge", a.number);
        assert!((0.5..=1.5).contains(&a.scale) && a.turn.to_degrees().abs() <= 20.0, "within its ranges");
        for (b, q) in found.iter().zip(&places).skip(i + 1) {
            let least = radius + 12.0 * f64::from(b.scale);
            assert!(p.distance(*q) >= least - 0.01, "{} and {} overlap", a.number, b.number);
        }
    }
    assert!(found.iter().any(|s| s.mirror) && found.iter().any(|s| !s.mirror), "about half are mirrored");
    let asked = Scatter { overlap: true, margin: Mm(0.0), ..crowded };
    assert_eq!(spread(&garment, &asked, 12.0).len(), 400, "all of them when they may overlap");
}

#[test]
fn densities_draw_them() {
    let garment = uneven();
    // Falling evenly from the bottom to nothing half way up: the mean height of a triangle, a third of its base from the foot.
    let low = Scatter { density: vec![Density::Height([0.0, 0.5])], overlap: true, ..rule(300) };
    let places = points(&garment, &spread(&garment, &low, 1.0));
    assert!(places.iter().all(|p| p.y < 100.0), "none in the upper half");
    let mean = places.iter().map(|p| p.y).sum::<f64>() / places.len() as f64;
    assert!((25.0..45.0).contains(&mean), "mean height {mean}, a straight fall has 33");
    let hem = Scatter { density: vec![Density::Edges(Mm(30.0))], overlap: true, ..rule(100) };
    for p in points(&garment, &spread(&garment, &hem, 1.0)) {
        let inside = p.x.min(400.0 - p.x).min(p.y).min(200.0 - p.y);
        assert!(inside < 30.0, "{p} lies {inside} mm inside");
    }
    let rule = Scatter { density: vec![Density::Picture("right.png".into())], ..rule(60) };
    let picture = Image::from_fn(64, 64, |x, _| Unit(if x >= 32 { 1.0 } else { 0.0 }));
    let input = ScatterInput { rule: &rule, radius_mm: &[1.0], pictures: &[Some(picture)] };
    let found = scatter(&garment, &input, &Task::new()).unwrap();
    for s in &found {
        let Spot::Uv { at, .. } = s.spot else { panic!("one part, told by UV") };
        assert!(at[0] > 0.48, "black keeps them away: u {}", at[0]);
    }
}

#[test]
fn a_line_gathers_them_and_parts_keep_them() {
    let garment = uneven();
    // Along the lower edge 20 mm up: v = 0.9 - 0.8 * 20 / 200.
    let along = Scatter { along: vec![[0.06, 0.82], [0.94, 0.82]], spread: Mm(6.0), ..rule(30) };
    for p in points(&garment, &spread(&garment, &along, 2.0)) {
        assert!((p.y - 20.0).abs() < 6.1, "{p} lies off the line");
    }
    let nowhere = Scatter { keep_off: vec!["back".into()], ..rule(3) };
    let input = ScatterInput { rule: &nowhere, radius_mm: &[1.0], pictures: &[] };
    assert_eq!(scatter(&garment, &input, &Task::new()), Err(ScatterError::NoCloth), "the only part is excluded");
    let unknown = Scatter { only: vec!["sleve".into()], ..rule(3) };
    let input = ScatterInput { rule: &unknown, radius_mm: &[1.0], pictures: &[] };
    assert!(scatter(&garment, &input, &Task::new()).unwrap_err().to_string().contains("sleve"), "the unknown part is named");
}

/// Weights are shares (a made-up list of 3 to 1, so about 75 of 100; the binomial deviation is 4.3).
#[test]
fn patches_are_drawn_by_weight() {
    let garment = uneven();
    let mut weighted = rule(100);
    weighted.patches = vec![Share { patch: "moth".into(), weight: 3.0 }, Share { patch: "burn".into(), weight: 1.0 }];
    let moths = spread(&garment, &weighted, 2.0).iter().filter(|s| s.patch == 0).count();
    assert!((62..=88).contains(&moths), "{moths} of 100");
}

#[test]
fn a_margin_keeps_off_trims_that_lie_on_the_cloth() {
    // A belt loop of 20 x 20 mm in the middle of the back, half a millimetre above it, in the same part.
    let trimmed = |z: f32, normal: f32| {
        let mut garment = uneven();
        let mut part = garment.mesh.take().map(|mut mesh| mesh.parts.remove(0)).unwrap_or_default();
        let corners = [[90.0, 90.0, z], [110.0, 90.0, z], [110.0, 110.0, z], [90.0, 110.0, z]];
        quad(&mut part, corners, [[0.02, 0.05], [0.04, 0.05], [0.04, 0.03], [0.02, 0.03]], [0.0, 0.0, normal]);
        dressed(part)
    };
    let near = |garment: &Garment, margin: f32| {
        let own = Scatter { margin: Mm(margin), overlap: true, ..rule(1500) };
        let places = points(garment, &spread(garment, &own, 1.0));
        // Beside the loop, neither on it nor hidden under it.
        let beside = |p: &DVec3| (10.0..18.0).contains(&(p.x - 100.0).abs().max((p.y - 100.0).abs()));
        places.iter().filter(|p| p.z.abs() < 0.1 && beside(p)).count()
    };
    assert!(near(&trimmed(0.5, 1.0), 0.5) > 6, "without much of a margin some lie close to it");
    let inside = |garment: &Garment| near(garment, 8.0);
    assert_eq!(inside(&trimmed(0.5, 1.0)), 0, "with a margin none does");
    assert!(inside(&trimmed(-20.0, -1.0)) > 6, "what lies behind, facing away, is another side");
}

/// A number that is dragged: what the throws before found changes nothing.
#[test]
fn throws_on_one_ground_are_those_from_nothing() {
    let garment = uneven();
    let (ground, surface) = (ScatterGround::default(), Surface::new(&garment));
    surface.be_searched();
    let other = |change: &dyn Fn(&mut Scatter)| {
        let mut rule = rule(9);
        change(&mut rule);
        rule
    };
    let rules = [
        rule(9),
        rule(12),
        other(&|rule| rule.seed = 8),
        other(&|rule| rule.margin = Mm(15.0)),
        other(&|rule| rule.scale = [0.5, 2.0]),
        other(&|rule| rule.density = vec![Density::Height([0.0, 1.0])]),
        other(&|rule| rule.density = vec![Density::Edges(Mm(40.0))]),
        other(&|rule| (rule.along, rule.spread) = (vec![[0.1, 0.2], [0.4, 0.8]], Mm(20.0))),
        rule(12),
    ];
    let mut before = Vec::new();
    for rule in &rules {
        let pictures = vec![None; rule.density.len()];
        let input = ScatterInput { rule, radius_mm: &[4.0], pictures: &pictures };
        let found = scatter_on(&ground, &surface, &garment, &input, &Task::new()).unwrap();
        assert_eq!(found, spread(&garment, rule, 4.0), "{rule:?}");
        assert_ne!(found, before, "each is thrown otherwise");
        before = found;
    }
}
