//! Corners of a card beside a reference library's on the same computed pictures.
//!
//! `fixtures/plane/corners.csv` is written by `tools/card_reference.py` (`OpenCV`), whose pictures this file computes again.

use std::f64::consts::TAU;

use tatter_capture::photo::Homography;
use tatter_capture::plane::place;
use tatter_core::color::{decode_srgb, encode_srgb};
use tatter_core::image::{Image, LinearRgb};
use tatter_core::model::KnownSize;
use tatter_core::task::Task;

const REFERENCE: &str = include_str!("fixtures/plane/corners.csv");
const CARD: [f64; 2] = [85.60, 53.98];
const CORNER: f64 = 3.18;
const TAPS: usize = 4;
const MAPS: [[[f64; 3]; 3]; 4] = [
    [[4.0, 0.0, 60.0], [0.0, 4.0, 70.0], [0.0, 0.0, 1.0]],
    [[3.6, -0.9, 90.0], [0.9, 3.6, 50.0], [0.0, 0.0, 1.0]],
    [[3.462297, -0.219364, 99.996792], [0.850595, 3.956524, 62.233357], [-0.000666, 0.002607, 1.0]],
    [[1.71869, 0.675427, 120.38121], [-1.866169, 1.664539, 198.764069], [-0.001514, -0.002516, 1.0]],
];

fn light([u, v]: [f64; 2]) -> f64 {
    let q = [0, 1].map(|c: usize| ([u, v][c] - 0.5 * CARD[c]).abs() - 0.5 * CARD[c] + CORNER);
    let outside = q[0].max(0.0).hypot(q[1].max(0.0)) + q[0].max(q[1]).min(0.0) - CORNER;
    if outside < 0.0 { 0.7 } else { 0.22 * (1.0 + 0.25 * (TAU * u / 1.1).sin() + 0.25 * (TAU * v / 0.9).sin()) }
}

fn picture(photo_from_mm: &Homography) -> Image<LinearRgb> {
    let back = photo_from_mm.inverse();
    Image::from_fn(480, 360, |x, y| {
        let sub = |v: usize, k: usize| v as f64 + (k as f64 + 0.5) / TAPS as f64;
        let all = (0..TAPS * TAPS).map(|k| light(back.at([sub(x, k % TAPS), sub(y, k / TAPS)])));
        let code = (255.0 * encode_srgb((all.sum::<f64>() / (TAPS * TAPS) as f64) as f32)).round() / 255.0;
        LinearRgb([decode_srgb(code); 3])
    })
}

#[test]
fn corners_are_nearer_the_truth_than_the_librarys() {
    let rows: Vec<Vec<f64>> = REFERENCE
        .lines()
        .filter(|line| !line.starts_with('#') && !line.starts_with("map"))
        .map(|line| line.split(',').map(|cell| cell.parse().unwrap()).collect())
        .collect();
    assert_eq!(rows.len(), MAPS.len(), "a row a map");
    for (row, map) in rows.iter().zip(MAPS) {
        let map = Homography(map);
        let placed = place(&picture(&map), KnownSize::Card, None, &Task::new()).unwrap();
        let truth = [[0.0, 0.0], [CARD[0], 0.0], CARD, [0.0, CARD[1]]].map(|p| map.at(p));
        let nearest =
            |t: &[f64; 2]| placed.corners.iter().map(|c| (c[0] - t[0]).hypot(c[1] - t[1])).fold(f64::INFINITY, f64::min);
        let ours = truth.iter().map(nearest).fold(0.0, f64::max);
        assert!(ours < 0.15, "map {}: a corner is off by {ours:.3} pixels, {placed:?}", row[0]);
        assert!(ours < row[1] && ours < row[2], "the library is off by {:.3} and {:.3}, ours by {ours:.3}", row[1], row[2]);
    }
}
