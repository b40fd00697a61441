//! `[[scatter]]`: a rule that yields many placements.

use tatter_core::angle::Angle;
use tatter_core::model::{Density, Facing, PatchRef, Placement, Scatter, Share};
use tatter_core::units::Mm;
use toml_edit::{Array, InlineTable, Item, Table, Value, value};

use super::matching;
use super::read::{distinct, known_patch, relative, rules};
use super::render::{placement as placement_table, rules_value};
use crate::text::{Fields, TextFault, degrees, float, floats, nearest};

pub(super) const KEYS: [&str; 17] = [
    "id",
    "patches",
    "count",
    "seed",
    "margin_mm",
    "scale",
    "turn_deg",
    "mirror",
    "overlap",
    "rules",
    "match",
    "match_strength",
    "match_relief",
    "edge",
    "grade",
    "removed",
    "laid",
];

/// Keys that say where, which scatters and wear share.
pub(super) const WHERE_KEYS: [&str; 12] = [
    "only",
    "keep_off",
    "picture",
    "height",
    "edges_mm",
    "bends_mm",
    "seams_mm",
    "bulges_mm",
    "hollows_mm",
    "facing",
    "along",
    "spread_mm",
];

/// More would take longer to lay than anybody waits.
const MOST: i64 = 10_000;

type Checked<T> = Result<T, TextFault>;

/// Every `[[scatter]]` of a job.
pub(super) fn scatters(top: &Fields<'_>, patches: &[PatchRef]) -> Checked<Vec<Scatter>> {
    distinct(top, "scatter", ("id", "a scatter"), |scatter: &Scatter| scatter.id.clone(), |table| scatter(table, patches))
}

fn scatter(table: &Fields<'_>, patches: &[PatchRef]) -> Checked<Scatter> {
    table.allow(&[&KEYS[..], &WHERE_KEYS].concat())?;
    let usual = Scatter::default();
    let id = table.need("id", table.string("id")?)?.to_owned();
    if id.is_empty() {
        return Err(table.bad("id", "is empty"));
    }
    let count = whole(table, "count", 1, MOST)?;
    let count = table.need("count", count)? as usize;
    Ok(Scatter {
        id,
        patches: shares(table, patches)?,
        count,
        seed: whole(table, "seed", 0, i64::MAX)?.map_or(usual.seed, |seed| seed as u64),
        only: names(table, "only")?,
        keep_off: names(table, "keep_off")?,
        margin: length(table, "margin_mm")?.unwrap_or(usual.margin),
        scale: scale(table)?.unwrap_or(usual.scale),
        turn: table.numbers::<2>("turn_deg", "two numbers, least and most")?.map_or(usual.turn, |t| t.map(Angle::degrees)),
        mirror: table.flag("mirror")?.unwrap_or(false),
        overlap: table.flag("overlap")?.unwrap_or(false),
        rules: rules(table)?,
        matching: matching::read(table)?,
        density: density(table)?,
        along: table.pairs("along")?,
        spread: length(table, "spread_mm")?.unwrap_or(usual.spread),
        removed: table.wholes("removed")?,
        laid: laid(table)?,
    })
}

pub(super) fn names(table: &Fields<'_>, key: &str) -> Checked<Vec<String>> {
    Ok(table.strings(key)?.into_iter().map(str::to_owned).collect())
}

/// 0 mm or more.
pub(super) fn length(table: &Fields<'_>, key: &str) -> Checked<Option<Mm>> {
    match table.number(key)? {
        Some(mm) if mm < 0.0 => Err(table.bad(key, format!("must be 0 or more, not {mm}"))),
        other => Ok(other.map(Mm)),
    }
}

pub(super) fn whole(table: &Fields<'_>, key: &str, least: i64, most: i64) -> Checked<Option<i64>> {
    match table.whole(key)? {
        Some(number) if !(least..=most).contains(&number) => {
            Err(table.bad(key, format!("must be between {least} and {most}, not {number}")))
        }
        other => Ok(other),
    }
}

fn scale(table: &Fields<'_>) -> Checked<Option<[f32; 2]>> {
    match table.numbers::<2>("scale", "two numbers, least and most")? {
        Some([least, most]) if least <= 0.0 || most < least => {
            Err(table.bad("scale", "must be two numbers above 0, the smaller one first"))
        }
        other => Ok(other),
    }
}

/// A list of names, or names with their weights.
fn shares(table: &Fields<'_>, patches: &[PatchRef]) -> Checked<Vec<Share>> {
    let share = |fields: &Fields<'_>, key: &str, name: &str, weight: f32| {
        known_patch(fields, key, name, patches)?;
        Ok(Share { patch: name.to_owned(), weight })
    };
    let shares: Vec<Share> = if table.is_table("patches") {
        let Some(given) = table.table("patches", "patches")? else { return table.need("patches", None) };
        let keys = given.keys();
        keys.into_iter()
            .map(|name| {
                let weight = given.positive(name)?.unwrap_or(1.0);
                share(&given, name, name, weight)
            })
            .collect::<Checked<_>>()?
    } else {
        table.strings("patches")?.into_iter().map(|name| share(table, "patches", name, 1.0)).collect::<Checked<_>>()?
    };
    if shares.is_empty() { Err(table.bad("patches", "names no patch")) } else { Ok(shares) }
}

/// `"3-9f8e7d6c"`: number and mark.
fn laid(table: &Fields<'_>) -> Checked<Vec<(usize, String)>> {
    let one = |text: &str| {
        let (number, mark) = text.split_once('-')?;
        Some((number.parse().ok()?, mark.to_owned()))
    };
    let wrong = |text: &str| table.bad("laid", format!("has `{text}`; Tatter writes this list itself: leave it alone"));
    table.strings("laid")?.into_iter().map(|text| one(text).ok_or_else(|| wrong(text))).collect()
}

/// What a placement is known by as long as nobody changes it: eight digits of the hash of its text.
pub fn mark(placement: &Placement) -> String {
    blake3::hash(placement_table(placement).to_string().as_bytes()).to_hex()[..8].to_owned()
}

/// The densities a rule names, in a fixed order.
pub(super) fn density(table: &Fields<'_>) -> Checked<Vec<Density>> {
    let picture = table.string("picture")?.map(|path| relative(table, "picture", path)).transpose()?;
    let all = [
        picture.map(Density::Picture),
        table.numbers::<2>("height", "two shares of the garment's height, 0 bottom and 1 top")?.map(Density::Height),
        table.positive("edges_mm")?.map(|mm| Density::Edges(Mm(mm))),
        table.positive("bends_mm")?.map(|mm| Density::Bends(Mm(mm))),
        table.positive("seams_mm")?.map(|mm| Density::Seams(Mm(mm))),
        table.positive("bulges_mm")?.map(|mm| Density::Bulges(Mm(mm))),
        table.positive("hollows_mm")?.map(|mm| Density::Hollows(Mm(mm))),
        table.string("facing")?.map(|name| facing(table, name)).transpose()?.map(Density::Facing),
    ];
    Ok(all.into_iter().flatten().collect())
}

fn facing(table: &Fields<'_>, name: &str) -> Checked<Facing> {
    let names = Facing::ALL.map(Facing::name);
    Facing::from_name(name).ok_or_else(|| {
        table.bad("facing", format!("is one of {}, not `{name}`; the nearest is `{}`", names.join(", "), nearest(name, &names)))
    })
}

/// Densities as keys of a table.
pub(super) fn render_density(table: &mut Table, densities: &[Density]) {
    for density in densities {
        match density {
            Density::Picture(path) => table["picture"] = value(path),
            Density::Height(shares) => table["height"] = value(floats(shares)),
            Density::Edges(mm) => table["edges_mm"] = value(float(mm.get())),
            Density::Bends(mm) => table["bends_mm"] = value(float(mm.get())),
            Density::Seams(mm) => table["seams_mm"] = value(float(mm.get())),
            Density::Bulges(mm) => table["bulges_mm"] = value(float(mm.get())),
            Density::Hollows(mm) => table["hollows_mm"] = value(float(mm.get())),
            Density::Facing(facing) => table["facing"] = value(facing.name()),
        }
    }
}

/// A scatter as a table; values that equal their default are left out.
pub(super) fn render(scatter: &Scatter) -> Table {
    let usual = Scatter::default();
    let mut table = Table::new();
    table["id"] = value(&scatter.id);
    table["patches"] = Item::Value(shares_value(&scatter.patches));
    table["count"] = value(scatter.count as i64);
    if scatter.seed != usual.seed {
        table["seed"] = value(i64::try_from(scatter.seed).unwrap_or(i64::MAX));
    }
    for (key, names) in [("only", &scatter.only), ("keep_off", &scatter.keep_off)] {
        if !names.is_empty() {
            table[key] = value(names.iter().collect::<Array>());
        }
    }
    for (key, length) in [("margin_mm", scatter.margin), ("spread_mm", scatter.spread)] {
        if length.get() > 0.0 {
            table[key] = value(float(length.get()));
        }
    }
    if scatter.scale != usual.scale {
        table["scale"] = value(floats(&scatter.scale));
    }
    if scatter.turn != usual.turn {
        table["turn_deg"] = value(scatter.turn.map(degrees).into_iter().collect::<Array>());
    }
    for (key, flag) in [("mirror", scatter.mirror), ("overlap", scatter.overlap)] {
        if flag {
            table[key] = value(true);
        }
    }
    if let Some(rules) = rules_value(&scatter.rules) {
        table["rules"] = value(rules);
    }
    matching::render(&mut table, &scatter.matching);
    render_density(&mut table, &scatter.density);
    if !scatter.along.is_empty() {
        table["along"] = value(scatter.along.iter().map(|at| floats(at)).collect::<Array>());
    }
    if !scatter.removed.is_empty() {
        table["removed"] = value(scatter.removed.iter().map(|&number| number as i64).collect::<Array>());
    }
    if !scatter.laid.is_empty() {
        table["laid"] = value(scatter.laid.iter().map(|(number, mark)| format!("{number}-{mark}")).collect::<Array>());
    }
    table
}

fn shares_value(shares: &[Share]) -> Value {
    if shares.iter().all(|share| share.weight == 1.0) {
        return Value::Array(shares.iter().map(|share| share.patch.as_str()).collect());
    }
    let mut table = InlineTable::new();
    for share in shares {
        table.insert(&share.patch, float(share.weight));
    }
    Value::InlineTable(table)
}
