//! Pictures beside those that were looked at.

use tatter_core::channel::Kind;
use tatter_core::color::{Lab, ciede2000};
use tatter_core::image::{Coding, Image, LinearRgb, Map, Stored, Transfer};

/// How screens code light.
pub fn on_screen() -> Coding {
    Coding { transfer: Transfer::Srgb, ..Coding::default() }
}

/// The light of a picture for screens.
pub fn shown(picture: &Stored) -> Image<LinearRgb> {
    match picture.decode_whole(Kind::Color, &on_screen()) {
        Map::Color(image) => image,
        _ => unreachable!("colour was asked for"),
    }
}

/// How far two pictures are apart, CIEDE2000: in the mean, and what all pixels but so many thousandths lie within.
///
/// # Panics
/// When their sizes differ.
pub fn differences(one: &Image<LinearRgb>, other: &Image<LinearRgb>, thousandths: usize) -> [f32; 2] {
    assert_eq!(one.size(), other.size(), "two pictures of one size");
    let pairs = one.texels().iter().zip(other.texels());
    let mut all: Vec<f32> = pairs.map(|(a, b)| ciede2000(Lab::from(*a), Lab::from(*b))).collect();
    all.sort_by(f32::total_cmp);
    [all.iter().sum::<f32>() / all.len() as f32, all[all.len() * (1000 - thousandths) / 1000]]
}
