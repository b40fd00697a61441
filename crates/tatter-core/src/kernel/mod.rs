//! Algorithms on images, one a file; each is tested where it stands.

mod bleed;
mod blur;
mod coverage;
mod distance;
mod grid_cut;
mod label;
mod morphology;
mod normals;
mod occlusion;
mod resize;
mod ridge;
mod smooth;
mod thin;

pub use bleed::bleed;
pub use blur::{box_blur, gaussian, median3};
pub use coverage::{alpha_coverage, coverage_scale, with_coverage};
pub use distance::distance_to;
pub use grid_cut::GridCut;
pub use label::{Component, label};
pub use morphology::{close, dilate, erode, open};
pub use normals::normals_from_height;
pub use occlusion::{OcclusionSettings, occlusion};
pub use resize::{area_resize, area_resize_rows, bilinear_resize};
pub use ridge::{Hessian, hessian, ridges};
pub use smooth::{soft, weighted};
pub use thin::{line_ends, thin};
