//! `tatter build`.

use serde_json::{Value, json};
use tatter::build::BuildReport;
use tatter::build::{BuildSummary, BuiltFile, build_states};
use tatter::wear::MarkReport;
use tatter_core::channel::Channel;
use tatter_core::explain::Explain;
use tatter_core::task::Task;

use super::{Outcome, boxed, watch};
use crate::args::Build;
use crate::term::{Term, number, seconds, warnings};

/// Build a job into a folder.
pub(crate) fn run(args: &Build, term: &Term) -> Outcome {
    super::check_preview(args.preview.as_deref())?;
    if args.states.watch {
        return watch::rounds(&args.job, false, "built", term, |task| once(args, task));
    }
    let task = term.task();
    let (machine, text) = once(args, &task)?;
    term.notes(&task);
    term.result(&machine, &text);
    Ok(0)
}

fn once(args: &Build, task: &Task) -> Result<(Value, String), Box<dyn Explain>> {
    let states = build_states(&args.job, args.output.as_deref(), args.states.which(), task).map_err(boxed)?;
    super::preview(args.preview.as_deref(), &args.job, None, task)?;
    let text = states.iter().map(|state| headed(state.variation.as_deref(), &people(state))).collect();
    Ok((machine(&states, task), text))
}

fn machine(states: &[BuildSummary], task: &Task) -> Value {
    let files: Vec<Value> =
        states.iter().flat_map(|state| state.files.iter().map(|f| file(f, state.variation.as_deref()))).collect();
    let first = states.first();
    json!({
        "files": files,
        "placements": first.map(|state| placements(&state.report)),
        "wear": first.map(|state| wear(&state.wear)),
        "seconds": seconds(task),
        "warnings": warnings(task),
    })
}

fn file(file: &BuiltFile, variation: Option<&str>) -> Value {
    json!({
        "path": file.path,
        "channel": channel_names(&file.channels),
        "texels_changed": file.texels_changed,
        "bytes": file.bytes,
        "variation": variation,
    })
}

/// A table under the name of its variation.
pub(crate) fn headed(variation: Option<&str>, table: &str) -> String {
    variation.map_or_else(|| table.to_owned(), |name| format!("\n{name}\n{table}"))
}

/// `base_color`, or `occlusion+roughness+metallic` for a packed file.
pub(crate) fn channel_names(channels: &[Channel]) -> String {
    channels.iter().map(|channel| channel.name()).collect::<Vec<_>>().join("+")
}

/// Placements of a report, for machines.
pub(crate) fn placements(report: &BuildReport) -> Value {
    report
        .placements
        .iter()
        .map(|placement| {
            json!({
                "id": placement.id,
                "texels": placement.texels,
                "faces": placement.faces,
                "worst_stretch": number(placement.worst_stretch),
                "texels_per_patch_texel": number(placement.texels_per_patch_texel),
                "thread_pitch_texels": placement.thread_pitch_texels.map(number),
                "clamped_heights": placement.clamped_heights,
                "rim_difference": placement.rim_difference.map(number),
            })
        })
        .collect()
}

/// Marks of wear, for machines.
pub(crate) fn wear(marks: &[MarkReport]) -> Value {
    marks.iter().map(|mark| json!({ "id": mark.id, "texels": mark.texels })).collect()
}

fn people(summary: &BuildSummary) -> String {
    let mut text = format!("{:<44} {:<32} {:>12} {:>8} {:>10}\n", "file", "holds", "texels", "share", "KiB");
    for file in &summary.files {
        let share = 100.0 * file.texels_changed as f64 / file.texels.max(1) as f64;
        let size = if file.bytes == 0 { "as it was".to_owned() } else { file.bytes.div_ceil(1024).to_string() };
        text += &format!(
            "{:<44} {:<32} {:>12} {:>6.2} % {:>10}\n",
            file.path.display(),
            channel_names(&file.channels),
            file.texels_changed,
            share,
            size
        );
    }
    text
}
