//! Cloth and its damage, built thread by thread from what a weaver states.
//!
//! What it is not: it reads no file and no photo, and knows no garment.
//!
//! Start at [`stock`] for a [`Cloth`], and at [`geometry::solve`] for its thickness, crimp and weight.
//!
//! ```
//! let denim = tatter_weave::stock("denim").unwrap();
//! let geometry = tatter_weave::geometry::solve(&denim).unwrap();
//! assert!((geometry.grams_per_m2 - 400.0).abs() < 20.0);
//! ```

mod cloth;
mod count;
mod damage;
mod draft;
pub mod geometry;
mod knit;
mod layer;
mod loom;
mod maths;
mod noise;
mod raster;
mod render;
mod sheet;
mod shoot;
mod stock;
mod weave;
mod yarn;

pub use cloth::{Cloth, ClothError, Finish};
pub use count::{Count, CountError, parse_count};
pub use damage::{Along, Damage, Kind};
pub use draft::{Draft, DraftError};
pub use render::Maps;
pub use shoot::{Photograph, Shot, shoot};
pub use stock::{STOCK, stock};
pub use weave::{PatchSpec, TileSpec, WeaveError, Woven, weave_patch, weave_tile};
pub use yarn::{Dye, Fibre, Twist, Yarn, diameter_mm};
