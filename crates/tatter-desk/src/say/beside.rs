//! What the Photo station says of other shots, of rectangles with four corners, and of scales without a ruler.

use std::path::Path;

use tatter_core::model::{KnownSize, Scale};

use super::short;
use crate::photo::{Quad, Shot};
use crate::work::Trouble;

pub(crate) const BESIDE: &str = "Other shots of it";
pub(crate) const BESIDE_WHY: &str = "All from one place, the cloth not moved. Lay them on the table, then say what each is.";
pub(crate) const BESIDE_NONE: &str =
    "Lay more photos of the same cloth on the table: over a dark card, with a lamp behind it, an even card in its place.";
pub(crate) const NO_SHOT: &str = "none";
pub(crate) const CHOOSE_LIGHTS: &str = "Choose a lights file …";
pub(crate) const LIGHTS_TIP: &str = "Shots under several lamps, listed in a file. It can be dropped on the window, too.";
pub(crate) const LIGHTS_FILES: &str = "Lights files";

pub(crate) const STEP_SCALE: &str = "scale as a number";
pub(crate) const STEP_FIND_RULER: &str = "find the ruler";
pub(crate) const FIND_RULER: &str = "Find the ruler";
pub(crate) const FIND_RULER_TIP: &str = "Looks for a ruler marked every millimetre that lies flat on the cloth, anywhere in the photo, and takes the scale from its marks.";
pub(crate) const FIND_RULER_TOLD: &str = "It is looked for: what it said stands beside, or why it was not found.";
pub(crate) const STEP_RECTANGLE_SIZE: &str = "size of the rectangle";
pub(crate) const STEP_FIND_CHART: &str = "find the colour chart";
pub(crate) const FIND_CHART: &str = "Find the chart";
pub(crate) const FIND_CHART_TIP: &str = "Looks for a chart of 24 colours in the whole photo, and marks its four corners.";
pub(crate) const SEEKING_CHART: &str = "Looking for it …";
pub(crate) const OTHER_SIZE: &str = "Other";
pub(crate) const RECTANGLE_WIDTH: &str = "Millimetres from the first corner to the second";
pub(crate) const RECTANGLE_HEIGHT: &str = "Millimetres from the second corner to the third";
pub(crate) const NO_RULER: &str = "Without a ruler";
pub(crate) const SCALE_BY: &str = "What the number says";
pub(crate) const SCALE_NUMBER: &str = "The scale as a number";

/// One thing at a time.
pub(crate) fn still_writing() -> Trouble {
    Trouble { what: "A patch is being written.".to_owned(), next: "Press it again when that is done.".to_owned() }
}

/// What a shot is, in the list of them.
pub(crate) const fn shot(shot: Shot) -> &'static str {
    match shot {
        Shot::OverDark => "Over a dark card",
        Shot::Backlit => "With a lamp behind",
        Shot::Lamp => "The lamp alone",
        Shot::Even => "An even card",
        Shot::Lights => "Under several lamps",
    }
}

/// What it is for.
pub(crate) const fn shot_hint(shot: Shot) -> &'static str {
    match shot {
        Shot::OverDark => {
            "The same cloth over a dark card, while this photo is over a light one: opacity and colour are measured."
        }
        Shot::Backlit => "A lamp or a window behind the cloth in a dark room: opacity and translucency are measured.",
        Shot::Lamp => "The same lamp without the cloth. Without this shot it is found in the openings.",
        Shot::Even => "An even card in the cloth's place: uneven light is taken out.",
        Shot::Lights => LIGHTS_TIP,
    }
}

pub(crate) const fn step_shot(shot: Shot) -> &'static str {
    match shot {
        Shot::OverDark => "shot over a dark card",
        Shot::Backlit => "shot with a lamp behind",
        Shot::Lamp => "shot of the lamp alone",
        Shot::Even => "shot of an even card",
        Shot::Lights => "shots under several lamps",
    }
}

pub(crate) const fn step_unsay_shot(shot: Shot) -> &'static str {
    match shot {
        Shot::OverDark => "take the shot over a dark card back",
        Shot::Backlit => "take the shot with a lamp behind back",
        Shot::Lamp => "take the shot of the lamp back",
        Shot::Even => "take the even card back",
        Shot::Lights => "take the shots under several lamps back",
    }
}

/// What was told of another shot.
pub(crate) fn told_shot(what: Shot, file: &Path) -> String {
    format!("{}: {}", shot(what), file_name(file))
}

/// One of the photos on the table, where one says what it is.
pub(crate) fn use_shot(name: &str) -> String {
    format!("Use {name}")
}

pub(crate) fn file_name(file: &Path) -> String {
    file.file_name().map(|name| name.to_string_lossy().into_owned()).unwrap_or_default()
}

/// What a photo in the strip is to another one.
pub(crate) fn serves(what: Shot, of: &str) -> String {
    match what {
        Shot::OverDark => format!("{of} over a dark card"),
        Shot::Backlit => format!("{of} with a lamp behind"),
        Shot::Lamp => format!("the lamp of {of}"),
        Shot::Even => format!("the even card of {of}"),
        Shot::Lights => format!("the lamps of {of}"),
    }
}

/// Its name with that, for those who do not see the strip.
pub(crate) fn is_shot(name: &str, what: Shot, of: &str) -> String {
    format!("{name}: {}", serves(what, of))
}

/// The tool that marks four corners.
pub(crate) const fn quad(quad: Quad) -> &'static str {
    match quad {
        Quad::Chart => "Colour chart",
        Quad::Rectangle => "Known rectangle",
    }
}

pub(crate) const fn quad_hint(quad: Quad) -> &'static str {
    match quad {
        Quad::Chart => {
            "Let a chart of 6 × 4 colours be found; or draw from corner to corner of it, then drag its four corners to those of the chart."
        }
        Quad::Rectangle => {
            "Say what lies flat on the cloth, and it is found; or draw from corner to corner of it and drag its corners."
        }
    }
}

pub(crate) const fn step_quad(quad: Quad) -> &'static str {
    match quad {
        Quad::Chart => "corners of the colour chart",
        Quad::Rectangle => "corners of the known rectangle",
    }
}

/// One of four corners.
pub(crate) fn quad_corner(quad: Quad, number: usize) -> String {
    let what = match quad {
        Quad::Chart => "colour chart",
        Quad::Rectangle => "known rectangle",
    };
    format!("Corner {} of the {what}", number + 1)
}

pub(crate) const TOLD_CHART: &str = "A colour chart";

/// A rectangle's size in words.
pub(crate) fn known_size(size: KnownSize) -> String {
    match size {
        KnownSize::Card => "Card".to_owned(),
        KnownSize::A4 => "A4".to_owned(),
        KnownSize::A5 => "A5".to_owned(),
        KnownSize::A6 => "A6".to_owned(),
        KnownSize::Told { width, height } => format!("{} × {} mm", short(width.get()), short(height.get())),
    }
}

pub(crate) const fn known_size_hint(size: KnownSize) -> &'static str {
    match size {
        KnownSize::Card => "A card of 85.6 × 54 mm, as bank cards are.",
        KnownSize::A4 => "A sheet of paper of 210 × 297 mm.",
        KnownSize::A5 => "A sheet of paper of 148 × 210 mm.",
        KnownSize::A6 => "A sheet of paper of 105 × 148 mm.",
        KnownSize::Told { .. } => "Its sides in millimetres, and its corners by hand.",
    }
}

/// What was told of the scale; `None` when nothing was.
pub(crate) fn told_scale(scale: Scale) -> Option<String> {
    Some(match scale {
        Scale::Unknown => return None,
        Scale::Ruler { length, .. } => super::told_ruler(length.get()),
        Scale::Width(width) => format!("The photo shows {} mm from left to right", short(width.get())),
        Scale::MmPerPixel(mm) => format!("{:.4} mm a pixel", mm.get()),
        Scale::EndsPerCm(count) => format!("{} ends per cm", short(count.get())),
        Scale::FoundRuler => "A ruler in the photo gives the scale".to_owned(),
        Scale::Rectangle { size, corners: None } => format!("{} in the photo gives the scale", known_size(size)),
        Scale::Rectangle { size, corners: Some(_) } => format!("{}, marked by its corners", known_size(size)),
    })
}

/// How a scale is given as a number, and what one looks like.
pub(crate) const SCALE_HINTS: [&str; 3] = ["120", "0.05", "14"];
pub(crate) const SCALES: [(usize, &str); 3] = [(0, "mm from left to right"), (1, "mm a pixel"), (2, "ends per cm")];
