//! The program `tatter-desk`: a window, with the job and the photos that are named. `tatter desk` starts it.

use std::io::Write as _;
use std::path::PathBuf;
use std::process::ExitCode;

use tatter_core::explain::{Class, Explain as _};
use tatter_desk::{is_job, run};

const USAGE: &str =
    "Usage: tatter-desk [JOB] [PHOTO…]\n\nOpens the desk, with the job file NAME.tatter.toml and the photos that are named.\n";

fn main() -> ExitCode {
    let arguments: Vec<PathBuf> = std::env::args_os().skip(1).map(PathBuf::from).collect();
    match &arguments[..] {
        [one] if ["-h", "--help"].iter().any(|help| one.as_os_str() == *help) => say(USAGE, ExitCode::SUCCESS),
        [one] if one.as_os_str() == "--version" => {
            say(concat!("tatter-desk ", env!("CARGO_PKG_VERSION"), "\n"), ExitCode::SUCCESS)
        }
        files if files.iter().any(|file| file.to_string_lossy().starts_with('-')) => {
            refuse("the desk takes a job file and photos, and no options", "Start it as tatter-desk NAME.tatter.toml PHOTO");
            ExitCode::from(Class::Request.exit_code())
        }
        files if files.iter().filter(|file| is_job(file)).count() > 1 => {
            refuse("one job lies on the desk at a time", "Name one NAME.tatter.toml, and as many photos as you like");
            ExitCode::from(Class::Request.exit_code())
        }
        _ => open(arguments),
    }
}

fn open(files: Vec<PathBuf>) -> ExitCode {
    match run(files) {
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
