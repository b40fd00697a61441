//! What can go wrong with a patch folder.

use std::io;
use std::path::PathBuf;

use tatter_core::channel::{Channel, Kind};
use tatter_core::explain::{Class, Explain};
use tatter_core::image::Size;

use crate::picture::PictureError;
use crate::text::TextFault;

/// Why a patch could not be read or written.
#[derive(Debug, thiserror::Error)]
pub enum PatchError {
    /// Nothing there, or no `patch.toml` in it.
    #[error("no patch.toml, so this is not a patch: {}", folder.display())]
    NotAPatch {
        /// The folder.
        folder: PathBuf,
    },
    /// The text of `patch.toml` is wrong.
    #[error("{fault}: {}", path.display())]
    Text {
        /// `patch.toml`.
        path: PathBuf,
        /// What and on which line.
        fault: Box<TextFault>,
    },
    /// A map that `patch.toml` names is not there.
    #[error("the {channel} map is missing: {}", path.display())]
    MapMissing {
        /// The channel.
        channel: Channel,
        /// Where it should be.
        path: PathBuf,
    },
    /// A map has another size than `patch.toml` says.
    #[error("the {channel} map has {found} texels where patch.toml says {wanted}: {}", path.display())]
    SizesDisagree {
        /// The channel.
        channel: Channel,
        /// Size of the picture.
        found: Size,
        /// Size by `patch.toml`.
        wanted: Size,
        /// The picture.
        path: PathBuf,
    },
    /// A colour or normal map without three components.
    #[error("the {channel} map needs red, green and blue, and the picture is grey: {}", path.display())]
    Grey {
        /// The channel.
        channel: Channel,
        /// The picture.
        path: PathBuf,
    },
    /// A map could not be decoded or encoded.
    #[error("the {channel} map could not be used: {source}")]
    Picture {
        /// The channel.
        channel: Channel,
        /// Why.
        source: PictureError,
    },
    /// The patch to be written has no map.
    #[error("a patch without any map cannot be kept: {}", folder.display())]
    Empty {
        /// Where it should have gone.
        folder: PathBuf,
    },
    /// A map of the patch to be written has another size or kind than it must.
    #[error("the {channel} map to be kept has {found} texels of kind {kind:?}, not {wanted} of kind {wanted_kind:?}: {}", folder.display())]
    Unfit {
        /// The channel.
        channel: Channel,
        /// Its size.
        found: Size,
        /// Size of the first map.
        wanted: Size,
        /// Its kind.
        kind: Kind,
        /// The channel's kind.
        wanted_kind: Kind,
        /// Where it should have gone.
        folder: PathBuf,
    },
    /// A number of the patch to be written is not finite, or a size not above zero.
    #[error("{what} of the patch is {value}, which cannot be kept: {}", folder.display())]
    NotANumber {
        /// Which number.
        what: &'static str,
        /// Its value.
        value: f32,
        /// Where it should have gone.
        folder: PathBuf,
    },
    /// Something other than a patch bears the name.
    #[error("something that is not a patch already has this name: {}", folder.display())]
    Occupied {
        /// The name.
        folder: PathBuf,
    },
    /// Another run is writing the same patch.
    #[error("another run is writing this patch: {}", folder.display())]
    Busy {
        /// The patch.
        folder: PathBuf,
    },
    /// The disk refused.
    #[error("{doing} failed ({source}): {}", path.display())]
    Disk {
        /// What was being done.
        doing: &'static str,
        /// The system's answer.
        source: io::Error,
        /// To what.
        path: PathBuf,
    },
}

impl Explain for PatchError {
    fn next(&self) -> String {
        match self {
            Self::NotAPatch { .. } => "give the folder that holds patch.toml, or cut the patch again".to_owned(),
            Self::Text { fault, .. } => fault.next(),
            Self::MapMissing { .. } => {
                "put the picture back, remove its table from patch.toml, or cut the patch again".to_owned()
            }
            Self::SizesDisagree { wanted, .. } => format!("bring every map to {wanted} texels, or cut the patch again"),
            Self::Grey { .. } => "store the map with three components".to_owned(),
            Self::Picture { source, .. } => source.next(),
            Self::Empty { .. } => "cut at least a cover".to_owned(),
            Self::Unfit { .. } | Self::NotANumber { .. } => "report this as a fault of Tatter, with the photo".to_owned(),
            Self::Occupied { .. } => "choose another name, or move what is there".to_owned(),
            Self::Busy { .. } => "wait until the other run has ended".to_owned(),
            Self::Disk { .. } => "make room or allow writing there, then try again".to_owned(),
        }
    }

    fn class(&self) -> Class {
        match self {
            Self::NotAPatch { .. }
            | Self::Text { .. }
            | Self::MapMissing { .. }
            | Self::SizesDisagree { .. }
            | Self::Grey { .. } => Class::Input,
            Self::Picture { source, .. } => source.class(),
            Self::Empty { .. } | Self::Unfit { .. } | Self::NotANumber { .. } | Self::Occupied { .. } => Class::Request,
            Self::Busy { .. } | Self::Disk { .. } => Class::Outside,
        }
    }
}
