//! Every error that reaches a person says what, where, and what to do next.

/// Whose turn it is to mend it; decides the exit code.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Class {
    /// The request is wrong: arguments or job file. Exit code 2.
    Request,
    /// An input cannot be read or is damaged. Exit code 3.
    Input,
    /// The outside failed: disk full, permission, no graphics adapter. Exit code 4.
    Outside,
}

impl Class {
    /// The process exit code of this class.
    pub const fn exit_code(self) -> u8 {
        match self {
            Self::Request => 2,
            Self::Input => 3,
            Self::Outside => 4,
        }
    }
}

/// An error a person can act on. `Display` says what and where in one sentence, path last, without a full stop.
pub trait Explain: std::error::Error {
    /// What to do next, one imperative sentence without a full stop.
    fn next(&self) -> String;
    /// Whose turn it is.
    fn class(&self) -> Class;
}
