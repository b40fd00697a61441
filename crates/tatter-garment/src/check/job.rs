//! Checks of placements on a garment.

use std::collections::BTreeSet;

use tatter_core::channel::Channel;
use tatter_core::explain::Explain as _;
use tatter_core::image::Map;
use tatter_core::model::{Garment, MapSet, Weave};

use super::{Fault, Severity};
use crate::build::set_of_face;
use crate::place::{Footprint, PlaceSettings, Placed, footprint};
use crate::surface::Surface;

/// A placement that was found on the cloth.
struct Found<'a> {
    placed: Placed<'a>,
    footprint: Footprint,
    /// Millimetres of cloth for one texel of the finest map, at the spot.
    mm_per_texel: f64,
    set: &'a MapSet,
    /// How its island's cloth interlaces, as one sees it, where that was measured.
    weave: Weave,
}

/// Every check of a placement that was found.
const CHECKS: &[fn(&Found<'_>) -> Vec<Fault>] = &[threads, twills, enlarged, heights, channels, left_out];

/// Everything wrong with the placements of a job. Needs the mesh, not the pictures; linear in the faces for each placement.
pub fn check_job(garment: &Garment, placements: &[Placed<'_>]) -> Vec<Fault> {
    let surface = Surface::new(garment);
    let set_of = set_of_face(&surface, &garment.sets);
    let mut faults = grains(garment, &surface);
    let mut ids = BTreeSet::new();
    for placed in placements {
        let id = place(placed);
        if !ids.insert(&placed.placement.id) {
            faults.push(Fault::new(
                Severity::Error,
                "id-twice",
                &id,
                "another placement has the same id",
                "give one of them another id",
            ));
        }
        faults.extend(rules(placed));
        let found = match footprint(&surface, placed.placement, placed.patch, garment.mm_per_unit, &PlaceSettings::default()) {
            Ok(found) => found,
            Err(error) => {
                faults.push(Fault::new(Severity::Error, "spot-not-found", id, error.to_string(), error.next()));
                continue;
            }
        };
        let face = &surface.faces()[found.seed.face];
        let Some(set) = set_of[found.seed.face].map(|s| &garment.sets[s]) else {
            let part = &surface.parts()[face.part];
            let what = format!("lies on part '{}', whose material '{}' has no textures", part.name, part.material);
            faults.push(Fault::new(
                Severity::Error,
                "no-textures",
                id,
                what,
                "place it on a part with textures, or add them to the job",
            ));
            continue;
        };
        let mm_per_uv = face.mm_per_uv().map_or(0.0, |[u, v]| u.cross(v).length().sqrt());
        let texels = set.files.iter().map(|f| ((f.size.width * f.size.height) as f64).sqrt()).fold(1.0, f64::max);
        let weave = surface.grain_of(found.seed.face).map_or(Weave::Unknown, |grain| grain.weave(&garment.grain[grain.entry]));
        let one = Found { placed: *placed, footprint: found, mm_per_texel: mm_per_uv / texels, set, weave };
        faults.extend(CHECKS.iter().flat_map(|check| check(&one)));
    }
    faults
}

/// Entries of grain that hold for no island.
fn grains(garment: &Garment, surface: &Surface) -> Vec<Fault> {
    let lost = garment.grain.iter().filter(|entry| surface.at_entry(entry).is_none());
    let fault = |[u, v]: [f32; 2]| {
        let (what, remedy) = ("lies on no cloth, so that no island follows it", "move its `at` into an island, or take it out");
        Fault::new(Severity::Warning, "grain-nowhere", format!("grain at {u},{v}"), what, remedy)
    };
    lost.map(|entry| fault(entry.at)).collect()
}

fn place(placed: &Placed<'_>) -> String {
    format!("placement {}", placed.placement.id)
}

fn rules(placed: &Placed<'_>) -> Vec<Fault> {
    let mut faults = Vec::new();
    for channel in Channel::ALL {
        let rule = placed.placement.rule(channel);
        if !rule.rule.fits(channel.info().kind) {
            let what = format!("the rule {} means nothing for {channel}", rule.rule);
            faults.push(Fault::new(Severity::Error, "rule-unfit", place(placed), what, "choose another rule"));
        }
        if !(0.0..=1.0).contains(&rule.strength) {
            let what = format!("the strength {} of {channel} is not within 0 to 1", rule.strength);
            faults.push(Fault::new(Severity::Error, "strength-beyond", place(placed), what, "choose a strength from 0 to 1"));
        }
    }
    faults
}

fn threads(found: &Found<'_>) -> Vec<Fault> {
    let patch = found.placed.patch;
    let finest = patch.ends_per_cm.into_iter().chain(patch.picks_per_cm).map(|d| f64::from(d.get())).fold(0.0, f64::max);
    if finest <= 0.0 || found.mm_per_texel <= 0.0 {
        return Vec::new();
    }
    let pitch = 10.0 / finest * found.footprint.enlargement / found.mm_per_texel;
    if pitch >= 2.0 {
        return Vec::new();
    }
    // Nyquist: two texels a thread at least.
    let what = format!("its threads are {pitch:.2} texels apart on this garment, and below 2 they cannot be drawn");
    vec![Fault::new(
        Severity::Warning,
        "threads-too-fine",
        place(&found.placed),
        what,
        "use larger textures, or accept a tone without threads",
    )]
}

/// Twill lines that climb against the cloth's draw the eye to a patch that is else well dyed (common practice, no source).
fn twills(found: &Found<'_>) -> Vec<Fault> {
    let (placement, patch) = (found.placed.placement, found.placed.patch);
    let (Some(own), Some(cloth)) = (patch.weave.hand(), found.weave.hand()) else { return Vec::new() };
    let shown = if placement.mirror { own.turned() } else { own };
    if !shown.climbs_against(cloth, placement.turn) {
        return Vec::new();
    }
    let what = format!("its twill ({own:?}) climbs against the garment's there ({})", found.weave);
    let remedy = if placement.mirror { "take its mirroring back" } else { "mirror it" };
    vec![Fault::new(Severity::Warning, "twill-clash", place(&found.placed), what, remedy)]
}

fn enlarged(found: &Found<'_>) -> Vec<Fault> {
    let per_texel = f64::from(found.placed.patch.scale.get()) * found.footprint.enlargement / found.mm_per_texel.max(1e-12);
    if per_texel <= 2.0 {
        return Vec::new();
    }
    let what = format!("one texel of the patch covers {per_texel:.1} of the garment: it will look soft");
    vec![Fault::new(Severity::Warning, "patch-too-coarse", place(&found.placed), what, "photograph the damage closer")]
}

fn heights(found: &Found<'_>) -> Vec<Fault> {
    let (Some(Map::Height(height)), Some((file, role))) =
        (found.placed.patch.map(Channel::Height), found.set.role(Channel::Height))
    else {
        return Vec::new();
    };
    if found.placed.placement.rule(Channel::Height).rule == tatter_core::rule::Rule::Keep {
        return Vec::new();
    }
    let (low, high) = height.texels().iter().fold((f32::MAX, f32::MIN), |(low, high), h| (low.min(h.0), high.max(h.0)));
    let (span, own) = ((high - low) * found.footprint.enlargement as f32, role.coding.height_range.span_mm().abs());
    if span <= own {
        return Vec::new();
    }
    let what = format!("its heights span {span:.2} mm, {} holds {own:.2} mm: they will be clipped", file.path);
    vec![Fault::new(
        Severity::Warning,
        "height-beyond-range",
        place(&found.placed),
        what,
        "widen the height range of the garment's map",
    )]
}

fn channels(found: &Found<'_>) -> Vec<Fault> {
    let lacks = |channel: &Channel| found.placed.patch.map(*channel).is_some() && found.set.role(*channel).is_none();
    let worth = [Channel::BaseColor, Channel::Normal, Channel::Opacity];
    worth
        .into_iter()
        .filter(lacks)
        .map(|channel| {
            let (what, remedy) = match channel {
                Channel::Opacity => (
                    "the garment has no opacity map: its holes will not be see-through".to_owned(),
                    "add an opacity map, or an alpha to the base colour, and name it in the job",
                ),
                _ => (format!("the garment has no {channel} map: the patch's is not used"), "add one and name it in the job"),
            };
            Fault::new(Severity::Warning, "garment-lacks-channel", place(&found.placed), what, remedy)
        })
        .collect()
}

fn left_out(found: &Found<'_>) -> Vec<Fault> {
    if found.footprint.left_out == 0 {
        return Vec::new();
    }
    let what = format!("{} faces within its reach fold back or curve too much and will be left out", found.footprint.left_out);
    vec![Fault::new(Severity::Hint, "cut-at-fold", place(&found.placed), what, "use a smaller patch, or several")]
}
