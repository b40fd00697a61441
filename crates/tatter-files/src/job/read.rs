//! Reading a job file.

use std::fs;
use std::io;
use std::path::Path;

use tatter_core::angle::Angle;
use tatter_core::channel::{Channel, Kind, PerChannel};
use tatter_core::image::{Coding, HeightRange, NormalY, Size, Transfer};
use tatter_core::model::{ChannelRule, Delivery, Job, JobGarment, MapFile, MapRole, MapSet, PatchRef, Placement, Spot, UvTile};
use tatter_core::units::{Mm, MmPerUv};

use super::rules::parse_rule;
use super::scatter::scatters;
use super::variation::variations;
use super::wear::all_wear;
use super::{
    COMPONENTS, DELIVERY_KEYS, ENDING, FORMAT, GARMENT_KEYS, JobError, MAP_KEYS, PATCH_KEYS, PLACEMENT_KEYS, TOP_KEYS, grain,
    matching,
};
use crate::text::{Fields, TextFault, decoded, nearest, parse};

type Checked<T> = Result<T, TextFault>;

/// Read a job file. Sizes of the garment's maps are zero until the pictures themselves are read.
///
/// # Errors
/// See [`JobError`]; what is wrong in the text comes with its line.
pub fn read_job(path: &Path) -> Result<Job, JobError> {
    let raw = read_text(path)?;
    let mut job = parse_job(&raw).map_err(|fault| JobError::Text { path: path.to_path_buf(), fault: fault.into() })?;
    if job.name.is_empty() {
        let file = path.file_name().map(|name| name.to_string_lossy().into_owned()).unwrap_or_default();
        job.name = file.strip_suffix(ENDING).unwrap_or(&file).to_owned();
    }
    Ok(job)
}

pub(super) fn read_text(path: &Path) -> Result<String, JobError> {
    let bytes = fs::read(path).map_err(|source| match source.kind() {
        io::ErrorKind::NotFound => JobError::Missing { path: path.to_path_buf() },
        _ => JobError::Disk { doing: "reading", source, path: path.to_path_buf() },
    })?;
    decoded(bytes).map_err(|fault| JobError::Text { path: path.to_path_buf(), fault: fault.into() })
}

/// A job from its text; the name stays empty when the text gives none.
///
/// # Errors
/// What is wrong, and on which line.
pub fn parse_job(raw: &str) -> Result<Job, TextFault> {
    let document = parse(raw)?;
    let top = Fields::top(raw, &document);
    // The format comes first: a newer file may well have keys this Tatter does not know.
    top.format(FORMAT)?;
    top.allow(&TOP_KEYS)?;
    let patches = patches(&top)?;
    let mut job = Job {
        name: top.string("name")?.unwrap_or_default().to_owned(),
        garment: garment(&top)?,
        placements: placements(&top, &patches)?,
        scatters: scatters(&top, &patches)?,
        wear: all_wear(&top)?,
        patches,
        delivery: delivery(&top)?,
        variations: Vec::new(),
    };
    job.variations = variations(&top, &job)?;
    Ok(job)
}

/// A path that stays true when the job's folder is moved or sent.
pub(super) fn relative(fields: &Fields<'_>, key: &str, path: &str) -> Checked<String> {
    let drive = path.as_bytes().get(1) == Some(&b':');
    if path.is_empty() {
        return Err(fields.bad(key, "is empty"));
    }
    if path.starts_with('/') || drive {
        return Err(fields.bad(key, format!("must be relative to the job file, not `{path}`")));
    }
    if path.contains('\\') {
        return Err(fields.bad(key, format!("must have / between folders, not `{path}`")));
    }
    Ok(path.to_owned())
}

fn garment(top: &Fields<'_>) -> Checked<JobGarment> {
    let Some(table) = top.table("garment", "[garment]")? else { return Ok(JobGarment::default()) };
    table.allow(&GARMENT_KEYS)?;
    let mesh = table.string("mesh")?.map(|path| relative(&table, "mesh", path)).transpose()?;
    // glTF counts in metres; a bare map set has no unit.
    let usual = if mesh.is_some() { 1000.0 } else { 0.0 };
    Ok(JobGarment {
        mm_per_unit: table.positive("mm_per_unit")?.unwrap_or(usual),
        mm_per_uv: table.positive("mm_per_uv")?.map(MmPerUv),
        sets: map_sets(&table)?,
        grain: grain::read(&table)?,
        mesh,
    })
}

fn map_sets(garment: &Fields<'_>) -> Checked<Vec<MapSet>> {
    let mut sets: Vec<MapSet> = Vec::new();
    for table in garment.tables("map", "[[garment.map]]")? {
        table.allow(&MAP_KEYS)?;
        let material = table.string("material")?.unwrap_or_default().to_owned();
        let tile = uv_tile(&table)?;
        let file = map_file(&table)?;
        if sets.iter().any(|set| set.tile == tile && set.material == material && set.files.iter().any(|f| f.path == file.path)) {
            return Err(table.bad("file", "is listed twice for one material and tile"));
        }
        let set = match sets.iter().position(|set| set.material == material && set.tile == tile) {
            Some(known) => &mut sets[known],
            None => {
                sets.push(MapSet { material, tile, files: Vec::new() });
                let last = sets.len() - 1;
                &mut sets[last]
            }
        };
        if let Some(role) = file.roles.iter().find(|role| set.role(role.channel).is_some()) {
            return Err(table.bad("channels", format!("gives {} to a second file of one material and tile", role.channel)));
        }
        set.files.push(file);
    }
    Ok(sets)
}

/// A UDIM number (1001 and up, ten to a row) or `[u, v]`.
fn uv_tile(table: &Fields<'_>) -> Checked<UvTile> {
    if !table.is_whole("tile") {
        let pair = table.numbers::<2>("tile", "a number such as 1001, or two whole numbers")?;
        return match pair {
            None => Ok(UvTile::default()),
            Some([u, v]) if u.fract() == 0.0 && v.fract() == 0.0 => Ok(UvTile { u: u as i32, v: v as i32 }),
            Some(_) => Err(table.wrong("tile", "a number such as 1001, or two whole numbers")),
        };
    }
    match table.whole("tile")? {
        Some(number @ 1001..=9999) => {
            let from_first = (number - 1001) as i32;
            Ok(UvTile { u: from_first % 10, v: from_first / 10 })
        }
        _ => Err(table.bad("tile", "must be between 1001 and 9999")),
    }
}

fn map_file(table: &Fields<'_>) -> Checked<MapFile> {
    let path = table.need("file", table.string("file")?)?;
    let path = relative(table, "file", path)?;
    let mut roles = roles(table)?;
    let has = |kind: Kind| roles.iter().any(|role: &MapRole| role.channel.info().kind == kind);
    let transfer = match table.string("transfer")? {
        Some(_) if !has(Kind::Color) => return Err(table.bad("transfer", "is for colour only")),
        None | Some("srgb") => Transfer::Srgb,
        Some("linear") => Transfer::Linear,
        Some(other) => return Err(table.bad("transfer", format!("is srgb or linear, not `{other}`"))),
    };
    let normal_y = match table.string("normal_y")? {
        Some(_) if !has(Kind::Normal) => return Err(table.bad("normal_y", "is for a normal map only")),
        None | Some("up") => NormalY::Up,
        Some("down") => NormalY::Down,
        Some(other) => return Err(table.bad("normal_y", format!("is up or down, not `{other}`"))),
    };
    let height_range = height_range(table, has(Kind::Height))?;
    let inverted = inverted(table, &roles)?;
    for role in &mut roles {
        match role.channel.info().kind {
            Kind::Color => role.coding.transfer = transfer,
            Kind::Normal => role.coding.normal_y = normal_y,
            Kind::Height => role.coding.height_range = height_range,
            Kind::Unit => role.coding.inverted = inverted.contains(&role.channel),
        }
    }
    Ok(MapFile { path, roles, size: Size::default() })
}

pub(super) fn channel_named(fields: &Fields<'_>, key: &str, name: &str) -> Checked<Channel> {
    let names: Vec<&str> = Channel::ALL.into_iter().filter(|channel| channel.info().on_garment).map(Channel::name).collect();
    Channel::from_name(name).filter(|channel| channel.info().on_garment).ok_or_else(|| {
        let near = nearest(name, &names);
        fields.bad(key, format!("names `{name}`, which is not a channel of a garment; the nearest is `{near}`"))
    })
}

fn roles(table: &Fields<'_>) -> Checked<Vec<MapRole>> {
    let role = |channel, component| MapRole { channel, coding: Coding { component, ..Coding::default() } };
    if table.is_string("channels") {
        let name = table.string("channels")?.unwrap_or_default();
        return Ok(vec![role(channel_named(table, "channels", name)?, 0)]);
    }
    let Some(packed) = table.table("channels", "channels")? else {
        return table.need("channels", None);
    };
    packed.allow(&COMPONENTS.map(|(letter, _)| letter))?;
    let mut taken = [None::<&str>; 4];
    let mut roles: Vec<MapRole> = Vec::new();
    for key in packed.keys() {
        let name = packed.string(key)?.unwrap_or_default();
        let channel = channel_named(&packed, key, name)?;
        let component = COMPONENTS.iter().find(|(letter, _)| *letter == key).map_or(0, |(_, component)| *component);
        let wide = matches!(channel.info().kind, Kind::Color | Kind::Normal);
        if key == "rgb" && !wide {
            return Err(packed.bad(key, format!("has three components, and {channel} needs one: write r, g, b or a")));
        }
        let last = if key == "rgb" { 3 } else { component + 1 };
        for slot in &mut taken[component..last] {
            if let Some(other) = slot.replace(key) {
                return Err(packed.bad(key, format!("uses a component that `{other}` already uses")));
            }
        }
        if roles.iter().any(|role| role.channel == channel) {
            return Err(packed.bad(key, format!("gives {channel} a second time")));
        }
        roles.push(role(channel, component));
    }
    if roles.is_empty() { Err(table.bad("channels", "names no channel")) } else { Ok(roles) }
}

fn height_range(table: &Fields<'_>, has_height: bool) -> Checked<HeightRange> {
    let key = "height_range_mm";
    match table.numbers::<2>(key, "two numbers, mm at code 0 and at full code")? {
        None => Ok(HeightRange::default()),
        Some(_) if !has_height => Err(table.bad(key, "is for a height map only")),
        Some([low_mm, high_mm]) if low_mm != high_mm => Ok(HeightRange { low_mm, high_mm }),
        Some(_) => Err(table.bad(key, "spans nothing: mm at code 0 and at full code are the same")),
    }
}

/// `true` for a file of one scalar, or the names of those that are stored as one minus the value.
fn inverted(table: &Fields<'_>, roles: &[MapRole]) -> Checked<Vec<Channel>> {
    let scalars: Vec<Channel> =
        roles.iter().map(|role| role.channel).filter(|channel| channel.info().kind == Kind::Unit).collect();
    if table.is_flag("inverted") {
        return match (table.flag("inverted")?, &scalars[..]) {
            (Some(true), [_]) => Ok(scalars),
            (Some(true), []) => Err(table.bad("inverted", "is for maps of one value a texel only")),
            (Some(true), _) => Err(table.bad("inverted", "must name which channels: [\"roughness\"]")),
            _ => Ok(Vec::new()),
        };
    }
    let names = table.strings("inverted")?;
    let listed = names.into_iter().map(|name| {
        let channel = channel_named(table, "inverted", name)?;
        let fits = scalars.contains(&channel);
        fits.then_some(channel).ok_or_else(|| table.bad("inverted", format!("names {channel}, which cannot be inverted here")))
    });
    listed.collect()
}

/// Every table of a list, no two of one name; `called` is the key of the name and what such a thing is.
pub(super) fn distinct<T>(
    top: &Fields<'_>,
    list: &str,
    called: (&str, &str),
    name: impl Fn(&T) -> String,
    read: impl Fn(&Fields<'_>) -> Checked<T>,
) -> Checked<Vec<T>> {
    let (key, what) = called;
    let mut all: Vec<T> = Vec::new();
    for table in top.tables(list, &format!("[[{list}]]"))? {
        let new = read(&table)?;
        if all.iter().any(|other| name(other) == name(&new)) {
            let given = table.string(key)?.unwrap_or_default();
            return Err(table.bad(key, format!("`{given}` is taken by {what} above")));
        }
        all.push(new);
    }
    Ok(all)
}

fn patches(top: &Fields<'_>) -> Checked<Vec<PatchRef>> {
    distinct(
        top,
        "patch",
        ("name", "a patch"),
        |patch: &PatchRef| patch.name.clone(),
        |table| {
            table.allow(&PATCH_KEYS)?;
            let name = table.need("name", table.string("name")?)?.to_owned();
            let path = table.need("path", table.string("path")?)?;
            let path = relative(table, "path", path)?;
            if name.is_empty() { Err(table.bad("name", "is empty")) } else { Ok(PatchRef { name, path }) }
        },
    )
}

fn placements(top: &Fields<'_>, patches: &[PatchRef]) -> Checked<Vec<Placement>> {
    let id = |placement: &Placement| placement.id.clone();
    distinct(top, "placement", ("id", "a placement"), id, |table| placement(table, patches))
}

fn placement(table: &Fields<'_>, patches: &[PatchRef]) -> Checked<Placement> {
    table.allow(&PLACEMENT_KEYS)?;
    let id = table.need("id", table.string("id")?)?.to_owned();
    if id.is_empty() {
        return Err(table.bad("id", "is empty"));
    }
    let patch = table.need("patch", table.string("patch")?)?;
    known_patch(table, "patch", patch, patches)?;
    Ok(Placement {
        id,
        patch: patch.to_owned(),
        spot: spot(table)?,
        turn: table.number("turn_deg")?.map_or(Angle::ZERO, Angle::degrees),
        size: table.positive("size_mm")?.map(Mm),
        mirror: table.flag("mirror")?.unwrap_or(false),
        rules: rules(table)?,
        matching: matching::read(table)?,
    })
}

/// Refuse the name of a patch the job does not list.
pub(super) fn known_patch(table: &Fields<'_>, key: &str, patch: &str, patches: &[PatchRef]) -> Checked<()> {
    if patches.iter().any(|known| known.name == patch) {
        return Ok(());
    }
    let names: Vec<&str> = patches.iter().map(|known| known.name.as_str()).collect();
    Err(table.bad(
        key,
        match names[..] {
            [] => format!("names `{patch}`, and the job has no [[patch]]"),
            _ => format!("names `{patch}`, which is no [[patch]] of the job; the nearest is `{}`", nearest(patch, &names)),
        },
    ))
}

fn spot(table: &Fields<'_>) -> Checked<Spot> {
    let at = table.numbers::<2>("at", "two numbers, u and v")?;
    let point = table.numbers::<3>("point", "three numbers, x, y and z")?;
    let part = table.string("part")?.map(str::to_owned);
    match (at, point) {
        (Some(at), None) => Ok(Spot::Uv { at, part }),
        (None, Some(_)) if part.is_some() => Err(table.bad("part", "goes with `at`, not with `point`")),
        (None, Some(point)) => Ok(Spot::Point(point)),
        (Some(_), Some(_)) => Err(table.bad("point", "says where a second time; `at` already does")),
        (None, None) => table.need("at", None),
    }
}

pub(super) fn rules(table: &Fields<'_>) -> Checked<PerChannel<Option<ChannelRule>>> {
    let mut rules = PerChannel::default();
    let Some(given) = table.table("rules", "rules")? else { return Ok(rules) };
    given.allow(&Channel::ALL.map(Channel::name))?;
    for key in given.keys() {
        let Some(channel) = Channel::from_name(key) else { continue };
        let text = given.string(key)?.unwrap_or_default();
        rules[channel] = Some(parse_rule(channel, text).map_err(|fault| given.bad(key, format!("is wrong: {fault}")))?);
    }
    Ok(rules)
}

fn delivery(top: &Fields<'_>) -> Checked<Delivery> {
    let Some(table) = top.table("delivery", "[delivery]")? else { return Ok(Delivery::default()) };
    table.allow(&DELIVERY_KEYS)?;
    let folder = table.string("folder")?.map(|path| relative(&table, "folder", path)).transpose()?;
    Ok(Delivery { folder })
}
