//! The program `tatter-desk`: a window, with a job if one is named. `tatter desk` starts it.

use std::io::Write as _;
use std::path::PathBuf;
use std::process::ExitCode;

use tatter_core::explain::{Class, Explain as _};
use tatter_desk::run;

const USAGE: &str = "Usage: tatter-desk [JOB]\n\nOpens the desk, with the job file NAME.tatter.toml if one is named.\n";

fn main() -> ExitCode {
    let arguments: Vec<PathBuf> = std::env::args_os().skip(1).map(PathBuf::from).collect();
    match &arguments[..] {
        [] => open(None),
        [one] if ["-h", "--help"].iter().any(|help| one.as_os_str() == *help) => say(USAGE, ExitCode::SUCCESS),
        [one] if one.as_os_str() == "--version" => {
            say(concat!("tatter-desk ", env!("CARGO_PKG_VERSION"), "\n"), ExitCode::SUCCESS)
        }
        [one] if !one.to_string_lossy().starts_with('-') => open(Some(one.clone())),
        _ => {
            refuse("the desk takes one job file", "Start it as tatter-desk NAME.tatter.toml");
            ExitCode::from(Class::Request.exit_code())
        }
    }
}

fn open(job: Option<PathBuf>) -> ExitCode {
    match run(job) {
        Ok(()) => ExitCode::SUCCESS,
        Err(error) => {
            refuse(&error.to_string(), &error.next());
            ExitCode::from(error.class().exit_code())
        }
    }
}

fn refuse(what: &str, next: &str) {
    // Nobody reads: nothing is left to be told.
    drop(writeln!(std::io::stderr(), "error: {what}\n  {next}."));
}

fn say(text: &str, code: ExitCode) -> ExitCode {
    drop(write!(std::io::stdout(), "{text}"));
    code
}
