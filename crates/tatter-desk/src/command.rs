//! All that a person can ask of the desk.

use std::path::PathBuf;

use tatter::deliver::Foreign;
use tatter::history::Edit;
use tatter::keep::Over;
use tatter::stand::Touch;
use tatter_core::angle::Angle;

use crate::bench::OnPatch;
use crate::loom::OnLoom;
use crate::outside::OnOutside;
use crate::photo::OnPhoto;
use crate::start::OnStart;

/// The stations, as work travels.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Station {
    /// Photos become patches.
    Photo,
    /// Patches at hand.
    Patch,
    /// Patches on the garment.
    #[default]
    Garment,
    /// Textures to the renderer.
    Delivery,
}

impl Station {
    /// In the order of travel.
    pub const ALL: [Self; 4] = [Self::Photo, Self::Patch, Self::Garment, Self::Delivery];
}

/// One thing asked.
#[derive(Clone, Debug)]
pub enum Command {
    /// Lay photos on the table.
    Lay(Vec<PathBuf>),
    /// Something of the patch that is looked over.
    Patch(OnPatch),
    /// Something of the loom.
    Loom(OnLoom),
    /// Something of the photos.
    Photo(OnPhoto),
    /// Open a job.
    Open(PathBuf),
    /// Put the job away; what is not saved is kept as its draft.
    Close,
    /// Files of any kind that the desk knows: jobs are opened, photos laid on the table, a job is begun beside a mesh.
    Bring(Vec<PathBuf>),
    /// Something of the start.
    Start(OnStart),
    /// Go to a station.
    Go(Station),
    /// Take a patch from the drawer, by its folder; `None`: let it go.
    Take(Option<PathBuf>),
    /// A place of the cloth was touched: what was taken lies there, or what lies there is selected.
    Touch(Touch),
    /// Select a placement.
    Select(Option<String>),
    /// Make an edit.
    Make(Edit),
    /// Make an edit of a drag that goes on.
    Drag(Edit),
    /// The drag is over.
    LetGo,
    /// One step back.
    Undo,
    /// One step forth.
    Redo,
    /// Save the job.
    Save(Over),
    /// Read the job file again; what was not saved is lost.
    ReadAnew,
    /// What a crash left: take it up, or leave it.
    Draft(bool),
    /// Walk around the garment.
    Walk {
        /// About the upright axis.
        turn: Angle,
        /// Above the horizon.
        lift: Angle,
    },
    /// Come nearer by this factor.
    Nearer(f32),
    /// Shift the garment in the view, in shares of its height: right and up.
    Shift([f32; 2]),
    /// Show a map set in the flat view.
    Sheet(usize),
    /// Where the slider of the proof stands, 0..1 from the left.
    Slide(f32),
    /// See what a delivery would do.
    LookOver,
    /// Save and deliver.
    Deliver(Foreign),
    /// Put back what was there before the last delivery.
    PutBack,
    /// Stop what is under way.
    Stop,
    /// What becomes of files that somebody else changed.
    Outside(OnOutside),
    /// What was said has been read.
    Dismiss,
}
