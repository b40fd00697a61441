//! The command line of Tatter: arguments in, one verb run, a report out.

mod args;
mod term;
mod verb;

use std::process::ExitCode;

use clap::FromArgMatches as _;

use args::{Arguments, Verb};
use term::Term;

/// Have the C library keep memory that is freed for what is asked for next, instead of giving it back to the system and fetching it anew,
/// page by page. It takes the largest block it was ever given back as the measure of what is worth keeping (mallopt(3), "dynamic mmap
/// threshold"; 32 MiB at most); other allocators do not care. A seventh of a build was spent on pages that had been there before.
fn keep_freed_memory() {
    drop(std::hint::black_box(Vec::<u8>::with_capacity(31 << 20)));
}

fn main() -> ExitCode {
    keep_freed_memory();
    let parsed = Arguments::parser().try_get_matches().and_then(|matches| Arguments::from_arg_matches(&matches));
    let arguments = match parsed {
        Ok(arguments) => arguments,
        Err(stop) => return term::show_usage(&stop),
    };
    let term = Term::new(arguments.json, arguments.quiet);
    let result = match arguments.verb {
        Verb::Demo(a) => verb::demo::run(&a, &term),
        Verb::Cut(a) => verb::cut::run(&a, &term),
        Verb::Weave(a) => verb::weave::run(&a, &term),
        Verb::Measure(a) => verb::measure::run(&a, &term),
        Verb::Garment(a) => verb::garment::run(&a, &term),
        Verb::Grain(a) => verb::grain::run(&a, &term),
        Verb::Place(a) => verb::place::run(&a, &term),
        Verb::Scatter(a) => verb::scatter::run(&a, &term),
        Verb::Wear(a) => verb::wear::run(&a, &term),
        Verb::Variation(a) => verb::variation::run(&a, &term),
        Verb::Match(a) => verb::matching::run(&a, &term),
        Verb::Build(a) => verb::build::run(&a, &term),
        Verb::Deliver(a) => verb::deliver::run(&a, &term),
        Verb::Proof(a) => verb::proof::run(&a, &term),
        Verb::Handoff(a) => verb::handoff::run(&a, &term),
        Verb::Check(a) => verb::check::run(&a, &term),
        Verb::Desk(a) => verb::desk::run(&a),
        Verb::Completions(a) => verb::completions::run(&a, &term),
        Verb::Man => verb::man::run(&term),
    };
    match result {
        Ok(code) => ExitCode::from(code),
        Err(error) => term.failed(&*error),
    }
}
