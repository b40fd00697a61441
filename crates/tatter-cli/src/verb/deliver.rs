//! `tatter deliver`.

use serde_json::{Value, json};
use tatter::deliver::{DeliveredFile, DeliverySummary, Foreign, Outcome as Written, deliver_states, undo_delivery};
use tatter_core::explain::Explain;
use tatter_core::task::Task;

use super::build::{channel_names, headed, placements, wear};
use super::{Outcome, boxed, watch};
use crate::args::Deliver;
use crate::term::{Term, seconds, warnings};

/// Deliver a job, or take the last delivery back.
pub(crate) fn run(args: &Deliver, term: &Term) -> Outcome {
    if args.states.watch {
        return watch::rounds(&args.job, true, "delivered", term, |task| once(args, task));
    }
    let task = term.task();
    let (machine, text) = once(args, &task)?;
    term.notes(&task);
    term.result(&machine, &text);
    Ok(0)
}

fn once(args: &Deliver, task: &Task) -> Result<(Value, String), Box<dyn Explain>> {
    let foreign = match (args.adopt, args.leave) {
        (true, _) => Foreign::Adopt,
        (_, true) => Foreign::Leave,
        _ => Foreign::Refuse,
    };
    let states = if args.undo {
        vec![undo_delivery(&args.job, task).map_err(boxed)?]
    } else {
        deliver_states(&args.job, args.states.which(), foreign, task).map_err(boxed)?
    };
    let text = states.iter().map(|state| headed(state.variation.as_deref(), &people(state, args.undo))).collect();
    Ok((machine(&states, args.undo, task), text))
}

fn machine(states: &[DeliverySummary], undone: bool, task: &Task) -> Value {
    let files: Vec<Value> =
        states.iter().flat_map(|state| state.files.iter().map(|f| file(f, state.variation.as_deref()))).collect();
    let first = states.first();
    json!({
        "delivery": states.iter().map(|state| state.number).max(),
        "undone": undone,
        "files": files,
        "placements": first.and_then(|state| state.report.as_ref()).map(placements),
        "wear": first.map(|state| wear(&state.wear)),
        "seconds": seconds(task),
        "warnings": warnings(task),
    })
}

fn file(file: &DeliveredFile, variation: Option<&str>) -> Value {
    json!({
        "path": file.path,
        "channel": channel_names(&file.channels),
        "texels_changed": file.texels_changed,
        "bytes": file.bytes,
        "bytes_before": file.bytes_before,
        "outcome": outcome(file.outcome),
        "variation": variation,
    })
}

fn outcome(outcome: Written) -> &'static str {
    match outcome {
        Written::Written => "written",
        Written::Unchanged => "unchanged",
        Written::Left => "left",
        Written::Removed => "removed",
    }
}

fn people(summary: &DeliverySummary, undone: bool) -> String {
    let mut text =
        format!("{:<44} {:<26} {:>10} {:>8} {:>19} {:>10}\n", "file", "holds", "texels", "share", "KiB before, after", "");
    for file in &summary.files {
        let (count, share) = match (file.texels_changed, file.texels) {
            (Some(changed), Some(all)) => (changed.to_string(), format!("{:.2} %", 100.0 * changed as f64 / all.max(1) as f64)),
            _ => ("-".to_owned(), "-".to_owned()),
        };
        let before = file.bytes_before.map_or_else(|| "-".to_owned(), |bytes| bytes.div_ceil(1024).to_string());
        text += &format!(
            "{:<44} {:<26} {:>10} {:>8} {:>9} {:>9} {:>10}\n",
            file.path.display(),
            channel_names(&file.channels),
            count,
            share,
            before,
            file.bytes.div_ceil(1024),
            outcome(file.outcome)
        );
    }
    text += match (undone, summary.number) {
        (true, _) => "the last delivery was taken back\n",
        (false, 0) => "everything was already as the job says; nothing was written\n",
        (false, _) => "delivered; `tatter deliver JOB --undo` takes it back\n",
    };
    text
}
