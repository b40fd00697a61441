//! Lit pictures of a garment by a graphics adapter: off-screen for proofs, into a viewport for the desk.
//!
//! Plain data says what is shown: [`Scene`] (parts, materials, textures as their files hold them), [`Camera`], [`Light`]. The
//! [`Renderer`] holds the adapter; [`Renderer::load`] puts a scene there at the size a view needs, [`Renderer::still`] makes a
//! picture.
//!
//! A still is the mean of many cheap pictures. Each looks a fraction of a pixel aside, has its key light moved within the lamp's
//! disc, sees one piece of the sky with that piece's shadows, and decides by chance whether a half-open texel is there. So edges
//! are smooth, shadows soft, light falls through holes, cloth hides sky from its own folds, and openings need no sorting.
//!
//! World space is the mesh's own unit, y up, as glTF; colours are linear light, Rec.709. Out of scope: glass, translucent cloth,
//! light that bounces more than the constant share given for it.

mod camera;
mod gpu;
mod light;
mod scene;
mod sky;

pub use camera::{Camera, Side};
pub use gpu::{
    AdapterError, AdapterInfo, Loaded, LoadedLight, LoadedShape, Picture, RenderError, Renderer, Show, StillSettings,
    ViewTransform, needed_reduction,
};
pub use light::{Environment, KeyLight, Light};
pub use scene::{Material, Openings, Scene, ScenePart, Sheen, Source, Vertex};
