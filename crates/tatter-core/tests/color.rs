//! Grading and colour transfer against published and independently computed values; the source stands above each table.

use glam::{DMat3, DVec3};
use tatter_core::color::{Cdl, ColorGaussian};
use tatter_core::image::LinearRgb;

/// ASC CDL 1.2 with slope 1.35 1.1 0.071, offset 0.05 -0.23 0.11, power 0.93 0.81 1.27, saturation 1.23: the expected values
/// of `OpenColorIO`, unit test `apply_clamp_fwd` (BSD-3-Clause), in then out.
const GRADED: [[f32; 6]; 7] = [
    [0.3278, 0.01, 1.0, 0.609399, 0.0, 0.11313],
    [0.25, 0.5, 0.75, 0.422056, 0.401466, 0.03582],
    [1.25, 1.5, 1.75, 1.0, 1.0, 0.0],
    [-0.2, 0.5, 1.4, 0.0, 0.421096, 0.101225],
    [-0.25, -0.5, -0.75, 0.0, 0.0, 0.031735],
    [0.0, 0.8, 0.99, 0.0, 0.746748, 0.018691],
    [0.0, 0.0, 0.0, 0.071827, 0.0, 0.070533],
];

#[test]
fn a_grade_is_the_published_one() {
    let grade = Cdl { slope: [1.35, 1.1, 0.071], offset: [0.05, -0.23, 0.11], power: [0.93, 0.81, 1.27], saturation: 1.23 };
    for [r, g, b, wr, wg, wb] in GRADED {
        let got = grade.apply(LinearRgb([r, g, b])).0;
        for (got, want) in got.into_iter().zip([wr, wg, wb]) {
            assert!((got - want).abs() <= 2e-5, "{r} {g} {b}: {got}, published {want}");
        }
    }
    let plain = LinearRgb([0.2, 0.5, 0.9]);
    let same = Cdl::default().apply(plain);
    assert!((0..3).all(|i| (same.0[i] - plain.0[i]).abs() < 1e-6), "the neutral grade changes nothing: {same:?}");
}

fn rows(m: [[f64; 3]; 3]) -> DMat3 {
    DMat3::from_cols_array_2d(&m).transpose()
}

/// Two Gaussians, and the map between them computed by an independent script with `NumPy`, equal to POT 0.9.7
/// `ot.gaussian.bures_wasserstein_mapping`.
fn pair() -> (ColorGaussian, ColorGaussian) {
    let source = ColorGaussian {
        mean: DVec3::new(0.3, 0.22, 0.15),
        covariance: rows([[0.0091, 0.002, 0.0004], [0.002, 0.004, 0.0008], [0.0004, 0.0008, 0.0016]]),
    };
    let target = ColorGaussian {
        mean: DVec3::new(0.12, 0.16, 0.31),
        covariance: rows([[0.0027, 0.0007, -0.0009], [0.0007, 0.0049, 0.0], [-0.0009, 0.0, 0.0081]]),
    };
    (source, target)
}
const MATRIX: [[f64; 3]; 3] = [
    [0.556_938_542_4, -0.050_526_190_28, -0.131_447_461_3],
    [-0.050_526_190_28, 1.167_558_344, -0.233_968_911_1],
    [-0.131_447_461_3, -0.233_968_911_1, 2.334_552_856],
];
const OFFSET: [f64; 3] = [-0.016_248_681_67, -0.046_609_641_92, 0.050_724_470_47];
/// Colour in, colour out.
const POINTS: [[f64; 6]; 4] = [
    [0.3, 0.22, 0.15, 0.12, 0.16, 0.31],
    [0.4, 0.3, 0.2, 0.165_079_386, 0.236_653_602_9, 0.394_865_383_8],
    [0.1, 0.1, 0.1, 0.021_247_807_42, 0.041_696_682_43, 0.247_638_118_8],
    [0.0, 0.0, 0.0, -0.016_248_681_67, -0.046_609_641_92, 0.050_724_470_47],
];

#[test]
fn a_gaussian_is_carried_onto_another_as_computed_elsewhere() {
    let (source, target) = pair();
    let map = source.transport(&target, (0.0, f64::MAX));
    let off = (map.matrix - rows(MATRIX)).to_cols_array().into_iter().map(f64::abs).fold(0.0, f64::max);
    assert!(off < 1e-8, "matrix is {off} off: {:?}", map.matrix);
    assert!((map.offset - DVec3::from(OFFSET)).abs().max_element() < 1e-9, "offset {}", map.offset);
    for [a, b, c, x, y, z] in POINTS {
        let far = (map.apply(DVec3::new(a, b, c)) - DVec3::new(x, y, z)).abs().max_element();
        assert!(far < 1e-9, "{a} {b} {c} lands {far} off");
    }
    let carried = map.matrix * source.covariance * map.matrix.transpose();
    let off = (carried - target.covariance).to_cols_array().into_iter().map(f64::abs).fold(0.0, f64::max);
    assert!(off < 1e-9, "its covariance is the target's: {off} off");
}

#[test]
fn contrast_is_gained_within_bounds() {
    let (source, target) = pair();
    let map = source.transport(&target, (0.8, 1.25));
    assert!((map.apply(source.mean) - target.mean).length() < 1e-12, "the mean still lands on the mean");
    // Along any direction a symmetric matrix stretches within its eigenvalues.
    for i in 0..100 {
        let (a, b) = (f64::from(i) * 0.7, f64::from(i) * 1.3);
        let along = DVec3::new(a.cos() * b.sin(), a.sin() * b.sin(), b.cos());
        let gain = (map.matrix * along).length();
        assert!((0.8 - 1e-9..=1.25 + 1e-9).contains(&gain), "{gain} along {along}");
    }
    let flat = ColorGaussian { covariance: DMat3::ZERO, ..source };
    assert!(flat.transport(&target, (0.5, 2.0)).matrix.is_finite(), "a plain colour has a map as well");
}

#[test]
fn a_gaussian_of_samples_has_their_mean_and_covariance() {
    // Corners of a box with sides 2, 4, 6 around (1, 2, 3): variances 1, 4, 9, no covariance.
    let corners: Vec<DVec3> = (0..8)
        .map(|i| DVec3::new(1.0, 2.0, 3.0) + DVec3::new([-1.0, 1.0][i & 1], [-2.0, 2.0][i >> 1 & 1], [-3.0, 3.0][i >> 2 & 1]))
        .collect();
    let got = ColorGaussian::of(&corners).expect("eight samples");
    assert!((got.mean - DVec3::new(1.0, 2.0, 3.0)).length() < 1e-12, "{}", got.mean);
    assert!((got.covariance - DMat3::from_diagonal(DVec3::new(1.0, 4.0, 9.0))).to_cols_array().iter().all(|v| v.abs() < 1e-12));
    assert_eq!(ColorGaussian::of(&corners[..3]), None, "three colours span no volume");
}
