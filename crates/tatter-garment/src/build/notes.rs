//! What a person should hear about a placement.

use std::collections::BTreeSet;

use tatter_core::channel::Channel;
use tatter_core::model::MapSet;
use tatter_core::task::Note;

use super::PlacementReport;
use super::fit::Fit;
use crate::place::{FAR_MM, Footprint, Placed};
use crate::surface::Surface;

/// What a note needs beside the report.
#[derive(Debug)]
pub(super) struct Told<'a> {
    pub placed: Placed<'a>,
    pub footprint: &'a Footprint,
    pub surface: &'a Surface,
    pub set: &'a MapSet,
    pub repeats: bool,
    pub shown_by: &'a BTreeSet<u32>,
    pub fit: &'a Fit,
}

/// Stretch above which an artist sees that threads grow.
const STRETCH: f32 = 1.05;

/// Everything worth saying, in a fixed order.
pub(super) fn notes(report: &PlacementReport, told: &Told<'_>) -> Vec<Note> {
    let id = &report.id;
    let mut notes = Vec::new();
    let mut say = |code: &'static str, text: String| notes.push(Note { code, text: format!("placement '{id}': {text}") });
    for channel in Channel::ALL.into_iter().filter(|c| c.info().on_garment) {
        if told.placed.patch.has(channel) && told.set.role(channel).is_none() {
            say("garment-lacks-channel", lacking(channel));
        }
    }
    for (code, text) in &told.fit.told {
        say(code, text.clone());
    }
    if report.texels == 0 {
        say("nothing-laid", "no texel of the garment shows it; check its spot, its size and its cover".into());
    }
    if told.footprint.seed.distance_mm > FAR_MM {
        say(
            "spot-far",
            format!("the point lies {:.0} mm off the cloth; the nearest place was taken", told.footprint.seed.distance_mm),
        );
    }
    if told.repeats {
        say("texture-repeats", "the texture repeats over the cloth, so the patch shows in every repeat; give this part its own texture to have it once".into());
    }
    if report.shared_texels > 0 || !told.footprint.seed.shared_with.is_empty() {
        let faces: BTreeSet<usize> =
            told.shown_by.iter().map(|&f| f as usize).chain(told.footprint.seed.shared_with.iter().copied()).collect();
        say("texture-shared", shared(told.surface, &faces, report.shared_texels));
    }
    if told.footprint.left_out > 0 {
        say(
            "cut-at-fold",
            format!(
                "{} faces within its reach fold back or curve too much and were left out; use a smaller patch or several",
                told.footprint.left_out
            ),
        );
    }
    if report.worst_stretch > STRETCH {
        say(
            "stretched",
            format!(
                "the cloth curves under it, threads are up to {:.0} % off in size; use a smaller patch or several",
                (report.worst_stretch - 1.0) * 100.0
            ),
        );
    }
    if let Some(pitch) = report.thread_pitch_texels.filter(|&p| p < 2.0) {
        say(
            "threads-too-fine",
            format!(
                "its threads are {pitch:.1} texels apart on the garment, below the 2 that can be drawn; they will blend into a tone"
            ),
        );
    }
    if report.clamped_heights > 0 {
        say(
            "height-clamped",
            format!(
                "{} texels leave the garment's height range and were clipped; widen the range of the height map",
                report.clamped_heights
            ),
        );
    }
    notes
}

fn lacking(channel: Channel) -> String {
    match channel {
        Channel::Opacity => "the garment has no opacity map, so holes will not be see-through; add an opacity map, or give the base colour an alpha, and name it in the job".into(),
        Channel::Normal => "the garment has no normal map, so threads will not catch the light; add a flat normal map to the job".into(),
        _ => format!("the garment has no {channel} map, the patch's is not used"),
    }
}

fn shared(surface: &Surface, faces: &BTreeSet<usize>, texels: usize) -> String {
    let parts: BTreeSet<&str> = faces.iter().map(|&f| surface.parts()[surface.faces()[f].part].name.as_str()).collect();
    let parts: Vec<&str> = parts.into_iter().collect();
    let list: Vec<String> = faces.iter().take(8).map(usize::to_string).collect();
    let more = if faces.len() > 8 { ", …" } else { "" };
    format!(
        "{texels} of its texels also show on {} other faces (of {}: {}{more}); it will be seen there too",
        faces.len(),
        parts.join(", "),
        list.join(", ")
    )
}
