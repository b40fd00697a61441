//! `tatter grain`.

use std::mem::discriminant;

use serde_json::{Value, json};
use tatter::grain::{Arrow, GrainSummary, IslandReport, Unread, forget_grain, list_grain, measure_grain, set_grain};
use tatter_core::angle::Angle;
use tatter_core::model::{IslandGrain, Weave};
use tatter_core::task::Task;

use super::{BadArgument, Outcome, boxed};
use crate::args::{Forget, Grain};
use crate::term::{Term, degrees, number, round, warnings};

/// Measure, set, forget or list the grain of a job's islands.
pub(crate) fn run(args: &Grain, term: &Term) -> Outcome {
    if args.list {
        let all = list_grain(&args.job).map_err(boxed)?;
        term.result(&json!({ "grain": machine_list(&all) }), &table(&all));
        return Ok(0);
    }
    let task = term.task();
    let part = args.part.as_deref();
    let (summary, text) = match (&args.forget, args.at, args.arrow) {
        (Some(Forget::All), ..) => {
            (forget_grain(&args.job, None, part, &task), "forgotten: grain runs up the texture everywhere\n")
        }
        (Some(Forget::At(at)), ..) => {
            (forget_grain(&args.job, Some(at.0), part, &task), "forgotten: grain runs up the texture there\n")
        }
        (_, Some(at), _) => {
            let turn = Arrow::Turn(Angle::degrees(args.turn.unwrap_or_default()));
            (set_grain(&args.job, at.0, part, turn, &task), "")
        }
        (_, _, Some(arrow)) => {
            let [u, v, to_u, to_v] = arrow.0;
            (set_grain(&args.job, [u, v], part, Arrow::To([to_u, to_v]), &task), "")
        }
        _ if part.is_some() => {
            return Err(boxed(BadArgument::new("--part alone says nothing", "Give it with --at, --arrow or --forget")));
        }
        _ => (measure_grain(&args.job, false, &task), ""),
    };
    let summary = summary.map_err(boxed)?;
    term.notes(&task);
    let set = args.at.is_some() || args.arrow.is_some();
    let set = if set { summary.grain.last().map(line).unwrap_or_default() } else { String::new() };
    term.result(&machine(&summary, &task), &format!("{text}{set}{}", people(&summary)));
    Ok(0)
}

/// The grain of islands for machines.
pub(super) fn machine_list(all: &[IslandGrain]) -> Value {
    all.iter().map(described).collect()
}

fn machine(summary: &GrainSummary, task: &Task) -> Value {
    let turned: Vec<Value> = summary.turned.iter().map(|(id, by)| json!({ "id": id, "by_deg": degrees(*by) })).collect();
    json!({
        "islands": summary.islands.iter().map(island).collect::<Vec<_>>(),
        "grain": machine_list(&summary.grain),
        "turned": turned,
        "warnings": warnings(task),
    })
}

fn island(report: &IslandReport) -> Value {
    let mut told = json!({
        "part": report.part, "at": report.at.map(number), "area_cm2": round(report.area_mm2 / 100.0, 100.0),
    });
    match &report.found {
        Ok((grain, confidence)) => {
            told["grain"] = described(grain);
            told["confidence"] = json!(round(f64::from(*confidence), 1e3));
        }
        Err(why) => told["why"] = json!(why.to_string()),
    }
    told
}

fn described(grain: &IslandGrain) -> Value {
    json!({
        "at": grain.at.map(number),
        "part": grain.part,
        "turn_deg": degrees(grain.turn),
        "source": grain.source.name(),
        "ends_per_cm": grain.ends_per_cm.map(|n| number(n.get())),
        "picks_per_cm": grain.picks_per_cm.map(|n| number(n.get())),
        "weave": (grain.weave != Weave::Unknown).then(|| grain.weave.to_string()),
    })
}

/// What was found when a job was started.
pub(super) fn in_short(summary: &GrainSummary) -> String {
    let read = summary.islands.iter().filter(|island| island.found.is_ok()).count();
    match (read, summary.islands.len()) {
        (_, 0) => String::new(),
        (0, _) => {
            "no threads can be counted in its textures: grain runs up the texture; `tatter grain` sets it by hand\n".to_owned()
        }
        (read, all) => format!("grain of {read} of {all} islands was read from the cloth; `tatter grain JOB --list` shows it\n"),
    }
}

/// What was found, island by island; those of one reason as one line.
fn people(summary: &GrainSummary) -> String {
    let read: Vec<&(IslandGrain, f32)> = summary.islands.iter().filter_map(|island| island.found.as_ref().ok()).collect();
    let mut text = String::new();
    if !summary.islands.is_empty() {
        text += &format!("grain of {} of {} islands was read from the cloth\n", read.len(), summary.islands.len());
    }
    for (grain, confidence) in read {
        text += &format!("{} confidence {confidence:.2}\n", line(grain).trim_end());
    }
    let mut reasons: Vec<Vec<(&IslandReport, &Unread)>> = Vec::new();
    for island in &summary.islands {
        let Err(why) = &island.found else { continue };
        // Sizes differ, the reason is one.
        match reasons.iter_mut().find(|list| discriminant(list[0].1) == discriminant(why)) {
            Some(list) => list.push((island, why)),
            None => reasons.push(vec![(island, why)]),
        }
    }
    for list in reasons {
        let (one, why) = list[0];
        text += &match list.len() {
            1 => format!("  {:<28} {why}\n", place(Some(&one.part), one.at)),
            count => format!("  {count} islands, one at {}: {why}\n", place(Some(&one.part), one.at)),
        };
    }
    if !summary.turned.is_empty() {
        let list: Vec<String> = summary.turned.iter().take(6).map(|(id, by)| format!("{id} by {:.1}", by.to_degrees())).collect();
        let more = if summary.turned.len() > list.len() { ", …" } else { "" };
        text += &format!("placements lie turned now, in degrees: {}{more}\n", list.join(", "));
    }
    text
}

fn table(all: &[IslandGrain]) -> String {
    if all.is_empty() {
        return "no grain is known: it runs up the texture in every island\n".to_owned();
    }
    all.iter().map(line).collect()
}

fn line(grain: &IslandGrain) -> String {
    let count = match (grain.ends_per_cm, grain.picks_per_cm) {
        (Some(ends), Some(picks)) => format!("{:.1} x {:.1} per cm", ends.get(), picks.get()),
        _ => String::new(),
    };
    let weave = if grain.weave == Weave::Unknown { String::new() } else { grain.weave.to_string() };
    let place = place(grain.part.as_deref(), grain.at);
    format!("  {place:<28} {:>7.1}° {:<8} {count:<20} {weave}", grain.turn.to_degrees(), grain.source.name())
        .trim_end()
        .to_owned()
        + "\n"
}

fn place(part: Option<&str>, [u, v]: [f32; 2]) -> String {
    part.map_or_else(|| format!("{u:.4},{v:.4}"), |part| format!("{part}:{u:.4},{v:.4}"))
}
