//! The keys of a placement that say how it is fitted to its cloth.

use tatter_core::color::Cdl;
use tatter_core::model::{Edge, Match, MatchMode, Relief};
use toml_edit::{InlineTable, Table, Value, value};

use crate::text::{Fields, TextFault, float, floats, nearest};

/// Keys of `grade`.
pub(super) const GRADE_KEYS: [&str; 4] = ["slope", "offset", "power", "saturation"];

/// `match`, `match_strength` and `grade` of a placement.
pub(super) fn read(table: &Fields<'_>) -> Result<Match, TextFault> {
    let usual = Match::default();
    let mode = table.string("match")?.map(|name| mode(table, name)).transpose()?;
    let strength = table.number("match_strength")?.unwrap_or(usual.strength);
    if !(0.0..=1.0).contains(&strength) {
        return Err(table.bad("match_strength", format!("must be between 0 and 1, not {strength}")));
    }
    let relief = one_of(table, "match_relief", Relief::ALL, Relief::name)?.unwrap_or(usual.relief);
    let edge = one_of(table, "edge", Edge::ALL, Edge::name)?.unwrap_or(usual.edge);
    Ok(Match { mode, strength, grade: grade(table)?, relief, edge })
}

fn one_of<T: Copy>(
    table: &Fields<'_>,
    key: &str,
    all: [T; 2],
    called: impl Fn(T) -> &'static str,
) -> Result<Option<T>, TextFault> {
    let Some(name) = table.string(key)? else { return Ok(None) };
    let found = all.into_iter().find(|one| called(*one) == name);
    found.map(Some).ok_or_else(|| table.bad(key, format!("is {}, not `{name}`", all.map(called).join(" or "))))
}

fn mode(table: &Fields<'_>, name: &str) -> Result<MatchMode, TextFault> {
    let names = MatchMode::ALL.map(MatchMode::name);
    MatchMode::from_name(name).ok_or_else(|| {
        table.bad("match", format!("is one of {}, not `{name}`; the nearest is `{}`", names.join(", "), nearest(name, &names)))
    })
}

fn grade(table: &Fields<'_>) -> Result<Option<Cdl>, TextFault> {
    let Some(given) = table.table("grade", "grade")? else { return Ok(None) };
    given.allow(&GRADE_KEYS)?;
    let usual = Cdl::default();
    let grade = Cdl {
        slope: given.one_or_three("slope")?.unwrap_or(usual.slope),
        offset: given.one_or_three("offset")?.unwrap_or(usual.offset),
        power: given.one_or_three("power")?.unwrap_or(usual.power),
        saturation: given.number("saturation")?.unwrap_or(usual.saturation),
    };
    match grade.beyond() {
        Some((key, limits)) => Err(given.bad(key, format!("must be {limits}"))),
        None => Ok(Some(grade)),
    }
}

/// Keys that differ from their default.
pub(super) fn render(table: &mut Table, matching: &Match) {
    let usual = Match::default();
    if let Some(mode) = matching.mode {
        table["match"] = value(mode.name());
    }
    if matching.strength.to_bits() != usual.strength.to_bits() {
        table["match_strength"] = value(float(matching.strength));
    }
    if matching.relief != usual.relief {
        table["match_relief"] = value(matching.relief.name());
    }
    if matching.edge != usual.edge {
        table["edge"] = value(matching.edge.name());
    }
    if let Some(grade) = &matching.grade {
        table["grade"] = value(grade_table(grade));
    }
}

fn grade_table(grade: &Cdl) -> InlineTable {
    let usual = Cdl::default();
    let mut table = InlineTable::new();
    let each = [("slope", grade.slope, usual.slope), ("offset", grade.offset, usual.offset), ("power", grade.power, usual.power)];
    for (key, own, usual) in each {
        if own != usual {
            table.insert(key, one_or_three(own));
        }
    }
    if grade.saturation != usual.saturation {
        table.insert("saturation", float(grade.saturation));
    }
    table
}

fn one_or_three(values: [f32; 3]) -> Value {
    let [r, g, b] = values;
    if r == g && g == b { float(r) } else { floats(&values) }
}
