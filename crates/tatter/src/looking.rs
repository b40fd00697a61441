//! A patch looked over: each map as people read it, a swatch under a lamp, and what is known of it.

use std::path::{Path, PathBuf};

use rayon::prelude::*;
use tatter_core::channel::{Channel, PerChannel};
use tatter_core::image::Size;
use tatter_core::model::{Origin, Patch};
use tatter_core::units::Mm;
use tatter_files::limits::Limits;
use tatter_files::patch::{PatchError, read_patch};
use tatter_proof::Picture;

use crate::cutting::halved;
use crate::library::shown;
use crate::sheet::{Swatch, visible};

/// One map.
#[derive(Debug)]
pub struct MapView {
    /// Which.
    pub channel: Channel,
    /// How far to trust it.
    pub origin: Origin,
    /// How it was made, one line.
    pub how: String,
    /// As people read it, texel for texel as far as the window can show it; then each half the one before.
    pub pictures: Vec<Picture>,
}

/// A patch.
#[derive(Debug)]
pub struct PatchView {
    /// Its folder.
    pub folder: PathBuf,
    /// Its description, without maps.
    pub patch: Patch,
    /// Columns and rows of its maps.
    pub texels: Size,
    /// Width and height of its canvas.
    pub size_mm: [Mm; 2],
    /// Its maps.
    pub maps: Vec<MapView>,
    swatch: Swatch,
}

/// A picture that is no longer is not halved again.
const SMALLEST: usize = 160;

impl PatchView {
    /// Read a patch. No picture of it is longer than `largest`; they take 4 bytes a texel of each map.
    ///
    /// # Errors
    /// When it cannot be read.
    pub fn read(folder: &Path, largest: usize) -> Result<Self, PatchError> {
        Ok(Self::of(read_patch(folder, &Limits::default())?, folder, largest))
    }

    /// Of a patch that lies in a folder, or will.
    pub(crate) fn of(mut patch: Patch, folder: &Path, largest: usize) -> Self {
        let (texels, size_mm, swatch) = (patch.size(), patch.size_mm(), Swatch::of(&patch));
        let view = |channel: Channel| {
            let entry = patch.maps[channel].as_ref()?;
            let pictures = halved(&visible(channel, entry.map(), &patch), largest, SMALLEST);
            Some(MapView { channel, origin: entry.origin, how: entry.how.clone(), pictures })
        };
        let maps: Vec<MapView> = Channel::ALL.into_par_iter().filter_map(view).collect();
        patch.maps = PerChannel::default();
        Self { folder: folder.to_owned(), patch, texels, size_mm, maps, swatch }
    }

    /// The patch over a checker under a lamp at that place of the sky: how far to the right and up, both 0 straight above the cloth, together at
    /// most 1 at the horizon.
    pub fn swatch(&self, lamp: [f32; 2]) -> Picture {
        let far = lamp[0].hypot(lamp[1]);
        let [x, y] = if far > 1.0 { lamp.map(|v| v / far) } else { lamp };
        shown(&self.swatch.lit([x, y, (1.0 - x * x - y * y).max(0.0).sqrt()]))
    }
}
