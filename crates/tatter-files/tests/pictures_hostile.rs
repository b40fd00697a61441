//! Damaged and hostile pictures: each is an error of class Input within the limits, and none a panic. Files are made here;
//! `hostile/` is for malformed files met later.

use std::error::Error;

use tatter_core::explain::{Class, Explain as _};
use tatter_core::image::{Layout, Samples, Size, Stored};
use tatter_files::limits::Limits;
use tatter_files::picture::{Effort, PictureError, PictureFormat, decode_stored, encode, probe, read_photo, read_stored};

type Checked<T> = Result<T, Box<dyn Error>>;

const SMALL: Limits = Limits { max_texels: 1 << 20, max_bytes: 16 << 20, max_file_bytes: 1 << 20 };

fn sound(format: PictureFormat) -> Checked<Vec<u8>> {
    let like = if format == PictureFormat::Exr { Samples::F16(Vec::new()) } else { Samples::U8(Vec::new()) };
    let mut stored = Stored::zeros(Size::new(31, 20), Layout::Rgb, &like);
    for (y, x) in (0..20).flat_map(|y| (0..31).map(move |x| (y, x))) {
        for c in 0..3 {
            stored.set_value(x, y, c, ((x * 31 + y * 17 + c * 7) % 97) as f32 / 97.0);
        }
    }
    Ok(encode(&stored, format, Effort::Fast)?)
}

/// One sound file of each kind: written here, by hand, or a fixture of `tools/picture_fixtures.py`.
fn all_sound() -> Checked<Vec<(String, Vec<u8>)>> {
    let mut files = Vec::new();
    for format in PictureFormat::all().filter(|format| format.is_written()) {
        files.push((format.to_string(), sound(format)?));
    }
    let folder = std::path::Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/pictures_data");
    for name in ["baseline.jpg", "progressive.jpg", "cmyk.jpg", "palette.tif", "bits.tif"] {
        files.push((name.to_owned(), std::fs::read(folder.join(name))?));
    }
    let hdr = [&b"#?RADIANCE\nFORMAT=32-bit_rle_rgbe\n\n-Y 2 +X 4\n"[..], &[9, 8, 7, 128].repeat(8)].concat();
    files.push(("hdr".to_owned(), hdr));
    Ok(files)
}

fn must_be_input(result: Result<Stored, PictureError>, what: &str) {
    match result {
        Ok(_) => {}
        Err(error) => {
            assert_eq!(error.class(), Class::Input, "{what}: {error}");
            assert!(!error.next().is_empty(), "{what} says what to do");
        }
    }
}

#[test]
fn a_file_cut_anywhere_is_an_error() -> Checked<()> {
    for (name, bytes) in all_sound()? {
        decode_stored(&bytes, &SMALL)?;
        for cut in 0..bytes.len() {
            let result = decode_stored(&bytes[..cut], &SMALL);
            // The last bytes of some formats are trailers that a reader may do without.
            if cut + bytes.len() / 3 < bytes.len() {
                assert!(result.is_err(), "{name} cut at {cut} of {}", bytes.len());
            }
            must_be_input(result, &format!("{name} cut at {cut}"));
        }
    }
    Ok(())
}

#[test]
fn no_changed_byte_makes_a_panic() -> Checked<()> {
    for (name, bytes) in all_sound()? {
        for at in 0..bytes.len() {
            for value in [0, 255, bytes[at] ^ 1, bytes[at] ^ 0x80] {
                let mut changed = bytes.clone();
                changed[at] = value;
                must_be_input(decode_stored(&changed, &SMALL), &format!("{name}, byte {at} made {value}"));
            }
        }
    }
    Ok(())
}

#[test]
fn a_changed_png_is_never_taken_for_sound() -> Checked<()> {
    let bytes = sound(PictureFormat::Png)?;
    for at in 8..bytes.len() {
        let mut changed = bytes.clone();
        changed[at] ^= 4;
        assert!(decode_stored(&changed, &SMALL).is_err(), "every byte is under a checksum or a rule, byte {at} too");
    }
    Ok(())
}

#[test]
fn huge_sizes_are_refused_before_memory_is_taken() -> Checked<()> {
    let mut png = sound(PictureFormat::Png)?;
    png[16..24].copy_from_slice(&[0x7f, 0xff, 0xff, 0xff, 0x7f, 0xff, 0xff, 0xff]);
    let sum = crc32fast::hash(&png[12..29]);
    png[29..33].copy_from_slice(&sum.to_be_bytes());
    let hdr = b"#?RADIANCE\n\n-Y 4000000000 +X 4000000000\n".to_vec();
    let mut tga = sound(PictureFormat::Tga)?;
    tga[12..16].fill(255);
    for (name, bytes) in [("png", png), ("hdr", hdr), ("tga", tga)] {
        match decode_stored(&bytes, &SMALL) {
            Err(PictureError::TooLarge { asked, allowed, .. }) => assert!(asked > allowed, "{name}: {asked} of {allowed}"),
            other => return Err(format!("{name} is not refused for its size: {other:?}").into()),
        }
    }
    Ok(())
}

/// A size within the limits and next to no data: nothing near that size may be held for long, and it is an error.
#[test]
fn a_large_promise_with_no_data_is_an_error() -> Checked<()> {
    let hdr = b"#?RADIANCE\n\n-Y 16000 +X 16000\n\x02\x02\x3e\x80".to_vec();
    let mut tga = sound(PictureFormat::Tga)?;
    tga[12..16].copy_from_slice(&[0x80, 0x3e, 0x80, 0x3e]);
    let mut png = sound(PictureFormat::Png)?;
    png[16..24].copy_from_slice(&[0, 0, 0x3e, 0x80, 0, 0, 0x3e, 0x80]);
    let sum = crc32fast::hash(&png[12..29]);
    png[29..33].copy_from_slice(&sum.to_be_bytes());
    for bytes in [hdr, tga, png] {
        let error = decode_stored(&bytes, &Limits::default()).err().ok_or("a promise was believed")?;
        assert_eq!(error.class(), Class::Input, "{error}");
    }
    Ok(())
}

#[test]
fn files_too_large_or_of_no_kind_are_named() -> Checked<()> {
    let folder = tempfile::tempdir()?;
    let path = folder.path().join("large.png");
    std::fs::write(&path, vec![0; 2000])?;
    let limits = Limits { max_file_bytes: 1000, ..SMALL };
    let error = read_photo(&path, &limits).err().ok_or("it was read")?;
    assert_eq!(
        error.to_string(),
        format!("the picture needs 2000 bytes of file and 1000 are allowed: {}", path.display()),
        "size"
    );
    let error = probe(&path, &SMALL).err().ok_or("it was probed")?;
    assert!(matches!(error, PictureError::Unknown { .. }), "no picture: {error}");
    assert!(error.next().contains("PNG"), "the formats are named: {}", error.next());
    for (name, said) in [("empty.png", "the file is empty"), ("folder.png", "this is a folder, not a picture")] {
        let path = folder.path().join(name);
        if name == "empty.png" {
            std::fs::write(&path, [])?;
        } else {
            std::fs::create_dir(&path)?;
        }
        let errors = [
            read_photo(&path, &SMALL).err().ok_or("it was read")?,
            read_stored(&path, &SMALL).err().ok_or("it was read")?,
            probe(&path, &SMALL).err().ok_or("it was probed")?,
        ];
        for error in errors {
            assert_eq!(error.to_string(), format!("{said}: {}", path.display()), "one sentence");
            assert_eq!(error.class(), Class::Input, "{error}");
        }
    }
    Ok(())
}
