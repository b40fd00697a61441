//! What the sample job is made of, and where it is made.

use std::path::{Path, PathBuf};

use tatter_core::model::{CutRecipe, Scale};

use super::photos::WIDTH;
use crate::cutting::USUAL_SEED;
use crate::recent::home_folder;

/// A photo of the sample.
#[derive(Clone, Debug)]
pub struct SamplePhoto {
    /// The name of its patch.
    pub name: &'static str,
    /// Its file.
    pub path: PathBuf,
    /// How it is cut.
    pub recipe: CutRecipe,
}

/// The files of the sample in a folder, whether they are made yet or not.
#[derive(Clone, Debug)]
pub struct Sample {
    /// The job.
    pub job: PathBuf,
    /// The rope burn and the moth hole.
    pub photos: [SamplePhoto; 2],
}

impl Sample {
    /// In a folder.
    pub fn in_folder(folder: &Path) -> Self {
        let photo = |name: &'static str| SamplePhoto {
            name,
            path: folder.join("photos").join(format!("{name}.png")),
            recipe: CutRecipe { scale: Scale::Width(WIDTH), seed: USUAL_SEED, ..CutRecipe::default() },
        };
        Self { job: folder.join("smock.tatter.toml"), photos: ["rope-burn", "moth-hole"].map(photo) }
    }

    /// Whether it was made, and still lies there.
    pub fn is_made(&self) -> bool {
        self.job.is_file() && self.photos.iter().all(|photo| photo.path.is_file())
    }
}

/// Where the sample is made when nobody says otherwise: in the person's own folder, or in the one the program was started in; where it was
/// made before, or where nothing lies yet.
pub fn folder_for_sample() -> PathBuf {
    free_in(&home_folder())
}

fn free_in(home: &Path) -> PathBuf {
    let names = std::iter::once("salt-ledger".to_owned()).chain((2..).map(|n| format!("salt-ledger-{n}")));
    let is_empty = |folder: &Path| folder.read_dir().map_or(!folder.exists(), |mut entries| entries.next().is_none());
    let fits = |folder: &PathBuf| Sample::in_folder(folder).is_made() || is_empty(folder);
    names.map(|name| home.join(name)).find(fits).unwrap_or_else(|| home.join("salt-ledger"))
}

#[cfg(test)]
mod tests {
    #![expect(clippy::disallowed_methods, reason = "a test of folders needs a scratch folder")]
    use super::*;

    #[test]
    fn it_is_made_where_nothing_lies_and_found_where_it_was_made() {
        let scratch = tempfile::tempdir().unwrap();
        let first = scratch.path().join("salt-ledger");
        assert_eq!(free_in(scratch.path()), first, "nothing lies there");
        std::fs::create_dir_all(first.join("photos")).unwrap();
        assert_eq!(free_in(scratch.path()), scratch.path().join("salt-ledger-2"), "what was stopped half-way is left alone");
        let sample = Sample::in_folder(&first);
        for file in [&sample.job, &sample.photos[0].path, &sample.photos[1].path] {
            std::fs::write(file, "").unwrap();
        }
        assert!(sample.is_made() && free_in(scratch.path()) == first, "made, it is opened again");
    }
}
