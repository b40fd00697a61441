//! Building or delivering again and again, until Ctrl-C.

use std::path::Path;
use std::sync::atomic::{AtomicBool, Ordering};
use std::sync::{Arc, Mutex, PoisonError, Weak};

use serde_json::{Value, json};
use tatter::watch::{Round, watch};
use tatter_core::explain::{Class, Explain};
use tatter_core::task::Task;

use super::{Outcome, boxed};
use crate::term::{Term, round};

/// Ctrl-C cannot be caught.
#[derive(Debug, thiserror::Error)]
#[error("watching can't be stopped safely here ({0})")]
struct NoStop(ctrlc::Error);

impl Explain for NoStop {
    fn next(&self) -> String {
        "Leave --watch out, and run the verb after each change".to_owned()
    }

    fn class(&self) -> Class {
        Class::Outside
    }
}

/// Set by Ctrl-C; the work under way is asked to stop at its next tile, and leaves nothing half-written.
#[derive(Default)]
struct Stop {
    told: AtomicBool,
    task: Mutex<Weak<Task>>,
}

impl Stop {
    fn tell(&self) {
        self.told.store(true, Ordering::Relaxed);
        if let Some(task) = self.task.lock().unwrap_or_else(PoisonError::into_inner).upgrade() {
            task.cancel();
        }
    }

    fn watch_over(&self, task: &Arc<Task>) {
        *self.task.lock().unwrap_or_else(PoisonError::into_inner) = Arc::downgrade(task);
    }
}

/// Run `work` at once and after every change, and report each time; a failure is told in its sentence, and the watching goes on.
/// `done` is what the work does, for people. With `--json` there is one object a line, one for each time.
pub(crate) fn rounds(
    job: &Path,
    delivers: bool,
    done: &str,
    term: &Term,
    work: impl Fn(&Task) -> Result<(Value, String), Box<dyn Explain>>,
) -> Outcome {
    let stop = Arc::new(Stop::default());
    let of_handler = Arc::clone(&stop);
    ctrlc::set_handler(move || of_handler.tell()).map_err(NoStop).map_err(boxed)?;
    watch(job, delivers, &stop.told, |round| {
        let task = Arc::new(term.task());
        stop.watch_over(&task);
        let result = work(&task);
        if stop.told.load(Ordering::Relaxed) && result.is_err() {
            return;
        }
        term.notes(&task);
        match result {
            Ok((machine, text)) => term.result(&with_round(machine, round), &format!("{text}{}", line(done, round))),
            // Its exit code is that of a run that ends.
            Err(error) => drop(term.failed(&*error)),
        }
    });
    Ok(0)
}

fn seconds(round_of: &Round) -> Option<f64> {
    round_of.seconds_since_saved().map(|seconds| round(seconds, 1e3))
}

fn with_round(mut machine: Value, round: &Round) -> Value {
    machine["changed"] = json!(round.changed);
    machine["seconds_since_saved"] = json!(seconds(round));
    machine
}

fn line(done: &str, round: &Round) -> String {
    match (seconds(round), round.changed.first()) {
        (Some(seconds), Some(first)) => {
            let more = round.changed.len() - 1;
            let more = if more == 0 { String::new() } else { format!(" and {more} more") };
            format!("{done} {seconds:.2} s after {}{more} was saved; watching, Ctrl-C ends it\n", first.display())
        }
        _ => format!("{done}; watching, Ctrl-C ends it\n"),
    }
}
