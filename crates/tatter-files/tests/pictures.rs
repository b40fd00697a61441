//! Pictures in and out, against published values and reference libraries.

use std::error::Error;
use std::path::Path;

use tatter_core::image::{ColorTags, Layout, Samples, Size, Stored};
use tatter_files::limits::Limits;
use tatter_files::picture::{Effort, PictureFormat, decode_stored, encode, probe, read_photo};

type Checked<T> = Result<T, Box<dyn Error>>;

/// A picture with every kind of neighbourhood: slopes, steps and noise.
fn sample(layout: Layout, like: &Samples, width: usize, height: usize) -> Stored {
    let mut stored = Stored::zeros(Size::new(width, height), layout, like);
    let mut state = 1_u32;
    for y in 0..height {
        for x in 0..width {
            for c in 0..layout.components() {
                state = state.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
                let noise = if x > width / 2 { (state >> 8) as f32 / 16_777_216.0 } else { 0.0 };
                stored.set_value(x, y, c, 0.6 * (x + c * y) as f32 / (width + 3 * height) as f32 + 0.4 * noise);
            }
        }
    }
    stored
}

const LAYOUTS: [Layout; 4] = [Layout::Gray, Layout::GrayAlpha, Layout::Rgb, Layout::Rgba];

#[test]
fn png_keeps_samples_and_tags() -> Checked<()> {
    for layout in LAYOUTS {
        for like in [Samples::U8(Vec::new()), Samples::U16(Vec::new())] {
            for effort in [Effort::Fast, Effort::Small] {
                let mut stored = sample(layout, &like, 37, 23);
                stored.tags = ColorTags { density: Some((2835, 2835, true)), ..ColorTags::srgb() };
                let bytes = encode(&stored, PictureFormat::Png, effort)?;
                let again = decode_stored(&bytes, &Limits::default())?;
                assert!(again == stored, "{layout:?} of {} bits comes back whole", stored.bits());
            }
        }
    }
    Ok(())
}

#[test]
fn a_photo_is_linear_and_names_its_colour() -> Checked<()> {
    let folder = tempfile::tempdir()?;
    let path = folder.path().join("grey.png");
    let stored =
        Stored { size: Size::new(2, 1), layout: Layout::Gray, samples: Samples::U8(vec![0, 188]), tags: ColorTags::srgb() };
    std::fs::write(&path, encode(&stored, PictureFormat::Png, Effort::Fast)?)?;
    let photo = read_photo(&path, &Limits::default())?;
    // IEC 61966-2-1: code 188 is 0.5029 of full light.
    assert!((photo.color.get(1, 0).0[1] - 0.502_886).abs() < 1e-5, "half light: {:?}", photo.color.get(1, 0));
    assert_eq!(photo.color_source, "sRGB tag", "the chunk that counted");
    assert_eq!((photo.bits, photo.alpha.is_none()), (8, true), "depth and no alpha");
    assert_eq!(probe(&path, &Limits::default())?.format, PictureFormat::Png, "told by content");
    Ok(())
}

#[test]
fn what_is_missing_says_so() {
    let error = read_photo(Path::new("no/such.png"), &Limits::default()).unwrap_err();
    assert!(error.to_string().ends_with("no/such.png"), "the path comes last: {error}");
}
