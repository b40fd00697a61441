//! Reading a patch folder.

use std::fs;
use std::io::{self, Read as _};
use std::path::{Path, PathBuf};

use rayon::prelude::*;
use tatter_core::angle::Angle;
use tatter_core::channel::{Channel, Kind, PerChannel};
use tatter_core::image::{HeightRange, LinearRgb, Size};
use tatter_core::model::{Origin, Patch, PatchMap, ScaleSource, Subject};
use tatter_core::units::{Mm, MmPerTexel, PerCm};

use super::{FORMAT, KEYS, MAP_KEYS, PATCH_TOML, PatchError, coding};
use crate::limits::Limits;
use crate::picture::{largest_first, read_stored};
use crate::text::{Fields, TextFault, nearest, parse, weave};

/// What `patch.toml` says of one map.
struct MapEntry {
    channel: Channel,
    file: String,
    origin: Origin,
    how: String,
    hash: Option<String>,
}

/// `patch.toml`, parsed: the patch without its maps.
struct Described {
    patch: Patch,
    size: Size,
    maps: Vec<MapEntry>,
}

/// Largest `patch.toml` read; ours are a few kilobytes.
const LARGEST_TEXT: u64 = 1 << 20;

/// Read a patch folder: `patch.toml` and every map it names.
///
/// Maps may have been edited in an image program and stored with another depth; they must keep their size. A 2048² patch
/// with seven maps takes about 60 MB as its files hold it, and 200 MB more once every map was asked for whole.
///
/// # Errors
/// See [`PatchError`]: what is missing, which sizes disagree, and on which line `patch.toml` is wrong.
pub fn read_patch(folder: &Path, limits: &Limits) -> Result<Patch, PatchError> {
    let Described { mut patch, size, maps } = describe(folder)?;
    let range = patch.height_range;
    let read: Result<Vec<_>, PatchError> = largest_first(maps, |entry| folder.join(&entry.file))
        .into_par_iter()
        .with_max_len(1)
        .map(|entry| Ok((entry.channel, read_map(folder, &entry, size, range, limits)?)))
        .collect();
    for (channel, map) in read? {
        patch.maps[channel] = Some(map);
    }
    Ok(patch)
}

/// The patch folders that lie in a folder, by name; none when the folder cannot be read.
pub fn patches_in(folder: &Path) -> Vec<PathBuf> {
    let Ok(entries) = fs::read_dir(folder) else { return Vec::new() };
    let mut found: Vec<PathBuf> =
        entries.flatten().map(|entry| entry.path()).filter(|path| path.join(PATCH_TOML).is_file()).collect();
    found.sort();
    found
}

/// A patch as its `patch.toml` describes it, without its maps, and its canvas in millimetres: for lists of many.
///
/// # Errors
/// As [`read_patch`], except for the maps.
pub fn read_description(folder: &Path) -> Result<(Patch, [Mm; 2]), PatchError> {
    let Described { patch, size, .. } = describe(folder)?;
    let side = |texels: usize| Mm(texels as f32 * patch.scale.get());
    let size_mm = [side(size.width), side(size.height)];
    Ok((patch, size_mm))
}

/// Channels whose picture is no longer the one Tatter wrote.
///
/// # Errors
/// As [`read_patch`], except for the content of the maps.
pub fn edited_maps(folder: &Path) -> Result<Vec<Channel>, PatchError> {
    let mut edited = Vec::new();
    for entry in describe(folder)?.maps {
        let path = folder.join(&entry.file);
        let bytes = fs::read(&path).map_err(|source| missing_or_disk(source, entry.channel, &path))?;
        if entry.hash.is_some_and(|hash| hash != blake3::hash(&bytes).to_hex().as_str()) {
            edited.push(entry.channel);
        }
    }
    Ok(edited)
}

fn missing_or_disk(source: io::Error, channel: Channel, path: &Path) -> PatchError {
    if source.kind() == io::ErrorKind::NotFound {
        return PatchError::MapMissing { channel, path: path.to_path_buf() };
    }
    PatchError::Disk { doing: "reading", source, path: path.to_path_buf() }
}

fn read_map(folder: &Path, entry: &MapEntry, wanted: Size, range: HeightRange, limits: &Limits) -> Result<PatchMap, PatchError> {
    let channel = entry.channel;
    let path = folder.join(&entry.file);
    if !path.exists() {
        return Err(PatchError::MapMissing { channel, path });
    }
    let stored = read_stored(&path, limits).map_err(|source| PatchError::Picture { channel, source })?;
    if stored.size != wanted {
        return Err(PatchError::SizesDisagree { channel, found: stored.size, wanted, path });
    }
    let kind = channel.info().kind;
    if kind == Kind::Normal && stored.layout.components() < 3 {
        return Err(PatchError::Grey { channel, path });
    }
    Ok(PatchMap::filed(stored, kind, coding(channel, range), entry.origin, &entry.how))
}

fn describe(folder: &Path) -> Result<Described, PatchError> {
    let path = folder.join(PATCH_TOML);
    let raw = read_text(&path, folder)?;
    parse_description(&raw, folder).map_err(|fault| PatchError::Text { path, fault: fault.into() })
}

fn read_text(path: &Path, folder: &Path) -> Result<String, PatchError> {
    let disk = |source| PatchError::Disk { doing: "reading", source, path: path.to_path_buf() };
    let file = match fs::File::open(path) {
        Err(error) if matches!(error.kind(), io::ErrorKind::NotFound | io::ErrorKind::NotADirectory) => {
            return Err(PatchError::NotAPatch { folder: folder.to_path_buf() });
        }
        other => other.map_err(disk)?,
    };
    let mut bytes = Vec::new();
    file.take(LARGEST_TEXT + 1).read_to_end(&mut bytes).map_err(disk)?;
    let syntax = |message: &str| PatchError::Text {
        path: path.to_path_buf(),
        fault: TextFault::Syntax { line: 1, message: message.to_owned() }.into(),
    };
    if bytes.len() as u64 > LARGEST_TEXT {
        return Err(syntax("the file is larger than 1 MiB"));
    }
    let text = String::from_utf8(bytes).map_err(|error| syntax(&format!("not UTF-8 ({error})")))?;
    Ok(text.strip_prefix('\u{feff}').map(str::to_owned).unwrap_or(text))
}

fn parse_description(raw: &str, folder: &Path) -> Result<Described, TextFault> {
    let document = parse(raw)?;
    let top = Fields::top(raw, &document);
    // The format comes first: a newer file may well have keys this Tatter does not know.
    top.format(FORMAT)?;
    top.allow(&KEYS)?;
    let [width, height] = top.need("texels", texels(&top)?)?;
    let size = Size::new(width, height);
    let scale = MmPerTexel(top.need("mm_per_texel", top.positive("mm_per_texel")?)?);
    check_size_mm(&top, size, scale)?;
    let folder_name = folder.file_stem().map(|name| name.to_string_lossy().into_owned()).unwrap_or_default();
    let subject = top.need("subject", top.string("subject")?)?;
    let source = top.need("scale_source", top.string("scale_source")?)?;
    let patch = Patch {
        name: top.string("name")?.map_or(folder_name, str::to_owned),
        maps: PerChannel::default(),
        subject: subject_of(&top, subject)?,
        scale,
        scale_source: ScaleSource::from_name(source)
            .ok_or_else(|| top.bad("scale_source", format!("`{source}` is not a source of scale; {SCALE_SOURCES}")))?,
        scale_uncertainty: top.positive("scale_uncertainty_percent")?.map(|percent| percent / 100.0),
        grain: top.number("grain_deg")?.map(Angle::degrees),
        ends_per_cm: top.positive("ends_per_cm")?.map(PerCm),
        picks_per_cm: top.positive("picks_per_cm")?.map(PerCm),
        weave: weave(&top)?,
        height_range: height_range(&top)?,
        cloth_color: top.numbers("cloth_color", "three numbers, linear red, green, blue")?.map(LinearRgb),
        photo_from_patch: top.two_by_three("photo_from_patch")?,
        provenance: provenance(&top)?,
    };
    Ok(Described { patch, size, maps: map_entries(&top)? })
}

const SCALE_SOURCES: &str = "use mm-per-pixel, width, thread-count, ruler, card, sheet, corners or assumed";

fn subject_of(top: &Fields<'_>, name: &str) -> Result<Subject, TextFault> {
    [Subject::Damage, Subject::Piece]
        .into_iter()
        .find(|subject| subject.name() == name)
        .ok_or_else(|| top.bad("subject", format!("is damage or piece, not `{name}`")))
}

fn texels(top: &Fields<'_>) -> Result<Option<[usize; 2]>, TextFault> {
    let wanted = "two whole numbers from 1, width and height";
    let Some(pair) = top.numbers::<2>("texels", wanted)? else { return Ok(None) };
    let whole = |number: f32| (number >= 1.0 && number.fract() == 0.0).then_some(number as usize);
    match pair.map(whole) {
        [Some(width), Some(height)] => Ok(Some([width, height])),
        _ => Err(top.wrong("texels", wanted)),
    }
}

/// `size_mm` is there for people; it must not contradict `mm_per_texel`.
fn check_size_mm(top: &Fields<'_>, size: Size, scale: MmPerTexel) -> Result<(), TextFault> {
    let Some(given) = top.numbers::<2>("size_mm", "two numbers, width and height")? else { return Ok(()) };
    let computed = [size.width as f32 * scale.get(), size.height as f32 * scale.get()];
    for (given, computed) in given.into_iter().zip(computed) {
        if (given - computed).abs() > 1e-3 * computed {
            let why = format!("says {given}, but mm_per_texel times texels is {computed}; change mm_per_texel to rescale");
            return Err(top.bad("size_mm", why));
        }
    }
    Ok(())
}

fn height_range(top: &Fields<'_>) -> Result<HeightRange, TextFault> {
    let key = "height_range_mm";
    let Some([low_mm, high_mm]) = top.numbers::<2>(key, "two numbers, mm at code 0 and at full code")? else {
        return Ok(HeightRange::default());
    };
    if high_mm <= low_mm {
        return Err(top.bad(key, "must rise: mm at code 0 first, mm at full code second"));
    }
    Ok(HeightRange { low_mm, high_mm })
}

fn provenance(top: &Fields<'_>) -> Result<Vec<(String, String)>, TextFault> {
    let Some(table) = top.table("provenance", "[provenance]")? else { return Ok(Vec::new()) };
    let mut lines = Vec::new();
    for key in table.keys() {
        lines.extend(table.strings(key)?.into_iter().map(|text| (key.to_owned(), text.to_owned())));
    }
    Ok(lines)
}

fn map_entries(top: &Fields<'_>) -> Result<Vec<MapEntry>, TextFault> {
    let all = top.need("map", top.table("map", "[map]")?)?;
    let names = Channel::ALL.map(Channel::name);
    let mut entries = Vec::new();
    for key in all.keys() {
        let Some(channel) = Channel::from_name(key) else {
            return Err(TextFault::UnknownKey {
                line: all.line_of(key),
                key: key.to_owned(),
                table: all.name.clone(),
                nearest: nearest(key, &names).to_owned(),
                valid: names.iter().map(|&name| name.to_owned()).collect(),
            });
        };
        if let Some(table) = all.table(key, &format!("[map.{key}]"))? {
            entries.push(map_entry(channel, &table)?);
        }
    }
    if entries.is_empty() { Err(all.bad("map", "names no map")) } else { Ok(entries) }
}

fn map_entry(channel: Channel, table: &Fields<'_>) -> Result<MapEntry, TextFault> {
    table.allow(&MAP_KEYS)?;
    let file = table.need("file", table.string("file")?)?.to_owned();
    // A patch is moved and sent as one folder: nothing it needs may lie outside.
    if file.is_empty() || file.contains(['/', '\\', ':']) || file.starts_with('.') {
        return Err(table.bad("file", "must be the name of a file in the patch folder"));
    }
    let kind = table.need("kind", table.string("kind")?)?;
    let origin =
        Origin::from_name(kind).ok_or_else(|| table.bad("kind", format!("is measured, derived or estimated, not `{kind}`")))?;
    let how = table.string("how")?.unwrap_or_default().to_owned();
    let hash = table.string("blake3")?.map(str::to_owned);
    Ok(MapEntry { channel, file, origin, how, hash })
}

/// Whether a folder holds a patch, of whatever format.
pub(super) fn is_patch(folder: &Path) -> bool {
    let path: PathBuf = folder.join(PATCH_TOML);
    fs::read_to_string(path).is_ok_and(|text| text.lines().any(|line| line.trim_start().starts_with("format")))
}
