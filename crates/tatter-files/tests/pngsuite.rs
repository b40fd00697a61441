//! The whole of `PngSuite`: every sound file decodes to what two reference decoders read, every faulty one is refused.
//!
//! The files are those of the crates.io package minipng 1.0.0 (licence beside them); `tools/pngsuite.py` wrote the expected
//! values with pypng and Pillow.

use std::error::Error;
use std::path::{Path, PathBuf};

use tatter_core::explain::{Class, Explain as _};
use tatter_core::image::{Layout, Samples, Stored};
use tatter_files::limits::Limits;
use tatter_files::picture::{Effort, PictureFormat, decode_stored, encode, probe, read_photo, read_stored};

type Tried<T> = Result<T, Box<dyn Error>>;

fn folder() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/pngsuite")
}

/// As `expected.csv` has it: sizes, layout, bits, CRC-32 of the samples with the high byte first.
fn line(name: &str, stored: &Stored) -> Tried<String> {
    let layout = match stored.layout {
        Layout::Gray => "gray",
        Layout::GrayAlpha => "gray-alpha",
        Layout::Rgb => "rgb",
        Layout::Rgba => "rgba",
    };
    let bytes = match &stored.samples {
        Samples::U8(v) => v.clone(),
        Samples::U16(v) => v.iter().flat_map(|sample| sample.to_be_bytes()).collect(),
        Samples::F16(_) | Samples::F32(_) => return Err(format!("{name} holds no floats").into()),
    };
    let crc = crc32fast::hash(&bytes);
    Ok(format!("{name},{},{},{layout},{},{crc:08x}", stored.size.width, stored.size.height, stored.bits()))
}

#[test]
fn sound_files_read_as_reference_decoders_read_them() -> Tried<()> {
    let expected = std::fs::read_to_string(folder().join("expected.csv"))?;
    let mut count = 0;
    for expected in expected.lines().skip(1) {
        let name = expected.split(',').next().unwrap_or_default();
        let path = folder().join(name);
        let stored = read_stored(&path, &Limits::default())?;
        assert_eq!(line(name, &stored)?, expected, "read as the references read it");
        let packed = encode(&stored, PictureFormat::Png, Effort::Fast)?;
        assert_eq!(line(name, &decode_stored(&packed, &Limits::default())?)?, expected, "and written, read the same again");
        let photo = read_photo(&path, &Limits::default())?;
        assert_eq!(photo.color.size(), stored.size, "{name} is upright");
        assert!(photo.color.texels().iter().all(|t| t.0.iter().all(|v| v.is_finite())), "{name} as light");
        count += 1;
    }
    assert_eq!(count, 161, "the whole suite");
    Ok(())
}

#[test]
fn faulty_files_are_refused_in_one_sentence() -> Tried<()> {
    let mut count = 0;
    for entry in std::fs::read_dir(folder())? {
        let path = entry?.path();
        let name = path.file_name().unwrap_or_default().to_string_lossy().into_owned();
        if !name.starts_with('x') || !name.ends_with(".png") {
            continue;
        }
        for error in [read_stored(&path, &Limits::default()).err(), read_photo(&path, &Limits::default()).err()] {
            let error = error.ok_or_else(|| format!("{name} was read"))?;
            assert_eq!(error.class(), Class::Input, "{name}: {error}");
            let text = error.to_string();
            assert!(text.ends_with(&name) && !text.contains('\n') && !text.contains(". "), "{text}");
            assert!(!error.next().is_empty(), "{name} says what to do");
        }
        // A header alone may be sound; asking for it must not fail otherwise than by an answer.
        let _ = probe(&path, &Limits::default());
        count += 1;
    }
    assert_eq!(count, 14, "every faulty file of the suite");
    Ok(())
}
