//! `tatter cut`.

use std::path::PathBuf;

use serde_json::{Map, Value, json};
use tatter::color::{ColorRequest, Corrected, GreyPick, Known};
use tatter::cut::{CutReport, CutRequest, CutSource, Homography, cut_photo};
use tatter_core::angle::Angle;
use tatter_core::explain::Explain;
use tatter_core::image::LinearRgb;
use tatter_core::model::{CutRecipe, OtherShots, Subject, SubjectChoice};
use tatter_core::task::Task;
use tatter_core::units::PerCm;

use super::weave::codes;
use super::{BadArgument, CENTRE, Outcome, boxed, four, scale};
use crate::args::{Chart, ColorArgs, Cut, Numbers, SubjectArg};
use crate::term::{Term, degrees, number, round, seconds, warnings};

/// Photo to patch.
pub(crate) fn run(args: &Cut, term: &Term) -> Outcome {
    let task = term.task();
    let report = cut_photo(&request(args)?, &task).map_err(boxed)?;
    term.notes(&task);
    term.result(&machine(&report, &task), &people(&report, &task));
    Ok(0)
}

fn request(args: &Cut) -> Result<CutRequest, Box<dyn Explain>> {
    let subject = match args.subject {
        SubjectArg::Auto => SubjectChoice::Auto,
        SubjectArg::Damage => SubjectChoice::Told(Subject::Damage),
        SubjectArg::Piece => SubjectChoice::Told(Subject::Piece),
    };
    let recipe = CutRecipe {
        subject,
        around: args.around.map(|around| {
            let [x, y, radius] = around.0;
            [x + CENTRE, y + CENTRE, radius]
        }),
        strokes: Vec::new(),
        aside: Vec::new(),
        scale: scale(&args.scale)?,
        picks_per_cm: args.picks_per_cm.map(PerCm),
        upright: args.upright,
        grain: args.grain_deg.map(Angle::degrees),
        light_from: args.light_from.map(Angle::degrees),
        light_elevation: args.light_elevation.map(Angle::degrees),
        canvas: args.canvas,
        seed: args.seed,
    };
    let (source, output, strokes) = (source(args)?, args.output.clone(), args.strokes.clone());
    Ok(CutRequest { source, output, recipe, strokes, color: color(&args.color, args.flat.as_ref()) })
}

/// What of known colour is in view.
pub(super) fn color(args: &ColorArgs, flat: Option<&PathBuf>) -> ColorRequest {
    let chart = args.chart.map(|chart| match chart {
        Chart::Find => Known::ChartSomewhere,
        Chart::Corners(Numbers(corners)) => Known::Chart(four(corners)),
    });
    let grey = args.grey.map(|(Numbers([x, y]), radius)| {
        Known::Grey(GreyPick { at: [x + CENTRE, y + CENTRE], radius, reflectance: args.grey_reflectance.unwrap_or(GREY_CARD) })
    });
    ColorRequest { known: chart.or(grey), flat_field: flat.cloned() }
}

/// What grey cards are made to give back.
const GREY_CARD: f32 = 0.18;

/// One photo, one over each backing, one under each light, or both of these; and one with a lamp behind.
fn source(args: &Cut) -> Result<CutSource, Box<dyn Explain>> {
    let shots = OtherShots {
        over_dark: args.over_dark.clone(),
        backings: args.backings.as_deref().map(backings).transpose().map_err(boxed)?,
        backlit: args.backlit.clone(),
        lamp: args.lamp.clone(),
        lights: args.lights.clone(),
    };
    let photo = args.photo.as_ref().or(args.over_light.as_ref()).cloned();
    Ok(CutSource::of(photo.unwrap_or_default(), &shots))
}

/// The dark colour and the light one.
fn backings(text: &str) -> Result<[LinearRgb; 2], BadArgument> {
    let (dark, light) = text
        .split_once(',')
        .ok_or_else(|| BadArgument::new(format!("'{text}' is no pair of colours"), "Write dark,light as #101010,#e8e8e4"))?;
    Ok([codes(dark.trim())?, codes(light.trim())?].map(LinearRgb::from_codes))
}

/// The object of the machine contract.
fn machine(report: &CutReport, task: &Task) -> Value {
    let patch = &report.cut.patch;
    let size = patch.size();
    let [width, height] = patch.size_mm();
    let maps: Map<String, Value> = patch
        .maps
        .iter()
        .filter_map(|(channel, map)| {
            let map = map.as_ref()?;
            let entry = json!({ "file": format!("{channel}.png"), "kind": map.origin.name(), "how": map.how });
            Some((channel.name().to_owned(), entry))
        })
        .collect();
    let range = patch.height_range;
    json!({
        "patch": report.folder,
        "subject": patch.subject.name(),
        "why": report.cut.why,
        "texels": [size.width, size.height],
        "size_mm": [number(width.get()), number(height.get())],
        "mm_per_texel": number(patch.scale.get()),
        "scale_source": patch.scale_source.name(),
        "scale_uncertainty_percent": patch.scale_uncertainty.map(|share| round(f64::from(100.0 * share), 1e3)),
        "color": report.corrected.as_ref().map(corrected),
        "grain_deg": patch.grain.map(degrees),
        "ends_per_cm": patch.ends_per_cm.map(|count| number(count.get())),
        "picks_per_cm": patch.picks_per_cm.map(|count| number(count.get())),
        "photo_from_patch": patch.photo_from_patch.map(centred),
        "photo_from_patch_projective": report.cut.photo_from_patch.map(|map| projective(&map)),
        "maps": maps,
        "height_range_mm": [number(range.low_mm), number(range.high_mm)],
        "open_share": round(f64::from(report.cut.open_share), 1e4),
        "openings": report.cut.openings,
        "seconds": seconds(task),
        "warnings": warnings(task),
    })
}

/// How colours were corrected: differences are CIEDE2000, mean and greatest.
pub(super) fn corrected(corrected: &Corrected) -> Value {
    let two = |values: [f32; 2]| values.map(number);
    match corrected {
        Corrected::Grey(pick, found) => json!({
            "by": "grey",
            "reflectance": number(pick.reflectance),
            "seen": found.seen.0.map(number),
        }),
        Corrected::Chart(found) => json!({
            "by": "chart",
            "corners": found.corners.map(|corner| corner.map(|v| number(v - CENTRE))),
            "edition": found.edition.name(),
            "fit": found.correction.name(),
            "de00_before": two(found.before),
            "de00_after": two(found.after),
            "de00_left_one_out": number(found.left_one_out),
            "patches_left_out": found.burnt,
        }),
    }
}

/// From places whose first centre is at (0.5, 0.5) to places whose first centre is at (0, 0), on both sides.
fn centred(photo_from_patch: [[f32; 3]; 2]) -> [[f64; 3]; 2] {
    photo_from_patch.map(|row| {
        let [a, b, c] = row.map(f64::from);
        [a, b, c + f64::from(CENTRE) * (a + b) - f64::from(CENTRE)]
    })
}

/// The same of a map with perspective, row major.
fn projective(map: &Homography) -> [[f64; 3]; 3] {
    let centre = f64::from(CENTRE);
    Homography::shift(-centre, -centre).after(&map.after(&Homography::shift(centre, centre))).0
}

fn people(report: &CutReport, task: &Task) -> String {
    let patch = &report.cut.patch;
    let size = patch.size();
    let [width, height] = patch.size_mm();
    let mut text = format!("{}  {}\n", report.folder.display(), report.cut.why);
    let sure = patch.scale_uncertainty.map_or_else(String::new, |share| format!(", to {:.2} %", 100.0 * share));
    let source = patch.scale_source.name();
    text += &format!("  {size} texels, {:.1} × {:.1} mm (scale: {source}{sure})\n", width.get(), height.get());
    text += &report.corrected.as_ref().map_or_else(String::new, |corrected| format!("  colour by {}\n", corrected.told()));
    match (patch.ends_per_cm, patch.picks_per_cm, patch.grain) {
        (Some(ends), Some(picks), Some(grain)) => {
            text +=
                &format!("  {:.1} ends and {:.1} picks per cm, grain at {:.1}°\n", ends.get(), picks.get(), grain.to_degrees());
        }
        _ => text += "  no weave measured\n",
    }
    text += &format!("  {} openings, {:.1} % of the cover see-through\n", report.cut.openings, report.cut.open_share * 100.0);
    for (channel, map) in patch.maps.iter() {
        if let Some(map) = map {
            text += &format!("  {:<12} {:<10} {}\n", channel.name(), map.origin.name(), map.how);
        }
    }
    let stages: Vec<String> = task.seconds().iter().map(|(stage, s)| format!("{stage} {s:.2}")).collect();
    text += &format!("  {:.2} s ({})\n", task.total(), stages.join(", "));
    text += &format!("look at {}\n", report.folder.join("sheet.png").display());
    text
}

#[cfg(test)]
mod tests {
    use super::centred;

    #[test]
    fn an_unscaled_crop_is_a_whole_shift_in_both_countings() {
        assert_eq!(centred([[1.0, 0.0, 40.0], [0.0, 1.0, 7.0]]), [[1.0, 0.0, 40.0], [0.0, 1.0, 7.0]], "shift only");
    }

    #[test]
    fn centres_map_to_centres_when_scaled() {
        // Two pixels a texel: texel 0 (centre 0.5) shows pixels 0 and 1, so its centre is pixel place 0.5 counted from centres.
        let [row, _] = centred([[2.0, 0.0, 0.0], [0.0, 2.0, 0.0]]);
        assert_eq!(row[2], 0.5, "texel centre 0 lies half way between pixels 0 and 1");
    }
}
