//! `tatter variation`.

use serde_json::{Value, json};
use tatter::variation::{remove_variation, variations, vary};
use tatter_core::color::codes_text;
use tatter_core::model::Variation;

use super::weave::codes;
use super::{BadArgument, Outcome, boxed};
use crate::args::Variation as Arguments;
use crate::term::{Term, number};

/// Make, change, list or remove variations.
pub(crate) fn run(args: &Arguments, term: &Term) -> Outcome {
    let Some(name) = args.name.as_deref().filter(|_| !args.list) else {
        let all = variations(&args.job).map_err(boxed)?;
        let machine: Vec<Value> = all.iter().map(described).collect();
        term.result(&json!({ "variations": machine }), &table(&all));
        return Ok(0);
    };
    if args.remove {
        remove_variation(&args.job, name).map_err(boxed)?;
        term.result(&json!({ "name": name, "removed": true }), &format!("{name} removed\n"));
        return Ok(0);
    }
    super::known_keys("--without", &args.without, &KEYS)?;
    let color = |text: &Option<String>| text.as_deref().map(codes).transpose().map_err(boxed);
    let (dye, from, fibre) = (color(&args.dye)?, color(&args.from)?, color(&args.fibre)?);
    let strengths = args.strength.iter().map(|text| strength(text)).collect::<Result<Vec<_>, _>>().map_err(boxed)?;
    let edit = |variation: &mut Variation| {
        args.without.iter().for_each(|key| without(variation, key));
        variation.dye = dye.or(variation.dye);
        variation.from = from.or(variation.from);
        variation.fibre = fibre.or(variation.fibre);
        args.materials.iter().for_each(|names| variation.materials.clone_from(names));
        args.only.iter().for_each(|ids| variation.only.clone_from(ids));
        args.leave_out.iter().for_each(|ids| variation.without.clone_from(ids));
        for (id, strength) in strengths {
            match id {
                None => variation.strength = strength,
                Some(id) => {
                    variation.strengths.retain(|(known, _)| *known != id);
                    variation.strengths.push((id, strength));
                }
            }
        }
        variation.texels = args.texels.or(variation.texels);
    };
    let (variation, new) = vary(&args.job, name, edit).map_err(boxed)?;
    let mut machine = described(&variation);
    machine["new"] = new.into();
    term.result(&machine, &format!("{name} {}\n", if new { "made" } else { "changed" }));
    Ok(0)
}

/// What `--without` may name.
const KEYS: [&str; 8] = ["dye", "from", "fibre", "materials", "only", "leave-out", "strength", "texels"];

fn without(variation: &mut Variation, key: &str) {
    match key {
        "dye" => variation.dye = None,
        "from" => variation.from = None,
        "fibre" => variation.fibre = None,
        "materials" => variation.materials.clear(),
        "only" => variation.only.clear(),
        "leave-out" => variation.without.clear(),
        "strength" => {
            variation.strength = 1.0;
            variation.strengths.clear();
        }
        _ => variation.texels = None,
    }
}

/// `0.5`, or `hem=0.4`.
fn strength(text: &str) -> Result<(Option<String>, f32), BadArgument> {
    let (id, value) = text.rsplit_once('=').map_or((None, text), |(id, value)| (Some(id.to_owned()), value));
    let share = value.parse::<f32>().ok().filter(|share| (0.0..=1.0).contains(share));
    let wrong = || {
        BadArgument::new(
            format!("--strength {text} is no number from 0 to 1"),
            "Write --strength 0.5 for everything, or --strength hem=0.5 for one placement, scatter or mark of wear",
        )
    };
    Ok((id, share.ok_or_else(wrong)?))
}

fn described(variation: &Variation) -> Value {
    let strengths: serde_json::Map<String, Value> =
        variation.strengths.iter().map(|(id, strength)| (id.clone(), number(*strength))).collect();
    json!({
        "name": variation.name,
        "dye": variation.dye.map(codes_text),
        "from": variation.from.map(codes_text),
        "fibre": variation.fibre.map(codes_text),
        "materials": variation.materials,
        "only": variation.only,
        "leave_out": variation.without,
        "strength": number(variation.strength),
        "strengths": strengths,
        "texels": variation.texels,
    })
}

fn table(all: &[Variation]) -> String {
    if all.is_empty() {
        return "there are no variations yet\n".to_owned();
    }
    let mut text = format!("{:<20} {:<9} {:>8} {:>7}  {}\n", "name", "dye", "strength", "texels", "has");
    for v in all {
        let has = match (v.only.is_empty(), v.without.is_empty()) {
            (true, true) => "all".to_owned(),
            (true, false) => format!("all but {}", v.without.join(", ")),
            (false, _) => v.only.join(", "),
        };
        let dye = v.dye.map_or_else(|| "as it is".to_owned(), codes_text);
        let texels = v.texels.map_or_else(|| "all".to_owned(), |n| n.to_string());
        text += &format!("{:<20} {dye:<9} {:>8} {texels:>7}  {has}\n", v.name, number(v.strength));
    }
    text
}
