//! The file dialogs of the system.

use std::path::PathBuf;
use std::pin::Pin;
use std::sync::Arc;
use std::time::{Duration, Instant};

use tatter::start::MESH_EXTENSIONS;

use crate::say;

/// What is to be chosen.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Wanted {
    /// A job file.
    Job,
    /// Photos.
    Photos,
    /// A garment's mesh.
    Mesh,
    /// A lights file.
    Lights,
    /// A grey picture that says where there is more.
    Density,
    /// A folder with patches.
    Patches,
}

/// What became of a dialog.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Chosen {
    /// Files were chosen.
    Files(Vec<PathBuf>),
    /// The person closed it.
    Nothing,
    /// The system has none to show.
    NoDialog,
}

/// What waits for a dialog to be closed, on a thread.
pub type Waiting = Box<dyn FnOnce() -> Chosen + Send>;

/// Opens a dialog; called where the window is drawn, since some systems open dialogs nowhere else.
pub type Dialogs = Arc<dyn Fn(Wanted) -> Waiting>;

/// Nobody reads and closes a dialog within this time: then there was none. What the system's library gives does not tell the two apart.
const TOO_SOON: Duration = Duration::from_millis(250);

/// What a dialog of files and one of folders have in common.
type Choosing = Pin<Box<dyn Future<Output = Option<Vec<rfd::FileHandle>>> + Send>>;

/// The system's own dialogs: the desktop portal on Linux.
pub(crate) fn of_the_system(wanted: Wanted) -> Waiting {
    let dialog = rfd::AsyncFileDialog::new().set_title(say::choose(wanted));
    let asked = Instant::now();
    let pictures = tatter::cutting::photo_endings;
    let chosen: Choosing = match wanted {
        Wanted::Job => Box::pin(dialog.add_filter(say::JOB_FILES, &["toml"]).pick_files()),
        Wanted::Photos => Box::pin(dialog.add_filter(say::PHOTOS, &pictures()).pick_files()),
        Wanted::Lights => Box::pin(dialog.add_filter(say::LIGHTS_FILES, &["toml"]).pick_files()),
        Wanted::Mesh => Box::pin(dialog.add_filter(say::MESHES, &MESH_EXTENSIONS).pick_files()),
        Wanted::Density => Box::pin(dialog.add_filter(say::PICTURES, &pictures()).pick_files()),
        Wanted::Patches => Box::pin(dialog.pick_folders()),
    };
    Box::new(move || match pollster::block_on(chosen) {
        Some(files) => Chosen::Files(files.iter().map(|file| file.path().to_owned()).collect()),
        None if asked.elapsed() < TOO_SOON => Chosen::NoDialog,
        None => Chosen::Nothing,
    })
}
