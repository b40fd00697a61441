//! Writing a patch folder, all or nothing.

use std::fs::{self, File};
use std::io;
use std::path::{Path, PathBuf};

use rayon::prelude::*;
use tatter_core::channel::Channel;
use tatter_core::image::{HeightRange, Map, Stored};
use tatter_core::model::{Patch, PatchMap, Weave};
use tatter_core::task::Task;
use toml_edit::{Array, DocumentMut, Item, Table, value};

use super::read::is_patch;
use super::{FORMAT, PATCH_TOML, PatchError, coding, depth};
use crate::disk::{Disk, beside, folder_of};
use crate::picture::{Effort, PictureFormat, encode};
use crate::text::{float, floats};

/// One map as it was written.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct WrittenMap {
    /// Its channel.
    pub channel: Channel,
    /// File name in the patch folder.
    pub file: String,
    /// Size of the file.
    pub bytes: u64,
    /// BLAKE3 of the file, hexadecimal.
    pub hash: String,
}

/// A patch on disk.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct PatchWritten {
    /// The folder.
    pub folder: PathBuf,
    /// Its maps, in the order of the channel table.
    pub maps: Vec<WrittenMap>,
}

/// Keep a patch as `folder`, with pictures for people (`thumb.png`, `sheet.png`) beside its maps.
///
/// The folder appears whole or not at all; a patch already there is replaced in one step, and files a person put into it
/// are carried over. Heights outside the patch's height range are clipped, with a note. Peak memory for a 2048² patch
/// with seven maps is about 100 MB on top of the patch.
///
/// # Errors
/// [`PatchError::Occupied`] when the name belongs to something that is not a patch; the disk's answer otherwise.
pub fn write_patch(patch: &Patch, folder: &Path, extras: &[(&str, Vec<u8>)], task: &Task) -> Result<PatchWritten, PatchError> {
    write_patch_on(&Disk::default(), patch, folder, extras, task)
}

pub(super) fn write_patch_on(
    disk: &Disk,
    patch: &Patch,
    folder: &Path,
    extras: &[(&str, Vec<u8>)],
    task: &Task,
) -> Result<PatchWritten, PatchError> {
    verify(patch, folder)?;
    let occupied = folder.exists() && !is_patch(folder) && !is_empty_folder(folder);
    if occupied {
        return Err(PatchError::Occupied { folder: folder.to_path_buf() });
    }
    let encoded = task.stage("write.encode", || encode_maps(patch, task))?;
    let maps: Vec<WrittenMap> = encoded.iter().map(|(map, _)| map.clone()).collect();
    let text = describe(patch, &maps);
    task.stage("write", || {
        let room = Room::open(disk, folder)?;
        for (map, bytes) in &encoded {
            room.put(&map.file, bytes)?;
        }
        for (name, bytes) in extras {
            room.put(name, bytes)?;
        }
        room.put(PATCH_TOML, text.as_bytes())?;
        room.take_place(folder)
    })?;
    Ok(PatchWritten { folder: folder.to_path_buf(), maps })
}

fn is_empty_folder(folder: &Path) -> bool {
    fs::read_dir(folder).is_ok_and(|mut entries| entries.next().is_none())
}

/// What would make a file that cannot be read again is a fault before anything is written.
fn verify(patch: &Patch, folder: &Path) -> Result<(), PatchError> {
    let wanted = patch.size();
    if wanted.area() == 0 {
        return Err(PatchError::Empty { folder: folder.to_path_buf() });
    }
    for (channel, map) in patch.maps.iter() {
        let Some(map) = map else { continue };
        let (found, kind, wanted_kind) = (map.size(), map.kind(), channel.info().kind);
        if found != wanted || kind != wanted_kind {
            return Err(PatchError::Unfit { channel, found, wanted, kind, wanted_kind, folder: folder.to_path_buf() });
        }
    }
    let not_a_number = |what, value| Err(PatchError::NotANumber { what, value, folder: folder.to_path_buf() });
    let above_zero = [
        ("millimetres per texel", Some(patch.scale.get())),
        ("the height range", Some(patch.height_range.span_mm())),
        ("ends per cm", patch.ends_per_cm.map(|ends| ends.get())),
        ("picks per cm", patch.picks_per_cm.map(|picks| picks.get())),
        ("the uncertainty of the scale", patch.scale_uncertainty),
    ];
    for (what, number) in above_zero {
        if let Some(number) = number.filter(|number| !(number.is_finite() && *number > 0.0)) {
            return not_a_number(what, number);
        }
    }
    let finite = patch.photo_from_patch.iter().flatten().flatten().copied().map(|number| ("the place in the photo", number));
    let color = patch.cloth_color.iter().flat_map(|color| color.0).map(|number| ("the cloth colour", number));
    let grain = patch.grain.iter().map(|angle| ("the grain", angle.to_degrees()));
    for (what, number) in finite.chain(color).chain(grain) {
        if !number.is_finite() {
            return not_a_number(what, number);
        }
    }
    Ok(())
}

fn encode_maps(patch: &Patch, task: &Task) -> Result<Vec<(WrittenMap, Vec<u8>)>, PatchError> {
    if let Some(Map::Height(heights)) = patch.map(Channel::Height) {
        let HeightRange { low_mm, high_mm } = patch.height_range;
        let step = patch.height_range.span_mm() / 65_535.0;
        let outside = heights.texels().iter().filter(|h| !(h.0 >= low_mm - step && h.0 <= high_mm + step)).count();
        if outside > 0 {
            let text = format!("{outside} texels are higher or lower than {low_mm} to {high_mm} mm and were clipped");
            task.note("height-clipped", text);
        }
    }
    let present: Vec<(Channel, &PatchMap)> =
        patch.maps.iter().filter_map(|(channel, map)| map.as_ref().map(|map| (channel, map))).collect();
    present
        .into_par_iter()
        .map(|(channel, map)| {
            let stored = Stored::from_map(map.map(), &coding(channel, patch.height_range), depth(channel));
            let bytes =
                encode(&stored, PictureFormat::Png, Effort::Fast).map_err(|source| PatchError::Picture { channel, source })?;
            let hash = blake3::hash(&bytes).to_hex().to_string();
            let file = format!("{channel}.png");
            Ok((WrittenMap { channel, file, bytes: bytes.len() as u64, hash }, bytes))
        })
        .collect()
}

/// The text of `patch.toml`.
fn describe(patch: &Patch, maps: &[WrittenMap]) -> String {
    let mut document = DocumentMut::new();
    let size = patch.size();
    let top = document.as_table_mut();
    top["format"] = value(FORMAT);
    top["name"] = value(&patch.name);
    top["subject"] = value(patch.subject.name());
    top["texels"] = value([size.width as i64, size.height as i64].into_iter().collect::<Array>());
    // For people: a tenth of a micrometre is enough. Reading goes by mm_per_texel.
    top["size_mm"] = value(floats(&patch.size_mm().map(|mm| (mm.get() * 1e4).round() / 1e4)));
    top["mm_per_texel"] = value(float(patch.scale.get()));
    top["scale_source"] = value(patch.scale_source.name());
    let optional = [
        ("scale_uncertainty_percent", patch.scale_uncertainty.map(|share| float(100.0 * share))),
        ("grain_deg", patch.grain.map(crate::text::degrees)),
        ("ends_per_cm", patch.ends_per_cm.map(|ends| float(ends.get()))),
        ("picks_per_cm", patch.picks_per_cm.map(|picks| float(picks.get()))),
    ];
    for (key, number) in optional {
        if let Some(number) = number {
            top[key] = value(number);
        }
    }
    if patch.weave != Weave::Unknown {
        top["weave"] = value(patch.weave.to_string());
    }
    top["height_range_mm"] = value(floats(&[patch.height_range.low_mm, patch.height_range.high_mm]));
    if let Some(color) = patch.cloth_color {
        top["cloth_color"] = value(floats(&color.0));
    }
    if let Some(rows) = patch.photo_from_patch {
        top["photo_from_patch"] = value(rows.iter().map(|row| floats(row)).collect::<Array>());
    }
    top["map"] = Item::Table(map_tables(patch, maps));
    if !patch.provenance.is_empty() {
        top["provenance"] = Item::Table(provenance(&patch.provenance));
    }
    comment(top);
    document.to_string()
}

fn comment(top: &mut Table) {
    let comments = [
        ("scale_uncertainty_percent", "# Standard deviation of mm_per_texel.\n"),
        ("format", "# A patch for Tatter. Its maps open in any image program; keep their size.\n"),
        ("grain_deg", "# Warp direction, counter-clockwise from image right.\n"),
        ("height_range_mm", "# Millimetres at code 0 and at full code of height.png.\n"),
        ("cloth_color", "# Intact cloth, linear red, green, blue.\n"),
        ("photo_from_patch", "# Photo pixel from patch texel; the first centre of both is at (0.5, 0.5).\n"),
    ];
    for (key, text) in comments {
        if let Some(mut key) = top.key_mut(key) {
            key.leaf_decor_mut().set_prefix(text);
        }
    }
}

fn map_tables(patch: &Patch, maps: &[WrittenMap]) -> Table {
    let mut tables = Table::new();
    tables.set_implicit(true);
    for map in maps {
        let Some(kept) = &patch.maps[map.channel] else { continue };
        let mut table = Table::new();
        table["file"] = value(&map.file);
        table["kind"] = value(kept.origin.name());
        table["how"] = value(&kept.how);
        table["blake3"] = value(&map.hash);
        tables.insert(map.channel.name(), Item::Table(table));
    }
    tables
}

/// A key that occurs several times becomes one list.
fn provenance(lines: &[(String, String)]) -> Table {
    let mut table = Table::new();
    for (key, _) in lines {
        if table.contains_key(key) {
            continue;
        }
        let texts: Vec<&str> = lines.iter().filter(|(other, _)| other == key).map(|(_, text)| text.as_str()).collect();
        let item = if let [text] = texts[..] { value(text) } else { value(texts.into_iter().collect::<Array>()) };
        table.insert(key, item);
    }
    table
}

/// The unfinished folder beside the patch, locked against a second writer.
struct Room<'a> {
    disk: &'a Disk,
    folder: PathBuf,
    lock: Option<File>,
}

/// Name of the lock in the unfinished folder.
const LOCK: &str = "lock";

impl<'a> Room<'a> {
    fn open(disk: &'a Disk, patch: &Path) -> Result<Self, PatchError> {
        let folder = beside(patch, "new");
        if let Ok(stale) = File::open(folder.join(LOCK)) {
            // Left by a run that was killed: the system dropped its lock.
            if stale.try_lock().is_err() {
                return Err(PatchError::Busy { folder: patch.to_path_buf() });
            }
        }
        let failed = |source| PatchError::Disk { doing: "making a folder", source, path: folder.clone() };
        disk.remove_folder(&folder).map_err(failed)?;
        disk.create_folder(&folder).map_err(failed)?;
        let lock = File::create(folder.join(LOCK)).map_err(failed)?;
        if lock.try_lock().is_err() {
            return Err(PatchError::Busy { folder: patch.to_path_buf() });
        }
        Ok(Self { disk, folder, lock: Some(lock) })
    }

    fn put(&self, name: &str, bytes: &[u8]) -> Result<(), PatchError> {
        let path = self.folder.join(name);
        self.disk.write(&path, bytes, None).map_err(|source| PatchError::Disk { doing: "writing", source, path })
    }

    /// Become the patch.
    fn take_place(mut self, patch: &Path) -> Result<(), PatchError> {
        let failed = |source: io::Error| PatchError::Disk { doing: "putting in place", source, path: patch.to_path_buf() };
        self.carry_over(patch).map_err(failed)?;
        self.disk.remove(&self.folder.join(LOCK)).map_err(failed)?;
        self.lock = None;
        self.disk.sync_folder(&self.folder).map_err(failed)?;
        self.disk.swap_folder(&self.folder, patch).map_err(failed)?;
        self.disk.sync_folder(&folder_of(patch)).map_err(failed)
    }

    /// What a person put into the old patch folder stays in the new one.
    fn carry_over(&self, patch: &Path) -> io::Result<()> {
        if !patch.is_dir() {
            return Ok(());
        }
        for entry in fs::read_dir(patch)? {
            let entry = entry?;
            let name = entry.file_name();
            if !is_ours(&name.to_string_lossy()) && !self.folder.join(&name).exists() {
                carry(self.disk, &entry.path(), &self.folder.join(&name))?;
            }
        }
        Ok(())
    }
}

impl Drop for Room<'_> {
    /// After a failure nothing half-written stays; after success the name is gone or holds the replaced patch.
    fn drop(&mut self) {
        // Nobody is left to hear of a failure here, and the next writer clears the name.
        let _ = self.disk.remove_folder(&self.folder);
    }
}

fn is_ours(name: &str) -> bool {
    let map = name.strip_suffix(".png").is_some_and(|stem| Channel::from_name(stem).is_some());
    map || [PATCH_TOML, "thumb.png", "sheet.png", LOCK].contains(&name)
}

fn carry(disk: &Disk, from: &Path, to: &Path) -> io::Result<()> {
    if !from.is_dir() {
        return disk.link_or_copy(from, to);
    }
    disk.create_folder(to)?;
    for entry in fs::read_dir(from)? {
        let entry = entry?;
        carry(disk, &entry.path(), &to.join(entry.file_name()))?;
    }
    Ok(())
}
