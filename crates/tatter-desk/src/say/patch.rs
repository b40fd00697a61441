//! What the Patch station says.

use std::path::Path;

use tatter::looking::PatchView;
use tatter_core::channel::Channel;
use tatter_core::model::Origin;

use super::photo::{how_sure, scale_source};

pub(crate) const PATCH_READING: &str = "Reading the patch …";
pub(crate) const LARGE_MAP: &str = "Map at large";
pub(crate) const SWATCH: &str = "Swatch under the lamp";
pub(crate) const SWATCH_TIP: &str =
    "Drag the lamp about. In the middle it hangs straight above the cloth, at the rim it grazes it. Arrow keys move it, too.";
pub(crate) const HOW_MAPS_CAME: &str = "How its maps came about";
pub(crate) const TO_GARMENT: &str = "Take it to the garment";
pub(crate) const TO_GARMENT_TIP: &str = "Go to the garment with it: touch the garment, and it lies there at true size.";
pub(crate) const NO_GARMENT_TIP: &str = "No job is open, so there is no garment: drop a job file on the window.";

/// The name of a patch by its folder.
pub(crate) fn patch_name(folder: &Path) -> String {
    let name = folder.file_name().map(|name| name.to_string_lossy().into_owned()).unwrap_or_default();
    name.strip_suffix(".patch").unwrap_or(&name).to_owned()
}

/// A channel as people say it.
pub(crate) fn channel(channel: Channel) -> String {
    channel.name().replace('_', " ")
}

/// A channel, and how far to trust its map.
pub(crate) fn map_came(of: Channel, origin: Origin) -> String {
    let trust = match origin {
        Origin::Measured => "measured, from calibrated shots",
        Origin::Derived => "derived from the photo or another map",
        Origin::Estimated => "estimated, a reasoned guess",
    };
    format!("{}: {trust}", super::sentence(&channel(of)).trim_end_matches('.'))
}

pub(crate) fn percent(share: f32) -> String {
    format!("{:.0} %", 100.0 * share)
}

/// Where the lamp is.
pub(crate) fn lamp([x, y]: [f32; 2]) -> String {
    let height = x.hypot(y).clamp(0.0, 1.0).acos().to_degrees();
    let from = y.atan2(x).to_degrees().rem_euclid(360.0);
    if height > 89.0 {
        "Lamp straight above the cloth".to_owned()
    } else {
        format!("Lamp from {from:.0}°, {height:.0}° above the cloth")
    }
}

/// What is known of a patch, in words and numbers.
pub(crate) fn patch_facts(view: &PatchView) -> Vec<(&'static str, String)> {
    let patch = &view.patch;
    let [width, height] = view.size_mm.map(|mm| mm.get());
    let sure = how_sure(patch);
    let range = patch.height_range;
    let mut facts = vec![
        ("Subject", patch.subject.name().to_owned()),
        ("Canvas", format!("{width:.1} × {height:.1} mm, {} × {} texels", view.texels.width, view.texels.height)),
        ("Scale", format!("{:.4} mm a texel, {}{sure}", patch.scale.get(), scale_source(patch.scale_source))),
        (
            "Threads",
            match (patch.ends_per_cm, patch.picks_per_cm) {
                (Some(ends), Some(picks)) => format!("{:.1} ends, {:.1} picks per cm", ends.get(), picks.get()),
                _ => "not counted".to_owned(),
            },
        ),
        ("Weave", patch.weave.to_string()),
        ("Grain", patch.grain.map_or_else(|| "unknown".to_owned(), |grain| format!("{:.0}°", grain.to_degrees()))),
        ("Height", format!("{:.2} to {:.2} mm", range.low_mm, range.high_mm)),
    ];
    let told = |key: &str| patch.provenance.iter().find(|(known, _)| known == key).map(|(_, value)| value.clone());
    facts.extend(told("color_correction").map(|value| ("Colour", value)));
    facts.extend(told("photo").map(|value| ("Photo", value)));
    facts
}
