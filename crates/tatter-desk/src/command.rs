//! All that a person can ask of the desk.

use std::path::PathBuf;

use tatter::deliver::Foreign;
use tatter::history::Edit;
use tatter::keep::Over;
use tatter::scatter::Draft;
use tatter::stand::Touch;
use tatter_core::angle::Angle;
use tatter_core::model::{Wear, WearKind};

use crate::bench::OnPatch;
use crate::elsewhere::OnFolder;
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

/// What lies beneath the garment to be read and changed.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum List {
    /// Every placement: the cutting list.
    #[default]
    Pieces,
    /// Rules that placements were made by.
    Scatters,
    /// Marks of wear of the cloth itself.
    Wear,
}

impl List {
    /// From left to right.
    pub const ALL: [Self; 3] = [Self::Pieces, Self::Scatters, Self::Wear];
}

/// Something of the scatters of a job.
#[derive(Clone, Debug)]
pub enum OnScatter {
    /// Make one, of the patch that was taken.
    New,
    /// Take one up, by its id.
    Choose(Option<String>),
    /// See what a changed rule yields.
    Throw(Box<Draft>),
    /// The same while a number is dragged.
    Drag(Box<Draft>),
}

/// Something of the wear of a job.
#[derive(Clone, Debug)]
pub enum OnWear {
    /// Make a mark of a kind.
    New(WearKind),
    /// Take one up, by its id.
    Choose(Option<String>),
    /// A mark becomes another.
    Change(Box<Wear>),
    /// The same while a number is dragged.
    Drag(Box<Wear>),
}

/// Something of the line that what was taken up lies along.
#[derive(Clone, Debug)]
pub enum OnLine {
    /// Take the chalk, or lay it down: touches put corners.
    Chalk(bool),
    /// Put a corner elsewhere, while it is dragged.
    Corner(usize, Touch),
    /// Take the last corner back.
    Shorten,
    /// Take the line away.
    Clear,
}

/// One thing asked.
#[derive(Clone, Debug)]
pub enum Command {
    /// Something of the scatters.
    Scatter(OnScatter),
    /// Something of the wear.
    Wear(OnWear),
    /// Something of a drawn line.
    Line(OnLine),
    /// A grey picture says where there is more of the scatter or the wear that is taken up.
    Density(PathBuf),
    /// Show a list beneath the garment.
    List(List),
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
    /// Something of the folders of patches that lie elsewhere.
    Folder(OnFolder),
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
    /// Whether its variations are delivered with it.
    WithVariations(bool),
    /// Put back what was there before the last delivery.
    PutBack,
    /// Stop what is under way.
    Stop,
    /// What becomes of files that somebody else changed.
    Outside(OnOutside),
    /// What was said has been read.
    Dismiss,
}
