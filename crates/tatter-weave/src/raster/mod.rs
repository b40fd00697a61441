//! From threads to texels: tubes into a buffer of samples, samples into texels, loose fibres over them by exact coverage.

mod fibre;
mod segment;
mod style;
mod tile;

pub(crate) use fibre::{Fibre, RELIEF_OF_HAIR, RELIEF_OF_NAP};
pub(crate) use segment::{Node, Yarn};
pub(crate) use style::Style;
pub(crate) use tile::{Grid, Texel, Tile, View};
