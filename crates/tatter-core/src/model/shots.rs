//! More shots of the same cloth from the same place, as a person names them beside a photo.

use std::path::PathBuf;

use crate::image::LinearRgb;

/// What lies beside a photo. All shots were taken from one place; strokes and places are those of the photo itself.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct OtherShots {
    /// The same cloth over the dark backing; the photo itself is over the light one.
    pub over_dark: Option<PathBuf>,
    /// Colours of the dark and the light backing as the photos show them in full light; measured when absent.
    pub backings: Option<[LinearRgb; 2]>,
    /// A lamp or a window behind the cloth; never beside `over_dark`.
    pub backlit: Option<PathBuf>,
    /// The lamp alone as `backlit` shows it.
    pub lamp: Option<PathBuf>,
    /// A lights file of shots under several lamps. Without `over_dark`, these shots stand in the place of the photo.
    pub lights: Option<PathBuf>,
}
