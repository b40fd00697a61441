//! Pictures in and out: every format is one file here and one row of [`PictureFormat`]'s table.
//!
//! [`read_stored`] gives exactly the samples of a file, for maps that go back where they came from; [`read_photo`] gives
//! upright linear Rec.709 colour, for work; [`probe`] reads headers only; [`encode`] writes. Formats are told by content,
//! never by name. What a file may ask for is bounded by [`Limits`], before anything is allocated.

mod color;
mod error;
mod exif;
mod exr;
mod format;
mod hdr;
mod jpeg;
mod photo;
mod png;
mod stream;
mod tga;
mod tiff;
mod webp;

use std::collections::BTreeMap;
use std::fs::File;
use std::io::{BufRead as _, Read as _};
use std::ops::Range;
use std::path::{Path, PathBuf};

use rayon::prelude::*;
use tatter_core::image::{Layout, Rect, Samples, Size, Stored};
use tatter_core::model::Photo;

use error::Fault;
pub use error::PictureError;
pub use format::PictureFormat;
use stream::Stream;

use crate::limits::Limits;
use crate::pieces::{KnownFile, Pieces};

/// What a picture is, by its header.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct PictureInfo {
    /// The format its content shows.
    pub format: PictureFormat,
    /// Columns and rows as stored, before any orientation tag.
    pub size: Size,
    /// Components as [`Stored`] will hold them: palettes expanded, keyed transparency as alpha, inks as RGB.
    pub layout: Layout,
    /// Bits a sample in the file: 1, 2 and 4 are expanded to 8 when read.
    pub bits: u8,
    /// Samples are floats.
    pub float: bool,
    /// Colours come from a palette; `bits` is the depth of its index.
    pub palette: bool,
    /// The file holds inks (CMYK), which are read as sRGB.
    pub ink: bool,
    /// The file holds more than is read: further pages, frames, parts or channels, or texels outside its display window.
    pub partial: bool,
    /// EXIF orientation, 1 to 8; 1 is upright.
    pub orientation: u8,
}

impl PictureInfo {
    /// Whether [`read_stored`] hands over the samples one to one: no palette, no widened depth, no
    /// inks, and nothing left out.
    pub const fn is_plain(&self) -> bool {
        !self.palette && !self.ink && !self.partial && self.bits >= 8
    }
}

/// How hard to pack when writing.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Default)]
pub enum Effort {
    /// For delivery, many large maps at once.
    #[default]
    Fast,
    /// For files that are kept and shared: smaller, several times slower.
    Small,
}

/// A decoded file: samples, and what the header said.
#[derive(Debug)]
struct Decoded {
    info: PictureInfo,
    stored: Stored,
    /// Inks were converted by the profile inside the file.
    by_profile: bool,
}

impl Decoded {
    const fn plain(info: PictureInfo, stored: Stored) -> Self {
        Self { info, stored, by_profile: false }
    }
}

/// Read a photo: linear Rec.709, upright, embedded colour description honoured. Peak memory is the samples of the file
/// plus 12 bytes a texel (16 with alpha).
///
/// # Errors
/// When the file can't be read, is no picture, is damaged or exceeds `limits`.
pub fn read_photo(path: &Path, limits: &Limits) -> Result<Photo, PictureError> {
    let bytes = read_file(path, limits)?;
    let decoded = decode(&bytes, limits, path)?;
    let name = path.file_name().unwrap_or(path.as_os_str()).to_string_lossy().into_owned();
    let hash = hash(&bytes);
    drop(bytes);
    let format = decoded.info.format;
    photo::develop(decoded, name, hash, limits).map_err(|fault| fault.at(path, format))
}

/// Read exactly the samples of a file, with its colour tags, orientation not applied. Palettes and depths of 1, 2 and 4
/// bits are expanded to 8 with exact scaling (PNG third edition, 12.5); [`probe`] tells that they were.
///
/// # Errors
/// When the file can't be read, is no picture, is damaged or exceeds `limits`.
pub fn read_stored(path: &Path, limits: &Limits) -> Result<Stored, PictureError> {
    read_with_info(path, limits).map(|(stored, _)| stored)
}

/// [`read_stored`] together with what the header said, from one reading of the file.
///
/// # Errors
/// As [`read_stored`].
pub fn read_with_info(path: &Path, limits: &Limits) -> Result<(Stored, PictureInfo), PictureError> {
    read_through(path, limits, false).map(|(decoded, _)| (decoded.stored, decoded.info))
}

/// [`read_stored`] together with the BLAKE3 of the file, hexadecimal, and its length, from one reading.
///
/// # Errors
/// As [`read_stored`].
pub fn read_hashed(path: &Path, limits: &Limits) -> Result<(Stored, (String, u64)), PictureError> {
    read_through(path, limits, true).map(|(decoded, content)| (decoded.stored, content.unwrap_or_default()))
}

/// Decode a file, a PNG without holding its bytes, and hash it if asked to.
fn read_through(path: &Path, limits: &Limits, hashed: bool) -> Result<(Decoded, Option<(String, u64)>), PictureError> {
    let fail = |source| PictureError::Open { path: path.to_path_buf(), source };
    let mut stream = Stream::open(path, limits, hashed)?;
    if !png::is_whole_png(stream.fill_buf().map_err(fail)?) {
        drop(stream);
        let bytes = read_file(path, limits)?;
        let content = hashed.then(|| (hash(&bytes), bytes.len() as u64));
        return Ok((decode(&bytes, limits, path)?, content));
    }
    let decoded = png::decode_from(&mut stream, limits).map_err(|fault| fault.at(path, PictureFormat::Png))?;
    Ok((decoded, stream.finish().map_err(fail)?))
}

/// [`read_stored`] for bytes in memory.
///
/// # Errors
/// When they are no picture, are damaged or exceed `limits`.
pub fn decode_stored(bytes: &[u8], limits: &Limits) -> Result<Stored, PictureError> {
    decode(bytes, limits, in_memory()).map(|decoded| decoded.stored)
}

/// What a picture is, from its header alone; no texel is decoded.
///
/// # Errors
/// When the file can't be read, is no picture, or its header is damaged or exceeds `limits`.
pub fn probe(path: &Path, limits: &Limits) -> Result<PictureInfo, PictureError> {
    let bytes = read_file(path, limits)?;
    let format = known(&bytes, path)?;
    format.row().probe(&bytes, limits).map_err(|fault| fault.at(path, format))
}

/// Pack a picture. Colour tags are written as they are; samples come back bit-exact from every format that is written.
/// The same picture gives the same bytes on any number of threads.
///
/// # Errors
/// When the format can't hold these samples, or is not written here at all (JPEG would not keep them).
pub fn encode(stored: &Stored, format: PictureFormat, effort: Effort) -> Result<Vec<u8>, PictureError> {
    format.row().encode(stored, effort).map_err(|fault| fault.at_write(format))
}

/// Where the samples of some rows lie in a PNG file of ours. Serialised as start, end, checksum.
#[derive(Clone, Copy, Debug, PartialEq, Eq, serde::Serialize, serde::Deserialize)]
pub struct Band {
    pub(crate) start: usize,
    pub(crate) end: usize,
    pub(crate) sum: u32,
}

/// A PNG file, and where its rows lie in it.
pub type Banded = (Pieces, Vec<Band>);

/// As [`encode`] to PNG at [`Effort::Fast`], with the places of its bands for [`rewrite_banded`].
///
/// # Errors
/// As [`encode`].
pub fn encode_banded(stored: &Stored) -> Result<Banded, PictureError> {
    png::encode_banded(stored).map_err(|fault| fault.at_write(PictureFormat::Png))
}

/// Rows of a file of ours that were unpacked, those packed together in one picture.
#[derive(Clone, Debug, Default)]
pub struct Strips(pub(crate) BTreeMap<usize, Stored>);

/// The picture that `previous` holds with `parts` of `stored` in place of its own, to the byte as [`encode_banded`] would write the
/// whole. Only bands that a part reaches are packed anew, and unpacked where `strips` lacks them; of `stored` only the parts, its size,
/// kind and tags are looked at. All else stays in `previous` until the pieces are written. `None` when `previous` is not what
/// [`encode_banded`] wrote with these bands, or was written since.
///
/// # Errors
/// As [`encode`].
pub fn rewrite_banded(
    previous: &KnownFile,
    bands: &[Band],
    strips: Strips,
    stored: &Stored,
    parts: &[Rect],
) -> Result<Option<Banded>, PictureError> {
    png::rewrite(previous, bands, strips, stored, parts).map_err(|fault| fault.at_write(PictureFormat::Png))
}

/// Rows of the picture that `file` holds, and those packed with them, laid into one of its kind and size. Those that `parts` reach are given
/// back as well, for [`rewrite_banded`]. `None` when `file` is not what [`encode_banded`] wrote with these bands, or was written since.
///
/// # Errors
/// As [`encode`], for the picture they are laid into.
pub fn unpack_banded(
    file: &KnownFile,
    bands: &[Band],
    rows: &[Range<usize>],
    parts: &[Rect],
    into: &mut Stored,
) -> Result<Option<Strips>, PictureError> {
    png::unpack(file, bands, rows, parts, into).map_err(|fault| fault.at_write(PictureFormat::Png))
}

/// Put what is read at once in the order of its files' lengths, the longest before the others: no core is left waiting for one that
/// was begun last. Files that are not there come last.
pub fn largest_first<T>(mut all: Vec<T>, path: impl Fn(&T) -> PathBuf) -> Vec<T> {
    all.sort_by_cached_key(|one| std::cmp::Reverse(std::fs::metadata(path(one)).map_or(0, |data| data.len())));
    all
}

/// Pack a photo, 8-bit sRGB, as a camera does: a JPEG of that quality, 1 to 100. Maps are never written so.
///
/// # Errors
/// When the samples are not 8-bit colour, or a side is longer than JPEG can hold.
pub fn encode_jpeg_photo(stored: &Stored, quality: u8) -> Result<Vec<u8>, PictureError> {
    jpeg::encode_photo(stored, quality).map_err(|fault| fault.at_write(PictureFormat::Jpeg))
}

/// Content hash of some bytes, hexadecimal, as [`Photo::hash`].
#[must_use]
pub fn hash(bytes: &[u8]) -> String {
    blake3::hash(bytes).to_hex().to_string()
}

fn in_memory() -> &'static Path {
    Path::new("(bytes in memory)")
}

/// The format that the bytes of a file are of.
fn known(bytes: &[u8], path: &Path) -> Result<PictureFormat, PictureError> {
    let path = || path.to_path_buf();
    match PictureFormat::from_bytes(bytes) {
        Some(format) => Ok(format),
        None if bytes.is_empty() => Err(PictureError::Empty { path: path() }),
        None => Err(PictureError::Unknown { path: path() }),
    }
}

fn decode(bytes: &[u8], limits: &Limits, path: &Path) -> Result<Decoded, PictureError> {
    let format = known(bytes, path)?;
    format.row().decode(bytes, limits).map_err(|fault| fault.at(path, format))
}

/// A file at its first byte, and its length.
fn opened(path: &Path) -> Result<(File, u64), PictureError> {
    let fail = |source| PictureError::Open { path: path.to_path_buf(), source };
    let told = std::fs::metadata(path).map_err(fail)?;
    if told.is_dir() {
        return Err(PictureError::Folder { path: path.to_path_buf() });
    }
    let file = File::open(path).map_err(fail)?;
    let length = file.metadata().map_err(fail)?.len();
    Ok((file, length))
}

fn read_file(path: &Path, limits: &Limits) -> Result<Vec<u8>, PictureError> {
    let fail = |source| PictureError::Open { path: path.to_path_buf(), source };
    let (file, length) = opened(path)?;
    let too_large =
        |asked| PictureError::TooLarge { what: "bytes of file", asked, allowed: limits.max_file_bytes, path: path.to_path_buf() };
    if length > limits.max_file_bytes {
        return Err(too_large(length));
    }
    let mut bytes = Vec::with_capacity(usize::try_from(length).unwrap_or(0));
    // One byte past the limit tells a file that grew, or a device that never ends.
    file.take(limits.max_file_bytes.saturating_add(1)).read_to_end(&mut bytes).map_err(fail)?;
    if bytes.len() as u64 > limits.max_file_bytes {
        return Err(too_large(bytes.len() as u64));
    }
    Ok(bytes)
}

/// The size of a picture, if it is one and the limits allow it with this many bytes a texel.
fn admit(width: u64, height: u64, bytes_per_texel: u64, limits: &Limits) -> Result<Size, Fault> {
    if width == 0 || height == 0 {
        return Err(Fault::damaged(format!("its header gives a size of {width} × {height}")));
    }
    let texels = width.saturating_mul(height);
    if texels > limits.max_texels {
        return Err(Fault::TooLarge { what: "texels", asked: texels, allowed: limits.max_texels });
    }
    let bytes = texels.saturating_mul(bytes_per_texel);
    if bytes > limits.max_bytes {
        return Err(Fault::TooLarge { what: "bytes of memory", asked: bytes, allowed: limits.max_bytes });
    }
    match (usize::try_from(width), usize::try_from(height)) {
        (Ok(width), Ok(height)) => Ok(Size::new(width, height)),
        _ => Err(Fault::TooLarge { what: "texels", asked: texels, allowed: usize::MAX as u64 }),
    }
}

/// Big-endian bytes as 16-bit samples.
fn from_big_endian(bytes: &[u8]) -> Samples {
    Samples::U16(bytes.as_chunks::<2>().0.par_iter().with_min_len(1 << 16).map(|&pair| u16::from_be_bytes(pair)).collect())
}
