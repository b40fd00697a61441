//! `tatter garment`.

use serde_json::{Value, json};
use tatter::garment::{GarmentReport, GarmentRequest, describe};
use tatter::start::begin;
use tatter_core::task::Task;

use super::{Outcome, boxed, grain};
use crate::args::GarmentArgs;
use crate::term::{Term, number, warnings};
use crate::verb::build::channel_names;

/// Say what a garment is; start a job when asked.
pub(crate) fn run(args: &GarmentArgs, term: &Term) -> Outcome {
    let task = term.task();
    let request = GarmentRequest {
        source: args.source.clone(),
        maps: args.maps.clone(),
        mm_per_unit: args.mm_per_unit,
        mm_per_uv: args.mm_per_uv,
        unpack: args.unpack.clone(),
        ..GarmentRequest::default()
    };
    let report = describe(&request, &task).map_err(boxed)?;
    let (report, summary) = match &args.output {
        Some(path) => {
            let (report, summary) = begin(report, &args.add, path, &task).map_err(boxed)?;
            (report, Some(summary))
        }
        None => (report, None),
    };
    term.notes(&task);
    let mut machine = machine(&report, &task);
    let mut text = people(&report);
    if let Some(path) = &args.output {
        machine["job"] = json!(path);
        text += &format!("job started: {}\n", path.display());
    }
    if let Some(summary) = &summary {
        machine["grain"] = grain::machine_list(&summary.grain);
        text += &grain::in_short(summary);
    }
    term.result(&machine, &text);
    Ok(0)
}

fn machine(report: &GarmentReport, task: &Task) -> Value {
    let materials: Vec<Value> = report
        .materials
        .iter()
        .map(|m| {
            json!({
                "name": m.name, "parts": m.parts, "triangles": m.triangles, "islands": m.islands, "mirrored_islands": m.mirrored,
            })
        })
        .collect();
    let maps: Vec<Value> = report
        .maps
        .iter()
        .map(|m| json!({ "file": m.path, "channel": channel_names(&m.channels), "bits": m.bits, "texels_per_mm": number(m.texels_per_mm) }))
        .collect();
    json!({
        "mm_per_unit": number(report.garment.mm_per_unit),
        "mm_per_uv": number(report.garment.mm_per_uv.get()),
        "materials": materials,
        "maps": maps,
        "missing": report.missing.iter().map(|c| c.name()).collect::<Vec<_>>(),
        "unknown": report.unknown,
        "warnings": warnings(task),
    })
}

fn people(report: &GarmentReport) -> String {
    let mut text = format!("one UV unit spans {:.1} mm of cloth\n", report.garment.mm_per_uv.get());
    for m in &report.materials {
        let name = if m.name.is_empty() { "textures" } else { &m.name };
        text += &format!("{name}: {} triangles, {} islands, {} of them mirrored\n", m.triangles, m.islands, m.mirrored);
    }
    let missing: Vec<&str> = report.missing.iter().map(|c| c.name()).collect();
    if !missing.is_empty() {
        text += &format!("no texture for {}\n", missing.join(", "));
    }
    for m in &report.maps {
        text += &format!(
            "  {:<44} {:<32} {:>2} bits {:>6.2} texels per mm\n",
            m.path,
            channel_names(&m.channels),
            m.bits,
            m.texels_per_mm
        );
    }
    text
}
