//! Pictures in and out, against published values and reference libraries.

use std::error::Error;
use std::path::{Path, PathBuf};

use tatter_core::explain::{Class, Explain as _};
use tatter_core::image::{ColorTags, Layout, Samples, Size, Stored};
use tatter_files::limits::Limits;
use tatter_files::picture::{Effort, PictureFormat, decode_stored, encode, probe, read_photo, read_stored};

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

/// Which pictures each format takes; all others must be refused.
fn takes(format: PictureFormat, stored: &Stored) -> bool {
    let color = stored.layout.components() >= 3;
    match format {
        PictureFormat::Png => !stored.is_float(),
        PictureFormat::Tiff => !matches!(stored.samples, Samples::F16(_)),
        PictureFormat::Exr => stored.is_float(),
        PictureFormat::WebP => stored.bits() == 8 && color,
        PictureFormat::Tga => stored.bits() == 8,
        PictureFormat::Jpeg | PictureFormat::Hdr => false,
    }
}

#[test]
fn every_format_gives_back_the_samples_it_took() -> Checked<()> {
    let depths = [Samples::U8(Vec::new()), Samples::U16(Vec::new()), Samples::F16(Vec::new()), Samples::F32(Vec::new())];
    for format in PictureFormat::all() {
        for (layout, like) in LAYOUTS.iter().flat_map(|layout| depths.iter().map(move |like| (*layout, like))) {
            for effort in [Effort::Fast, Effort::Small] {
                let stored = sample(layout, like, 37, 23);
                let what = format!("{format}, {layout:?} of {} bits", stored.bits());
                match encode(&stored, format, effort) {
                    Ok(bytes) => {
                        assert!(takes(format, &stored), "{what} is not expected to be written");
                        assert_eq!(PictureFormat::from_bytes(&bytes), Some(format), "{what} is told by its content");
                        let once = decode_stored(&bytes, &Limits::default())?;
                        assert!(once.samples == stored.samples && once.layout == layout, "{what} comes back whole");
                        let twice = decode_stored(&encode(&once, format, effort)?, &Limits::default())?;
                        assert!(twice == once, "{what} keeps its tags");
                    }
                    Err(error) => {
                        assert!(!takes(format, &stored), "{what} is expected to be written: {error}");
                        assert_eq!(error.class(), Class::Request, "{what} is refused as a request");
                    }
                }
            }
        }
    }
    Ok(())
}

#[test]
fn png_keeps_every_tag() -> Checked<()> {
    let mut stored = sample(Layout::Rgb, &Samples::U8(Vec::new()), 5, 4);
    stored.tags = ColorTags { density: Some((2835, 2834, true)), cicp: Some([12, 13, 0, 1]), ..ColorTags::srgb() };
    let again = decode_stored(&encode(&stored, PictureFormat::Png, Effort::Fast)?, &Limits::default())?;
    assert_eq!(again.tags, stored.tags, "cICP, sRGB, gAMA, cHRM and pHYs");
    stored.tags = ColorTags { icc: Some(moxcms::ColorProfile::new_display_p3().encode()?), ..ColorTags::default() };
    for format in [PictureFormat::Png, PictureFormat::Tiff, PictureFormat::WebP] {
        let again = decode_stored(&encode(&stored, format, Effort::Fast)?, &Limits::default())?;
        assert_eq!(again.tags.icc, stored.tags.icc, "the profile in {format}");
    }
    Ok(())
}

#[test]
fn exr_keeps_channel_names() -> Checked<()> {
    let mut stored = sample(Layout::Gray, &Samples::F32(Vec::new()), 5, 4);
    stored.tags.channel_names = vec!["thickness".into()];
    let again = decode_stored(&encode(&stored, PictureFormat::Exr, Effort::Fast)?, &Limits::default())?;
    assert_eq!(again, stored, "one channel of its own name");
    Ok(())
}

#[test]
fn a_layer_of_an_exr_is_read_in_the_order_of_its_colours() -> Checked<()> {
    // Names of layers stand before a dot ("Technical Introduction to OpenEXR", layers); a file keeps channels in alphabetical order.
    let stored = Stored { tags: ColorTags::default(), ..sample(Layout::Rgb, &Samples::F32(Vec::new()), 5, 4) };
    let mut layer = stored.clone();
    layer.tags.channel_names = ["R", "G", "B"].map(|name| format!("beauty.{name}")).to_vec();
    let folder = tempfile::tempdir()?;
    let read = |name: &str, stored: &Stored| -> Checked<_> {
        let path = folder.path().join(name);
        std::fs::write(&path, encode(stored, PictureFormat::Exr, Effort::Fast)?)?;
        Ok(read_photo(&path, &Limits::default()))
    };
    assert_eq!(read("layer.exr", &layer)??.color, read("plain.exr", &stored)??.color, "the same colours");
    layer.tags.channel_names = ["N.X", "N.Y", "N.Z"].map(str::to_owned).to_vec();
    let error = read("normals.exr", &layer)?.err().ok_or("directions were taken for colours")?;
    assert_eq!(error.class(), Class::Input, "{error}");
    assert!(error.to_string().contains("N.X, N.Y, N.Z"), "its channels are named: {error}");
    Ok(())
}

fn fixture(name: &str) -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/pictures_data").join(name)
}

/// `tools/picture_fixtures.py`: what Pillow 13.0 (libjpeg-turbo, libtiff) reads from the same files. Two decoders may
/// round the inverse transform and the colour conversion differently by a code or two; fancy upsampling by some more.
#[test]
fn jpeg_and_tiff_read_as_pillow_reads_them() -> Checked<()> {
    let cases = [
        ("baseline.jpg", 2.0),
        ("progressive.jpg", 4.0),
        ("gray.jpg", 1.0),
        ("cmyk.jpg", 2.0),
        ("ycck.jpg", 3.0),
        ("palette.tif", 0.0),
        ("bits.tif", 0.0),
    ];
    for (name, tolerance) in cases {
        let ours = read_stored(&fixture(name), &Limits::default())?;
        let theirs = read_stored(&fixture(name).with_extension("png"), &Limits::default())?;
        assert_eq!((ours.size, ours.layout), (theirs.size, theirs.layout), "{name} has its shape");
        let most = furthest(&ours, &theirs);
        assert!(most <= tolerance, "{name} is {most} codes off at most");
    }
    Ok(())
}

/// The largest difference, in 8-bit codes.
fn furthest(a: &Stored, b: &Stored) -> f32 {
    let places = (0..a.size.height).flat_map(|y| (0..a.size.width).map(move |x| (x, y)));
    let differences =
        places.flat_map(|(x, y)| (0..a.layout.components()).map(move |c| (a.value(x, y, c) - b.value(x, y, c)).abs()));
    (differences.fold(0.0, f32::max) * 2550.0).round() / 10.0
}

#[test]
fn a_turned_jpeg_is_a_photo_upright_and_a_map_as_it_lies() -> Checked<()> {
    let photo = read_photo(&fixture("turned.jpg"), &Limits::default())?;
    let upright = read_photo(&fixture("turned.png"), &Limits::default())?;
    assert_eq!(photo.color.size(), Size::new(24, 16), "the picture drawn by the script");
    let most = photo.color.texels().iter().zip(upright.color.texels()).flat_map(|(a, b)| (0..3).map(|i| (a.0[i] - b.0[i]).abs()));
    assert!(most.fold(0.0, f32::max) < 0.02, "as Pillow turns it");
    let info = probe(&fixture("turned.jpg"), &Limits::default())?;
    assert_eq!((info.size, info.orientation), (Size::new(16, 24), 6), "as stored");
    Ok(())
}

/// A Truevision TGA by hand: 2 × 2, from the bottom, run lengths, as its specification numbers them.
#[test]
fn tga_is_read_from_the_bottom_and_in_runs() -> Checked<()> {
    let head = [0, 0, 10, 0, 0, 0, 0, 0, 0, 0, 0, 0, 2, 0, 2, 0, 24, 0];
    let body = [0x81, 1, 2, 3, 0x01, 4, 5, 6, 7, 8, 9];
    let stored = decode_stored(&[&head[..], &body].concat(), &Limits::default())?;
    assert_eq!(stored.samples, Samples::U8(vec![6, 5, 4, 9, 8, 7, 3, 2, 1, 3, 2, 1]), "blue, green, red; last row first");
    Ok(())
}

/// Radiance RGBE: (128, 64, 32) over exponent 129 is (1, 0.5, 0.25), in the three forms a line may have.
#[test]
fn all_forms_of_radiance_lines_are_read() -> Checked<()> {
    let head = b"#?RADIANCE\nFORMAT=32-bit_rle_rgbe\n\n-Y 1 +X 8\n".as_slice();
    let texel = [128_u8, 64, 32, 129];
    let plain = texel.repeat(8);
    let old = [&texel[..], &[1, 1, 1, 7]].concat();
    let new = [&[2, 2, 0, 8, 136, 128, 136, 64, 136, 32][..], &[8], &[129; 8]].concat();
    for (form, line) in [("plain", plain), ("old runs", old), ("new runs", new)] {
        let stored = decode_stored(&[head, &line].concat(), &Limits::default())?;
        assert_eq!(stored.samples, Samples::F32([1.0, 0.5, 0.25].repeat(8)), "{form}");
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
