//! The history of deliveries of a job: what was where before and after each.

use std::io;
use std::path::{Path, PathBuf};

use serde::{Deserialize, Serialize};

use crate::store::{Content, FORMAT, Store, StoreError, read_books};

/// One target of one delivery.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub(super) struct Entry {
    /// As the job names it.
    pub(super) target: String,
    /// Content before; `None`: there was no such file.
    pub(super) before: Option<Content>,
    /// Content after.
    pub(super) after: Content,
}

/// One delivery.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub(super) struct Record {
    pub(super) number: u32,
    pub(super) files: Vec<Entry>,
}

/// All deliveries that were not undone, oldest first.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub(super) struct History {
    format: u32,
    pub(super) deliveries: Vec<Record>,
}

pub(super) fn path(store: &Store) -> PathBuf {
    store.folder().join("deliveries.json")
}

pub(super) fn next_path(store: &Store) -> PathBuf {
    store.folder().join("deliveries-next.json")
}

impl History {
    pub(super) fn read(store: &Store) -> Result<Self, StoreError> {
        match read_books::<Self>(&path(store))? {
            Some(history) if history.format > FORMAT => Err(StoreError::Newer { path: path(store) }),
            Some(history) => Ok(history),
            None => Ok(Self { format: FORMAT, deliveries: Vec::new() }),
        }
    }

    pub(super) fn write(&self, store: &Store, place: &Path) -> io::Result<()> {
        let text = serde_json::to_vec_pretty(self)?;
        store.disk.write(place, &text, None)
    }

    /// What Tatter last delivered to a target.
    pub(super) fn delivered(&self, target: &str) -> Option<&Content> {
        let entries = self.deliveries.iter().rev().flat_map(|record| &record.files);
        entries.into_iter().find(|entry| entry.target == target).map(|entry| &entry.after)
    }

    pub(super) fn next_number(&self) -> u32 {
        self.deliveries.last().map_or(1, |record| record.number + 1)
    }
}
