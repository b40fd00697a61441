//! `tatter check`.

use serde_json::{Map, Value, json};
use tatter::check::{Checked, check};
use tatter_core::model::{Origin, ScaleSource};

use super::{Outcome, boxed};
use crate::args::Check;
use crate::term::{Term, number, warnings};

/// Find faults; exit code 1 when there are any.
pub(crate) fn run(args: &Check, term: &Term) -> Outcome {
    let task = term.task();
    let checked = check(&args.things, &task).map_err(boxed)?;
    let count: usize = checked.iter().map(|thing| thing.faults.len()).sum();
    term.notes(&task);
    let faults: Vec<Value> = checked.iter().flat_map(machine).collect();
    let rims: Vec<Value> = checked.iter().flat_map(|thing| &thing.rims).map(rim).collect();
    let origins: Vec<Value> = checked.iter().filter(|thing| !thing.origins.is_empty()).map(origins).collect();
    term.result(
        &json!({ "faults": faults, "rims": rims, "origins": origins, "warnings": warnings(&task) }),
        &people(&checked, count),
    );
    Ok(u8::from(count > 0))
}

fn machine(checked: &Checked) -> Vec<Value> {
    let object = |fault: &tatter::check::Fault| {
        json!({
            "code": fault.code,
            "where": format!("{}: {}", checked.thing.display(), fault.place),
            "what": fault.what,
            "remedy": fault.remedy,
        })
    };
    checked.faults.iter().map(object).collect()
}

fn rim((id, rim): &(String, tatter::check::RimDifference)) -> Value {
    json!({ "id": id, "median": number(rim.median), "worst_tenth": number(rim.worst_tenth) })
}

/// Of a patch: how each map came about.
fn origins(checked: &Checked) -> Value {
    let maps: Map<String, Value> =
        checked.origins.iter().map(|(channel, origin)| (channel.name().to_owned(), origin.name().into())).collect();
    let (source, uncertainty) = checked.scale.unzip();
    json!({
        "patch": checked.thing,
        "maps": maps,
        "color_correction": checked.color,
        "scale_source": source.map(ScaleSource::name),
        "scale_uncertainty_percent": uncertainty.flatten().map(|share| number(100.0 * share)),
    })
}

fn people(checked: &[Checked], count: usize) -> String {
    let mut text = String::new();
    for thing in checked {
        for (id, rim) in &thing.rims {
            text += &format!(
                "{id}: rim differs by {:.1} (CIEDE2000, median), a tenth of it by more than {:.1}\n",
                rim.median, rim.worst_tenth
            );
        }
        for kind in [Origin::Measured, Origin::Derived, Origin::Estimated] {
            let names: Vec<&str> = thing.origins.iter().filter(|(_, o)| *o == kind).map(|(channel, _)| channel.name()).collect();
            if !names.is_empty() {
                text += &format!("{}: {} {}\n", thing.thing.display(), kind.name(), names.join(", "));
            }
        }
        if let Some((source, Some(share))) = thing.scale {
            text += &format!("{}: scale by {} to {:.2} %\n", thing.thing.display(), source.name(), 100.0 * share);
        }
        if let Some(color) = &thing.color {
            text += &format!("{}: colour by {color}\n", thing.thing.display());
        }
        if thing.faults.is_empty() {
            text += &format!("{}: sound\n", thing.thing.display());
        }
        for fault in &thing.faults {
            text += &format!("{}: {}: {} [{}]\n  {}\n", thing.thing.display(), fault.place, fault.what, fault.code, fault.remedy);
        }
    }
    text += &match count {
        0 => "no faults\n".to_owned(),
        1 => "1 fault\n".to_owned(),
        n => format!("{n} faults\n"),
    };
    text
}
