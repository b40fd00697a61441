//! States of one thing, each of which can be gone back to: undo is the previous value.

use std::sync::Arc;

/// All states there were, and which of them is now.
#[derive(Clone, Debug)]
pub struct Steps<T> {
    states: Vec<State<T>>,
    at: usize,
    saved: Option<usize>,
    /// Steps of one gesture are one step.
    gesture: bool,
}

#[derive(Clone, Debug)]
struct State<T> {
    /// What led here: for people, in the imperative.
    label: String,
    value: Arc<T>,
}

impl<T> Steps<T> {
    /// Begin with a value, which counts as saved.
    pub fn new(value: T) -> Self {
        let start = State { label: String::new(), value: Arc::new(value) };
        Self { states: vec![start], at: 0, saved: Some(0), gesture: false }
    }

    /// The value as it is now.
    pub fn now(&self) -> &Arc<T> {
        &self.states[self.at].value
    }

    /// One step further; what was undone is forgotten.
    pub fn make(&mut self, label: impl Into<String>, value: T) {
        self.gesture = false;
        self.states.truncate(self.at + 1);
        if self.saved.is_some_and(|saved| saved > self.at) {
            self.saved = None;
        }
        self.states.push(State { label: label.into(), value: Arc::new(value) });
        self.at += 1;
    }

    /// A step of a gesture that is going on, such as a drag: all until [`Steps::let_go`] are one.
    pub fn make_in_gesture(&mut self, label: impl Into<String>, value: T) {
        if self.gesture && self.at + 1 == self.states.len() && self.at > 0 {
            self.states[self.at] = State { label: label.into(), value: Arc::new(value) };
            if self.saved == Some(self.at) {
                self.saved = None;
            }
        } else {
            self.make(label, value);
        }
        self.gesture = true;
    }

    /// Whether a gesture goes on.
    pub const fn is_in_gesture(&self) -> bool {
        self.gesture
    }

    /// The gesture is over.
    pub const fn let_go(&mut self) {
        self.gesture = false;
    }

    /// What undo would take back; `None` at the start.
    pub fn undo_label(&self) -> Option<&str> {
        (self.at > 0).then(|| self.states[self.at].label.as_str())
    }

    /// What redo would do again; `None` when nothing was undone.
    pub fn redo_label(&self) -> Option<&str> {
        self.states.get(self.at + 1).map(|state| state.label.as_str())
    }

    /// One step back; whether there was one.
    pub fn undo(&mut self) -> bool {
        self.gesture = false;
        let can = self.at > 0;
        self.at -= usize::from(can);
        can
    }

    /// One step forth again; whether there was one.
    pub fn redo(&mut self) -> bool {
        self.gesture = false;
        let can = self.at + 1 < self.states.len();
        self.at += usize::from(can);
        can
    }

    /// The value as it is now is what is kept elsewhere.
    pub const fn note_saved(&mut self) {
        self.gesture = false;
        self.saved = Some(self.at);
    }

    /// Whether what is kept elsewhere is the value as it is now.
    pub fn is_saved(&self) -> bool {
        self.saved == Some(self.at)
    }
}
