//! Sizes beside those that are published for the web.
//!
//! Source: Khronos Group, 3D Commerce, "Real-time Asset Creation Guidelines" 1.0.0 (2020), "Publishing Targets Summary", target
//! "Web for Desktop and Mobile AR (for a single item)": file ideally less than 5 MB; triangles 100k or less; textures a power
//! of two, not necessarily square, 1k or 2k; few draw calls. "Best Practice for File Size" of the same: 3 MB to 15 MB in use.
//! "Textures Summary": JPEG for opaque base colour; opacity in the base colour's alpha. Version 2.0 (2025) was not consulted.

use tatter_core::image::Size;
use tatter_core::task::Task;

use super::{HandoffKind, Made};

/// Megabytes as the guidelines count them are not said to be binary; the smaller reading is taken.
const MOST_BYTES: u64 = 5_000_000;
const MOST_TRIANGLES: usize = 100_000;
const MOST_TEXELS: usize = 2048;
/// "The fewer the better" has no figure; above this many a garment is worth a word (common practice, no source).
const MOST_MATERIALS: usize = 5;

/// Leave a note for each published figure that is passed. Only for what goes to the web: glTF.
pub(super) fn judge(kind: HandoffKind, made: &Made, task: &Task) {
    if !kind.has_mesh() {
        return;
    }
    let note =
        |text: String| task.note("web-guideline", format!("{text} (Khronos 3D Commerce asset guidelines 1.0, web target)"));
    let bytes: u64 = made.files.iter().map(|file| file.bytes.len() as u64).sum();
    if bytes > MOST_BYTES {
        note(format!("{:.1} MB is more than the 5 MB that load fast; --max-texels makes it smaller", bytes as f64 / 1e6));
    }
    if let Some(triangles) = made.triangles.filter(|triangles| *triangles > MOST_TRIANGLES) {
        note(format!("{triangles} triangles are more than 100000"));
    }
    if made.materials > MOST_MATERIALS {
        note(format!("{} materials are as many draw calls; the fewer the better", made.materials));
    }
    let loose = made.files.iter().filter_map(|file| Some((file.role.as_str(), file.size?)));
    let textures: Vec<(&str, Size)> = made.inside.iter().map(|one| (one.name.as_str(), one.size)).chain(loose).collect();
    if let Some((name, size)) = textures.iter().find(|(_, size)| size.width.max(size.height) > MOST_TEXELS) {
        note(format!("{name} has {} × {} texels, more than 2048; --max-texels 2048 keeps to it", size.width, size.height));
    }
    if let Some((name, size)) = textures.iter().find(|(_, size)| !(size.width.is_power_of_two() && size.height.is_power_of_two()))
    {
        note(format!("{name} has {} × {} texels, which are no powers of two", size.width, size.height));
    }
}
