//! `[[garment.grain]]`: the grain of an island.

use tatter_core::angle::Angle;
use tatter_core::model::{GrainSource, IslandGrain, Weave};
use tatter_core::units::PerCm;
use toml_edit::{Table, value};

use crate::text::{Fields, TextFault, degrees, float, floats, weave};

/// The keys of a grain.
pub(super) const KEYS: [&str; 7] = ["at", "part", "turn_deg", "source", "ends_per_cm", "picks_per_cm", "weave"];

/// All grains of a garment.
pub(super) fn read(garment: &Fields<'_>) -> Result<Vec<IslandGrain>, TextFault> {
    garment.tables("grain", "[[garment.grain]]")?.iter().map(one).collect()
}

fn one(table: &Fields<'_>) -> Result<IslandGrain, TextFault> {
    table.allow(&KEYS)?;
    let source = table.string("source")?.map(|name| {
        GrainSource::from_name(name).ok_or_else(|| table.bad("source", format!("is measured or arrow, not `{name}`")))
    });
    Ok(IslandGrain {
        at: table.need("at", table.numbers::<2>("at", "two numbers, u and v")?)?,
        part: table.string("part")?.map(str::to_owned),
        turn: Angle::degrees(table.need("turn_deg", table.number("turn_deg")?)?),
        source: source.transpose()?.unwrap_or_default(),
        ends_per_cm: table.positive("ends_per_cm")?.map(PerCm),
        picks_per_cm: table.positive("picks_per_cm")?.map(PerCm),
        weave: weave(table)?,
    })
}

pub(super) fn render(grain: &IslandGrain) -> Table {
    let mut table = Table::new();
    table["at"] = value(floats(&grain.at));
    if let Some(part) = &grain.part {
        table["part"] = value(part);
    }
    table["turn_deg"] = value(degrees(grain.turn));
    if grain.source != GrainSource::default() {
        table["source"] = value(grain.source.name());
    }
    for (key, count) in [("ends_per_cm", grain.ends_per_cm), ("picks_per_cm", grain.picks_per_cm)] {
        if let Some(count) = count {
            table[key] = value(float(count.get()));
        }
    }
    if grain.weave != Weave::Unknown {
        table["weave"] = value(grain.weave.to_string());
    }
    table
}
