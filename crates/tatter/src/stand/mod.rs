//! A garment on its stand: opened once, touched, looked at and dressed many times. For the desk, where a picture follows every move.
//!
//! [`Form`] is the garment's shape, cheap to ask and shared between threads: what lies under a finger, how a placement lies on the cloth. The
//! [`Dresser`] holds textures at the size of a screen and the graphics adapter: it lays a job over them and draws. The [`Thrower`] tries rules of scatters.

mod brush;
mod dresser;
mod form;
mod level;
mod line;
mod textures;
mod thrower;

pub use brush::Brush;
pub use dresser::{Dresser, Fineness, State, View};
pub use form::{Form, Lie, Sheet, Touch};
pub use line::{Corner, Line};
pub use textures::Textures;
pub use thrower::Thrower;
