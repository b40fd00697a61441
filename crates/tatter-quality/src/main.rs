//! The scoreboard: how good the photo chain is where the truth is known.
//!
//! `tatter-quality` measures everything and writes `docs/quality.md`. `tatter-quality work [WORD]` prints the table of cuts of
//! the work list alone, or of its scenes with that word, and writes nothing; `tatter-quality look FOLDER [WORD]` writes a strip
//! of pictures for each besides; `tatter-quality sweep WORD+WORD COUNT [FOLDER]` does that for so many other scenes with these words;
//! `tatter-quality relief` the same for relief; `tatter-quality release` prints the table of cuts of the release list, when work is done.
//! `tatter-quality lessons FILE FIRST COUNT` writes scenes for the net of relief to learn from.
//! `tatter-quality sheets FOLDER` writes sheets of made cloths and damage to look at.
//! `tatter-quality pictures FOLDER` writes what a reference matting library is to be run on.
#![expect(clippy::print_stdout, clippy::print_stderr, reason = "a tool on the command line")]

mod alpha;
mod behind;
mod by_hand;
mod capture;
mod color;
mod cost;
mod cut;
mod known;
mod lessons;
mod open;
mod photo;
mod relief;
mod scenes;
mod sheets;
mod sweep;
mod table;
mod threads;

use std::error::Error;
use std::path::Path;

use scenes::List;

type Outcome = Result<(), Box<dyn Error>>;

fn main() -> Outcome {
    let arguments: Vec<String> = std::env::args().skip(1).collect();
    let words: Vec<&str> = arguments.iter().map(String::as_str).collect();
    match words[..] {
        [] => whole(),
        ["work"] => say(&cut::table(List::Work, None, None)?),
        ["work", word] => say(&cut::table(List::Work, Some(word), None)?),
        ["release"] => say(&cut::table(List::Release, None, None)?),
        ["look", folder] => say(&cut::table(List::Work, None, Some(Path::new(folder)))?),
        ["look", folder, word] => say(&cut::table(List::Work, Some(word), Some(Path::new(folder)))?),
        ["sweep", words, count] => say(&cut::rows(sweep::cases(words, count.parse()?), None)?),
        ["sweep", words, count, folder] => say(&cut::rows(sweep::cases(words, count.parse()?), Some(Path::new(folder)))?),
        ["relief"] => say(&relief::table(List::Work)?),
        ["relief", "release"] => say(&relief::table(List::Release)?),
        ["lessons", path, first, count] => lessons::write(Path::new(path), first.parse()?, count.parse()?),
        ["lessons", path] => lessons::write_board(Path::new(path)),
        ["alpha"] => say(&alpha::table()?),
        ["backings"] => say(&capture::backings(List::Work, None, None)?),
        ["backings", "release"] => say(&capture::backings(List::Release, None, None)?),
        ["backings", word] => say(&capture::backings(List::Work, Some(word), None)?),
        ["backings", word, folder] => say(&capture::backings(List::Work, Some(word), Some(Path::new(folder)))?),
        ["lights"] => say(&capture::lights(List::Release)?),
        ["backlit"] => say(&behind::table(List::Work, None)?),
        ["backlit", "release"] => say(&behind::table(List::Release, None)?),
        ["backlit", word] => say(&behind::table(List::Work, Some(word))?),
        ["by-hand"] => say(&by_hand::table(List::Release)?),
        ["scale"] => say(&known::scale(None)?),
        ["color"] => say(&color::table(None)?),
        ["color", folder] => say(&color::table(Some(Path::new(folder)))?),
        ["guide", path] => known::guide(Path::new(path)),
        ["scale", folder] => say(&known::scale(Some(Path::new(folder)))?),
        ["sheets", folder] => sheets::write(Path::new(folder)),
        ["open"] => say(&open::tables()?),
        ["cost"] => say(&cost::table()?),
        ["one", path, scale] => say(&cost::one(Path::new(path), scale)?),
        ["pictures", folder] => alpha::write_pictures(Path::new(folder)),
        _ => Err(
            "say nothing, or: work [WORD], release, look FOLDER [WORD], sweep WORD+WORD COUNT [FOLDER], relief, alpha, backings [WORD [FOLDER] | release], backlit [WORD | release], lights, by-hand, color [FOLDER], scale [FOLDER], guide FILE.jpg, sheets FOLDER, open, cost, pictures FOLDER, lessons FILE [FIRST COUNT]"
                .into(),
        ),
    }
}

fn say(text: &str) -> Outcome {
    println!("{text}");
    Ok(())
}

/// Everything, into the page.
fn whole() -> Outcome {
    let page = PAGE
        .replace("{release cuts}", &cut::table(List::Release, None, None)?)
        .replace("{work cuts}", &cut::table(List::Work, None, None)?)
        .replace("{alpha}", &alpha::table()?)
        .replace("{relief}", &relief::table(List::Release)?)
        .replace("{backings}", &capture::backings(List::Release, None, None)?)
        .replace("{backlit}", &behind::table(List::Release, None)?)
        .replace("{lights}", &capture::lights(List::Release)?)
        .replace("{by hand}", &by_hand::table(List::Release)?)
        .replace("{color}", &color::table(None)?)
        .replace("{scale}", &known::scale(None)?)
        .replace("{threads}", &threads::table(List::Release))
        .replace("{open}", &open::tables()?)
        .replace("{cost}", &cost::table()?)
        .replace("{notes}\n", NOTES);
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("../../docs/quality.md");
    std::fs::write(&path, &page)?;
    say(&page)
}

/// What people write below the tables.
const NOTES: &str = include_str!("notes.md");
/// The page, tables left out.
const PAGE: &str = include_str!("page.md");
