//! `tatter measure`.

use serde_json::json;
use tatter::measure::{MeasureRequest, measure_photo};
use tatter_core::angle::Angle;

use super::{Outcome, boxed, scale};
use crate::args::Measure;
use crate::term::{Term, number, warnings};

/// Thread count, weave and grain of a photo.
pub(crate) fn run(args: &Measure, term: &Term) -> Outcome {
    let task = term.task();
    let request =
        MeasureRequest { photo: args.photo.clone(), scale: scale(&args.scale), grain: args.grain_deg.map(Angle::degrees) };
    let report = measure_photo(&request, &task).map_err(boxed)?;
    term.notes(&task);
    let object = json!({
        "woven": report.woven,
        "ends_per_cm": report.ends_per_cm.map(|n| number(n.get())),
        "picks_per_cm": report.picks_per_cm.map(|n| number(n.get())),
        "ends_per_width": number(report.ends_per_width),
        "picks_per_height": number(report.picks_per_height),
        "grain_deg": number(report.grain.to_degrees()),
        "weft_deg": number(report.weft.to_degrees()),
        "weave": report.weave.to_string(),
        "twill_deg": report.twill.map(|angle| number(angle.to_degrees())),
        "confidence": number(report.confidence),
        "warnings": warnings(&task),
    });
    let mut text = if report.woven {
        format!(
            "{}: {:.1} ends across the width, {:.1} picks across the height; grain {:.1}°, weft {:.1}° (confidence {:.2})\n",
            report.weave,
            report.ends_per_width,
            report.picks_per_height,
            report.grain.to_degrees(),
            report.weft.to_degrees(),
            report.confidence
        )
    } else {
        "no weave found\n".to_owned()
    };
    if let (Some(ends), Some(picks)) = (report.ends_per_cm, report.picks_per_cm) {
        text += &format!("{:.2} ends per cm, {:.2} picks per cm\n", ends.get(), picks.get());
    }
    term.result(&object, &text);
    Ok(0)
}
