//! The desk: the whole job in a window, as a cloth room's table where work moves from left to right.
//!
//! What it is not: it holds no image arithmetic and no format; everything is done by the façade `tatter`, as by the command line.
//!
//! Start at [`Desk`]: it holds what lies on the table, [`Desk::obey`] does what a [`Command`] asks, [`Desk::ui`] draws the window, and [`work`]
//! has the threads that open, draw and deliver. Functions that take a `Ui` end in `_ui`; they read state and push commands.

mod bench;
pub mod command;
mod crew;
mod desk;
mod elsewhere;
mod job;
mod line;
mod look;
mod loom;
mod newest;
mod open;
mod outside;
pub mod photo;
mod say;
mod scattering;
mod shelf;
mod start;
mod station;
mod threads;
mod wearing;
mod widget;
mod window;
pub mod work;

pub use bench::{Bench, OnPatch};
pub use command::{Command, List, OnLine, OnScatter, OnWear, Station};
pub use desk::{Desk, is_job};
pub use elsewhere::OnFolder;
pub use look::{Icon, Palette, contrast, dress, icon_button_ui};
pub use loom::{Loom, OnLoom};
pub use open::{Open, Stance};
pub use outside::OnOutside;
pub use photo::{OnPhoto, Part, Photos, Quad, Sheet, Shot, Tool};
pub use start::{Chosen, Dialogs, OnStart, Waiting, Wanted};
pub use threads::leave;
pub use window::{StartError, run};
pub use work::Drawn;
