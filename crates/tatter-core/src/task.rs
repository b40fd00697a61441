//! What a long step carries along: cancel, progress, seconds per stage, and notes for the person.

use std::sync::atomic::{AtomicBool, Ordering};
use std::sync::{Arc, Mutex};
use std::time::Instant;

/// Something the person should hear though the work went on: a guess, a fallback, a doubt.
#[derive(Clone, Debug, PartialEq)]
pub struct Note {
    /// A short stable name, such as `scale-assumed`.
    pub code: &'static str,
    /// One sentence: what, where, what to do.
    pub text: String,
}

/// The work was stopped by the person.
#[derive(Clone, Copy, Debug, PartialEq, Eq, thiserror::Error)]
#[error("stopped on request")]
pub struct Cancelled;

type OnProgress = Arc<dyn Fn(&str, f32) + Send + Sync>;

/// Handed to every long step. Times are for reports only: no clock changes a result.
#[derive(Default)]
pub struct Task {
    cancel: Arc<AtomicBool>,
    on_progress: Option<OnProgress>,
    seconds: Mutex<Vec<(String, f64)>>,
    notes: Mutex<Vec<Note>>,
}

impl std::fmt::Debug for Task {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.debug_struct("Task").field("cancel", &self.cancel).finish_non_exhaustive()
    }
}

impl Task {
    /// A task nobody watches.
    pub fn new() -> Self {
        Self::default()
    }

    /// A task that tells `on_progress` the stage and the share done, 0..1.
    pub fn with_progress(on_progress: impl Fn(&str, f32) + Send + Sync + 'static) -> Self {
        Self { on_progress: Some(Arc::new(on_progress)), ..Self::default() }
    }

    /// A part of it that is stopped with it and tells the same listener how far it is, but keeps its notes and seconds to itself.
    #[must_use]
    pub fn aside(&self) -> Self {
        Self { cancel: Arc::clone(&self.cancel), on_progress: self.on_progress.clone(), ..Self::default() }
    }

    /// Ask the work to stop; it does at its next tile.
    pub fn cancel(&self) {
        self.cancel.store(true, Ordering::Relaxed);
    }

    /// To be asked once a tile.
    pub fn check(&self) -> Result<(), Cancelled> {
        if self.cancel.load(Ordering::Relaxed) { Err(Cancelled) } else { Ok(()) }
    }

    /// Report progress within a stage.
    pub fn progress(&self, stage: &str, share: f32) {
        if let Some(tell) = &self.on_progress {
            tell(stage, share);
        }
    }

    /// Seconds of all stages; `gaps.edges` is a part of `gaps`.
    pub fn total(&self) -> f64 {
        self.seconds().iter().filter(|(stage, _)| !stage.contains('.')).map(|(_, s)| s).sum()
    }

    /// Run a stage and add its seconds to the report.
    pub fn stage<T>(&self, name: &str, work: impl FnOnce() -> T) -> T {
        self.progress(name, 0.0);
        let start = Instant::now();
        let result = work();
        let elapsed = start.elapsed().as_secs_f64();
        let mut seconds = self.seconds.lock().unwrap_or_else(std::sync::PoisonError::into_inner);
        match seconds.iter_mut().find(|(known, _)| known == name) {
            Some((_, sum)) => *sum += elapsed,
            None => seconds.push((name.to_owned(), elapsed)),
        }
        drop(seconds);
        self.progress(name, 1.0);
        result
    }

    /// Leave a note for the person.
    pub fn note(&self, code: &'static str, text: impl Into<String>) {
        let mut notes = self.notes.lock().unwrap_or_else(std::sync::PoisonError::into_inner);
        notes.push(Note { code, text: text.into() });
    }

    /// All notes so far, in order.
    pub fn notes(&self) -> Vec<Note> {
        self.notes.lock().unwrap_or_else(std::sync::PoisonError::into_inner).clone()
    }

    /// Seconds per stage so far, in the order the stages were first entered.
    pub fn seconds(&self) -> Vec<(String, f64)> {
        self.seconds.lock().unwrap_or_else(std::sync::PoisonError::into_inner).clone()
    }
}
