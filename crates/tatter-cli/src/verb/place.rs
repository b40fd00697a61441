//! `tatter place`.

use serde_json::{Value, json};
use tatter::place::{PlaceRequest, SizeChoice, list, place, remove};
use tatter_core::angle::Angle;
use tatter_core::channel::{Channel, PerChannel};
use tatter_core::model::{ChannelRule, Placement, Spot};
use tatter_core::rule::Rule;
use tatter_core::units::Mm;

use super::{BadArgument, Outcome, boxed, matching};
use crate::args::Place;
use crate::term::{Term, degrees, number};

/// Edit the placements of a job.
pub(crate) fn run(args: &Place, term: &Term) -> Outcome {
    if args.list {
        let placements = list(&args.job).map_err(boxed)?;
        let machine: Vec<Value> = placements.iter().map(described).collect();
        term.result(&json!({ "placements": machine }), &table(&placements));
    } else if let Some(id) = &args.remove {
        remove(&args.job, id).map_err(boxed)?;
        term.result(&json!({ "id": id, "removed": true }), &format!("{id} removed\n"));
    } else {
        let task = term.task();
        super::check_preview(args.preview.as_deref())?;
        let id = place(&request(args)?, &task).map_err(boxed)?;
        super::preview(args.preview.as_deref(), &args.job, Some(std::slice::from_ref(&id)), &task)?;
        term.notes(&task);
        term.result(&json!({ "id": id, "warnings": crate::term::warnings(&task) }), &format!("{id} placed\n"));
    }
    Ok(0)
}

fn request(args: &Place) -> Result<PlaceRequest, Box<dyn tatter_core::explain::Explain>> {
    let Some(patch) = args.patch.clone() else {
        return Err(boxed(BadArgument::new("no patch was named", "Say which: --patch NAME.patch")));
    };
    let spot = match (args.at, args.point, &args.on) {
        (Some(at), ..) => Spot::Uv { at: at.0, part: None },
        (_, Some(point), _) => Spot::Point(point.0),
        (_, _, Some(on)) => on_part(on)?,
        _ => return Err(boxed(BadArgument::new("no place was given", "Say where: --at U,V, --point X,Y,Z or --on PART:U,V"))),
    };
    let size = match (args.size_mm, args.scale) {
        (Some(mm), _) => SizeChoice::Side(Mm(mm)),
        (_, Some(factor)) => SizeChoice::Times(factor),
        _ => SizeChoice::Own,
    };
    Ok(PlaceRequest {
        job: args.job.clone(),
        patch,
        spot,
        turn: Angle::degrees(args.turn),
        size,
        mirror: args.mirror,
        rules: rules(&args.rules)?,
        matching: matching::new(&args.matching).map_err(boxed)?,
    })
}

fn on_part(text: &str) -> Result<Spot, Box<dyn tatter_core::explain::Explain>> {
    let bad = || {
        boxed(BadArgument::new(
            format!("--on {text} is not PART:U,V"),
            "Give a mesh part and two numbers, such as --on sleeve:0.4,0.7",
        ))
    };
    let (part, uv) = text.rsplit_once(':').ok_or_else(bad)?;
    let numbers: Vec<f32> = uv.split(',').filter_map(|n| n.trim().parse().ok()).filter(|n: &f32| n.is_finite()).collect();
    let [u, v] = numbers[..] else { return Err(bad()) };
    Ok(Spot::Uv { at: [u, v], part: Some(part.to_owned()) })
}

/// `height=replace:0.8` and its like.
pub(super) fn rules(texts: &[String]) -> Result<PerChannel<Option<ChannelRule>>, Box<dyn tatter_core::explain::Explain>> {
    let mut rules = PerChannel::default();
    for text in texts {
        let bad = |why: String| {
            boxed(BadArgument::new(why, "Write a rule as CHANNEL=RULE or CHANNEL=RULE:STRENGTH, such as height=replace:0.8"))
        };
        let (channel_name, rest) = text.split_once('=').ok_or_else(|| bad(format!("--rule {text} has no '='")))?;
        let (rule_name, strength) = rest.split_once(':').unwrap_or((rest, "1"));
        let channel = Channel::from_name(channel_name).ok_or_else(|| {
            bad(format!("there is no channel '{channel_name}'; channels are {}", names(Channel::ALL.map(Channel::name))))
        })?;
        let rule = Rule::from_name(rule_name)
            .ok_or_else(|| bad(format!("there is no rule '{rule_name}'; rules are {}", names(Rule::ALL.map(Rule::name)))))?;
        if !rule.fits(channel.info().kind) {
            return Err(bad(format!("the rule {rule} does not fit the channel {channel}")));
        }
        let strength = strength
            .parse::<f32>()
            .ok()
            .filter(|s| (0.0..=1.0).contains(s))
            .ok_or_else(|| bad(format!("the strength '{strength}' is not a number from 0 to 1")))?;
        rules[channel] = Some(ChannelRule { rule, strength });
    }
    Ok(rules)
}

fn names<const N: usize>(all: [&str; N]) -> String {
    all.join(", ")
}

fn described(placement: &Placement) -> Value {
    let spot = match &placement.spot {
        Spot::Uv { at, part } => json!({ "at": at.map(number), "part": part }),
        Spot::Point(point) => json!({ "point": point.map(number) }),
    };
    let rules: serde_json::Map<String, Value> = Channel::ALL
        .into_iter()
        .filter_map(|channel| {
            placement.rules[channel].map(|r| (channel.name().to_owned(), json!(format!("{}:{}", r.rule, r.strength))))
        })
        .collect();
    json!({
        "id": placement.id,
        "patch": placement.patch,
        "spot": spot,
        "turn_deg": degrees(placement.turn),
        "size_mm": placement.size.map(|size| number(size.get())),
        "mirror": placement.mirror,
        "rules": rules,
        "match": matching::described(&placement.matching),
    })
}

fn table(placements: &[Placement]) -> String {
    if placements.is_empty() {
        return "nothing is placed yet\n".to_owned();
    }
    let mut text = format!("{:<12} {:<20} {:<28} {:>7} {:>9}\n", "id", "patch", "where", "turn", "size mm");
    for p in placements {
        let spot = match &p.spot {
            Spot::Uv { at: [u, v], part: Some(part) } => format!("{part}:{u:.4},{v:.4}"),
            Spot::Uv { at: [u, v], part: None } => format!("{u:.4},{v:.4}"),
            Spot::Point([x, y, z]) => format!("{x:.3},{y:.3},{z:.3}"),
        };
        let size = p.size.map_or_else(|| "own".to_owned(), |s| format!("{:.1}", s.get()));
        text += &format!("{:<12} {:<20} {:<28} {:>6.1}° {:>9}\n", p.id, p.patch, spot, p.turn.to_degrees(), size);
    }
    text
}
