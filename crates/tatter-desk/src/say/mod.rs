//! Every English sentence of the desk, in one place.

mod beside;
mod garment;
mod here;
mod patch;
mod photo;
mod start;
mod weave;

pub(crate) use beside::*;
pub(crate) use garment::*;
pub(crate) use here::*;
pub(crate) use patch::*;
pub(crate) use photo::*;
pub(crate) use start::*;
pub(crate) use weave::*;

use crate::command::Station;
use crate::elsewhere::FolderState;

pub(crate) const TITLE: &str = "Tatter";
pub(crate) const OPEN_HINT: &str = "smock.tatter.toml";
pub(crate) const OPEN: &str = "Open";

pub(crate) const UNDO: &str = "Undo";
pub(crate) const REDO: &str = "Redo";
pub(crate) const SAVE: &str = "Save";
pub(crate) const SAVE_TIP: &str = "Write the job into its file (Ctrl+S). Your comments in it stay.";
pub(crate) const SAVED_TIP: &str = "The file holds the job as it is.";
pub(crate) const NOTHING_TO_UNDO: &str = "Nothing to undo: this is the job as it was opened.";
pub(crate) const NOTHING_TO_REDO: &str = "Nothing to redo.";
pub(crate) const DAY: &str = "Light theme";
pub(crate) const NIGHT: &str = "Dark theme";
pub(crate) const UNSAVED: &str = "not saved";

pub(crate) const DRAFT: &str = "Changes that were not saved last time were kept.";
pub(crate) const DRAFT_TAKE: &str = "Take them up";
pub(crate) const DRAFT_LEAVE: &str = "Leave them";
pub(crate) const READ_ANEW: &str = "Read it anew";
pub(crate) const SAVE_OVER: &str = "Save over it";
pub(crate) const DISMISS: &str = "Put aside";

pub(crate) const KEEP_MINE: &str = "Keep what is here";
pub(crate) const STEPS_LOST: &str = "Read anew, it can't be undone any further back.";
pub(crate) const UNSAVED_LOST: &str = "Read anew, what is not saved here is lost.";
pub(crate) const LOOK_AGAIN: &str = "Read them anew";
pub(crate) const LOOK_AGAIN_TIP: &str = "See the garment as its files are now. A texture that was delivered before counts as changed by somebody: the delivery asks about it.";
pub(crate) const READ_PHOTO: &str = "Read it again";
pub(crate) const MARKS_STAY: &str = "What was told of it stays where it was drawn.";
pub(crate) const PATCHES_READ: &str = "Read anew.";

pub(crate) const DRAWER: &str = "Patches";
pub(crate) const DRAWER_EMPTY: &str = "No patch lies beside the job yet. Cut one from a photo: drop the photo on the window, or go to the Photo station; or weave one at the Patch station.";
pub(crate) const DRAWER_HINT: &str = "Take one, then touch the garment.";
pub(crate) const ADD_FOLDER: &str = "Add a folder …";
pub(crate) const ADD_FOLDER_TIP: &str = "Patches that lie elsewhere on the disk are at hand then, today and another day. A folder that is dropped on the window is added, too.";
pub(crate) const SEEK: &str = "Find patches";
pub(crate) const SEEK_HINT: &str = "find: plain 80mm 12/cm";
pub(crate) const SEEK_TIP: &str = "Words of the name, the weave or the subject; 80mm or 60-90mm for the side; 12/cm or 10-14/cm for ends or picks; #b08a50 for a colour, the nearest first. All that is written must hold.";
pub(crate) const SEEK_NONE: &str = "No patch is like that. Take a word away.";
pub(crate) const TAKEN_HINT: &str = "Touch the garment, on either view: it lies there at true size. Escape lets it go.";
pub(crate) const SIZE_ASSUMED: &str =
    "Its size was assumed when it was cut: nobody told a scale. Check the side in the cutting list.";

pub(crate) const SOLID: &str = "Solid view";
pub(crate) const SOLID_TIP: &str = "Drag to walk around it, scroll to come nearer, drag with the right button to shift it. Arrow keys walk, plus and minus come nearer.";
pub(crate) const FLAT: &str = "Flat view";
pub(crate) const READING: &str = "Reading the garment …";
pub(crate) const DRAWING: &str = "Drawing …";
pub(crate) const NO_PICTURE: &str = "The garment can't be drawn here. The flat view and the list work all the same.";

pub(crate) const NOT_DRAWN: &str = "Nobody asked for it.";

pub(crate) const HANDLE_MOVE: &str = "Move";
pub(crate) const HANDLE_TURN: &str = "Turn";
pub(crate) const HANDLE_SIZE: &str = "Size";

pub(crate) const LIST: &str = "Cutting list";
pub(crate) const LIST_EMPTY: &str = "Nothing lies on the garment yet. Take a patch from the drawer and touch the garment.";
pub(crate) const LIST_HEAD: [(&str, &str); 9] = [
    ("", ""),
    ("Piece", "The placement's name in the job. Press to select it in both views."),
    ("Patch", "The patch that lies there."),
    ("Lies at", "Texture sheet, and how far to the right and down in it (u, v; 1 is the whole texture)."),
    (
        "Side mm",
        "Side of the patch's square canvas on the cloth. At its own size a thread of the patch is a thread of the garment.",
    ),
    ("Turn °", "Turn of the patch's grain (its warp) from the garment's grain, counter-clockwise as seen from outside."),
    ("Mirror", "Left becomes right; the hand of a twill changes with it."),
    (
        "Match",
        "How far its colour, roughness and relief follow the cloth it lies on. Damage is re-dyed: dyed threads take the cloth's dye, undyed cores stay.",
    ),
    (
        "Rules",
        "How each channel meets the cloth beneath, where it differs from what a real hole does. Select the piece to change them.",
    ),
];
pub(crate) const RULES_USUAL: &str = "usual";
pub(crate) const REMOVE: &str = "Remove";
pub(crate) const OWN_SIZE: &str = "own";
pub(crate) const OWN_SIZE_TIP: &str = "Back to the size the patch was measured at.";
pub(crate) const NOWHERE: &str = "not on the cloth";

pub(crate) const DELIVERY: &str = "What is delivered";
pub(crate) const DELIVERY_HEAD: [(&str, &str); 5] = [
    ("File", "The texture that the renderer reads."),
    ("Holds", "The channels in it."),
    (
        "Now",
        "Pristine: as it was before Tatter touched it. Delivered: as Tatter last wrote it. Changed: somebody else wrote it since.",
    ),
    ("After", "Texels that differ from the pristine texture, and their share. All others keep their bits."),
    ("Problems", "What `tatter check` finds in it."),
];
pub(crate) const DELIVERY_EMPTY: &str = "Nothing lies on the garment yet, so nothing would change. Lay a patch on it first.";
pub(crate) const LOOKING_OVER: &str = "Looking it over …";
pub(crate) const LOOK_OVER: &str = "Look it over again";
pub(crate) const DELIVER: &str = "Deliver";
pub(crate) const DELIVER_TIP: &str = "Save the job and write every texture where the renderer reads it: all of them or none.";
pub(crate) const VARIATIONS_TIP: &str = "Each variation of the job is written whole, into the folder of its name, beside what Deliver writes of the job itself. The table tells of the job itself.";
pub(crate) const PUT_BACK: &str = "Put back";
pub(crate) const PUT_BACK_TIP: &str = "Put back, bit for bit, what lay there before the last delivery.";
pub(crate) const STOP: &str = "Stop";
pub(crate) const ADOPT: &str = "Deliver, theirs is the new pristine";
pub(crate) const LEAVE: &str = "Deliver the others, leave theirs";
pub(crate) const FAULTS: &str = "Problems elsewhere";
pub(crate) const NO_FAULTS: &str = "none";
pub(crate) const SLIDER: &str = "Before and after";
pub(crate) const BEFORE: &str = "before";
pub(crate) const AFTER: &str = "after";
pub(crate) const PROOF: &str = "Proof";
pub(crate) const UNCHANGED: &str = "stays as it is";

/// The name of a station.
pub(crate) const fn station(station: Station) -> &'static str {
    match station {
        Station::Photo => "Photo",
        Station::Patch => "Patch",
        Station::Garment => "Garment",
        Station::Delivery => "Delivery",
    }
}

/// What is done at a station.
pub(crate) const fn station_tip(station: Station) -> &'static str {
    match station {
        Station::Photo => "Cut the damage out of photographed cloth",
        Station::Patch => "Look over the patches at hand",
        Station::Garment => "Lay patches on the garment",
        Station::Delivery => "See what changes, and write the textures",
    }
}

/// Which files others changed.
pub(crate) fn changed(files: &[std::path::PathBuf]) -> String {
    let name = |file: &std::path::PathBuf| file.file_name().map(|name| name.to_string_lossy().into_owned()).unwrap_or_default();
    let names: Vec<String> = files.iter().take(3).map(name).collect();
    let more = files.len() - names.len();
    let more = if more == 0 { String::new() } else { format!(" and {more} more") };
    let changed = if files.len() == 1 { "was changed" } else { "were changed" };
    format!("{}{more} {changed} by another program.", names.join(", "))
}

/// How much would change.
pub(crate) fn texels(changed: usize, all: usize) -> String {
    if changed == 0 {
        return UNCHANGED.to_owned();
    }
    let share = 100.0 * changed as f64 / all.max(1) as f64;
    let share = if share < 0.01 { "under 0.01".to_owned() } else { format!("{share:.2}") };
    format!("{} texels, {share} %", thousands(changed))
}

/// A number with its thousands apart.
pub(crate) fn thousands(number: usize) -> String {
    let digits = number.to_string();
    let first = digits.len() % 3;
    let mut text = digits[..first].to_owned();
    for group in digits.as_bytes()[first..].chunks(3) {
        if !text.is_empty() {
            text.push('\u{202f}');
        }
        text.extend(group.iter().map(|digit| *digit as char));
    }
    text
}

/// What undo or redo would do.
pub(crate) fn undo_tip(verb: &str, label: &str, key: &str) -> String {
    format!("{verb}: {label} ({key})")
}

/// What a card says of its patch.
pub(crate) fn card(size_mm: [f32; 2], ends_per_cm: Option<f32>) -> String {
    let size = format!("{:.0} × {:.0} mm", size_mm[0], size_mm[1]);
    ends_per_cm.map_or(size.clone(), |ends| format!("{size} · {ends:.1} ends/cm"))
}

/// A folder of patches elsewhere.
pub(crate) fn folder(name: &str, state: FolderState) -> String {
    match state {
        FolderState::Unread => format!("{name} …"),
        FolderState::Missing => format!("{name}: missing. Moved, renamed or deleted?"),
        FolderState::Holds(0) => format!("{name}: no patch lies in it"),
        FolderState::Holds(1) => format!("{name}: 1 patch"),
        FolderState::Holds(count) => format!("{name}: {count} patches"),
    }
}

/// Where a placement lies.
pub(crate) fn lies_at(sheet: &str, u: f32, v: f32) -> String {
    format!("{sheet} · {u:.3}, {v:.3}")
}

/// A fault, and where it is, when that is said.
pub(crate) fn fault(place: &str, what: &str) -> String {
    if place.is_empty() { sentence(what) } else { format!("{place}: {what}") }
}

/// Deliver the variations, too.
pub(crate) fn with_variations(count: usize) -> String {
    if count == 1 { "with its variation".to_owned() } else { format!("with its {count} variations") }
}

/// What a delivery did.
pub(crate) fn delivered(files: usize) -> String {
    match files {
        0 => "Every texture is already as this job makes it: nothing was written.".to_owned(),
        1 => "Delivered: one texture was written.".to_owned(),
        _ => format!("Delivered: {files} textures were written."),
    }
}

/// What was put back.
pub(crate) fn put_back(files: usize) -> String {
    if files == 1 {
        "Put back: one texture is as it was before.".to_owned()
    } else {
        format!("Put back: {files} textures are as they were before.")
    }
}

/// What an errand is at.
pub(crate) fn progress(stage: &str, share: f32) -> String {
    format!("{} {:.0} %", whole_stage(stage), 100.0 * share)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn numbers_are_grouped() {
        let plain = |n: usize| thousands(n).replace('\u{202f}', " ");
        assert_eq!(
            [plain(7), plain(999), plain(1000), plain(1_234_567)],
            ["7", "999", "1 000", "1 234 567"].map(str::to_owned),
            "threes"
        );
        assert_eq!(texels(1, 16_777_216), "1 texels, under 0.01 %", "a little is not nothing");
    }
}
