//! What is kept of the last build, so that the next one only does what changed: `reuse/` in the job's folder, a cache that is
//! safe to delete. Everything in it is known by hashes: what does not fit is not used.

use std::collections::BTreeMap;
use std::path::Path;

use serde::de::DeserializeOwned;
use serde::{Deserialize, Serialize};
use tatter_core::image::{Rect, Stored};

use super::tiles::{self, KeptTiles};
use super::{Content, Store};
use crate::picture::Band;
use crate::write::write_whole;

/// One texture as it was built.
#[derive(Clone, Debug, Serialize, Deserialize)]
pub struct BuiltRecord {
    /// BLAKE3 of the file.
    pub hash: String,
    /// Its length.
    pub bytes: u64,
    /// Where its rows lie in it.
    pub bands: Vec<Band>,
}

/// The last build: `T` is what the build itself remembers.
#[derive(Clone, Debug, Serialize, Deserialize)]
pub struct Remembered<T> {
    /// Hash of everything that all texels depend on: garment, pristine textures, settings, the program itself.
    pub base: String,
    /// Placements in order: id, and hash of everything its texels depend on.
    pub placements: Vec<(String, String)>,
    /// Textures that the build changed, by their path in the job.
    pub files: BTreeMap<String, BuiltRecord>,
    /// What the build remembers.
    pub build: T,
}

const NAME: &str = "last.json";

impl Store {
    /// What is remembered of the last build; `None` when nothing is, or it cannot be read.
    pub fn remembered<T: DeserializeOwned>(&self) -> Option<Remembered<T>> {
        serde_json::from_slice(&std::fs::read(self.folder.join("reuse").join(NAME)).ok()?).ok()
    }

    /// Whether anything is remembered of a build, readable or not.
    pub fn remembers(&self) -> bool {
        self.folder.join("reuse").join(NAME).is_file()
    }

    /// Remember a build, in place of the one before.
    ///
    /// # Errors
    /// What the file system says.
    pub fn remember<T: Serialize>(&self, build: &Remembered<T>) -> std::io::Result<()> {
        write_whole(&self.folder.join("reuse").join(NAME), &serde_json::to_vec(build)?)
    }

    /// Keep parts of a pristine texture at hand. Two calls for one target must not run at once.
    ///
    /// # Errors
    /// What the file system says.
    pub fn keep_tiles(&self, target: &str, stored: &Stored, parts: &[Rect]) -> std::io::Result<()> {
        let Some(content) = self.known.get(target) else { return Ok(()) };
        match KeptTiles::begin(&tiles::path(&self.folder, target, &content.hash), stored)? {
            Some(kept) => kept.add(stored, parts),
            None => Ok(()),
        }
    }

    /// What is kept of a pristine texture; `None` when nothing is.
    pub fn tiles(&self, target: &str) -> Option<KeptTiles> {
        KeptTiles::open(&tiles::path(&self.folder, target, &self.known.get(target)?.hash))
    }

    /// Forget all parts: some were damaged.
    pub fn drop_tiles(&self) {
        for (target, content) in &self.known {
            // A cache that cannot be cleared is no reason to stop.
            let _ = std::fs::remove_file(tiles::path(&self.folder, target, &content.hash));
        }
    }

    /// Forget parts that belong to no pristine texture, and what earlier versions kept.
    pub fn drop_stale_tiles(&self) {
        let Ok(entries) = std::fs::read_dir(self.folder.join("reuse")) else { return };
        let names: Vec<String> = self.known.iter().map(|(target, content)| tiles::file_name(target, &content.hash)).collect();
        for entry in entries.flatten() {
            let name = entry.file_name().to_string_lossy().into_owned();
            if name.ends_with(".rows") || (name.ends_with(".tiles") && !names.contains(&name)) {
                // A cache that cannot be cleared is no reason to stop.
                let _ = std::fs::remove_file(entry.path());
            }
        }
    }

    /// Hash of the pristine content of a target, as it was when it was kept.
    pub fn pristine_hash(&self, target: &str) -> Option<&str> {
        self.known.get(target).map(|content| content.hash.as_str())
    }
}

/// BLAKE3 of bytes, hexadecimal.
pub fn hash_of(bytes: &[u8]) -> String {
    Content::of(bytes).hash
}

/// BLAKE3 over the names and contents of the files of a folder, such as a patch; `None` when it cannot be read.
pub fn folder_hash(folder: &Path) -> Option<String> {
    let mut names: Vec<_> = std::fs::read_dir(folder).ok()?.flatten().map(|entry| entry.file_name()).collect();
    names.sort();
    let mut hasher = blake3::Hasher::new();
    for name in names {
        let path = folder.join(&name);
        if path.is_file() {
            hasher.update(name.to_string_lossy().as_bytes());
            hasher.update(Content::of_file(&path).ok()??.hash.as_bytes());
        }
    }
    Some(hasher.finalize().to_hex().to_string())
}

/// What tells this program from another build of it, whose texels may differ: length and time of its file.
pub fn program_stamp() -> String {
    let told = std::env::current_exe().and_then(std::fs::metadata).ok();
    let time = told.as_ref().and_then(|told| told.modified().ok()?.duration_since(std::time::UNIX_EPOCH).ok());
    format!("{} {:?} {:?}", env!("CARGO_PKG_VERSION"), told.map(|told| told.len()), time)
}
