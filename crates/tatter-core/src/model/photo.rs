//! A photo as the engine sees it.

use crate::image::{Image, LinearRgb, Unit};

/// A picture of cloth, upright, in linear light.
#[derive(Clone, Debug)]
pub struct Photo {
    /// Where it came from, for reports.
    pub name: String,
    /// Linear Rec.709; orientation tag and embedded profile already applied.
    pub color: Image<LinearRgb>,
    /// An alpha the file itself carried, if any texel of it was below 1.
    pub alpha: Option<Image<Unit>>,
    /// Pixels of a float file that held a value which is no finite number; each such value counts as 0.
    pub unread: usize,
    /// Bits a sample in the file.
    pub bits: u8,
    /// How colours became linear, for people: `embedded profile`, `sRGB tag`, `sRGB assumed`, `linear file`.
    pub color_source: String,
    /// Content hash of the file, hexadecimal, for provenance.
    pub hash: String,
}
