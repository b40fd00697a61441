//! `tatter wear`.

use serde_json::{Value, json};
use tatter::wear::{WearRequest, all_wear, remove_wear, wear_job};
use tatter_core::explain::Explain;
use tatter_core::model::Wear as Mark;
use tatter_core::units::Mm;

use super::{Outcome, boxed};
use crate::args::{PlaceOf, Wear};
use crate::term::{Term, number, warnings};

/// Make, change, list or remove marks of wear.
pub(crate) fn run(args: &Wear, term: &Term) -> Outcome {
    if args.list {
        let all = all_wear(&args.job).map_err(boxed)?;
        let machine: Vec<Value> = all.iter().map(described).collect();
        term.result(&json!({ "wear": machine }), &table(&all));
        return Ok(0);
    }
    if let Some(id) = &args.remove {
        remove_wear(&args.job, id).map_err(boxed)?;
        term.result(&json!({ "id": id, "removed": true }), &format!("{id} removed\n"));
        return Ok(0);
    }
    let task = term.task();
    let color = |text: &Option<String>| text.as_deref().map(super::weave::codes).transpose().map_err(boxed);
    let (fibre, color) = (color(&args.fibre)?, color(&args.color)?);
    check_without(&args.without)?;
    let request = WearRequest {
        job: args.job.clone(),
        change: args.change.clone(),
        id: args.id.clone(),
        picture: args.place.picture.clone(),
    };
    let edit = |mark: &mut Mark| {
        for key in &args.without {
            without(mark, key);
        }
        args.kind.iter().for_each(|&kind| mark.kind = kind.into());
        args.strength.iter().for_each(|&strength| mark.strength = strength);
        args.seed.iter().for_each(|&seed| mark.seed = seed.into());
        place(mark).edit(&args.place);
        args.uneven.iter().for_each(|&share| mark.uneven = share);
        args.blotch_mm.iter().for_each(|&mm| mark.blotch = Mm(mm));
        args.pucker_mm.iter().for_each(|&mm| mark.pucker = Mm(mm));
        mark.height = args.raise_mm.map(Mm).or(mark.height);
        mark.fibre = fibre.or(mark.fibre);
        mark.color = color.or(mark.color);
        args.keep.iter().for_each(|keep| mark.keep.clone_from(keep));
    };
    super::check_preview(args.preview.as_deref())?;
    let mark = wear_job(&request, edit, &task).map_err(boxed)?;
    if let Some(output) = &args.preview {
        tatter::preview::preview_wear(&args.job, &mark.id, output, &task).map_err(boxed)?;
    }
    term.notes(&task);
    let text = format!("{}: {} {}\n", mark.id, mark.kind.name(), number(mark.strength));
    term.result(&json!({ "id": mark.id, "warnings": warnings(&task) }), &text);
    Ok(0)
}

const fn place(mark: &mut Mark) -> PlaceOf<'_> {
    PlaceOf {
        only: &mut mark.only,
        keep_off: &mut mark.keep_off,
        density: &mut mark.density,
        along: &mut mark.along,
        spread: &mut mark.spread,
    }
}

/// What `--without` may name beside the place.
const KEYS: [&str; 5] = ["pucker", "raise", "fibre", "color", "keep"];

fn without(mark: &mut Mark, key: &str) -> bool {
    match key {
        "pucker" => mark.pucker = Mm(0.0),
        "raise" => mark.height = None,
        "fibre" => mark.fibre = None,
        "color" => mark.color = None,
        "keep" => mark.keep.clear(),
        _ => return place(mark).without(key),
    }
    true
}

fn check_without(keys: &[String]) -> Result<(), Box<dyn Explain>> {
    super::known_keys("--without", keys, &[&PlaceOf::KEYS[..], &KEYS[..]].concat())
}

fn described(mark: &Mark) -> Value {
    json!({ "id": mark.id, "kind": mark.kind.name(), "strength": number(mark.strength), "seed": mark.seed })
}

fn table(all: &[Mark]) -> String {
    if all.is_empty() {
        return "the cloth is not worn yet\n".to_owned();
    }
    let mut text = format!("{:<18} {:<10} {:>8} {:>6}\n", "id", "kind", "strength", "seed");
    for mark in all {
        text += &format!("{:<18} {:<10} {:>8} {:>6}\n", mark.id, mark.kind.name(), number(mark.strength), mark.seed);
    }
    text
}
