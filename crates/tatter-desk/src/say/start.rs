//! What is said before a job is open, and the hints through the sample.

use std::path::Path;

use crate::command::Station;
use crate::start::{Hint, Wanted};
use crate::work::Trouble;

pub(crate) const BEGIN: &str = "What shall lie on the table?";
pub(crate) const BEGIN_TIP: &str = "Photos of torn cloth become patches; patches are laid on a garment at true size; its textures are written back under their own names.";
pub(crate) const SAMPLE: &str = "Open the sample job";
pub(crate) const SAMPLE_THERE: &str = "The ferryman's smock of The Salt Ledger. Hints lead through the whole job, a few minutes.";
pub(crate) const SAMPLE_NEW: &str = "The ferryman's smock of The Salt Ledger, with photos of its torn canvas: made here in a minute or two, about 100 MB. \
     Hints lead through the whole job, a few minutes.";
pub(crate) const SAMPLE_FOLDER: &str = "Folder of the sample job";
pub(crate) const SAMPLE_IN: &str = "It lies in";
pub(crate) const SAMPLE_WILL_BE_IN: &str = "It is made in";
pub(crate) const LAY_PHOTOS: &str = "Lay photos on the table";
pub(crate) const LAY_PHOTOS_TIP: &str = "Photos of damaged cloth, several at once if you like. A job can wait.";
pub(crate) const FROM_MESH: &str = "Begin a job from a garment's mesh";
pub(crate) const FROM_MESH_TIP: &str =
    "glTF, GLB, OBJ or FBX, with its textures in it or in its folder. The job file is written beside it.";
pub(crate) const OPEN_JOB: &str = "Open a job";
pub(crate) const OPEN_JOB_TIP: &str = "A job file, NAME.tatter.toml.";
pub(crate) const OR_WRITE: &str = "Files can be dropped anywhere on the window, or written here:";
pub(crate) const ANY_FILE: &str = "Job, photo or mesh";
pub(crate) const RECENT: &str = "Opened last";
pub(crate) const NO_RECENT: &str = "Jobs that you open are listed here.";
pub(crate) const GONE: &str = "missing: moved, renamed or deleted";
pub(crate) const BRING: &str = "Open or lay something on the table";
pub(crate) const CLOSE_JOB: &str = "Put this job away";
pub(crate) const CHOOSE_PHOTOS: &str = "Choose photos …";
pub(crate) const BEGINNING: &str = "Beginning …";

pub(crate) const JOB_FILES: &str = "Jobs (NAME.tatter.toml)";
pub(crate) const PHOTOS: &str = "Photos";
pub(crate) const PICTURES: &str = "Grey pictures";
pub(crate) const MESHES: &str = "Meshes of garments";

pub(crate) const NO_HINTS: &str = "No more hints";

/// What is being made: of a stage that tells no share of itself, its name alone.
pub(crate) fn making(stage: &str, share: f32) -> String {
    let stage = super::whole_stage(stage);
    if share > 0.0 && share < 1.0 { format!("Making it: {stage} {:.0} %", 100.0 * share) } else { format!("Making it: {stage}") }
}

/// The title of a dialog.
pub(crate) const fn choose(wanted: Wanted) -> &'static str {
    match wanted {
        Wanted::Job => OPEN_JOB,
        Wanted::Photos => LAY_PHOTOS,
        Wanted::Mesh => FROM_MESH,
        Wanted::Lights => super::CHOOSE_LIGHTS,
        Wanted::Density => super::CHOOSE_PICTURE,
        Wanted::Patches => super::ADD_FOLDER,
    }
}

/// The system has no dialog to show.
pub(crate) fn no_dialog() -> Trouble {
    Trouble {
        what: "No file dialog came up: this system runs no desktop portal.".to_owned(),
        next: "Drop the file on the window, or write where it lies.".to_owned(),
    }
}

/// Take a job off the list.
pub(crate) fn off_the_list(name: &str) -> String {
    format!("Take {name} off the list")
}

/// The folder of a job, as it is read in a narrow column: its last two names.
pub(crate) fn lies_in(job: &Path) -> String {
    let names: Vec<String> =
        job.parent().into_iter().flat_map(Path::components).map(|part| part.as_os_str().to_string_lossy().into_owned()).collect();
    match &names[..] {
        [.., above, last] if names.len() > 2 => format!("… / {above} / {last}"),
        names => names.join(" / "),
    }
}

/// A hint: how far one is, and what to do.
pub(crate) fn hint(hint: Hint) -> (String, &'static str) {
    let number = |station: Station| format!("{} of {}", station as usize + 1, Station::ALL.len());
    match hint {
        Hint::Here(station) => (number(station), to_do(station)),
        Hint::Onward(station) => (number(station), onward(station)),
        Hint::Over => (
            "Done".to_owned(),
            "That was the whole job. Put back takes the delivery back, bit for bit; now drop a photo of your own.",
        ),
    }
}

const fn to_do(station: Station) -> &'static str {
    match station {
        Station::Photo => {
            "A photo of torn canvas lies on the table; on the right is what would be cut out of it. When it is the patch as it will be, press Accept."
        }
        Station::Patch => "Drag the lamp over the swatch to see its relief, look at its maps, then press Take it to the garment.",
        Station::Garment => {
            "Touch the smock where it shall be torn; with empty hands, take a patch from the drawer first. Handles on the cloth move, turn and size it."
        }
        Station::Delivery => {
            "Slide the thread over the proof, before and after. Then press Deliver: the textures are written, all of them or none."
        }
    }
}

const fn onward(station: Station) -> &'static str {
    match station {
        Station::Photo => "Done here. Go on to the Photo station: a photo waits to be cut.",
        Station::Patch => "The patch lies in the drawer. Go on to the Patch station and look it over.",
        Station::Garment => "Done here. Go on to the Garment station and lay the patch.",
        Station::Delivery => "It lies there. Go on to the Delivery station.",
    }
}

/// Where a hint leads.
pub(crate) fn go_on(station: Station) -> String {
    format!("Go to {}", super::station(station))
}
