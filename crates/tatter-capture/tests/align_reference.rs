//! Shots laid on each other, beside the truth and beside a reference library's ECC on the same pictures.
//!
//! `fixtures/align/ecc.csv` is written by `tools/align_reference.py` (`OpenCV`, `findTransformECC`), whose pictures this file
//! computes again.

use std::f64::consts::TAU;

use tatter_capture::photo::{Freedom, Homography, Likeness, align, realign};
use tatter_core::image::{Image, LinearRgb};
use tatter_core::task::Task;

const SIDE: usize = 256;
const REFERENCE: &str = include_str!("fixtures/align/ecc.csv");

/// Frequency in cycles a pixel and phase.
fn waves() -> Vec<[f64; 3]> {
    let mut state = 12345u64;
    let mut next = || {
        state = (1_103_515_245 * state + 12345) % (1 << 31);
        state as f64 / f64::from(1u32 << 31)
    };
    let mut wave = || {
        let (length, turn, phase) = (6.0 + 44.0 * next().powi(2), TAU * next(), TAU * next());
        [turn.cos() / length, turn.sin() / length, phase]
    };
    (0..40).map(|_| wave()).collect()
}

/// The waves seen by a camera whose pixels look at the places `back` takes them to.
fn picture(back: &Homography) -> Image<LinearRgb> {
    let waves = waves();
    Image::from_fn(SIDE, SIDE, |x, y| {
        let [u, v] = back.at([x as f64 + 0.5, y as f64 + 0.5]);
        let total: f64 = waves.iter().map(|[fx, fy, phase]| (TAU * (fx * u + fy * v) + phase).sin()).sum();
        LinearRgb([(0.35 * (0.09 * total).exp()) as f32; 3])
    })
}

fn furthest(one: &Homography, other: &Homography) -> f64 {
    let places = [[30.0, 30.0], [226.0, 30.0], [30.0, 226.0], [226.0, 226.0], [128.0, 128.0]];
    places
        .map(|p| {
            let (a, b) = (one.at(p), other.at(p));
            (a[0] - b[0]).hypot(a[1] - b[1])
        })
        .into_iter()
        .fold(0.0, f64::max)
}

#[test]
fn known_warps_are_found_as_a_reference_library_finds_them() {
    let still = picture(&Homography::IDENTITY);
    let rows: Vec<Vec<f64>> = REFERENCE
        .lines()
        .filter(|line| !line.starts_with('#') && !line.starts_with("truth"))
        .map(|line| line.split(',').map(|cell| cell.parse().unwrap()).collect())
        .collect();
    assert_eq!(rows.len(), 5, "five warps");
    for row in rows {
        let map = |at: usize| Homography(std::array::from_fn(|i| std::array::from_fn(|j| row[at + 3 * i + j])));
        let (truth, ecc) = (map(0), map(9));
        let moved = picture(&truth.inverse());
        let first = align(&still, &moved, Likeness::Shades, &Task::new()).unwrap();
        let found = realign(&still, &moved, &still.map(|_| 1.0), &first.other_from_reference).unwrap();
        let [ours, theirs] = [&found.other_from_reference, &ecc].map(|m| furthest(m, &truth));
        assert!(ours < 0.02 && theirs < 0.05, "pixels off the truth: ours {ours:.4}, the library's {theirs:.4}: {found:?}");
        assert!(found.correlation > 0.99 && found.judged().is_ok(), "it holds: {found:?}");
        let tilted = truth.0[2] != [0.0, 0.0, 1.0];
        assert_eq!(found.freedom == Freedom::Projective, tilted, "no more freedom than there is: {found:?}");
    }
}
