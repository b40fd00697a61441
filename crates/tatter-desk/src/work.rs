//! Work that takes longer than a frame: on named threads, the newest request first; results come back as news and wake the window.

use std::path::Path;
use std::sync::Arc;
use std::thread::{Builder, Scope, ScopedJoinHandle};
use std::time::Duration;

use tatter::deliver::{DeliveredFile, DeliverySummary, Foreign, Foreseen, deliver_states, foresee, undo_delivery};
use tatter::library::{Card, cards};
use tatter::proof::ProofError;
use tatter::stand::{Brush, Dresser, Fineness, Form, State, Textures, View};
use tatter::variation::Which;
use tatter_core::explain::Explain;
use tatter_core::image::LinearRgb;
use tatter_core::model::Job;
use tatter_core::task::Task;
use tatter_proof::{Camera, Picture};

use crate::crew::{Crew, Done, Telling};
pub use crate::newest::Wake;
use crate::newest::{Mouth, Newest};

/// An error as it is shown: what and where, and what to do.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Trouble {
    /// What and where.
    pub what: String,
    /// What to do about it.
    pub next: String,
}

impl Trouble {
    /// The system gives none.
    pub(crate) fn no_thread(error: &std::io::Error) -> Self {
        Self {
            what: format!("The system gives no thread to work on ({error})."),
            next: "Close other programs and try again.".to_owned(),
        }
    }

    /// Of an error of the façade.
    pub fn of(error: &dyn Explain) -> Self {
        let said = |text: String| crate::say::sentence(&crate::say::at_the_desk(&text));
        Self { what: said(error.to_string()), next: said(error.next()) }
    }
}

/// Whether the garment is drawn in the round.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Drawn {
    /// By an adapter, where there is one.
    #[default]
    ByAdapter,
    /// As coarsely as while something moves: a picture whose grain nobody looks at.
    Coarsely,
    /// Not at all, as on a system without an adapter: an adapter in software takes most of the time of a test that looks at no picture.
    Not,
}

/// What is wanted to be seen.
#[derive(Clone, Debug)]
pub struct Look {
    /// The job as it is.
    pub job: Arc<Job>,
    /// Where the eye stands.
    pub camera: Camera,
    /// Columns and rows of the solid view, pixels.
    pub size: [u32; 2],
    /// Backdrop of the solid view.
    pub backdrop: [LinearRgb; 2],
    /// The map set of the flat view.
    pub sheet: usize,
    /// Something is being dragged: what is fine can wait.
    pub moving: bool,
    /// The garment as it was is wanted, too.
    pub pair: bool,
}

impl PartialEq for Look {
    fn eq(&self, other: &Self) -> bool {
        let same = |one: &Self| (one.camera, one.size, one.backdrop, one.sheet, one.moving, one.pair);
        Arc::ptr_eq(&self.job, &other.job) && same(self) == same(other)
    }
}

/// What an errand is about.
#[derive(Clone, Debug)]
pub enum Errand {
    /// See what a delivery of the job would do, as it is now.
    Foresee(Arc<Job>),
    /// Deliver; with all variations, if so.
    Deliver(Foreign, bool),
    /// Put back what was there before the last delivery.
    Undo,
}

/// What comes back from the threads.
#[derive(Debug)]
pub enum News {
    /// The garment's shape.
    Form(Arc<Form>),
    /// The patches at hand.
    Cards(Vec<Card>),
    /// Looks can be asked for; why nothing can be drawn, if so.
    Ready(Option<String>),
    /// The solid view from where the eye stood, without textures.
    Clay(Picture, Camera),
    /// The textures are there.
    Dressed,
    /// The flat view of a map set.
    Flat(usize, Picture),
    /// The solid view from where the eye stood.
    Solid {
        /// As it was or as it becomes.
        state: State,
        /// What was drawn.
        picture: Picture,
        /// Where the eye stood.
        camera: Camera,
        /// Whether it gets no finer.
        is_last: bool,
    },
    /// The garment could not be opened or shown.
    Trouble(Trouble),
    /// What the job lays can't be laid.
    Unlaid(Trouble),
    /// What the job lays could be laid.
    Laid,
    /// A request is done, and nothing newer was asked.
    Rested(u64),
    /// Stage and share of an errand.
    Progress(String, f32),
    /// What a delivery would do.
    Foreseen(Result<Foreseen, Trouble>),
    /// What a delivery did: the files of each state delivered.
    Delivered(Result<Vec<DeliveredFile>, Trouble>),
    /// What was put back.
    Undone(Result<DeliverySummary, Trouble>),
}

/// The threads of one open job.
pub struct Work(Crew<Look, News>);

impl std::fmt::Debug for Work {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.debug_struct("Work").field("is_resting", &self.is_resting()).finish_non_exhaustive()
    }
}

impl Work {
    /// Start to open a job's garment.
    ///
    /// # Errors
    /// When the system has no thread to give.
    pub fn start(path: &Path, job: Arc<Job>, drawn: Drawn, wake: Wake) -> std::io::Result<Self> {
        let path = path.to_owned();
        Crew::begin("stand", wake, move |post, mouth| stand(&path, &job, drawn, post, mouth)).map(Self)
    }

    /// Ask to see something; what was asked before is dropped.
    pub fn look(&mut self, look: Look) {
        self.0.ask(look);
    }

    /// What came since.
    pub fn news(&mut self) -> Vec<News> {
        self.0.news()
    }

    /// What comes next, when it comes within `patience`: for tests, which have nothing else to do.
    pub fn wait(&mut self, patience: Duration) -> Option<News> {
        self.0.wait(patience)
    }

    /// Whether all that was asked is done.
    pub fn is_resting(&self) -> bool {
        self.0.is_resting()
    }

    /// Whether an errand is under way.
    pub fn is_busy(&self) -> bool {
        self.0.is_busy()
    }

    /// Send for something; nothing happens while an errand is under way.
    ///
    /// # Errors
    /// When the system has no thread to give.
    pub fn send(&mut self, errand: Errand, path: &Path) -> std::io::Result<()> {
        let path = path.to_owned();
        let run = move |task: &Task| match errand {
            Errand::Foresee(job) => News::Foreseen(foresee(&path, &job, task).map_err(|error| Trouble::of(&error))),
            Errand::Deliver(foreign, all) => {
                let done = deliver_states(&path, if all { Which::All } else { Which::Job }, foreign, task);
                let files = done.map(|states| states.into_iter().flat_map(|state| state.files).collect());
                News::Delivered(files.map_err(|error| Trouble::of(&error)))
            }
            Errand::Undo => News::Undone(undo_delivery(&path, task).map_err(|error| Trouble::of(&error))),
        };
        self.0.errands().send("errand", |stage, share| News::Progress(stage.to_owned(), share), run)
    }

    /// Ask the errand to stop.
    pub fn stop(&mut self) {
        self.0.errands().stop();
    }
}

impl Telling for News {
    fn done(&self) -> Option<Done> {
        match self {
            Self::Rested(number) => Some(Done::Request(*number)),
            Self::Foreseen(_) | Self::Delivered(_) | Self::Undone(_) => Some(Done::Errand),
            _ => None,
        }
    }
}

/// The thread that keeps the garment on its stand.
fn stand(path: &Path, job: &Arc<Job>, drawn: Drawn, post: &Newest<Look>, mouth: &Mouth<News>) {
    let task = Task::new();
    std::thread::scope(|scope| {
        if let Err(trouble) = stand_in(scope, (path, job, drawn), &task, post, mouth) {
            // What is still read is for nothing.
            task.cancel();
            mouth.tell(News::Trouble(trouble));
        }
    });
}

/// Enough for the shape and a picture of each channel at once.
const MANY_CORES: usize = 8;

/// How long nobody looks whether the textures are there.
const GLANCE: Duration = Duration::from_millis(5);

/// Shape, textures, patches and adapter are made ready beside each other; what is there first is shown first.
fn stand_in<'scope>(
    scope: &'scope Scope<'scope, '_>,
    (path, job, drawn): (&'scope Path, &'scope Arc<Job>, Drawn),
    task: &'scope Task,
    post: &Newest<Look>,
    mouth: &Mouth<News>,
) -> Result<(), Trouble> {
    let textures = move || beside(scope, "textures", move || Textures::read(job, path, task));
    // On few cores pictures that are unpacked would leave none for the shape.
    let many_cores = std::thread::available_parallelism().is_ok_and(|cores| cores.get() >= MANY_CORES);
    let at_once = many_cores.then(textures).transpose()?;
    let brush =
        beside(scope, "brush", move || if drawn == Drawn::Not { Brush::none(crate::say::NOT_DRAWN) } else { Brush::find() })?;
    let drawer = mouth.clone();
    let cards = beside(scope, "cards", move || drawer.tell(News::Cards(cards(path, job))))?;
    let form = Arc::new(Form::read(job, path, task).map_err(|error| Trouble::of(&error))?);
    mouth.tell(News::Form(Arc::clone(&form)));
    let textures = at_once.map_or_else(textures, Ok)?;
    let mut dresser = Dresser::new(Arc::clone(job), path.to_owned(), form, joined(brush));
    mouth.tell(News::Ready(dresser.without_adapter().map(str::to_owned)));
    let mut seen = 0;
    while !textures.is_finished() {
        if post.ends() {
            task.cancel();
            return Ok(());
        }
        if let Some((look, number)) = post.peek(seen, GLANCE)
            && drawn == Drawn::ByAdapter
        {
            seen = number;
            clay(&mut dresser, &look, mouth);
        }
    }
    let textures = joined(textures).map_err(|error| Trouble::of(&error))?;
    dresser.dress(textures).map_err(|error| Trouble::of(&error))?;
    joined(cards);
    mouth.tell(News::Dressed);
    while let Some((look, number, task)) = post.next(|_| Task::new()) {
        show(&mut dresser, &look, drawn, &task, mouth);
        if !post.is_newer(number) {
            mouth.tell(News::Rested(number));
        }
    }
    Ok(())
}

/// A thread beside this one.
fn beside<'scope, T: Send + 'scope>(
    scope: &'scope Scope<'scope, '_>,
    name: &str,
    run: impl FnOnce() -> T + Send + 'scope,
) -> Result<ScopedJoinHandle<'scope, T>, Trouble> {
    Builder::new().name(name.to_owned()).spawn_scoped(scope, run).map_err(|error| Trouble::no_thread(&error))
}

/// What a thread beside this one made; its panic is this one's, too.
fn joined<T>(thread: ScopedJoinHandle<'_, T>) -> T {
    thread.join().unwrap_or_else(|panic| std::panic::resume_unwind(panic))
}

/// The garment's shape, while its textures are read.
fn clay(dresser: &mut Dresser, look: &Look, mouth: &Mouth<News>) {
    let size = bearable(dresser, look.size).map(|side| (side / 2).max(1));
    let view = View { camera: look.camera, size, samples: 1, quick: true, keeps_shadow: false, backdrop: look.backdrop };
    // What goes wrong here goes wrong with textures, too, and is told then.
    if let Ok(Some(picture)) = dresser.draw_clay(&view, &Task::new()) {
        mouth.tell(News::Clay(picture, look.camera));
    }
}

/// Most pixels of a picture by an adapter in software: what it draws, it draws in the time of the two cores that the window needs, too.
const SOFTWARE_MOST: f32 = 700_000.0;

/// A size, smaller where a software adapter is to draw it.
fn bearable(dresser: &Dresser, size: [u32; 2]) -> [u32; 2] {
    let pixels = size[0] as f32 * size[1] as f32;
    if !dresser.is_software() || pixels <= SOFTWARE_MOST {
        return size;
    }
    let share = (SOFTWARE_MOST / pixels).sqrt();
    size.map(|side| ((side as f32 * share).round() as u32).max(1))
}

/// Pixels to a side of the flat view at each fineness.
const FLAT: [usize; 2] = [512, 1024];
/// Pictures averaged for the first look at fine textures: smooth edges under an open sky. Few samples of a sky with shadows would show each
/// of its lamps alone.
const FIRST_SAMPLES: u32 = 4;
/// For the last: sixteen pieces of sky with their shadows; grain that is left in them a second more in software would take away.
const LAST_SAMPLES: u32 = 16;

/// Placements that are matched as fast as one is.
const FEW: usize = 8;

/// Coarse first, then finer until something newer is asked.
fn show(dresser: &mut Dresser, look: &Look, drawn: Drawn, task: &Task, mouth: &Mouth<News>) {
    let outcome = (|| {
        coarse(dresser, look, drawn, mouth)?;
        if !look.moving && drawn != Drawn::Coarsely {
            fine(dresser, look, task, mouth)?;
            // Where pieces borrowed their match at first, they have their own before something moves.
            dresser.lay(&look.job, Fineness::Coarse, task)?;
        }
        Ok::<(), ProofError>(())
    })();
    // Stopped for something newer is no trouble.
    if let Err(error) = outcome
        && task.check().is_ok()
    {
        mouth.tell(News::Unlaid(Trouble::of(&error)));
    }
}

fn coarse(dresser: &mut Dresser, look: &Look, drawn: Drawn, mouth: &Mouth<News>) -> Result<(), ProofError> {
    // To its end: while a pointer moves faster than pictures come, none would ever come.
    let task = Task::new();
    // What was just opened is seen before each of many pieces is matched.
    let first = !dresser.is_laid() && look.job.placements.len() > FEW;
    if (look.moving || first) && drawn != Drawn::Coarsely {
        dresser.lay_quickly(&look.job, &task)?;
    } else {
        dresser.lay(&look.job, Fineness::Coarse, &task)?;
    }
    mouth.tell(News::Laid);
    let size = bearable(dresser, look.size).map(|side| (side / 2).max(1));
    let view = View { camera: look.camera, size, samples: 1, quick: true, keeps_shadow: look.moving, backdrop: look.backdrop };
    let is_last = drawn == Drawn::Coarsely;
    // The garment as it was can wait for the fine one, if that comes.
    let states = if look.pair && is_last { &[State::After, State::Before][..] } else { &[State::After] };
    for state in states {
        if let Some(picture) = dresser.draw(*state, Fineness::Coarse, &view, &task)? {
            mouth.tell(News::Solid { state: *state, picture, camera: look.camera, is_last });
        }
    }
    // The hand is on the garment: it comes first.
    if let Some(flat) = dresser.flat(look.sheet, Fineness::Coarse, FLAT[0]) {
        mouth.tell(News::Flat(look.sheet, flat));
    }
    Ok(())
}

fn fine(dresser: &mut Dresser, look: &Look, task: &Task, mouth: &Mouth<News>) -> Result<(), ProofError> {
    dresser.lay(&look.job, Fineness::Fine, task)?;
    if let Some(flat) = dresser.flat(look.sheet, Fineness::Fine, FLAT[1]) {
        mouth.tell(News::Flat(look.sheet, flat));
    }
    let size = bearable(dresser, look.size);
    let states = if look.pair { &[State::After, State::Before][..] } else { &[State::After] };
    for (samples, quick) in [(FIRST_SAMPLES, true), (LAST_SAMPLES, false)] {
        for state in states {
            let view = View { camera: look.camera, size, samples, quick, keeps_shadow: false, backdrop: look.backdrop };
            if let Some(picture) = dresser.draw(*state, Fineness::Fine, &view, task)? {
                mouth.tell(News::Solid { state: *state, picture, camera: look.camera, is_last: !quick });
            }
        }
    }
    Ok(())
}
