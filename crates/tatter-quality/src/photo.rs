//! Photos: made ones as their camera wrote them, and those of a folder.

use std::path::Path;

use tatter_core::image::{Coding, Depth, Image, LinearRgb, Map, Stored, Transfer};
use tatter_core::model::Photo;
use tatter_files::limits::Limits;
use tatter_files::picture::{PictureError, decode_stored, encode_jpeg_photo, read_photo};

use crate::scenes::Case;

/// A made scene as `cut` gets it.
pub(crate) fn photo(case: &Case, light: &Image<LinearRgb>) -> Result<Photo, PictureError> {
    let Some(quality) = case.jpeg else { return Ok(made(&case.name, light.clone())) };
    Ok(Photo { bits: 8, ..made(&case.name, through_jpeg(light, quality)?) })
}

/// Through a camera's JPEG.
pub(crate) fn through_jpeg(light: &Image<LinearRgb>, quality: u8) -> Result<Image<LinearRgb>, PictureError> {
    read_jpeg(&jpeg(light, quality)?)
}

/// A camera's JPEG file.
pub(crate) fn jpeg(light: &Image<LinearRgb>, quality: u8) -> Result<Vec<u8>, PictureError> {
    encode_jpeg_photo(&Stored::from_map(&Map::Color(light.clone()), &coding(), Depth::Eight), quality)
}

/// The light of such a file.
pub(crate) fn read_jpeg(file: &[u8]) -> Result<Image<LinearRgb>, PictureError> {
    let stored = decode_stored(file, &Limits::default())?;
    Ok(Image::from_fn(stored.size.width, stored.size.height, |x, y| stored.color_at(x, y, &coding())))
}

fn coding() -> Coding {
    Coding { transfer: Transfer::Srgb, ..Coding::default() }
}

/// Linear light as a photo.
pub(crate) fn made(name: &str, color: Image<LinearRgb>) -> Photo {
    Photo { name: name.to_owned(), color, alpha: None, unread: 0, bits: 16, color_source: "made".to_owned(), hash: String::new() }
}

/// A picture of the open data.
pub(crate) fn open(path: &Path) -> Result<Photo, PictureError> {
    read_photo(path, &Limits::default())
}
