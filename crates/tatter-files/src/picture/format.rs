//! THE table of picture formats.

use std::fmt;
use std::path::Path;

use tatter_core::image::Stored;

use super::{Decoded, Effort, Fault, Limits, PictureInfo, exr, hdr, jpeg, png, tga, tiff, webp};

/// A picture format.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub enum PictureFormat {
    /// PNG: read and written.
    Png,
    /// JPEG: read only, since writing it would change every texel.
    Jpeg,
    /// TIFF: read and written.
    Tiff,
    /// `OpenEXR`: read and written.
    Exr,
    /// WebP: read, and written in its lossless coding.
    WebP,
    /// Radiance HDR: read only.
    Hdr,
    /// Truevision TGA: read and written. Last, since it has no mark at its head to be told by.
    Tga,
}

type Encoder = fn(&Stored, Effort) -> Result<Vec<u8>, Fault>;

/// One format: how it is told, read and written.
pub(super) struct Row {
    format: PictureFormat,
    name: &'static str,
    extensions: &'static [&'static str],
    sniff: fn(&[u8]) -> bool,
    probe: fn(&[u8], &Limits) -> Result<PictureInfo, Fault>,
    decode: fn(&[u8], &Limits) -> Result<Decoded, Fault>,
    encode: Option<Encoder>,
}

const ROWS: &[Row] = &[
    Row {
        format: PictureFormat::Png,
        name: "PNG",
        extensions: &["png"],
        sniff: png::is_png,
        probe: png::probe,
        decode: png::decode,
        encode: Some(png::encode),
    },
    Row {
        format: PictureFormat::Jpeg,
        name: "JPEG",
        extensions: &["jpg", "jpeg", "jpe", "jfif"],
        sniff: jpeg::is_jpeg,
        probe: jpeg::probe,
        decode: jpeg::decode,
        encode: None,
    },
    Row {
        format: PictureFormat::Tiff,
        name: "TIFF",
        extensions: &["tif", "tiff"],
        sniff: tiff::is_tiff,
        probe: tiff::probe,
        decode: tiff::decode,
        encode: Some(tiff::encode),
    },
    Row {
        format: PictureFormat::Exr,
        name: "OpenEXR",
        extensions: &["exr"],
        sniff: exr::is_exr,
        probe: exr::probe,
        decode: exr::decode,
        encode: Some(exr::encode),
    },
    Row {
        format: PictureFormat::WebP,
        name: "WebP",
        extensions: &["webp"],
        sniff: webp::is_webp,
        probe: webp::probe,
        decode: webp::decode,
        encode: Some(webp::encode),
    },
    Row {
        format: PictureFormat::Hdr,
        name: "Radiance HDR",
        extensions: &["hdr", "pic", "rgbe"],
        sniff: hdr::is_hdr,
        probe: hdr::probe,
        decode: hdr::decode,
        encode: None,
    },
    Row {
        format: PictureFormat::Tga,
        name: "TGA",
        extensions: &["tga", "targa"],
        sniff: tga::is_tga,
        probe: tga::probe,
        decode: tga::decode,
        encode: Some(tga::encode),
    },
];

impl Row {
    pub(super) fn probe(&self, bytes: &[u8], limits: &Limits) -> Result<PictureInfo, Fault> {
        (self.probe)(bytes, limits)
    }

    pub(super) fn decode(&self, bytes: &[u8], limits: &Limits) -> Result<Decoded, Fault> {
        (self.decode)(bytes, limits)
    }

    pub(super) fn encode(&self, stored: &Stored, effort: Effort) -> Result<Vec<u8>, Fault> {
        match self.encode {
            Some(encode) => encode(stored, effort),
            None => Err(Fault::unsupported("a picture whose samples must stay as they are")),
        }
    }
}

impl PictureFormat {
    /// Every format, in the order of the table.
    pub fn all() -> impl Iterator<Item = Self> {
        ROWS.iter().map(|row| row.format)
    }

    /// The format a file's name promises, by its extension in any case. What a file is, only its content tells.
    pub fn from_path(path: &Path) -> Option<Self> {
        let extension = path.extension()?.to_str()?.to_ascii_lowercase();
        ROWS.iter().find(|row| row.extensions.contains(&extension.as_str())).map(|row| row.format)
    }

    /// The format the first bytes show.
    pub fn from_bytes(bytes: &[u8]) -> Option<Self> {
        ROWS.iter().find(|row| (row.sniff)(bytes)).map(|row| row.format)
    }

    /// Extensions its files go by, lower case, the usual one first.
    pub fn extensions(self) -> &'static [&'static str] {
        self.row().extensions
    }

    /// Whether [`super::encode`] writes it.
    pub fn is_written(self) -> bool {
        self.row().encode.is_some()
    }

    /// Extensions of all formats, lower case.
    pub fn all_extensions() -> impl Iterator<Item = &'static str> {
        ROWS.iter().flat_map(|row| row.extensions.iter().copied())
    }

    /// The names of all formats, for people.
    pub fn names() -> String {
        ROWS.iter().map(|row| row.name).collect::<Vec<_>>().join(", ")
    }

    pub(super) fn row(self) -> &'static Row {
        // The test below keeps the table in the order of the enum.
        &ROWS[self as usize]
    }
}

impl fmt::Display for PictureFormat {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(self.row().name)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_table_has_the_order_of_the_enum() {
        for (i, row) in ROWS.iter().enumerate() {
            assert_eq!(row.format as usize, i, "{} stands at its own place", row.name);
            assert_eq!(row.format.row().name, row.name, "and is found there");
        }
    }

    #[test]
    fn names_are_told_in_any_case() {
        assert_eq!(PictureFormat::from_path(Path::new("a/Cloth.JPEG")), Some(PictureFormat::Jpeg), "upper case");
        assert_eq!(PictureFormat::from_path(Path::new("png")), None, "a name without an extension");
    }
}
