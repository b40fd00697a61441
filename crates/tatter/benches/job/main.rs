//! How long the job takes, files to files, and what memory it takes, beside a script of reference libraries.
//!
//! `tools/bench/run.sh` runs it as it is meant: with the reference. Alone:
//! `cargo bench --workspace --profile dev --bench job -- FOLDER [RUNS] [PYTHON]`, or `-- --large FOLDER [RUNS]` for 200 placements on maps of
//! 8192², in another folder (2 GB). The folder keeps what is worked on; with the
//! path of a Python that has `tools/bench/requirements.txt`, `tools/bench/reference.py` takes its turn in every round.
//!
//! Every figure comes from a process of its own, so that the peak memory is that of the step alone. Steps take turns, so that
//! a busy machine is unkind to all of them alike. Medians of all rounds are shown.
#![expect(clippy::disallowed_methods, reason = "a benchmark of files makes and reads files")]
#![expect(clippy::print_stdout, reason = "a table is what it is for")]

mod made;
mod step;
mod table;

use std::path::Path;
use std::process::Command;

use step::{Figures, LARGE, STEPS};
use table::Row;

type Done<T> = Result<T, Box<dyn std::error::Error>>;

fn main() -> Done<()> {
    let arguments: Vec<String> = std::env::args().skip(1).filter(|argument| argument != "--bench").collect();
    match arguments.iter().map(String::as_str).collect::<Vec<_>>()[..] {
        ["--step", name, folder] => {
            print!("{}", step::run(name, Path::new(folder))?.to_lines());
            Ok(())
        }
        ["--make", folder] => made::folder(Path::new(folder)),
        ["--make-large", folder] => made::large(Path::new(folder)),
        ["--large", folder] => measure("--make-large", Path::new(folder), 3, LARGE, None),
        ["--large", folder, runs] => measure("--make-large", Path::new(folder), runs.parse()?, LARGE, None),
        [folder] => measure("--make", Path::new(folder), 5, STEPS, None),
        [folder, runs] => measure("--make", Path::new(folder), runs.parse()?, STEPS, None),
        [folder, runs, python] => measure("--make", Path::new(folder), runs.parse()?, STEPS, Some(Path::new(python))),
        _ => Err("say which folder may be worked in: -- FOLDER [RUNS] [PYTHON]".into()),
    }
}

fn measure(make: &str, folder: &Path, runs: usize, steps: &[(&'static str, &'static str)], python: Option<&Path>) -> Done<()> {
    let own = std::env::current_exe()?;
    // Making the inputs in a process of its own leaves this one small.
    if !Command::new(&own).args([make.as_ref(), folder.as_os_str()]).status()?.success() {
        return Err("the inputs were not made".into());
    }
    let script = Path::new(env!("CARGO_MANIFEST_DIR")).join("../../tools/bench/reference.py");
    let mut rows: Vec<Row> = steps.iter().map(|(name, what)| Row::new(name, what)).collect();
    let mut peer = Row::new("reference", "the same placements by the script, files to files");
    for _ in 0..runs.max(1) {
        for row in &mut rows {
            let mut command = Command::new(&own);
            row.add(figures(command.args(["--step".as_ref(), row.name.as_ref(), folder.as_os_str()]))?);
        }
        if let Some(python) = python {
            peer.add(figures(Command::new(python).arg(&script).arg(folder))?);
        }
    }
    print!("{}", table::text(&rows, python.is_some().then_some(&peer)));
    Ok(())
}

/// Runs a step and reads what it printed.
fn figures(command: &mut Command) -> Done<Figures> {
    let output = command.output()?;
    let text = String::from_utf8_lossy(&output.stdout);
    if !output.status.success() {
        return Err(format!("{command:?} failed: {}", String::from_utf8_lossy(&output.stderr)).into());
    }
    Figures::from_lines(&text)
}
