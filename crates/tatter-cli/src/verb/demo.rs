//! `tatter demo`.

use std::path::PathBuf;

use serde_json::json;
use tatter::demo::demo;

use super::{Outcome, boxed};
use crate::args::Demo;
use crate::term::{Term, seconds, warnings};

/// The whole job on a sample.
pub(crate) fn run(args: &Demo, term: &Term) -> Outcome {
    let task = term.task();
    let folder = args.folder.clone().unwrap_or_else(|| PathBuf::from("salt-ledger"));
    let report = demo(&folder, &task).map_err(boxed)?;
    term.notes(&task);
    let mut text = "The Salt Ledger: the ferryman's smock is worn now.\n".to_owned();
    for cut in &report.cuts {
        text += &format!("  cut     {} ({})\n", cut.folder.display(), cut.cut.why);
    }
    for file in &report.delivery.files {
        let changed = file.texels_changed.unwrap_or(0);
        text += &format!("  deliver {} ({changed} texels changed)\n", file.path.display());
    }
    text += "open\n";
    for path in &report.look_at {
        text += &format!("  {}\n", path.display());
    }
    text += &format!("take it back: tatter deliver {} --undo\n", report.job.display());
    let cuts: Vec<_> = report.cuts.iter().map(|cut| cut.folder.clone()).collect();
    let object = json!({
        "job": report.job, "patches": cuts, "look_at": report.look_at, "seconds": seconds(&task), "warnings": warnings(&task),
    });
    term.result(&object, &text);
    Ok(0)
}
