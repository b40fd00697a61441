//! `tatter desk`: starts the program of the desk, which is built apart so that the command line needs no window.

use std::path::PathBuf;
use std::process::Command;

use tatter_core::explain::{Class, Explain};

use super::{Outcome, boxed};
use crate::args::Desk;

/// Its file name, without what the system adds to programs.
const PROGRAM: &str = "tatter-desk";

/// Why the desk did not start.
#[derive(Debug, thiserror::Error)]
enum DeskError {
    /// The program is not there.
    #[error("the desk is not built: there is no program {PROGRAM} beside this one or on the search path")]
    NotBuilt,
    /// The system refused.
    #[error("the desk can't be started ({0}): {1}")]
    Refused(std::io::Error, PathBuf),
}

impl Explain for DeskError {
    fn next(&self) -> String {
        match self {
            Self::NotBuilt => format!("Build it with `cargo build -p {PROGRAM}`, or use the other verbs, which need no window"),
            Self::Refused(..) => "Check that it may be run".to_owned(),
        }
    }

    fn class(&self) -> Class {
        Class::Outside
    }
}

/// Start it, wait, and pass its exit code on. Beside this program first, so that the two are of one build.
pub(crate) fn run(args: &Desk) -> Outcome {
    let name = format!("{PROGRAM}{}", std::env::consts::EXE_SUFFIX);
    let beside = std::env::current_exe().ok().map(|own| own.with_file_name(&name)).filter(|path| path.is_file());
    let program = beside.unwrap_or_else(|| PathBuf::from(&name));
    let status = Command::new(&program).args(&args.files).status().map_err(|error| match error.kind() {
        std::io::ErrorKind::NotFound => boxed(DeskError::NotBuilt),
        _ => boxed(DeskError::Refused(error, program.clone())),
    })?;
    // Ended by a signal, it has no code: then it is the outside that failed.
    Ok(status.code().and_then(|code| u8::try_from(code).ok()).unwrap_or(Class::Outside.exit_code()))
}
