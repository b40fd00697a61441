//! Two image types: [`Image`] to compute with, [`Stored`] as a file holds it.

mod blocks;
mod differ;
mod grid;
mod map;
mod pixel;
mod rect;
mod sample;
mod stored;

pub use grid::{Image, inside_any};
pub use map::{Map, MapRow};
pub use pixel::{HeightMm, LinearRgb, Normal, Pixel, Unit};
pub use rect::{Rect, Size};
pub use stored::{Coding, ColorTags, Depth, HeightRange, Layout, NormalY, Samples, Stored, Transfer};
