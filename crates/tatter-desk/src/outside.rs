//! Files that other programs change while they lie on the table: noticed by a thread, told in a band, and taken in where nothing is lost by it.

use std::path::{Path, PathBuf};
use std::sync::Arc;
use std::sync::mpsc::{Receiver, Sender, TryRecvError, channel};
use std::time::Duration;

use tatter::library::{Card, cards, cards_in, one_place, patch_folders};
use tatter::watch::{JobFiles, Lookout, Standings, standings};
use tatter_core::model::Job;

use crate::newest::{Mouth, Wake};
use crate::open::folder_of;

/// What lies on the table.
#[derive(Clone, Debug, Default)]
pub(crate) struct Table {
    pub(crate) job: Option<(PathBuf, Arc<Job>)>,
    pub(crate) photos: Vec<PathBuf>,
    /// Patches of the job, and those that lie beside it.
    pub(crate) patches: Vec<PathBuf>,
    /// Folders of patches elsewhere, with the patches that are known to lie in each.
    pub(crate) folders: Vec<(PathBuf, Vec<PathBuf>)>,
}

impl PartialEq for Table {
    fn eq(&self, other: &Self) -> bool {
        let same_job = match (&self.job, &other.job) {
            (Some((one, job)), Some((path, known))) => {
                one == path && job.garment == known.garment && job.patches == known.patches
            }
            (None, None) => true,
            _ => false,
        };
        same_job && self.photos == other.photos && self.patches == other.patches && self.folders == other.folders
    }
}

impl Table {
    fn paths(&self) -> Vec<PathBuf> {
        let mut all: Vec<PathBuf> = self.photos.iter().chain(&self.patches).cloned().collect();
        // Those that the job names are among its own.
        let own: Vec<PathBuf> =
            if self.folders.is_empty() { Vec::new() } else { self.patches.iter().map(|patch| one_place(patch)).collect() };
        for (folder, _) in &self.folders {
            all.extend(patch_folders(folder).into_iter().filter(|patch| !own.contains(&one_place(patch))));
            all.push(folder.clone());
        }
        if let Some((path, job)) = &self.job {
            let files = JobFiles::of(path, job);
            // Patches that are new lie in the job's folder.
            all.extend([path.clone(), folder_of(path)]);
            all.extend(files.garment);
            all.extend(files.patches.into_iter().filter(|patch| !self.patches.contains(patch)));
        }
        all
    }

    /// Patches elsewhere that came before anybody looked out for them.
    fn missed(&self) -> Vec<PathBuf> {
        let unknown = |(folder, known): &(PathBuf, Vec<PathBuf>)| {
            patch_folders(folder).into_iter().filter(|patch| !known.contains(patch)).collect::<Vec<_>>()
        };
        self.folders.iter().flat_map(unknown).collect()
    }
}

/// What somebody changed.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub(crate) struct Changed {
    pub(crate) job: bool,
    /// Files of the garment.
    pub(crate) garment: Vec<PathBuf>,
    pub(crate) photos: Vec<PathBuf>,
    /// Folders of patches.
    pub(crate) patches: Vec<PathBuf>,
}

impl Changed {
    pub(crate) const fn is_nothing(&self) -> bool {
        !self.job && self.garment.is_empty() && self.photos.is_empty() && self.patches.is_empty()
    }

    /// And these, each once.
    pub(crate) fn add(&mut self, more: Self) {
        self.job |= more.job;
        for (all, more) in [(&mut self.garment, more.garment), (&mut self.photos, more.photos), (&mut self.patches, more.patches)]
        {
            let known = std::mem::take(all);
            let fresh = more.into_iter().filter(|path| !known.contains(path)).collect::<Vec<_>>();
            all.extend(known.iter().cloned().chain(fresh));
        }
    }

    /// Sorts files by what they are; those that are nothing to the table are left out.
    fn of(table: &Table, paths: &[PathBuf]) -> Self {
        let mut changed = Self::default();
        let garment = table.job.as_ref().map(|(path, job)| JobFiles::of(path, job).garment).unwrap_or_default();
        for path in paths {
            if table.job.as_ref().is_some_and(|(job, _)| job == path) {
                changed.job = true;
            } else if garment.contains(path) {
                changed.garment.push(path.clone());
            } else if table.photos.contains(path) {
                changed.photos.push(path.clone());
            } else if let Some(patch) = path.ancestors().take(2).find(|folder| is_patch(folder))
                && !changed.patches.iter().any(|known| known == patch)
            {
                changed.patches.push(patch.to_owned());
            }
        }
        changed
    }
}

fn is_patch(folder: &Path) -> bool {
    folder.extension().is_some_and(|ending| ending == "patch")
}

/// What is to become of files that somebody changed.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum OnOutside {
    /// The job stays as it is here.
    KeepJob,
    /// Read the garment anew; the job stays.
    Garment,
    /// Read the photos anew; what was told of them stays.
    Photos,
    /// What was said has been read.
    PutAside,
}

/// What the thread found.
#[derive(Debug)]
struct Found {
    paths: Vec<PathBuf>,
    /// The patches at hand now, when one of them may be another.
    cards: Option<Vec<Card>>,
}

/// What the thread says.
#[derive(Debug)]
enum News {
    Found(Found),
    /// It looks out for one more table that it was told of.
    Followed,
}

/// The lookout, and what it told that waits to be shown.
pub(crate) struct Outside {
    table: Table,
    tell: Option<Sender<Table>>,
    news: Receiver<News>,
    mouth: Mouth<News>,
    /// How files stood after the desk wrote them.
    own: Standings,
    heard: Vec<Found>,
    /// Tables that the thread was told of, and does not look out for yet.
    unfollowed: usize,
}

/// A new table is noticed after this long.
const PATIENCE: Duration = Duration::from_millis(150);

impl Outside {
    pub(crate) fn new(wake: Wake) -> Self {
        let (send, news) = channel();
        Self {
            table: Table::default(),
            tell: None,
            news,
            mouth: Mouth::new(send, wake),
            own: Standings::default(),
            heard: Vec::new(),
            unfollowed: 0,
        }
    }

    /// Keep an eye on what lies on the table now.
    pub(crate) fn follow(&mut self, table: Table) {
        if self.table == table {
            return;
        }
        self.table = table.clone();
        if self.tell.is_none() {
            let (tell, tables) = channel();
            let mouth = self.mouth.clone();
            let watching = std::thread::Builder::new().name("lookout".to_owned()).spawn(move || watch(&tables, &mouth));
            // Without a thread nothing is noticed; saving still sees what somebody else wrote.
            self.tell = watching.is_ok().then_some(tell);
        }
        if let Some(tell) = &self.tell {
            match tell.send(table) {
                Ok(()) => self.unfollowed += 1,
                Err(_) => self.tell = None,
            }
        }
    }

    fn take(&mut self, news: News) {
        match news {
            News::Found(found) => self.heard.push(found),
            News::Followed => self.unfollowed = self.unfollowed.saturating_sub(1),
        }
    }

    /// Wait until the thread looks out for what lies on the table now; whether it does within `patience`. For tests.
    pub(crate) fn settle(&mut self, patience: Duration) -> bool {
        while self.unfollowed > 0 && self.tell.is_some() {
            match self.news.recv_timeout(patience) {
                Ok(news) => self.take(news),
                Err(_) => return false,
            }
        }
        true
    }

    /// The desk wrote these itself.
    pub(crate) fn mine(&mut self, paths: &[PathBuf]) {
        self.own.renew(standings(paths));
    }

    /// Take in what the thread has told, unless the desk is `busy` writing: what is its own is known only afterwards.
    pub(crate) fn hear(&mut self, busy: bool) -> Vec<(Changed, Option<Vec<Card>>)> {
        while let Ok(news) = self.news.try_recv() {
            self.take(news);
        }
        if busy {
            return Vec::new();
        }
        let heard = std::mem::take(&mut self.heard);
        heard.into_iter().map(|news| self.sort(news)).filter(|(changed, _)| !changed.is_nothing()).collect()
    }

    /// Wait until the thread tells something; whether it does within `patience`. For tests.
    pub(crate) fn wait(&mut self, patience: Duration) -> bool {
        let news = self.news.recv_timeout(patience).ok();
        news.map(|news| self.take(news)).is_some()
    }

    fn sort(&self, news: Found) -> (Changed, Option<Vec<Card>>) {
        let now = standings(&news.paths);
        let theirs: Vec<PathBuf> = news.paths.into_iter().filter(|path| !self.own.agrees(&now, path)).collect();
        (Changed::of(&self.table, &theirs), news.cards)
    }
}

fn watch(tables: &Receiver<Table>, mouth: &Mouth<News>) {
    let mut table = Table::default();
    let mut lookout = Lookout::default();
    loop {
        match tables.try_recv() {
            Ok(other) => {
                table = other;
                lookout.follow(table.paths());
                mouth.tell(News::Followed);
                let missed = table.missed();
                if !missed.is_empty() {
                    mouth.tell(News::Found(Found { paths: missed, cards: None }));
                }
                continue;
            }
            Err(TryRecvError::Disconnected) => return,
            Err(TryRecvError::Empty) => {}
        }
        let paths = lookout.changed(PATIENCE);
        if paths.is_empty() {
            continue;
        }
        let changed = Changed::of(&table, &paths);
        if changed.is_nothing() {
            continue;
        }
        let patches = || match &table.job {
            Some((path, job)) => cards(path, job),
            None => cards_in(&table.patches.first().map(|patch| folder_of(patch)).unwrap_or_default()),
        };
        // Those elsewhere are not read here.
        let is_own = |patch: &PathBuf| !table.folders.iter().any(|(folder, _)| patch.parent() == Some(folder.as_path()));
        let cards = changed.patches.iter().any(is_own).then(patches);
        mouth.tell(News::Found(Found { paths, cards }));
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn files_are_known_for_what_they_are() {
        let job = Job::default();
        let table = Table {
            job: Some((PathBuf::from("a/smock.tatter.toml"), Arc::new(job))),
            photos: vec![PathBuf::from("p/rip.jpg")],
            patches: vec![PathBuf::from("a/rip.patch")],
            folders: Vec::new(),
        };
        let paths = ["a/smock.tatter.toml", "p/rip.jpg", "a/rip.patch/height.png", "a/rip.patch", "a/new.patch", "a/notes.txt"];
        let changed = Changed::of(&table, &paths.map(PathBuf::from));
        assert!(changed.job, "the job");
        assert_eq!(changed.photos, [PathBuf::from("p/rip.jpg")], "the photo");
        assert_eq!(changed.patches, ["a/rip.patch", "a/new.patch"].map(PathBuf::from), "each patch once, the new one, too");
        assert!(Changed::of(&table, &[PathBuf::from("a/notes.txt")]).is_nothing(), "what is nothing to the table");
    }
}
