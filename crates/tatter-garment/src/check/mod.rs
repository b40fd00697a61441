//! Finding faults in patches, map sets and jobs before they are delivered. A new check is one function and one row.

mod agree;
mod color_range;
mod job;
mod map_set;
mod patch;
mod rim;
mod wear;

pub use job::check_job;
pub use map_set::check_map_set;
pub use patch::check_patch;
pub use rim::{RIM_LIMIT, check_rim};
pub use wear::{check_marks, check_variations};

/// How bad a fault is.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Severity {
    /// Worth knowing; the result may be as meant.
    Hint,
    /// The result will look wrong somewhere.
    Warning,
    /// The result cannot be right.
    Error,
}

impl Severity {
    /// The name in reports.
    pub const fn name(self) -> &'static str {
        match self {
            Self::Hint => "hint",
            Self::Warning => "warning",
            Self::Error => "error",
        }
    }
}

/// One thing that is wrong.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Fault {
    /// A short stable name.
    pub code: &'static str,
    /// Where: a map, a file, a placement.
    pub place: String,
    /// What is wrong, one sentence.
    pub what: String,
    /// What to do about it.
    pub remedy: String,
    /// How bad.
    pub severity: Severity,
}

impl Fault {
    fn new(
        severity: Severity,
        code: &'static str,
        place: impl Into<String>,
        what: impl Into<String>,
        remedy: impl Into<String>,
    ) -> Self {
        Self { code, place: place.into(), what: what.into(), remedy: remedy.into(), severity }
    }
}
