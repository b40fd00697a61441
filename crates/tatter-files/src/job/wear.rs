//! `[[wear]]`: marks of wear computed over the garment's own cloth.

use tatter_core::color::{codes_of, codes_text};
use tatter_core::model::{Wear, WearKind};
use tatter_core::units::Mm;
use toml_edit::{Array, Table, value};

use super::read::{channel_named, distinct};
use super::scatter::{WHERE_KEYS, density, length, names, render_density, whole};
use crate::text::{Fields, TextFault, float, floats, nearest};

pub(super) const KEYS: [&str; 11] =
    ["id", "kind", "strength", "seed", "uneven", "blotch_mm", "pucker_mm", "raise_mm", "fibre", "color", "keep"];

type Checked<T> = Result<T, TextFault>;

/// Every `[[wear]]` of a job.
pub(super) fn all_wear(top: &Fields<'_>) -> Checked<Vec<Wear>> {
    distinct(top, "wear", ("id", "wear"), |wear: &Wear| wear.id.clone(), wear)
}

fn wear(table: &Fields<'_>) -> Checked<Wear> {
    table.allow(&[&KEYS[..], &WHERE_KEYS].concat())?;
    let usual = Wear::default();
    let id = table.need("id", table.string("id")?)?.to_owned();
    if id.is_empty() {
        return Err(table.bad("id", "is empty"));
    }
    let kind = table.need("kind", table.string("kind")?)?;
    let kind = kind_named(table, kind)?;
    let color = table.string("color")?.map(|text| codes(table, "color", text)).transpose()?;
    if color.is_some() && kind != WearKind::Grime {
        return Err(table.bad("color", "is for grime only; fibre without dye is `fibre`"));
    }
    let fibre = table.string("fibre")?.map(|text| codes(table, "fibre", text)).transpose()?;
    if fibre.is_some() && kind == WearKind::Grime {
        return Err(table.bad("fibre", "is for fade, abrasion and crease; grime has a `color`"));
    }
    let along = table.pairs("along")?;
    let spread = length(table, "spread_mm")?.unwrap_or(usual.spread);
    if !along.is_empty() && spread.get() <= 0.0 {
        return Err(table.bad("along", "needs spread_mm above 0, how far from the line it reaches"));
    }
    Ok(Wear {
        id,
        kind,
        strength: share(table, "strength")?.unwrap_or(usual.strength),
        seed: whole(table, "seed", 0, i64::MAX)?.map_or(usual.seed, |seed| seed as u64),
        only: names(table, "only")?,
        keep_off: names(table, "keep_off")?,
        density: density(table)?,
        along,
        spread,
        uneven: share(table, "uneven")?.unwrap_or(usual.uneven),
        blotch: table.positive("blotch_mm")?.map_or(usual.blotch, Mm),
        pucker: length(table, "pucker_mm")?.unwrap_or(usual.pucker),
        height: table.number("raise_mm")?.map(Mm),
        fibre,
        color,
        keep: table.strings("keep")?.into_iter().map(|name| channel_named(table, "keep", name)).collect::<Checked<_>>()?,
    })
}

fn kind_named(table: &Fields<'_>, name: &str) -> Checked<WearKind> {
    let known = WearKind::ALL.map(WearKind::name);
    WearKind::from_name(name).ok_or_else(|| {
        table.bad("kind", format!("is one of {}, not `{name}`; the nearest is `{}`", known.join(", "), nearest(name, &known)))
    })
}

pub(super) fn share(table: &Fields<'_>, key: &str) -> Checked<Option<f32>> {
    match table.number(key)? {
        Some(share) if !(0.0..=1.0).contains(&share) => Err(table.bad(key, format!("must be between 0 and 1, not {share}"))),
        other => Ok(other),
    }
}

/// `#RRGGBB`.
pub(crate) fn codes(table: &Fields<'_>, key: &str, text: &str) -> Checked<[u8; 3]> {
    let codes = text.strip_prefix('#').and_then(codes_of);
    codes.ok_or_else(|| table.bad(key, format!("is a colour such as \"#8a7a64\", not `{text}`")))
}

/// A mark as a table; values that equal their default are left out.
pub(super) fn render(wear: &Wear) -> Table {
    let usual = Wear::default();
    let mut table = Table::new();
    table["id"] = value(&wear.id);
    table["kind"] = value(wear.kind.name());
    table["strength"] = value(float(wear.strength));
    if wear.seed != usual.seed {
        table["seed"] = value(i64::try_from(wear.seed).unwrap_or(i64::MAX));
    }
    for (key, names) in [("only", &wear.only), ("keep_off", &wear.keep_off)] {
        if !names.is_empty() {
            table[key] = value(names.iter().collect::<Array>());
        }
    }
    render_density(&mut table, &wear.density);
    if !wear.along.is_empty() {
        table["along"] = value(wear.along.iter().map(|at| floats(at)).collect::<Array>());
    }
    let lengths = [
        ("spread_mm", wear.spread, usual.spread),
        ("blotch_mm", wear.blotch, usual.blotch),
        ("pucker_mm", wear.pucker, usual.pucker),
    ];
    for (key, length, usual) in lengths {
        if length != usual {
            table[key] = value(float(length.get()));
        }
    }
    if wear.uneven != usual.uneven {
        table["uneven"] = value(float(wear.uneven));
    }
    if let Some(height) = wear.height {
        table["raise_mm"] = value(float(height.get()));
    }
    for (key, color) in [("fibre", wear.fibre), ("color", wear.color)] {
        if let Some(color) = color {
            table[key] = value(codes_text(color));
        }
    }
    if !wear.keep.is_empty() {
        table["keep"] = value(wear.keep.iter().map(|channel| channel.name()).collect::<Array>());
    }
    table
}
