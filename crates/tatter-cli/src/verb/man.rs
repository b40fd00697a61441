//! `tatter man`.

use clap::{Command, CommandFactory as _};
use serde_json::json;

use super::Outcome;
use crate::args::Arguments;
use crate::term::Term;

/// Print the manual: the page of the program, then one of each verb.
pub(crate) fn run(term: &Term) -> Outcome {
    let mut page = Vec::new();
    let mut program = Arguments::command();
    program.build();
    render(&program, &mut page);
    for verb in program.get_subcommands().filter(|verb| verb.get_name() != "help") {
        render(verb, &mut page);
    }
    let page = String::from_utf8_lossy(&page);
    term.result(&json!({ "page": page }), &page);
    Ok(0)
}

fn render(command: &Command, page: &mut Vec<u8>) {
    // Writing into memory cannot fail.
    let _ = clap_mangen::Man::new(command.clone()).render(page);
}
