//! `tatter measure`.

use serde_json::json;
use tatter::measure::{Fabric, MeasureReport, MeasureRequest, SURE, measure_photo};
use tatter_core::angle::Angle;
use tatter_core::color::{Lab, codes_text, srgb_code};
use tatter_core::image::LinearRgb;

use super::cut::{color, corrected};
use super::{Outcome, boxed, scale};
use crate::args::Measure;
use crate::term::{Term, number, warnings};

/// Thread count, weave and grain of a photo.
pub(crate) fn run(args: &Measure, term: &Term) -> Outcome {
    let task = term.task();
    let request = MeasureRequest {
        photo: args.photo.clone(),
        scale: scale(&args.scale)?,
        grain: args.grain_deg.map(Angle::degrees),
        color: color(&args.color, args.flat.as_ref()),
    };
    let report = measure_photo(&request, &task).map_err(boxed)?;
    term.notes(&task);
    let object = json!({
        "woven": report.woven,
        "fabric": report.fabric.to_string(),
        "pitch_px": report.pitch_px.map(|pitch| pitch.map(number)),
        "ends_per_cm": report.ends_per_cm.map(|n| number(n.get())),
        "picks_per_cm": report.picks_per_cm.map(|n| number(n.get())),
        "ends_per_width": number(report.ends_per_width),
        "picks_per_height": number(report.picks_per_height),
        "grain_deg": number(report.grain.to_degrees()),
        "weft_deg": number(report.weft.to_degrees()),
        "weave": report.weave.to_string(),
        "twill_deg": report.twill.map(|angle| number(angle.to_degrees())),
        "confidence": number(report.confidence),
        "mm_per_pixel": report.mm_per_px.map(number),
        "scale_uncertainty_percent": report.scale_uncertainty.map(|share| number(100.0 * share)),
        "straightened_deg": report.straightened_deg.map(|tilt| number(tilt as f32)),
        "cloth_color": {
            "linear": report.cloth_color.0.map(number),
            "srgb": srgb(report.cloth_color),
            "lab": lab(report.cloth_color).map(number),
        },
        "color": report.corrected.as_ref().map(corrected),
        "warnings": warnings(&task),
    });
    term.result(&object, &described(&report));
    Ok(0)
}

/// What was found, for people.
fn described(report: &MeasureReport) -> String {
    let mut text = threads(report);
    let [l, a, b] = lab(report.cloth_color);
    text += &format!("colour in the mean {}, CIELAB {l:.1} {a:.1} {b:.1}", srgb(report.cloth_color));
    text += &match &report.corrected {
        Some(corrected) => format!("; {}\n", corrected.told()),
        None => ", as the camera has it: --chart or --grey corrects it\n".to_owned(),
    };
    text
}

/// As sRGB codes.
fn srgb(color: LinearRgb) -> String {
    codes_text(color.0.map(srgb_code))
}

fn lab(color: LinearRgb) -> [f32; 3] {
    let Lab { l, a, b } = color.into();
    [l, a, b]
}

/// What was counted.
fn threads(report: &MeasureReport) -> String {
    let confidence = report.confidence;
    let Some([ends_px, picks_px]) = report.pitch_px else {
        let looks = if report.fabric == Fabric::Knit { "looks knitted, not woven" } else { "no weave found" };
        return format!("{looks}: threads were not counted (confidence of a weave {confidence:.2})\n");
    };
    let weave = report.weave.to_string();
    let weave = if weave == "unknown" { "weave not recognised".to_owned() } else { weave };
    let sure = if confidence < SURE { ", unsure" } else { "" };
    let mut text = format!(
        "woven, {weave} (confidence {confidence:.2}{sure})\n\
         ends {ends_px:.2} px apart, {:.1} across the width, along {:.1}°\n\
         picks {picks_px:.2} px apart, {:.1} across the height, along {:.1}°\n",
        report.ends_per_width,
        report.grain.to_degrees(),
        report.picks_per_height,
        report.weft.to_degrees(),
    );
    text += &match (report.ends_per_cm, report.picks_per_cm) {
        (Some(ends), Some(picks)) => format!("{:.2} ends per cm, {:.2} picks per cm\n", ends.get(), picks.get()),
        _ => "threads per cm not known: tell the scale with --width-mm, --mm-per-pixel, --ruler or --scale-by\n".to_owned(),
    };
    if let (Some(mm), Some(share)) = (report.mm_per_px, report.scale_uncertainty) {
        text += &format!("{mm:.5} mm a pixel, to {:.2} %", 100.0 * share);
        text += &report.straightened_deg.map_or_else(
            || "\n".to_owned(),
            |tilt| format!("; straightened: the photo was taken {tilt:.0}° from straight above\n"),
        );
    }
    text
}
