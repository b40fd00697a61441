//! Cloth in another dye.

mod made;

use made::{color_coding, file, garment, picture, quad};
use tatter_core::channel::Channel;
use tatter_core::color::{Lab, ciede2000, decode_srgb};
use tatter_core::image::{Layout, LinearRgb, Stored};
use tatter_core::mesh::Part;
use tatter_core::model::{Garment, Variation};
use tatter_core::task::Task;
use tatter_garment::build::dye_cloth;

const SIDE: usize = 256;
const INDIGO: [f32; 3] = [0.20, 0.26, 0.44];
const WHITE: [f32; 3] = [0.86, 0.84, 0.80];
const MADDER: [f32; 3] = [0.50, 0.16, 0.14];

fn sheet() -> Garment {
    let mut part = Part::default();
    let corners = [[0.0, 0.0, 0.0], [100.0, 0.0, 0.0], [100.0, 100.0, 0.0], [0.0, 100.0, 0.0]];
    quad(&mut part, corners, [[0.0, 1.0], [1.0, 1.0], [1.0, 0.0], [0.0, 0.0]], [0.0, 0.0, 1.0]);
    garment(part, vec![file(SIDE, &[(Channel::BaseColor, color_coding())])], 100.0)
}

/// Indigo threads in light and shade, every fourth white, a madder panel below.
fn cloth() -> Vec<Vec<Stored>> {
    vec![vec![picture(SIDE, Layout::Rgb, |x, y, c| {
        let shade = 0.9 + 0.1 * ((x + y) % 3) as f32 / 2.0;
        let own = if y >= 200 {
            MADDER
        } else if x % 4 == 0 {
            WHITE
        } else {
            INDIGO
        };
        own[c] * shade
    })]]
}

#[expect(clippy::unwrap_used, reason = "a dye that fails is a failed test")]
fn dyed(variation: &Variation) -> Vec<Vec<Stored>> {
    let mut pictures = cloth();
    dye_cloth(&sheet(), &mut pictures, variation, &Task::new()).unwrap();
    pictures
}

fn mean(pictures: &[Vec<Stored>], rows: std::ops::Range<usize>, white: bool) -> LinearRgb {
    let (mut sum, mut count) = ([0f32; 3], 0.0);
    for y in rows {
        for x in (0..SIDE).filter(|x| (x % 4 == 0) == white) {
            let color = pictures[0][0].color_at(x, y, &color_coding());
            sum = std::array::from_fn(|i| sum[i] + color.0[i]);
            count += 1.0;
        }
    }
    LinearRgb(sum.map(|v| v / count))
}

fn difference(a: LinearRgb, b: LinearRgb) -> f32 {
    ciede2000(Lab::from(a), Lab::from(b))
}

fn light(codes: [u8; 3]) -> LinearRgb {
    LinearRgb(codes.map(|code| decode_srgb(f32::from(code) / 255.0)))
}

/// CIE 142-2001, CIEDE2000: differences below 1 are hardly seen.
#[test]
fn dyed_threads_take_the_dye_and_white_ones_and_other_cloth_keep_theirs() {
    let before = cloth();
    let target = [0x5a, 0x4a, 0x1e];
    let after = dyed(&Variation { dye: Some(target), from: Some([0x33, 0x42, 0x70]), ..Variation::default() });
    let blue = mean(&after, 0..200, false);
    assert!(difference(blue, light(target)) < 2.0, "the cloth has the colour asked for: {blue:?}");
    assert!(difference(mean(&after, 0..200, true), mean(&before, 0..200, true)) < 3.0, "white threads stay white");
    assert!(difference(mean(&after, 200..256, false), mean(&before, 200..256, false)) < 0.5, "the madder panel stays");
    let shade = |pictures: &[Vec<Stored>], x: usize| pictures[0][0].color_at(x, 9, &color_coding()).luminance();
    let ratio = |pictures: &[Vec<Stored>]| shade(pictures, 2) / shade(pictures, 3);
    assert!((ratio(&after) / ratio(&before) - 1.0).abs() < 0.15, "light and shade stay: {} {}", ratio(&after), ratio(&before));
    let panel = dyed(&Variation { dye: Some(target), from: Some([0x80, 0x29, 0x24]), ..Variation::default() });
    assert!(difference(mean(&panel, 200..256, false), light(target)) < 2.0, "the panel, when it is meant");
    assert!(difference(mean(&panel, 0..200, false), mean(&before, 0..200, false)) < 0.5, "and then the blue stays");
}

#[test]
fn the_same_dye_changes_hardly_anything_and_none_changes_nothing() {
    let before = cloth();
    assert!(dyed(&Variation::default()) == before, "no dye, no change");
    let own = mean(&before, 0..200, false);
    let codes = own.0.map(|v| (tatter_core::color::encode_srgb(v) * 255.0).round() as u8);
    let after = dyed(&Variation { dye: Some(codes), from: Some(codes), ..Variation::default() });
    assert!(difference(mean(&after, 0..200, false), own) < 0.7, "its own colour again");
}
