//! What a build remembers, so that the next one only does what changed.

use std::collections::{BTreeMap, BTreeSet};

use serde::{Deserialize, Serialize};
use tatter_core::image::{Rect, Size};

use super::tile::LayerCount;

/// A tile of the textures of one size of one map set.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
pub struct TileAt {
    /// Number of the target: map sets in order, sizes as they come in each.
    pub target: usize,
    /// Row of tiles.
    pub row: i64,
    /// Column of tiles.
    pub column: i64,
}

/// What one placement did in one tile.
#[derive(Clone, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
pub(super) struct Share {
    /// Of the placement.
    pub(super) id: String,
    texels: usize,
    clamped: usize,
    shared: usize,
    shown_by: BTreeSet<u32>,
}

/// What happened in one tile.
#[derive(Clone, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
pub(super) struct TileRecord {
    /// Placements that reach it, also those that do nothing there.
    pub(super) shares: Vec<Share>,
    /// Texels changed, by file of the set.
    pub(super) changed: Vec<(usize, usize)>,
}

/// What a placement's fit told.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
pub(super) struct FitRecord {
    pub(super) rim_difference: Option<f32>,
    pub(super) told: Vec<(String, String)>,
}

/// A build as it was. Good for the same garment, pictures and settings only: whoever keeps it makes sure of that.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
pub struct BuildRecord {
    /// Tiles that placements reached.
    pub(super) tiles: Vec<(TileAt, TileRecord)>,
    /// By id.
    pub(super) fits: BTreeMap<String, FitRecord>,
}

impl BuildRecord {
    /// Tiles that any placement reached.
    pub fn tiles(&self) -> BTreeSet<TileAt> {
        self.tiles.iter().map(|(at, _)| *at).collect()
    }

    /// Tiles that some placements reached.
    pub fn tiles_of(&self, ids: &BTreeSet<String>) -> BTreeSet<TileAt> {
        let reached = |record: &TileRecord| record.shares.iter().any(|share| ids.contains(&share.id));
        self.tiles.iter().filter(|(_, record)| reached(record)).map(|(at, _)| *at).collect()
    }
}

impl Share {
    pub(super) fn new(id: &str, count: &LayerCount) -> Self {
        let LayerCount { texels, clamped, shared, ref shown_by, .. } = *count;
        Self { id: id.to_owned(), texels, clamped, shared, shown_by: shown_by.clone() }
    }

    pub(super) fn count(&self, layer: usize) -> LayerCount {
        LayerCount { layer, texels: self.texels, clamped: self.clamped, shared: self.shared, shown_by: self.shown_by.clone() }
    }
}

/// The texels of a tile.
pub(super) fn tile_rect(at: TileAt, side: usize, size: Size) -> Rect {
    let (x, y) = (at.column as usize * side, at.row as usize * side);
    Rect::new(x, y, side.min(size.width - x), side.min(size.height - y))
}
