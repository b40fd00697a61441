//! A job as tables, as if nobody had edited it: values that equal their default are left out.

use tatter_core::channel::{Channel, Kind, PerChannel};
use tatter_core::image::{HeightRange, NormalY, Transfer};
use tatter_core::model::{ChannelRule, Job, JobGarment, MapFile, MapRole, MapSet, PatchRef, Placement, Spot, UvTile};
use toml_edit::{Array, ArrayOfTables, InlineTable, Item, Table, Value, value};

use super::grain;
use super::matching;
use super::rules::rule_text;
use super::scatter;
use super::variation;
use super::wear;
use super::{COMPONENTS, FORMAT};
use crate::text::{degrees, float, floats};

/// The whole job.
pub(super) fn render(job: &Job) -> Table {
    let mut top = Table::new();
    top["format"] = value(FORMAT);
    if !job.name.is_empty() {
        top["name"] = value(&job.name);
    }
    top["garment"] = Item::Table(garment(&job.garment));
    list(&mut top, "patch", job.patches.iter().map(patch));
    list(&mut top, "placement", job.placements.iter().map(placement));
    list(&mut top, "scatter", job.scatters.iter().map(scatter::render));
    list(&mut top, "wear", job.wear.iter().map(wear::render));
    list(&mut top, "variation", job.variations.iter().map(variation::render));
    if let Some(folder) = &job.delivery.folder {
        let mut table = Table::new();
        table["folder"] = value(folder);
        top["delivery"] = Item::Table(table);
    }
    top
}

fn list(table: &mut Table, key: &str, items: impl Iterator<Item = Table>) {
    let tables: ArrayOfTables = items.collect();
    if !tables.is_empty() {
        table[key] = Item::ArrayOfTables(tables);
    }
}

fn garment(garment: &JobGarment) -> Table {
    let mut table = Table::new();
    if let Some(mesh) = &garment.mesh {
        table["mesh"] = value(mesh);
    }
    if garment.mesh.is_some() || garment.mm_per_unit != 0.0 {
        table["mm_per_unit"] = value(float(garment.mm_per_unit));
    }
    if let Some(scale) = garment.mm_per_uv {
        table["mm_per_uv"] = value(float(scale.get()));
    }
    let maps = garment.sets.iter().flat_map(|set| set.files.iter().map(move |file| map(set, file)));
    list(&mut table, "map", maps);
    list(&mut table, "grain", garment.grain.iter().map(grain::render));
    table
}

fn map(set: &MapSet, file: &MapFile) -> Table {
    let mut table = Table::new();
    table["file"] = value(&file.path);
    table["channels"] = Item::Value(channels(&file.roles));
    if !set.material.is_empty() {
        table["material"] = value(&set.material);
    }
    if let Some(tile) = tile(set.tile) {
        table["tile"] = Item::Value(tile);
    }
    for role in &file.roles {
        match role.channel.info().kind {
            Kind::Color if role.coding.transfer == Transfer::Linear => table["transfer"] = value("linear"),
            Kind::Normal if role.coding.normal_y == NormalY::Down => table["normal_y"] = value("down"),
            Kind::Height if role.coding.height_range != HeightRange::default() => {
                let HeightRange { low_mm, high_mm } = role.coding.height_range;
                table["height_range_mm"] = value(floats(&[low_mm, high_mm]));
            }
            _ => {}
        }
    }
    let scalar = |role: &&MapRole| role.channel.info().kind == Kind::Unit;
    let inverted: Vec<&str> =
        file.roles.iter().filter(scalar).filter(|role| role.coding.inverted).map(|role| role.channel.name()).collect();
    if !inverted.is_empty() {
        let alone = file.roles.iter().filter(scalar).count() == 1;
        table["inverted"] = if alone { value(true) } else { value(inverted.into_iter().collect::<Array>()) };
    }
    table
}

fn tile(tile: UvTile) -> Option<Value> {
    let UvTile { u, v } = tile;
    match (u, v) {
        (0, 0) => None,
        (0..=9, 0..=899) => Some(Value::from(i64::from(1001 + u + 10 * v))),
        _ => Some(Value::Array([i64::from(u), i64::from(v)].into_iter().collect())),
    }
}

fn channels(roles: &[MapRole]) -> Value {
    if let [MapRole { channel, coding }] = roles
        && coding.component == 0
    {
        return Value::from(channel.name());
    }
    let mut packed = InlineTable::new();
    for MapRole { channel, coding } in roles {
        let wide = matches!(channel.info().kind, Kind::Color | Kind::Normal);
        let letter = COMPONENTS.iter().find(|(_, component)| *component == coding.component).map_or("r", |(letter, _)| letter);
        packed.insert(if wide && coding.component == 0 { "rgb" } else { letter }, Value::from(channel.name()));
    }
    Value::InlineTable(packed)
}

fn patch(patch: &PatchRef) -> Table {
    let mut table = Table::new();
    table["name"] = value(&patch.name);
    table["path"] = value(&patch.path);
    table
}

pub(super) fn placement(placement: &Placement) -> Table {
    let mut table = Table::new();
    table["id"] = value(&placement.id);
    table["patch"] = value(&placement.patch);
    match &placement.spot {
        Spot::Uv { at, part } => {
            table["at"] = value(floats(at));
            if let Some(part) = part {
                table["part"] = value(part);
            }
        }
        Spot::Point(point) => table["point"] = value(floats(point)),
    }
    if placement.turn.to_radians() != 0.0 {
        table["turn_deg"] = value(degrees(placement.turn));
    }
    if let Some(size) = placement.size {
        table["size_mm"] = value(float(size.get()));
    }
    if placement.mirror {
        table["mirror"] = value(true);
    }
    if let Some(rules) = rules_value(&placement.rules) {
        table["rules"] = value(rules);
    }
    matching::render(&mut table, &placement.matching);
    table
}

/// `None` when no channel differs from its default.
pub(super) fn rules_value(rules: &PerChannel<Option<ChannelRule>>) -> Option<InlineTable> {
    let mut table = InlineTable::new();
    for channel in Channel::ALL {
        if let Some(rule) = rules[channel] {
            table.insert(channel.name(), Value::from(rule_text(rule)));
        }
    }
    (!table.is_empty()).then_some(table)
}
