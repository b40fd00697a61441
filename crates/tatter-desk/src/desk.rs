//! The desk itself: what lies on it, what it is asked, and what its threads say.

use std::path::{Path, PathBuf};
use std::sync::Arc;
use std::time::Duration;

use tatter::history::History;
use tatter::keep::Kept;

use crate::bench::Bench;
use crate::command::{Command, Station};
use crate::job::{hear_in, keep_draft, look_over, obey_in};
use crate::open::Open;
use crate::photo::{Accepted, Photos};
use crate::say;
use crate::scattering;
use crate::shelf::Shelf;
use crate::work::{Look, Trouble, Wake, Work};

/// Everything the window shows.
pub struct Desk {
    pub(crate) open: Option<Open>,
    pub(crate) station: Station,
    pub(crate) photos: Photos,
    pub(crate) bench: Bench,
    /// Patches at hand while no job is open.
    pub(crate) shelf: Shelf,
    /// What is written as the path of a job, or of a photo, when none lies there.
    pub(crate) path: String,
    pub(crate) trouble: Option<Trouble>,
    wake: Wake,
}

impl std::fmt::Debug for Desk {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.debug_struct("Desk").field("open", &self.open).field("station", &self.station).finish_non_exhaustive()
    }
}

impl Desk {
    /// An empty desk; `wake` is called from threads when there is something new to show.
    pub fn new(wake: Wake) -> Self {
        Self {
            open: None,
            station: Station::default(),
            photos: Photos::new(Arc::clone(&wake)),
            bench: Bench::new(Arc::clone(&wake)),
            shelf: Shelf::default(),
            path: String::new(),
            trouble: None,
            wake,
        }
    }

    /// The job on it.
    pub fn open(&self) -> Option<&Open> {
        self.open.as_ref()
    }

    /// The photos on it.
    pub fn photos(&self) -> &Photos {
        &self.photos
    }

    /// The patch that is looked over.
    pub fn bench(&self) -> &Bench {
        &self.bench
    }

    /// The names of the patches at hand.
    pub fn patches(&self) -> Vec<&str> {
        let shelf = self.open.as_ref().map_or(&self.shelf, |open| &open.shelf);
        shelf.cards.iter().map(|card| card.name.as_str()).collect()
    }

    /// Where one stands.
    pub fn station(&self) -> Station {
        self.station
    }

    /// What went wrong last, as it is shown.
    pub fn trouble(&self) -> Option<&Trouble> {
        self.trouble.as_ref().or(self.open.as_ref().and_then(|open| open.trouble.as_ref().or(open.unlaid.as_ref())))
    }

    /// Do what was asked.
    pub fn obey(&mut self, command: Command) {
        match command {
            Command::Open(path) => self.lay_on(&path),
            Command::Lay(paths) => {
                self.photos.lay(&paths);
                self.station = Station::Photo;
            }
            Command::Patch(asked) => self.bench.obey(asked),
            Command::Photo(asked) => {
                let job = self.open.as_ref().map(|open| (open.kept.path().to_owned(), Arc::clone(open.job())));
                self.photos.obey(asked, job.as_ref());
            }
            Command::Undo | Command::Redo | Command::LetGo if self.station == Station::Photo => {
                if let Some(sheet) = self.photos.sheet_mut() {
                    match command {
                        Command::Undo => drop(sheet.steps.undo()),
                        Command::Redo => drop(sheet.steps.redo()),
                        _ => sheet.steps.let_go(),
                    }
                }
            }
            Command::Go(station) => {
                self.station = station;
                self.look_over_if_new();
            }
            Command::Dismiss => {
                self.trouble = None;
                if let Some(open) = &mut self.open {
                    open.trouble = None;
                    open.unlaid = None;
                }
            }
            Command::ReadAnew => {
                if let Some(open) = &self.open {
                    let path = open.kept.path().to_owned();
                    let forgotten = open.kept.forget();
                    self.lay_on(&path);
                    if let Err(error) = forgotten {
                        self.trouble = Some(Trouble::of(&error));
                    }
                }
            }
            other => {
                if let Some(open) = &mut self.open {
                    let before = open.selected.clone();
                    obey_in(open, other);
                    open.settle();
                    open.in_sight &= open.selected == before;
                    keep_draft(open);
                }
                self.look_over_if_new();
            }
        }
    }

    fn lay_on(&mut self, path: &Path) {
        match Kept::open(path) {
            Ok((kept, job, draft)) => {
                let history = History::new(job);
                match Work::start(path, Arc::clone(history.job()), Arc::clone(&self.wake)) {
                    Ok(work) => {
                        self.trouble = None;
                        self.open = Some(Open::new(kept, history, draft, work, Arc::clone(&self.wake)));
                    }
                    Err(error) => self.trouble = Some(Trouble::no_thread(&error)),
                }
            }
            Err(error) => self.trouble = Some(Trouble::of(&error)),
        }
    }

    /// At the delivery, what a job would do is asked as soon as it is another.
    fn look_over_if_new(&mut self) {
        let at_delivery = self.station == Station::Delivery;
        if let Some(open) = self.open.as_mut().filter(|_| at_delivery) {
            let known = open.outlook.asked.as_ref().is_some_and(|asked| Arc::ptr_eq(asked, open.history.job()));
            if !known && !open.work.is_busy() {
                look_over(open);
            }
        }
    }

    /// Take in what the threads have said since.
    pub fn hear(&mut self) {
        if let Some(open) = &mut self.open {
            for news in open.work.news() {
                hear_in(open, news);
            }
            scattering::hear(open);
            open.settle();
            keep_draft(open);
        }
        let accepted = self.photos.hear();
        self.take_in(accepted);
        self.bench.hear();
        self.look_over_if_new();
    }

    /// New patches lie in the drawer.
    fn take_in(&mut self, accepted: Vec<Accepted>) {
        for Accepted { folder, cards } in accepted {
            self.bench.forget(&folder);
            match &mut self.open {
                Some(open) => open.shelf.renew(cards, &folder),
                None => self.shelf.renew(cards, &folder),
            }
        }
    }

    /// Ask for the picture that the desk as it stands now calls for, if it is another than what was asked last.
    pub(crate) fn look(&mut self, backdrop: [tatter_core::image::LinearRgb; 2]) {
        // Nothing of the garment is seen there.
        if matches!(self.station, Station::Photo | Station::Patch) {
            return;
        }
        let pair = self.station == Station::Delivery;
        let Some(open) = self.open.as_mut().filter(|open| open.ready) else { return };
        let size = open.solid_size;
        let Some(camera) = open.camera(size).filter(|_| size[0] > 0) else { return };
        let look =
            Look { job: Arc::clone(open.history.job()), camera, size, backdrop, sheet: open.sheet, moving: open.moving, pair };
        if open.asked.as_ref() != Some(&look) {
            open.work.look(look.clone());
            open.asked = Some(look);
        }
    }

    /// Wait until the threads have done what they were asked, or one says nothing for `patience`; whether they have. For tests.
    pub fn wait(&mut self, patience: Duration) -> bool {
        while !self.photos.is_resting() {
            let Some(accepted) = self.photos.wait(patience) else { return false };
            self.take_in(accepted);
        }
        while !self.bench.is_resting() {
            if !self.bench.wait(patience) {
                return false;
            }
        }
        loop {
            let Some(open) = &mut self.open else { return true };
            while !open.scattering.is_resting() {
                if !scattering::wait(open, patience) {
                    return false;
                }
                open.settle();
            }
            let opening = !open.ready && open.trouble.is_none();
            if !opening && open.work.is_resting() {
                return true;
            }
            let Some(news) = open.work.wait(patience) else { return false };
            hear_in(open, news);
            open.settle();
        }
    }

    /// Files that were dropped on the window: a job is opened, photos are laid on the table.
    pub(crate) fn dropped(&mut self, files: &[PathBuf]) {
        let (jobs, others): (Vec<_>, Vec<_>) = files.iter().cloned().partition(|file| is_job(file));
        let (folders, photos): (Vec<_>, Vec<_>) = others.into_iter().partition(|file| file.is_dir());
        if let Some(job) = jobs.into_iter().next() {
            self.obey(Command::Open(job));
        }
        if !photos.is_empty() {
            self.obey(Command::Lay(photos));
        }
        if let Some(folder) = folders.first() {
            self.trouble = Some(Trouble { what: say::dropped_folder(folder), next: say::DROP_FILES.to_owned() });
        }
    }
}

/// Whether a file is a job's by its name.
pub fn is_job(file: &Path) -> bool {
    file.extension().is_some_and(|extension| extension == "toml")
}
