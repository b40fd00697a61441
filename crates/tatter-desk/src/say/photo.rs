//! What the Photo station says.

use std::path::Path;

use tatter::cutting::Preview;
use tatter_core::model::{Patch, ScaleSource, StrokeKind, Subject, SubjectChoice};

use crate::photo::{Part, Shot, Tool};

pub(crate) const NO_PHOTO: &str = "No photo lies on the table";
pub(crate) const PHOTO_FIRST: &str = "Drop photos of damaged cloth here, several at once if you like, or write where one lies.";
pub(crate) const PHOTO_HINT: &str = "rip.jpg";
pub(crate) const PHOTO_FILE: &str = "Photo file";
pub(crate) const LAY_ON_TABLE: &str = "Lay it on the table";
pub(crate) const PHOTO_WHY: &str = "Photograph cloth that you may photograph, straight from above, with a ruler or a card beside it. \
     Several shots of one cloth tell more: over a dark card and over a light one, with a lamp behind it, under several lamps.";
pub(crate) const PHOTO_VIEW: &str = "Photo on the table";
pub(crate) const PHOTO_READING: &str = "Reading the photo …";
pub(crate) const DROP_FILES: &str = "Drop a job file (NAME.tatter.toml), photos, or a garment's mesh.";

pub(crate) const TELL: &str = "Tell about it";
pub(crate) const BREADTH: &str = "Breadth of the stroke";
pub(crate) const UPRIGHT: &str = "Stand it upright";
pub(crate) const UPRIGHT_TIP: &str = "The patch is turned so that its warp runs from top to bottom.";
pub(crate) const GREY_CARD: &str = "Grey card";
pub(crate) const WHITE_PAPER: &str = "White paper";
pub(crate) const GREY_LABEL: &str = "neutral";
pub(crate) const RULER_LENGTH: &str = "Length of the ruler line in millimetres";
pub(crate) const NO_LENGTH: &str = "A length is a number of millimetres above zero.";
pub(crate) const SUBJECT: &str = "What is cut";
pub(crate) const TOLD: &str = "Told so far";
pub(crate) const TOLD_NOTHING: &str = "Nothing: all is found in the photo.";
pub(crate) const TOLD_LOOP: &str = "A loop around one place";
pub(crate) const TOLD_HALF_A_RULER: &str = "A ruler line without a length";
pub(crate) const NOTHING_TOLD: &str = "Nothing to undo: nothing is told about this photo.";

pub(crate) const WOULD_BE_CUT: &str = "What would be cut";
pub(crate) const ON_CHECKER: &str = "on a checker";
pub(crate) const LIT: &str = "lit";
pub(crate) const AS_IT_WILL_BE: &str = "This is the patch as it will be.";
pub(crate) const STOPPED: &str = "Stopped.";
pub(crate) const CUT_AGAIN: &str = "Cut it";
pub(crate) const PATCH_NAME: &str = "Name of the patch";
pub(crate) const NO_NAME: &str = "A name is needed that a folder can have: no slashes, colons or quotes, and no dot in front.";
pub(crate) const ACCEPT: &str = "Accept";
pub(crate) const ACCEPT_TIP: &str = "Write the patch folder, as `tatter cut` does of the same photo.";
pub(crate) const ACCEPTING: &str = "Writing the patch …";
pub(crate) const REPLACE: &str = "Replace it";

pub(crate) const STEP_RUB_OUT: &str = "rub out strokes";
pub(crate) const STEP_RECALL: &str = "what was told another day";
pub(crate) const STEP_LOOP: &str = "loop around one place";
pub(crate) const STEP_GREY: &str = "neutral place";
pub(crate) const STEP_GRAIN: &str = "grain line";
pub(crate) const STEP_LIGHT: &str = "light line";
pub(crate) const STEP_RULER: &str = "ruler line";
pub(crate) const STEP_UPRIGHT: &str = "stand the grain upright";

/// The name of a tool.
pub(crate) const fn tool(tool: Tool) -> &'static str {
    match tool {
        Tool::Hand => "Shift",
        Tool::Loop => "Loop",
        Tool::Stroke(StrokeKind::Damage) => "Damage stroke",
        Tool::Stroke(StrokeKind::Gap) => "Gap stroke",
        Tool::Stroke(StrokeKind::Cloth) => "Cloth stroke",
        Tool::Stroke(StrokeKind::Backing) => "Backing stroke",
        Tool::Rubber => "Rubber",
        Tool::Ruler => "Ruler line",
        Tool::Grain => "Grain line",
        Tool::Light => "Light line",
        Tool::Grey => "Grey pick",
        Tool::Mark(quad) => super::quad(quad),
    }
}

/// What is done with it.
pub(crate) const fn tool_hint(tool: Tool) -> &'static str {
    match tool {
        Tool::Hand => "Drag to shift the photo. Scroll to come nearer, with any tool; the right button always shifts.",
        Tool::Loop => "Draw a loop around the injury that is meant, or press on it.",
        Tool::Stroke(StrokeKind::Damage) => "Draw over what belongs to the injury: torn, frayed, worn.",
        Tool::Stroke(StrokeKind::Gap) => "Draw over openings between threads: there one sees through.",
        Tool::Stroke(StrokeKind::Cloth) => "Draw over intact cloth, or over the piece itself.",
        Tool::Stroke(StrokeKind::Backing) => "Draw over what lies behind the cloth: card, table, lining.",
        Tool::Rubber => "Touch strokes to take them away, whole.",
        Tool::Ruler => "Draw from one mark of the ruler to another, then write the millimetres between them.",
        Tool::Grain => "Draw along the warp, the threads that run the length of the cloth.",
        Tool::Light => {
            "Draw from the cloth towards the lamp or the sun that lit it. The relief is read from its shades; told nothing, its side is found."
        }
        Tool::Mark(quad) => super::quad_hint(quad),
        Tool::Grey => "Press on a grey card or white paper in the cloth's light: colours are balanced by it.",
    }
}

/// What is cut, and what that means.
pub(crate) const fn subject(choice: SubjectChoice) -> (&'static str, &'static str) {
    match choice {
        SubjectChoice::Auto => ("Find out", "Whether it is damage or a piece is decided from the photo."),
        SubjectChoice::Told(Subject::Damage) => ("Damage", "An injured place inside intact cloth."),
        SubjectChoice::Told(Subject::Piece) => ("Piece", "A thing lying on a backing: scrap, badge, trim."),
    }
}

pub(crate) const fn step_subject(choice: SubjectChoice) -> &'static str {
    match choice {
        SubjectChoice::Auto => "find out what it is",
        SubjectChoice::Told(Subject::Damage) => "say it is damage",
        SubjectChoice::Told(Subject::Piece) => "say it is a piece",
    }
}

pub(crate) const fn step_stroke(kind: StrokeKind) -> &'static str {
    match kind {
        StrokeKind::Damage => "damage stroke",
        StrokeKind::Gap => "gap stroke",
        StrokeKind::Cloth => "cloth stroke",
        StrokeKind::Backing => "backing stroke",
    }
}

pub(crate) const fn step_unsay(part: Part) -> &'static str {
    match part {
        Part::Strokes => "take all strokes back",
        Part::Loop => "take the loop back",
        Part::Ruler => "take the scale back",
        Part::Grain => "take the grain line back",
        Part::Light => "take the light line back",
        Part::Grey => "take the neutral place back",
        Part::Chart => "take the colour chart back",
        Part::Shot(shot) => super::step_unsay_shot(shot),
    }
}

/// Strokes, counted by kind.
pub(crate) fn strokes(counted: &[(StrokeKind, usize)]) -> String {
    let words: Vec<String> = counted
        .iter()
        .map(|(kind, count)| format!("{count} {}{}", step_stroke(*kind), if *count == 1 { "" } else { "s" }))
        .collect();
    words.join(", ")
}

pub(crate) fn told_ruler(mm: f32) -> String {
    format!("A ruler line of {} mm", short(mm))
}

pub(crate) fn told_grain(degrees: f32) -> String {
    format!("Grain at {degrees:.0}°")
}

pub(crate) fn told_light(degrees: f32) -> String {
    format!("Light from {degrees:.0}°")
}

pub(crate) fn told_grey(share: f32) -> String {
    format!("A neutral place of {:.0} % reflectance", 100.0 * share)
}

pub(crate) fn take_back(what: &str) -> String {
    let mut letters = what.chars();
    let first = letters.next().map(|letter| letter.to_lowercase().to_string()).unwrap_or_default();
    format!("Take back: {first}{}", letters.as_str())
}

/// On the ruler line.
pub(crate) fn ruler_label(mm: Option<f32>) -> String {
    mm.map_or_else(|| "? mm".to_owned(), |mm| format!("{} mm", short(mm)))
}

/// On the grain line.
pub(crate) fn grain_label(degrees: f32) -> String {
    format!("warp {degrees:.0}°")
}

/// On the light line.
pub(crate) fn light_label(degrees: f32) -> String {
    format!("light {degrees:.0}°")
}

/// A number without digits that say nothing.
pub(crate) fn short(number: f32) -> String {
    let text = format!("{number:.2}");
    text.trim_end_matches('0').trim_end_matches('.').to_owned()
}

/// How a photo stands, in the strip.
pub(crate) fn photo_state(is_accepted: bool, is_in_trouble: bool, serves: Option<(Shot, String)>) -> String {
    match (is_in_trouble, is_accepted, serves) {
        (true, ..) => "needs a look".to_owned(),
        (_, true, _) => "accepted".to_owned(),
        (.., Some((shot, name))) => super::serves(shot, &name),
        (.., None) => "not accepted yet".to_owned(),
    }
}

pub(crate) fn put_away(name: &str) -> String {
    format!("Put {name} away")
}

pub(crate) fn dropped_folder(folder: &Path) -> String {
    format!("This is a folder, neither a job file nor a photo: {}.", folder.display())
}

/// Where the patch goes.
pub(crate) fn becomes(folder: &Path) -> String {
    format!("becomes {} in {}", last(folder), beside(folder))
}

/// What accepting did.
pub(crate) fn accepted(folder: &Path) -> String {
    format!("{} lies in {} and in the drawer.", last(folder), beside(folder))
}

fn last(path: &Path) -> String {
    path.file_name().map(|name| name.to_string_lossy().into_owned()).unwrap_or_default()
}

fn beside(folder: &Path) -> String {
    let parent = folder.parent().map(last).unwrap_or_default();
    if parent.is_empty() { "the folder one stands in".to_owned() } else { parent }
}

/// What is under way while a first look is shown.
pub(crate) fn finer(stage: &str, share: f32) -> String {
    format!("A first look; finer: {} {:.0} %", whole_stage(stage), 100.0 * share)
}

/// What is under way while what is shown was told before.
pub(crate) fn anew(stage: &str, share: f32) -> String {
    format!("As told before; anew: {} {:.0} %", whole_stage(stage), 100.0 * share)
}

/// A part of a stage is that stage.
pub(crate) fn whole_stage(stage: &str) -> &str {
    stage.split('.').next().unwrap_or(stage)
}

/// A sentence with its full stop and its capital.
pub(crate) fn sentence(text: &str) -> String {
    let mut letters = text.trim_end_matches('.').chars();
    let first = letters.next().map(|letter| letter.to_uppercase().to_string()).unwrap_or_default();
    format!("{first}{}.", letters.as_str())
}

/// What is known of a cut, in words and numbers.
pub(crate) fn facts(preview: &Preview) -> Vec<(&'static str, String)> {
    let patch = &preview.cut.patch;
    let [width, height] = patch.size_mm().map(|mm| mm.get());
    let size = patch.size();
    let sure = how_sure(patch);
    let mut facts = vec![
        ("Canvas", format!("{width:.1} × {height:.1} mm, {} × {} texels", size.width, size.height)),
        ("Scale", format!("{:.4} mm a texel, {}{sure}", patch.scale.get(), scale_source(patch.scale_source))),
        ("Openings", format!("{}, {:.1} % of it see-through", preview.cut.openings, 100.0 * preview.cut.open_share)),
    ];
    match (patch.ends_per_cm, patch.picks_per_cm) {
        (Some(ends), Some(picks)) => {
            facts.push(("Threads", format!("{:.1} ends, {:.1} picks per cm", ends.get(), picks.get())));
        }
        _ => facts.push(("Threads", "not counted".to_owned())),
    }
    if let Some(grain) = patch.grain {
        facts.push(("Grain", format!("{:.0}°", grain.to_degrees())));
    }
    if let Some(corrected) = &preview.corrected {
        facts.push(("Colour", corrected.told()));
    }
    facts
}

/// How sure a patch's scale is, to be said after it.
pub(super) fn how_sure(patch: &Patch) -> String {
    patch.scale_uncertainty.map_or_else(String::new, |share| format!(", ±\u{a0}{:.2}\u{a0}%", 100.0 * share))
}

/// Where a scale came from.
pub(crate) const fn scale_source(source: ScaleSource) -> &'static str {
    match source {
        ScaleSource::MmPerPixel => "as told",
        ScaleSource::Width => "by the photo's width",
        ScaleSource::ThreadCount => "by the thread count",
        ScaleSource::Ruler => "by the ruler line",
        ScaleSource::Card => "by a card in the photo",
        ScaleSource::Sheet => "by a sheet of paper in the photo",
        ScaleSource::Corners => "by a marked rectangle",
        ScaleSource::Assumed => "assumed",
    }
}
