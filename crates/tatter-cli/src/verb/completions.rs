//! `tatter completions`.

use clap::CommandFactory as _;
use serde_json::json;

use super::Outcome;
use crate::args::{Arguments, Completions, Shell};
use crate::term::Term;

/// Print a completion script.
pub(crate) fn run(args: &Completions, term: &Term) -> Outcome {
    let shell = match args.shell {
        Shell::Bash => clap_complete::Shell::Bash,
        Shell::Elvish => clap_complete::Shell::Elvish,
        Shell::Fish => clap_complete::Shell::Fish,
        Shell::Powershell => clap_complete::Shell::PowerShell,
        Shell::Zsh => clap_complete::Shell::Zsh,
    };
    let mut script = Vec::new();
    clap_complete::generate(shell, &mut Arguments::command(), "tatter", &mut script);
    let script = String::from_utf8_lossy(&script);
    term.result(&json!({ "script": script }), &script);
    Ok(0)
}
