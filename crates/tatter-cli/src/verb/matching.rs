//! `tatter match`, and what it shares with `tatter place` and `tatter scatter`.

use serde_json::{Value, json};
use tatter::place::rematch;
use tatter_core::color::Cdl;
use tatter_core::model::{Edge, Match, MatchMode, Placement, Relief};

use super::{BadArgument, Outcome, boxed};
use crate::args::{EdgeArg, Match as MatchVerb, MatchArg, MatchArgs, ReliefArg};
use crate::term::{Term, number};

/// Change how placements are fitted.
pub(crate) fn run(args: &MatchVerb, term: &Term) -> Outcome {
    let MatchArgs { mode: None, match_strength: None, grade: None, match_relief: None, edge: None } = &args.matching else {
        let grade = graded(&args.matching).map_err(boxed)?;
        let placements = rematch(&args.job, &args.ids, |matching| change(matching, &args.matching, grade)).map_err(boxed)?;
        let machine: Vec<Value> = placements.iter().map(|p| json!({ "id": p.id, "match": described(&p.matching) })).collect();
        term.result(&json!({ "placements": machine }), &placements.iter().map(line).collect::<String>());
        return Ok(0);
    };
    Err(boxed(BadArgument::new(
        "nothing to change was given",
        "Say what: --match, --match-strength, --match-relief, --edge or --grade",
    )))
}

/// The match of a new placement.
pub(crate) fn new(args: &MatchArgs) -> Result<Match, BadArgument> {
    let grade = graded(args)?;
    let mut matching = Match::default();
    change(&mut matching, args, grade);
    Ok(matching)
}

/// The grade that was given, if one was; inside, `None` for none at all.
pub(crate) fn graded(args: &MatchArgs) -> Result<Option<Option<Cdl>>, BadArgument> {
    args.grade.as_deref().map(grade).transpose()
}

/// What the person said, over what is there.
pub(crate) fn change(matching: &mut Match, args: &MatchArgs, grade: Option<Option<Cdl>>) {
    if let Some(mode) = args.mode {
        matching.mode = match mode {
            MatchArg::Auto => None,
            MatchArg::Redye => Some(MatchMode::Redye),
            MatchArg::Fit => Some(MatchMode::Fit),
            MatchArg::None => Some(MatchMode::None),
        };
    }
    matching.strength = args.match_strength.unwrap_or(matching.strength);
    matching.grade = grade.unwrap_or(matching.grade);
    matching.relief = args.match_relief.map_or(matching.relief, |relief| match relief {
        ReliefArg::Fit => Relief::Fit,
        ReliefArg::Keep => Relief::Keep,
    });
    matching.edge = args.edge.map_or(matching.edge, |edge| match edge {
        EdgeArg::Soft => Edge::Soft,
        EdgeArg::Seam => Edge::Seam,
    });
}

/// `slope=1.1/1.0/0.9,saturation=0.8`, or `none`.
fn grade(text: &str) -> Result<Option<Cdl>, BadArgument> {
    const NEXT: &str = "Write slope=N,offset=N,power=N,saturation=N, each N a number or R/G/B, or none";
    if text == "none" {
        return Ok(None);
    }
    let mut grade = Cdl::default();
    for part in text.split(',') {
        let bad = |why: &str| BadArgument::new(format!("--grade {part} {why}"), NEXT);
        let (key, numbers) = part.split_once('=').ok_or_else(|| bad("has no '='"))?;
        let numbers: Vec<f32> = numbers.split('/').map(str::trim).filter_map(|n| n.parse().ok()).collect();
        let three = match numbers[..] {
            [one] => [one; 3],
            [r, g, b] => [r, g, b],
            _ => return Err(bad("is not a number, nor three with / between")),
        };
        match key.trim() {
            "slope" => grade.slope = three,
            "offset" => grade.offset = three,
            "power" => grade.power = three,
            "saturation" if numbers.len() == 1 => grade.saturation = three[0],
            "saturation" => return Err(bad("is one number for all channels")),
            _ => return Err(bad("is not slope, offset, power or saturation")),
        }
    }
    match grade.beyond() {
        Some((key, limits)) => Err(BadArgument::new(format!("the {key} of --grade {text} must be {limits}"), NEXT)),
        None => Ok(Some(grade)),
    }
}

/// For machines.
pub(crate) fn described(matching: &Match) -> Value {
    let grade = matching.grade.map(|grade| {
        json!({
            "slope": grade.slope.map(number),
            "offset": grade.offset.map(number),
            "power": grade.power.map(number),
            "saturation": number(grade.saturation),
        })
    });
    json!({
        "mode": matching.mode.map_or("auto", MatchMode::name),
        "strength": number(matching.strength),
        "relief": matching.relief.name(),
        "edge": matching.edge.name(),
        "grade": grade,
    })
}

fn line(placement: &Placement) -> String {
    let Match { mode, strength, grade, relief, edge } = placement.matching;
    let mode = mode.map_or("auto", MatchMode::name);
    let graded = if grade.is_some() { ", graded by hand" } else { "" };
    let kept = if relief == Relief::Keep { ", its own relief" } else { "" };
    format!("{}: match {mode}, strength {strength}{kept}, {} edge{graded}\n", placement.id, edge.name())
}
