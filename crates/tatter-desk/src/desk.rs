//! The desk itself: what lies on it, what it is asked, and what its threads say.

use std::path::{Path, PathBuf};
use std::sync::Arc;
use std::time::Duration;

use tatter::history::{Edit, History};
use tatter::keep::{Kept, Over};
use tatter::place::{PlaceRequest, SizeChoice};
use tatter::stand::{State, Touch};
use tatter_core::angle::Angle;
use tatter_core::channel::PerChannel;
use tatter_core::model::Match;

use crate::command::{Command, Station};
use crate::open::Open;
use crate::say;
use crate::work::{Errand, Look, News, Trouble, Wake, Work};

/// How far one may look up or down.
const HIGHEST: f32 = 85.0;
/// How near one may come: threads of a coat fill the view.
const NEAREST: f32 = 60.0;

/// Everything the window shows.
pub struct Desk {
    pub(crate) open: Option<Open>,
    pub(crate) station: Station,
    /// What is written as the path of a job, when none is open.
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
        Self { open: None, station: Station::default(), path: String::new(), trouble: None, wake }
    }

    /// The job on it.
    pub fn open(&self) -> Option<&Open> {
        self.open.as_ref()
    }

    /// Where one stands.
    pub fn station(&self) -> Station {
        self.station
    }

    /// What went wrong last, as it is shown.
    pub fn trouble(&self) -> Option<&Trouble> {
        self.trouble.as_ref().or(self.open.as_ref().and_then(|open| open.trouble.as_ref()))
    }

    /// Do what was asked.
    pub fn obey(&mut self, command: Command) {
        match command {
            Command::Open(path) => self.lay_on(&path),
            Command::Go(station) => {
                self.station = station;
                self.look_over_if_new();
            }
            Command::Dismiss => {
                self.trouble = None;
                if let Some(open) = &mut self.open {
                    open.trouble = None;
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
                        self.open = Some(Open::new(kept, history, draft, work));
                    }
                    Err(error) => self.trouble = Some(no_thread(&error)),
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
            open.settle();
        }
        self.look_over_if_new();
    }

    /// Ask for the picture that the desk as it stands now calls for, if it is another than what was asked last.
    pub(crate) fn look(&mut self, backdrop: [tatter_core::image::LinearRgb; 2]) {
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
        loop {
            let Some(open) = &mut self.open else { return true };
            let opening = !open.ready && open.trouble.is_none();
            if !opening && open.work.is_resting() {
                return true;
            }
            let Some(news) = open.work.wait(patience) else { return false };
            hear_in(open, news);
            open.settle();
        }
    }

    /// Files that were dropped on the window: a job is opened.
    pub(crate) fn dropped(&mut self, files: &[PathBuf]) {
        match files.iter().find(|file| file.to_string_lossy().ends_with(".toml")) {
            Some(job) => self.obey(Command::Open(job.clone())),
            None if files.is_empty() => {}
            None => {
                self.trouble = Some(Trouble {
                    what: format!("This is not a job file: {}.", files[0].display()),
                    next: say::OPEN_FIRST.to_owned(),
                });
            }
        }
    }
}

fn no_thread(error: &std::io::Error) -> Trouble {
    Trouble {
        what: format!("The system gives no thread to work on ({error})."),
        next: "Close other programs and open the job again.".to_owned(),
    }
}

fn look_over(open: &mut Open) {
    let job = Arc::clone(open.history.job());
    open.outlook.asked = Some(Arc::clone(&job));
    send(open, Errand::Foresee(job));
}

fn send(open: &mut Open, errand: Errand) {
    open.outlook.trouble = None;
    open.outlook.progress = None;
    let path = open.kept.path().to_owned();
    if let Err(error) = open.work.send(errand, &path) {
        open.outlook.trouble = Some(no_thread(&error));
    }
}

/// What is asked of an open job.
fn obey_in(open: &mut Open, command: Command) {
    match command {
        Command::Take(patch) => open.taken = patch,
        Command::Touch(touch) => touched(open, &touch),
        Command::Select(id) => open.selected = id,
        Command::Make(edit) => make(open, &edit),
        Command::Drag(edit) => {
            if let Err(error) = open.history.make_in_gesture(&edit) {
                open.trouble = Some(Trouble::of(&error));
            }
        }
        Command::LetGo => open.history.let_go(),
        Command::Undo => drop(open.history.undo()),
        Command::Redo => drop(open.history.redo()),
        Command::Save(over) => drop(save(open, over)),
        Command::Draft(take) => draft(open, take),
        Command::Walk { turn, lift } => {
            open.stance.turn = open.stance.turn + turn;
            let lift = (open.stance.lift + lift).to_degrees().clamp(-HIGHEST, HIGHEST);
            open.stance.lift = Angle::degrees(lift);
        }
        Command::Nearer(factor) => open.stance.near = (open.stance.near * factor).clamp(0.3, NEAREST),
        Command::Shift([right, up]) => {
            let [x, y] = open.stance.shift;
            let most = open.stance.near.max(1.0);
            open.stance.shift = [(x + right).clamp(-most, most), (y + up).clamp(-most, most)];
        }
        Command::Sheet(sheet) => open.sheet = sheet,
        Command::Slide(at) => open.slide = at.clamp(0.0, 1.0),
        Command::LookOver => look_over(open),
        Command::Deliver(foreign) => {
            if save(open, Over::Nothing) {
                open.outlook.said = None;
                open.outlook.sent = Some(Arc::clone(open.history.job()));
                send(open, Errand::Deliver(foreign));
            }
        }
        Command::PutBack => {
            open.outlook.said = None;
            send(open, Errand::Undo);
        }
        Command::Stop => open.work.stop(),
        Command::Open(_) | Command::Go(_) | Command::Dismiss | Command::ReadAnew => {}
    }
}

fn make(open: &mut Open, edit: &Edit) {
    match open.history.make(edit) {
        Ok(id) => open.selected = Some(id),
        Err(error) => open.trouble = Some(Trouble::of(&error)),
    }
}

/// What was taken lies there now; with empty hands, what lies there is selected.
fn touched(open: &mut Open, touch: &Touch) {
    let Some(card) = open.taken_card() else {
        open.selected = open.placement_at(touch.point);
        return;
    };
    let request = PlaceRequest {
        job: open.kept.path().to_owned(),
        patch: card.folder.clone(),
        spot: touch.spot.clone(),
        turn: Angle::ZERO,
        size: SizeChoice::Own,
        mirror: false,
        rules: PerChannel::default(),
        matching: Match::default(),
    };
    make(open, &Edit::Lay(Box::new(request)));
    open.taken = None;
    open.sheet = touch.set;
}

/// Save; whether the file holds the job now.
fn save(open: &mut Open, over: Over) -> bool {
    if open.history.is_saved() && over == Over::Nothing && !open.kept.changed_outside() {
        return true;
    }
    let job = Arc::clone(open.history.job());
    match open.kept.save(&job, over) {
        Ok(()) => {
            open.history.note_saved();
            open.drafted = Some(job);
            open.trouble = None;
            true
        }
        Err(error) => {
            open.trouble = Some(Trouble::of(&error));
            false
        }
    }
}

fn draft(open: &mut Open, take: bool) {
    let Some(draft) = open.draft.take() else { return };
    if take {
        open.history.take_up("take up what was not saved", draft);
    } else if let Err(error) = open.kept.forget() {
        open.trouble = Some(Trouble::of(&error));
    }
}

/// Keep what is not saved beside the job, once nothing is dragged. A draft that waits to be taken up is not written over.
fn keep_draft(open: &mut Open) {
    let job = open.history.job();
    let known = open.drafted.as_ref().is_some_and(|drafted| Arc::ptr_eq(drafted, job));
    if known || open.history.is_dragging() || open.draft.is_some() {
        return;
    }
    let untouched = open.drafted.is_none() && open.history.is_saved();
    let kept = match (untouched, open.history.is_saved()) {
        (true, _) => Ok(()),
        (false, true) => open.kept.forget(),
        (false, false) => open.kept.draft(job),
    };
    if !untouched {
        open.drafted = Some(Arc::clone(job));
    }
    if let Err(error) = kept {
        open.trouble = Some(Trouble::of(&error));
    }
}

fn hear_in(open: &mut Open, news: News) {
    match news {
        News::Form(form) => open.form = Some(form),
        News::Cards(cards) => open.cards = cards,
        News::Ready(without) => {
            open.ready = true;
            open.without_adapter = without;
        }
        News::Flat(sheet, picture) => {
            if sheet == open.sheet {
                open.flat.take(picture, None);
            }
        }
        News::Solid { state, picture, camera, .. } => {
            let shown = if state == State::After { &mut open.solid } else { &mut open.before };
            shown.take(picture, Some(camera));
        }
        News::Trouble(trouble) => open.trouble = Some(trouble),
        News::Laid | News::Rested(_) => {}
        News::Progress(stage, share) => open.outlook.progress = Some((stage, share)),
        News::Foreseen(found) => {
            if let Some(job) = open.outlook.asked.clone() {
                open.outlook.foreseen = Some((job, found));
            }
        }
        News::Delivered(done) => errand_done(open, done.map(|summary| summary.files), say::delivered, true),
        News::Undone(done) => errand_done(open, done.map(|summary| summary.files), say::put_back, false),
    }
}

fn errand_done(
    open: &mut Open,
    done: Result<Vec<tatter::deliver::DeliveredFile>, Trouble>,
    say: impl Fn(usize) -> String,
    delivered: bool,
) {
    open.outlook.progress = None;
    match done {
        Ok(files) => {
            let written = files.iter().filter(|file| file.outcome != tatter::deliver::Outcome::Unchanged).count();
            open.outlook.said = Some(say(written));
            open.outlook.trouble = None;
            open.outlook.delivered = open.outlook.sent.take().filter(|_| delivered);
        }
        Err(trouble) => open.outlook.trouble = Some(trouble),
    }
    // How the files stand has changed.
    open.outlook.asked = None;
}
