//! `tatter scatter`.

use std::path::PathBuf;

use serde_json::{Value, json};
use tatter::scatter::{ScatterRequest, ScatterSummary, remove_scatter, scatter_job, scatters};
use tatter_core::angle::Angle;
use tatter_core::channel::PerChannel;
use tatter_core::model::{Match, Scatter as Rule};
use tatter_core::units::Mm;

use super::{BadArgument, Outcome, boxed, matching};
use crate::args::{PlaceOf, Scatter};
use crate::term::{Term, number, warnings};

/// Make, change, list or remove a scatter.
pub(crate) fn run(args: &Scatter, term: &Term) -> Outcome {
    let task = term.task();
    if args.list {
        let all = scatters(&args.job).map_err(boxed)?;
        let machine: Vec<Value> = all.iter().map(described).collect();
        term.result(&json!({ "scatters": machine }), &table(&all));
        return Ok(0);
    }
    if let Some(id) = &args.remove {
        let left = remove_scatter(&args.job, id).map_err(boxed)?;
        let text = format!("{id} removed; {} of its placements were changed by hand and stay\n", left.ids.len());
        term.result(&json!({ "id": id, "removed": true, "ids": left.ids }), &text);
        return Ok(0);
    }
    check_ranges(args)?;
    super::check_preview(args.preview.as_deref())?;
    let rules = super::place::rules(&args.rules)?;
    let grade = matching::graded(&args.matching).map_err(boxed)?;
    let request = ScatterRequest {
        job: args.job.clone(),
        again: args.again.clone(),
        patches: args.patches.iter().map(|text| weighted(text)).collect::<Result<_, _>>()?,
        picture: args.place.picture.clone(),
    };
    let edit = |rule: &mut Rule| {
        edit(rule, args);
        if !args.rules.is_empty() {
            rule.rules = rules;
        }
        matching::change(&mut rule.matching, &args.matching, grade);
    };
    let done = scatter_job(&request, edit, &task).map_err(boxed)?;
    super::preview(args.preview.as_deref(), &args.job, Some(&done.ids), &task)?;
    term.notes(&task);
    let machine = json!({ "id": done.id, "ids": done.ids, "kept": done.kept, "warnings": warnings(&task) });
    term.result(&machine, &said(&done));
    Ok(0)
}

/// `moth-hole.patch:3`: a folder and its weight.
fn weighted(text: &str) -> Result<(PathBuf, f32), Box<dyn tatter_core::explain::Explain>> {
    match text.rsplit_once(':').and_then(|(path, weight)| Some((path, weight.parse::<f32>().ok()?))) {
        Some((path, weight)) if weight.is_finite() && weight > 0.0 => Ok((PathBuf::from(path), weight)),
        Some((_, weight)) => {
            let what = format!("the weight {weight} of --patch {text} is not above 0");
            Err(boxed(BadArgument::new(what, "Write it like --patch moth-hole.patch:3, or leave the weight out")))
        }
        None => Ok((PathBuf::from(text), 1.0)),
    }
}

fn check_ranges(args: &Scatter) -> Result<(), Box<dyn tatter_core::explain::Explain>> {
    let bad = |what: &str, next| Err(boxed(BadArgument::new(what, next)));
    match args.scale.map(|n| n.0) {
        Some([least, most]) if least <= 0.0 || most < least => {
            bad("--scale wants two numbers above 0, the smaller one first", "Write it like --scale 0.6,1.2")
        }
        _ => super::known_keys("--without", &args.without, &[&PlaceOf::KEYS[..], &KEYS[..]].concat()),
    }
}

/// What `--without` may name beside the place.
const KEYS: [&str; 5] = ["margin", "mirror", "overlap", "rules", "match"];

const fn place(rule: &mut Rule) -> PlaceOf<'_> {
    PlaceOf {
        only: &mut rule.only,
        keep_off: &mut rule.keep_off,
        density: &mut rule.density,
        along: &mut rule.along,
        spread: &mut rule.spread,
    }
}

fn without(rule: &mut Rule, key: &str) -> bool {
    match key {
        "margin" => rule.margin = Mm(0.0),
        "mirror" => rule.mirror = false,
        "overlap" => rule.overlap = false,
        "rules" => rule.rules = PerChannel::default(),
        "match" => rule.matching = Match::default(),
        _ => return place(rule).without(key),
    }
    true
}

/// What the person said, over what the rule says.
fn edit(rule: &mut Rule, args: &Scatter) {
    fn set<T>(place: &mut T, said: Option<T>) {
        if let Some(said) = said {
            *place = said;
        }
    }
    for key in &args.without {
        without(rule, key);
    }
    set(&mut rule.count, args.count.map(usize::from));
    set(&mut rule.seed, args.seed.map(u64::from));
    set(&mut rule.margin, args.margin_mm.map(Mm));
    set(&mut rule.scale, args.scale.map(|n| n.0));
    set(&mut rule.turn, args.turn.map(|n| n.0.map(Angle::degrees)));
    rule.mirror |= args.mirror;
    rule.overlap |= args.overlap;
    place(rule).edit(&args.place);
}

fn said(done: &ScatterSummary) -> String {
    let kept = if done.kept > 0 { format!(", {} as changed by hand", done.kept) } else { String::new() };
    format!("{}: {} placements{kept}\n", done.id, done.ids.len())
}

fn described(rule: &Rule) -> Value {
    let patches: Vec<Value> = rule.patches.iter().map(|s| json!({ "patch": s.patch, "weight": number(s.weight) })).collect();
    json!({ "id": rule.id, "patches": patches, "count": rule.count, "seed": rule.seed, "match": matching::described(&rule.matching), "removed": rule.removed })
}

fn table(all: &[Rule]) -> String {
    if all.is_empty() {
        return "nothing is scattered yet\n".to_owned();
    }
    let mut text = format!("{:<14} {:>6} {:>6}  {}\n", "id", "count", "seed", "patches");
    for rule in all {
        let patches: Vec<&str> = rule.patches.iter().map(|share| share.patch.as_str()).collect();
        text += &format!("{:<14} {:>6} {:>6}  {}\n", rule.id, rule.count, rule.seed, patches.join(", "));
    }
    text
}
