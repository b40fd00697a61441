//! `[[variation]]`: colourways, states of wear and sizes of one job.

use tatter_core::color::codes_text;
use tatter_core::model::{Job, Variation};
use toml_edit::{Array, InlineTable, Table, value};

use super::read::distinct;
use super::scatter::{names, whole};
use super::wear::{codes, share};
use crate::text::{Fields, TextFault, float, nearest};

pub(super) const KEYS: [&str; 10] =
    ["name", "dye", "from", "fibre", "materials", "only", "without", "strength", "strengths", "texels"];

/// Names that its folder cannot have on every system, and the one the job itself goes by.
const NO_NAMES: [&str; 3] = [".", "..", "kept"];

type Checked<T> = Result<T, TextFault>;

/// Every `[[variation]]`; `job` holds what they may name.
pub(super) fn variations(top: &Fields<'_>, job: &Job) -> Checked<Vec<Variation>> {
    // Folders of one name in other letters are one folder on some systems.
    let name = |variation: &Variation| variation.name.to_ascii_lowercase();
    distinct(top, "variation", ("name", "a variation"), name, |table| variation(table, job))
}

fn variation(table: &Fields<'_>, job: &Job) -> Checked<Variation> {
    table.allow(&KEYS)?;
    let name = table.need("name", table.string("name")?)?.to_owned();
    let plain = name.chars().all(|c| c.is_alphanumeric() || matches!(c, '-' | '_' | '.' | ' '));
    if name.trim() != name || name.is_empty() || !plain || NO_NAMES.contains(&name.as_str()) {
        return Err(table.bad("name", "becomes a folder: use letters, digits, - and _"));
    }
    let color = |key: &str| table.string(key)?.map(|text| codes(table, key, text)).transpose();
    let known = known_ids(job);
    let ids = |key: &str| {
        let listed = names(table, key)?;
        listed.iter().try_for_each(|id| check_id(table, key, id, &known))?;
        Ok::<_, TextFault>(listed)
    };
    let texels = whole(table, "texels", 16, 65_536)?.map(|texels| texels as usize);
    let materials = names(table, "materials")?;
    if let Some(other) = materials.iter().find(|name| !job.garment.sets.iter().any(|set| set.material == **name)) {
        let known: Vec<&str> = job.garment.sets.iter().map(|set| set.material.as_str()).collect();
        return Err(table
            .bad("materials", format!("names `{other}`, which has no textures; the nearest is `{}`", nearest(other, &known))));
    }
    Ok(Variation {
        name,
        dye: color("dye")?,
        from: color("from")?,
        fibre: color("fibre")?,
        materials,
        only: ids("only")?,
        without: ids("without")?,
        strength: share(table, "strength")?.unwrap_or(1.0),
        strengths: strengths(table, &known)?,
        texels,
    })
}

fn known_ids(job: &Job) -> Vec<&str> {
    let placements = job.placements.iter().map(|placement| placement.id.as_str());
    placements.chain(job.scatters.iter().map(|s| s.id.as_str())).chain(job.wear.iter().map(|w| w.id.as_str())).collect()
}

fn check_id(table: &Fields<'_>, key: &str, id: &str, known: &[&str]) -> Checked<()> {
    if known.contains(&id) {
        return Ok(());
    }
    let way_out = if known.is_empty() { String::new() } else { format!("; the nearest is `{}`", nearest(id, known)) };
    Err(table.bad(key, format!("names `{id}`, which is no placement, scatter or wear of the job{way_out}")))
}

fn strengths(table: &Fields<'_>, known: &[&str]) -> Checked<Vec<(String, f32)>> {
    let Some(given) = table.table("strengths", "strengths")? else { return Ok(Vec::new()) };
    let each = given.keys().into_iter().map(|id| {
        check_id(&given, id, id, known)?;
        Ok((id.to_owned(), share(&given, id)?.unwrap_or(1.0)))
    });
    each.collect()
}

/// A variation as a table; values that equal their default are left out.
pub(super) fn render(variation: &Variation) -> Table {
    let mut table = Table::new();
    table["name"] = value(&variation.name);
    for (key, color) in [("dye", variation.dye), ("from", variation.from), ("fibre", variation.fibre)] {
        if let Some(color) = color {
            table[key] = value(codes_text(color));
        }
    }
    for (key, names) in [("materials", &variation.materials), ("only", &variation.only), ("without", &variation.without)] {
        if !names.is_empty() {
            table[key] = value(names.iter().collect::<Array>());
        }
    }
    if variation.strength != 1.0 {
        table["strength"] = value(float(variation.strength));
    }
    if !variation.strengths.is_empty() {
        let each = variation.strengths.iter().map(|(id, strength)| (id.as_str(), float(*strength)));
        table["strengths"] = value(each.collect::<InlineTable>());
    }
    if let Some(texels) = variation.texels {
        table["texels"] = value(texels as i64);
    }
    table
}
