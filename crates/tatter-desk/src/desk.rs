//! The desk itself: what lies on it, what it is asked, and what its threads say.

use std::path::{Path, PathBuf};
use std::sync::Arc;
use std::time::Duration;

use tatter::history::History;
use tatter::keep::Kept;
use tatter::library::Card;
use tatter::lights::{first_shot, is_lights_file};
use tatter::recent::Recent;
use tatter::watch::JobFiles;
use tatter_core::model::Job;

use crate::bench::{Bench, OnPatch};
use crate::command::{Command, Station};
use crate::elsewhere::{Folders, OnFolder, folder_of_patches};
use crate::job::{hear_in, keep_draft, look_over, obey_in};
use crate::loom::Loom;
use crate::open::Open;
use crate::outside::{Changed, OnOutside, Outside, Table};
use crate::photo::{Accepted, OnPhoto, Photos, Shot};
use crate::say;
use crate::scattering;
use crate::shelf::Shelf;
use crate::start::{Dialogs, OnStart, Ready, Sight, Start, Tour, is_mesh, of_the_system};
use crate::work::{Drawn, Look, News, Trouble, Wake, Work};

/// Everything the window shows.
pub struct Desk {
    pub(crate) open: Option<Open>,
    pub(crate) station: Station,
    pub(crate) photos: Photos,
    pub(crate) bench: Bench,
    pub(crate) loom: Loom,
    outside: Outside,
    /// What others changed, until somebody says what becomes of it.
    pub(crate) changed: Changed,
    pub(crate) start: Start,
    /// The hints through the sample job, while they are wanted.
    pub(crate) tour: Option<Tour>,
    /// Patches at hand while no job is open.
    pub(crate) shelf: Shelf,
    /// Folders of patches elsewhere.
    pub(crate) folders: Folders,
    /// What is written as the path of a file, when none lies there.
    pub(crate) path: String,
    pub(crate) trouble: Option<Trouble>,
    drawn: Drawn,
    wake: Wake,
}

impl std::fmt::Debug for Desk {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.debug_struct("Desk").field("open", &self.open).field("station", &self.station).finish_non_exhaustive()
    }
}

impl Desk {
    /// An empty desk, which keeps no list of jobs; `wake` is called from threads when there is something new to show.
    pub fn new(wake: Wake) -> Self {
        Self::with(wake, Recent::default(), Arc::new(of_the_system))
    }

    /// A desk of somebody who has opened jobs before; `dialogs` open the dialogs of the system.
    pub fn with(wake: Wake, recent: Recent, dialogs: Dialogs) -> Self {
        Self {
            folders: Folders::new(Arc::clone(&wake), recent.clone()),
            start: Start::new(Arc::clone(&wake), recent, dialogs),
            tour: None,
            open: None,
            station: Station::default(),
            photos: Photos::new(Arc::clone(&wake)),
            bench: Bench::new(Arc::clone(&wake)),
            loom: Loom::new(Arc::clone(&wake)),
            outside: Outside::new(Arc::clone(&wake)),
            changed: Changed::default(),
            shelf: Shelf::default(),
            path: String::new(),
            trouble: None,
            drawn: Drawn::default(),
            wake,
        }
    }

    /// Draw garments in the round, or not, from the next job that is opened. For tests, most of which look at no picture.
    pub fn draw(&mut self, drawn: Drawn) {
        self.drawn = drawn;
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

    /// The loom.
    pub fn loom(&self) -> &Loom {
        &self.loom
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
            Command::Close => self.put_away(),
            Command::Bring(files) => {
                self.bring(&files);
                if self.trouble.is_none() {
                    self.path.clear();
                }
            }
            Command::Start(OnStart::NoHints) => self.tour = None,
            Command::Start(asked) => {
                let ready = self.start.obey(asked);
                ready.into_iter().for_each(|ready| self.go_on(ready));
            }
            Command::Folder(asked) => {
                self.trouble = self.folders.obey(asked).err();
                self.share_folders();
            }
            Command::Lay(paths) => {
                let job = self.open.as_ref().map(|open| open.kept.path());
                self.photos.lay(&paths, job);
                self.station = Station::Photo;
            }
            Command::Patch(asked) => self.bench.obey(asked),
            Command::Photo(asked) => {
                let job = self.job_at_hand();
                self.photos.obey(asked, job.as_ref());
                self.keep_told();
            }
            Command::Loom(asked) => {
                let job = self.job_at_hand();
                self.loom.obey(asked, job);
            }
            Command::Undo if self.is_at_loom() => self.loom.undo(),
            Command::Redo if self.is_at_loom() => self.loom.redo(),
            Command::Undo | Command::Redo | Command::LetGo if self.station == Station::Photo => {
                if let Some(sheet) = self.photos.sheet_mut() {
                    match command {
                        Command::Undo => drop(sheet.steps.undo()),
                        Command::Redo => drop(sheet.steps.redo()),
                        _ => sheet.steps.let_go(),
                    }
                }
                self.keep_told();
            }
            Command::Go(station) => {
                self.station = station;
                self.look_over_if_new();
            }
            Command::Outside(what) => self.settle_changed(what),
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

    fn job_at_hand(&self) -> Option<(PathBuf, Arc<Job>)> {
        self.open.as_ref().map(|open| (open.kept.path().to_owned(), Arc::clone(open.job())))
    }

    /// What is told of a photo is kept beside the job, as the job's draft is.
    fn keep_told(&mut self) {
        if let Some(open) = &self.open
            && let Err(trouble) = self.photos.keep(open.kept.path())
        {
            self.trouble = Some(trouble);
        }
    }

    /// Whether one stands at the loom.
    pub(crate) fn is_at_loom(&self) -> bool {
        self.station == Station::Patch && self.loom.is_up
    }

    fn lay_on(&mut self, path: &Path) {
        match Kept::open(path) {
            Ok((kept, job, draft)) => {
                let history = History::new(job);
                match Work::start(path, Arc::clone(history.job()), self.drawn, Arc::clone(&self.wake)) {
                    Ok(work) => {
                        self.trouble = self.start.note(path).err();
                        self.tour = None;
                        self.changed = Changed::default();
                        self.open = Some(Open::new(kept, history, draft, work, Arc::clone(&self.wake)));
                        self.share_folders();
                    }
                    Err(error) => self.trouble = Some(Trouble::no_thread(&error)),
                }
            }
            Err(error) => self.trouble = Some(Trouble::of(&error)),
        }
    }

    /// The job goes back where it came from; the page at the start is seen.
    fn put_away(&mut self) {
        self.open = None;
        self.tour = None;
        self.trouble = None;
        self.changed = Changed { photos: std::mem::take(&mut self.changed.photos), ..Changed::default() };
        if self.station != Station::Photo {
            self.station = Station::default();
        }
    }

    /// What was asked at the start is ready.
    fn go_on(&mut self, ready: Ready) {
        match ready {
            Ready::Job(job) => self.obey(Command::Open(job)),
            Ready::Photos(photos) => self.obey(Command::Lay(photos)),
            Ready::Lights(lights) => self.light(lights),
            Ready::Patches(folder) => {
                // A patch that was chosen itself stands for those that lie beside it.
                let folder = folder_of_patches(&folder).unwrap_or(folder);
                self.obey(Command::Folder(OnFolder::Add(folder)));
            }
            Ready::Density(picture) => self.obey(Command::Density(picture)),
            Ready::Trouble(trouble) => self.trouble = Some(trouble),
            Ready::Sample(sample) => {
                self.obey(Command::Open(sample.job));
                if let Some(open) = &self.open {
                    self.tour = Some(Tour::new(open.job().placements.len()));
                    let [photo, _] = sample.photos;
                    self.photos.lay_sample(&photo);
                    self.station = Station::Photo;
                }
            }
        }
    }

    /// Patches elsewhere lie in every drawer.
    fn share_folders(&mut self) {
        let cards = self.folders.cards();
        if let Some(open) = &mut self.open {
            open.shelf.put_far(cards.clone());
        }
        self.shelf.put_far(cards);
    }

    /// Let the hints see what was done.
    fn lead_on(&mut self) {
        let (Some(tour), Some(open)) = (&mut self.tour, &self.open) else { return };
        tour.see(Sight {
            accepted: self.photos.sheets.iter().any(crate::photo::Sheet::is_accepted),
            taken: open.taken.is_some(),
            placed: open.job().placements.len(),
            delivered: open.outlook.delivered.as_ref().is_some_and(|job| Arc::ptr_eq(job, open.job())),
        });
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
            let news = open.work.news();
            news.into_iter().for_each(|news| self.hear_of_job(news));
        }
        if let Some(open) = &mut self.open {
            scattering::hear(open);
            open.settle();
            keep_draft(open);
        }
        let accepted = self.photos.hear();
        self.take_in(accepted);
        // A chart that was found is told now.
        self.keep_told();
        self.bench.hear();
        let woven = self.loom.hear();
        self.take_in(woven);
        for ready in self.start.hear() {
            self.go_on(ready);
        }
        if self.folders.hear() {
            self.share_folders();
        }
        self.lead_on();
        self.look_outside();
        self.look_over_if_new();
    }

    fn hear_of_job(&mut self, news: News) {
        let Some(open) = &mut self.open else { return };
        if matches!(news, News::Delivered(_) | News::Undone(_)) {
            // Read by name: a delivery that failed half-way wrote nothing.
            self.outside.mine(&JobFiles::of(open.kept.path(), open.history.job()).garment);
        }
        hear_in(open, news);
        open.settle();
    }

    /// Take in what others did to the files that lie here.
    fn look_outside(&mut self) {
        let is_writing = self.open.as_ref().is_some_and(|open| open.work.is_busy())
            || self.photos.is_accepting()
            || self.loom.is_accepting()
            || self.start.is_making();
        for (changed, cards) in self.outside.hear(is_writing) {
            self.take_in_changed(changed, cards);
        }
        let shelf = self.open.as_ref().map_or(&self.shelf, |open| &open.shelf);
        let table = Table {
            job: self.job_at_hand(),
            photos: self.photos.sheets.iter().flat_map(crate::photo::Sheet::files).collect(),
            patches: shelf.own().map(|card| card.folder.clone()).collect(),
            folders: self.folders.known(),
        };
        self.outside.follow(table);
    }

    fn take_in_changed(&mut self, mut changed: Changed, cards: Option<Vec<Card>>) {
        // What the desk saved itself is no change.
        changed.job &= self.open.as_ref().is_some_and(|open| open.kept.changed_outside());
        if changed.patches.iter().any(|patch| self.folders.hold(patch))
            && let Err(error) = self.folders.look_again()
        {
            self.trouble = Some(Trouble::no_thread(&error));
        }
        for folder in &changed.patches {
            self.renew_patch(cards.clone(), folder);
        }
        self.changed.add(changed);
    }

    /// A patch is another now: nothing of the old one is shown any more.
    fn renew_patch(&mut self, cards: Option<Vec<Card>>, folder: &Path) {
        self.bench.forget(folder);
        match &mut self.open {
            Some(open) => {
                open.shelf.renew(cards, folder);
                open.scattering.read_anew();
                open.history.let_go();
            }
            None => self.shelf.renew(cards, folder),
        }
        if self.open.as_ref().is_some_and(|open| open.lies_there(folder)) {
            self.stand_anew();
        }
    }

    /// The garment, its textures and its patches are read anew; the job stays as it is.
    fn stand_anew(&mut self) {
        let Some(open) = self.open.as_mut().filter(|open| !open.work.is_busy()) else { return };
        match Work::start(open.kept.path(), Arc::clone(open.history.job()), self.drawn, Arc::clone(&self.wake)) {
            Ok(work) => open.stand_anew(work),
            Err(error) => self.trouble = Some(Trouble::no_thread(&error)),
        }
    }

    fn settle_changed(&mut self, what: OnOutside) {
        match what {
            OnOutside::KeepJob => self.changed.job = false,
            OnOutside::Garment => {
                self.changed.garment.clear();
                self.stand_anew();
            }
            OnOutside::Photos => {
                let photos = std::mem::take(&mut self.changed.photos);
                self.photos.read_anew(&photos);
            }
            OnOutside::PutAside => self.changed = Changed { job: self.changed.job, ..Changed::default() },
        }
    }

    /// Wait until what others changed is noticed; whether it is within `patience`. For tests.
    pub fn wait_outside(&mut self, patience: Duration) -> bool {
        self.outside.wait(patience)
    }

    /// New patches lie in the drawer.
    fn take_in(&mut self, accepted: impl IntoIterator<Item = Accepted>) {
        for Accepted { folder, cards } in accepted {
            self.outside.mine(std::slice::from_ref(&folder));
            self.renew_patch(Some(cards), &folder);
            // What was made last is looked over first.
            self.bench.obey(OnPatch::Choose(folder));
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

    /// Whether the job's threads have done what they were asked.
    pub fn is_resting(&self) -> bool {
        self.open.as_ref().is_none_or(|open| open.scattering.is_resting() && open.work.is_resting())
    }

    /// Wait until the threads have done what they were asked, or one says nothing for `patience`; whether they have. For tests.
    pub fn wait(&mut self, patience: Duration) -> bool {
        if !self.outside.settle(patience) {
            return false;
        }
        while !self.start.is_resting() {
            let Some(ready) = self.start.wait(patience) else { return false };
            ready.into_iter().for_each(|ready| self.go_on(ready));
        }
        while !self.folders.is_resting() {
            match self.folders.wait(patience) {
                Some(true) => self.share_folders(),
                Some(false) => {}
                None => return false,
            }
        }
        while !self.photos.is_resting() {
            let Some(accepted) = self.photos.wait(patience) else { return false };
            self.take_in(accepted);
        }
        while !self.loom.is_resting() {
            let Some(woven) = self.loom.wait(patience) else { return false };
            self.take_in(woven);
        }
        for bench in [&mut self.bench, &mut self.loom.bench] {
            while !bench.is_resting() {
                if !bench.wait(patience) {
                    return false;
                }
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
            let opening = !open.dressed && open.trouble.is_none();
            if !opening && open.work.is_resting() {
                return true;
            }
            let Some(news) = open.work.wait(patience) else { return false };
            self.hear_of_job(news);
        }
    }

    /// Shots under several lamps, by their lights file: of the photo that is looked at, else of the first that the file names.
    fn light(&mut self, lights: PathBuf) {
        if self.photos.sheet().is_none() {
            match first_shot(&lights) {
                Ok(first) => self.obey(Command::Lay(first.into_iter().collect())),
                Err(error) => return self.trouble = Some(Trouble::of(&error)),
            }
        }
        self.station = Station::Photo;
        self.obey(Command::Photo(OnPhoto::Beside(Shot::Lights, Some(lights))));
    }

    /// Files that were dropped on the window, or named: a job is opened, a job is begun beside a mesh, photos are laid on the table.
    pub(crate) fn bring(&mut self, files: &[PathBuf]) {
        let (lights, others): (Vec<_>, Vec<_>) = files.iter().cloned().partition(|file| is_lights_file(file));
        let (jobs, others): (Vec<_>, Vec<_>) = others.into_iter().partition(|file| is_job(file));
        let (meshes, others): (Vec<_>, Vec<_>) = others.into_iter().partition(|file| is_mesh(file));
        let (folders, photos): (Vec<_>, Vec<_>) = others.into_iter().partition(|file| file.is_dir());
        if let Some(job) = jobs.into_iter().next() {
            self.obey(Command::Open(job));
        } else if let Some(mesh) = meshes.into_iter().next() {
            self.obey(Command::Start(OnStart::Begin(mesh)));
        }
        let by_picture = self.station == Station::Garment && self.open.as_ref().is_some_and(Open::can_lie_by_picture);
        match &photos[..] {
            [] => {}
            // With a scatter or wear in the hand, one picture says where there is more of it.
            [picture] if by_picture => self.obey(Command::Density(picture.clone())),
            _ => self.obey(Command::Lay(photos)),
        }
        if let Some(lights) = lights.into_iter().next() {
            self.light(lights);
        }
        let mut strange = None;
        for dropped in &folders {
            match folder_of_patches(dropped) {
                Some(folder) => self.obey(Command::Folder(OnFolder::Add(folder))),
                None => strange = strange.or(Some(dropped)),
            }
        }
        if let Some(folder) = strange {
            self.trouble = Some(Trouble { what: say::dropped_folder(folder), next: say::DROP_FILES.to_owned() });
        }
    }
}

/// Whether a file is a job's by its name.
pub fn is_job(file: &Path) -> bool {
    file.extension().is_some_and(|extension| extension == "toml")
}
