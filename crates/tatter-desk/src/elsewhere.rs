//! Folders of patches that lie elsewhere than the job: looked into by a thread, and remembered for another day.

use std::path::{Path, PathBuf};
use std::sync::Arc;
use std::time::Duration;

use tatter::library::{Card, Elsewhere, patch_folders};
use tatter::recent::{Recent, RecentError};

use crate::crew::{Crew, Done, Telling, at_work};
use crate::newest::{Mouth, Newest, Wake};
use crate::work::Trouble;

/// One thing asked of the folders of patches.
#[derive(Clone, Debug)]
pub enum OnFolder {
    /// Have the patches of one more folder at hand.
    Add(PathBuf),
    /// No longer have those of a folder.
    Forget(PathBuf),
}

/// What is known of a folder.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum FolderState {
    /// Nothing yet.
    Unread,
    /// It does not lie there.
    Missing,
    /// How many patches lie in it.
    Holds(usize),
}

/// The folders, in the order in which they were added.
pub(crate) struct Folders {
    recent: Recent,
    folders: Vec<PathBuf>,
    read: Vec<Elsewhere>,
    work: Option<Crew<Vec<PathBuf>, News>>,
    wake: Wake,
}

impl Folders {
    /// Those that were added another day.
    pub(crate) fn new(wake: Wake, recent: Recent) -> Self {
        let mut folders = Self { folders: recent.patch_folders(), recent, read: Vec::new(), work: None, wake };
        // Without a thread they stand there unread; the next that is added says so.
        let _unread = folders.look_again();
        folders
    }

    /// Each, with what is known of it.
    pub(crate) fn all(&self) -> impl Iterator<Item = (&Path, FolderState)> {
        let state = |folder: &PathBuf| match self.read.iter().find(|read| read.folder == *folder) {
            None => FolderState::Unread,
            Some(read) if !read.is_there => FolderState::Missing,
            Some(read) => FolderState::Holds(read.cards.len()),
        };
        self.folders.iter().map(move |folder| (folder.as_path(), state(folder)))
    }

    /// All patches in them.
    pub(crate) fn cards(&self) -> Vec<Card> {
        self.read.iter().flat_map(|read| &read.cards).cloned().collect()
    }

    /// The folders that were looked into, each with its patches: to keep an eye on.
    pub(crate) fn known(&self) -> Vec<(PathBuf, Vec<PathBuf>)> {
        let patches = |read: &Elsewhere| read.cards.iter().map(|card| card.folder.clone()).collect();
        self.read.iter().map(|read| (read.folder.clone(), patches(read))).collect()
    }

    /// Whether a patch lies in one of them.
    pub(crate) fn hold(&self, patch: &Path) -> bool {
        patch.parent().is_some_and(|folder| self.folders.iter().any(|known| known == folder))
    }

    /// Do what is asked.
    pub(crate) fn obey(&mut self, asked: OnFolder) -> Result<(), Trouble> {
        let kept = match asked {
            OnFolder::Add(folder) => self.add(&folder),
            OnFolder::Forget(folder) => {
                self.folders.retain(|known| *known != folder);
                self.read.retain(|read| read.folder != folder);
                self.recent.forget_patches(&folder)
            }
        };
        self.look_again().map_err(|error| Trouble::no_thread(&error))?;
        kept.map_err(|error| Trouble::of(&error))
    }

    fn add(&mut self, folder: &Path) -> Result<(), RecentError> {
        // Started elsewhere another time, a relative path leads elsewhere.
        let folder = std::path::absolute(folder).unwrap_or_else(|_| folder.to_owned());
        if !self.folders.contains(&folder) {
            self.folders.push(folder.clone());
        }
        self.recent.note_patches(&folder)
    }

    /// Look into all of them anew.
    pub(crate) fn look_again(&mut self) -> std::io::Result<()> {
        if self.folders.is_empty() && self.work.is_none() {
            return Ok(());
        }
        at_work(&mut self.work, || Crew::begin("shelves", Arc::clone(&self.wake), look))?.ask(self.folders.clone());
        Ok(())
    }

    /// Take in what the thread has said since; whether other patches are at hand now.
    pub(crate) fn hear(&mut self) -> bool {
        let news = self.work.as_mut().map(Crew::news).unwrap_or_default();
        // Each is heard, whatever came before it.
        news.into_iter().map(|news| self.hear_one(news)).filter(|is_other| *is_other).count() > 0
    }

    fn hear_one(&mut self, news: News) -> bool {
        let News::Read(read) = news else { return false };
        // What was forgotten meanwhile stays so.
        self.read = read.into_iter().filter(|read| self.folders.contains(&read.folder)).collect();
        true
    }

    /// Whether all that was asked is done.
    pub(crate) fn is_resting(&self) -> bool {
        self.work.as_ref().is_none_or(Crew::is_resting)
    }

    /// Wait for what the thread says next; `None` when it says nothing for `patience`.
    pub(crate) fn wait(&mut self, patience: Duration) -> Option<bool> {
        let news = self.work.as_mut()?.wait(patience)?;
        Some(self.hear_one(news))
    }
}

/// The folder whose patches are meant by one that was dropped: itself, or the one around it when it is a patch. `None` when neither holds any.
pub(crate) fn folder_of_patches(dropped: &Path) -> Option<PathBuf> {
    let is_patch = dropped.join("patch.toml").is_file();
    let folder = if is_patch { dropped.parent()? } else { dropped };
    (!patch_folders(folder).is_empty()).then(|| folder.to_owned())
}

enum News {
    Read(Vec<Elsewhere>),
    Rested(u64),
}

impl Telling for News {
    fn done(&self) -> Option<Done> {
        match self {
            Self::Rested(number) => Some(Done::Request(*number)),
            Self::Read(_) => None,
        }
    }
}

/// The thread that looks into folders.
fn look(post: &Newest<Vec<PathBuf>>, mouth: &Mouth<News>) {
    while let Some((folders, number, _)) = post.next(|_| tatter_core::task::Task::new()) {
        mouth.tell(News::Read(folders.iter().map(|folder| Elsewhere::read(folder)).collect()));
        if !post.is_newer(number) {
            mouth.tell(News::Rested(number));
        }
    }
}
