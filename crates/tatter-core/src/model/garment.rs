//! A garment: mesh, map set, scale.

use crate::channel::Channel;
use crate::image::{Coding, Size};
use crate::mesh::Mesh;
use crate::model::IslandGrain;
use crate::units::MmPerUv;

/// A tile of UV space: 1001 is (0, 0), one to the right 1002, one *up in v-up terms* 1011.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct UvTile {
    /// Tiles to the right.
    pub u: i32,
    /// Tiles upwards as UDIM counts them: with v down, tile row `n` holds v in `-n..1-n`.
    pub v: i32,
}

/// One channel in a texture file.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct MapRole {
    /// Which channel.
    pub channel: Channel,
    /// How it lies in the file's components.
    pub coding: Coding,
}

/// One texture file of a garment.
#[derive(Clone, Debug, PartialEq)]
pub struct MapFile {
    /// Path relative to the job file (or as found, before a job exists), `/` between folders.
    pub path: String,
    /// What it holds: one role, or several when packed.
    pub roles: Vec<MapRole>,
    /// Columns and rows.
    pub size: Size,
}

/// The textures of one material on one UV tile.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct MapSet {
    /// Material these textures belong to; empty when the garment has one material or no mesh.
    pub material: String,
    /// UV tile they cover.
    pub tile: UvTile,
    /// The files.
    pub files: Vec<MapFile>,
}

impl MapSet {
    /// The file and role of a channel.
    pub fn role(&self, channel: Channel) -> Option<(&MapFile, &MapRole)> {
        self.files.iter().find_map(|file| file.roles.iter().find(|role| role.channel == channel).map(|role| (file, role)))
    }
}

/// A garment as the engine sees it.
#[derive(Clone, Debug, Default)]
pub struct Garment {
    /// The surface, or `None` for a bare map set, on which patches are laid flat.
    pub mesh: Option<Mesh>,
    /// Textures, by material and UV tile.
    pub sets: Vec<MapSet>,
    /// Millimetres in one unit of the mesh (glTF: 1000).
    pub mm_per_unit: f32,
    /// Millimetres per UV unit: median over the surface, or as given for a flat garment.
    pub mm_per_uv: MmPerUv,
    /// Grain of islands where it is known; a later one of the same island counts. The others' runs up the texture.
    pub grain: Vec<IslandGrain>,
}
