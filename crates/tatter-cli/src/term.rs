//! What a person or a machine sees: results on stdout, everything else on stderr.

use std::collections::BTreeMap;
use std::io::{IsTerminal as _, Write as _};
use std::process::ExitCode;
use std::sync::Mutex;

use serde_json::{Value, json};
use tatter_core::angle::Angle;
use tatter_core::explain::Explain;
use tatter_core::task::{Note, Task};

/// Where output goes and how much of it.
#[derive(Debug)]
pub(crate) struct Term {
    json: bool,
    quiet: bool,
    color: bool,
}

impl Term {
    /// Colours and progress only on a terminal; `NO_COLOR` turns colours off.
    pub(crate) fn new(json: bool, quiet: bool) -> Self {
        let terminal = std::io::stderr().is_terminal();
        let plain = std::env::var_os("NO_COLOR").is_some_and(|v| !v.is_empty());
        Self { json, quiet: quiet || !terminal, color: terminal && !plain }
    }

    /// A task that shows its stages on the terminal.
    pub(crate) fn task(&self) -> Task {
        if self.quiet {
            return Task::new();
        }
        let shown = Mutex::new(String::new());
        Task::with_progress(move |stage, share| {
            let mut shown = shown.lock().unwrap_or_else(std::sync::PoisonError::into_inner);
            let line = format!("{stage} {:.0} %", share * 100.0);
            if *shown != line {
                let _ = write!(std::io::stderr(), "\r\x1b[2K{line}");
                let _ = std::io::stderr().flush();
                *shown = line;
            }
        })
    }

    /// The result: one JSON object for machines, else `text`.
    pub(crate) fn result(&self, machine: &Value, text: &str) {
        self.clear_progress();
        self.text(&if self.json { format!("{machine}\n") } else { text.to_owned() });
    }

    /// Plain text that is the same for people and machines.
    pub(crate) fn text(&self, text: &str) {
        let mut stdout = std::io::stdout().lock();
        // A closed pipe (`| head`) is not our failure.
        let _ = stdout.write_all(text.as_bytes()).and_then(|()| stdout.flush());
    }

    /// Notes of a task, for people, on stderr. With `--json` they are in the object as well.
    pub(crate) fn notes(&self, task: &Task) {
        self.clear_progress();
        for text in few_of_each(&task.notes()) {
            self.line(&format!("{} {text}", self.paint("33", "note:")));
        }
    }

    /// An error: what, where, and what to do next.
    pub(crate) fn failed(&self, error: &dyn Explain) -> ExitCode {
        self.clear_progress();
        self.line(&format!("{} {error}", self.paint("31", "tatter:")));
        let next = capital(&error.next());
        self.line(&format!("  {next}"));
        if self.json {
            self.text(&format!("{}\n", json!({ "error": error.to_string(), "next": next })));
        }
        ExitCode::from(error.class().exit_code())
    }

    fn line(&self, text: &str) {
        let _ = writeln!(std::io::stderr(), "{text}");
    }

    fn clear_progress(&self) {
        if !self.quiet {
            let _ = write!(std::io::stderr(), "\r\x1b[2K");
        }
    }

    fn paint(&self, code: &str, text: &str) -> String {
        if self.color { format!("\x1b[{code}m{text}\x1b[0m") } else { text.to_owned() }
    }
}

/// Texts of notes; of those of one kind the first few, and how many more there are, behind the last of them.
fn few_of_each(notes: &[Note]) -> Vec<String> {
    /// Notes of a kind that are all shown; of more, one less.
    const FEW: usize = 4;
    let mut count: BTreeMap<&str, usize> = BTreeMap::new();
    notes.iter().for_each(|note| *count.entry(note.code).or_default() += 1);
    let mut seen: BTreeMap<&str, usize> = BTreeMap::new();
    let mut texts = Vec::new();
    for note in notes {
        let (all, so_far) = (count[note.code], seen.entry(note.code).or_default());
        let before = std::mem::replace(so_far, *so_far + 1);
        if all <= FEW || before < FEW - 1 {
            texts.push(note.text.clone());
        } else if before + 1 == all {
            texts.push(format!("… and {} more such; --json lists all", all - (FEW - 1)));
        }
    }
    texts
}

/// Help, version and usage errors as the parser words them: 0 or 2. With `--json` a usage error is an object as well.
pub(crate) fn show_usage(stop: &clap::Error) -> ExitCode {
    let _ = stop.print();
    if !stop.use_stderr() {
        return ExitCode::SUCCESS;
    }
    if std::env::args_os().any(|argument| argument == "--json") {
        let words = stop.render().to_string();
        // The first paragraph says what is wrong; usage and hints follow it.
        let what: Vec<&str> = words.lines().take_while(|line| !line.is_empty()).map(str::trim).collect();
        let what = what.join(" ");
        let next = "See the verb's --help, which has an example";
        let object = json!({ "error": what.strip_prefix("error: ").unwrap_or(&what), "next": next });
        let _ = writeln!(std::io::stdout(), "{object}");
    }
    ExitCode::from(2)
}

/// With a capital first letter: errors of all crates read alike.
fn capital(text: &str) -> String {
    let mut letters = text.chars();
    letters.next().map(|first| first.to_uppercase().chain(letters).collect()).unwrap_or_default()
}

/// `warnings` of the machine contract.
pub(crate) fn warnings(task: &Task) -> Value {
    task.notes().into_iter().map(|note| Value::from(note.text)).collect()
}

/// `seconds` of the machine contract.
pub(crate) fn seconds(task: &Task) -> Value {
    task.seconds().into_iter().map(|(stage, s)| (stage, json!(round(s, 1e3)))).collect::<serde_json::Map<_, _>>().into()
}

/// Rounded for reading: `per_unit` steps in one.
pub(crate) fn round(value: f64, per_unit: f64) -> f64 {
    (value * per_unit).round() / per_unit
}

/// An angle in degrees, to a ten-thousandth: what radians in `f32` can keep.
pub(crate) fn degrees(angle: Angle) -> f64 {
    round(f64::from(angle.to_degrees()), 1e4)
}

/// An `f32` as the shortest decimal that means it.
pub(crate) fn number(value: f32) -> Value {
    value.to_string().parse::<f64>().map_or(Value::Null, Value::from)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn many_notes_of_a_kind_become_few() {
        let note = |code, n: usize| Note { code, text: format!("{code} {n}") };
        let mut notes: Vec<Note> = (0..6).map(|n| note("clamped", n)).collect();
        notes.insert(2, note("spot-far", 0));
        let texts = few_of_each(&notes);
        let wanted = ["clamped 0", "clamped 1", "spot-far 0", "clamped 2", "… and 3 more such; --json lists all"];
        assert_eq!(texts, wanted, "three of six, and the other kind untouched");
        assert_eq!(few_of_each(&notes[..5]).len(), 5, "four of a kind are all shown");
    }
}
