//! The scatter that is taken up: its rule while it is changed, and the thread that throws it.

use std::collections::BTreeMap;
use std::path::Path;
use std::sync::Arc;
use std::time::Duration;

use tatter::history::Edit;
use tatter::library::Canvas;
use tatter::scatter::{Draft, Yielded, named, proposed};
use tatter::stand::{Form, Lie, Thrower};
use tatter_core::model::{PatchRef, Placement};
use tatter_core::task::Task;

use crate::command::{List, OnScatter};
use crate::crew::{Crew, Done, Telling, at_work};
use crate::newest::{Mouth, Newest, Wake};
use crate::open::{Open, lies_alike};
use crate::say;
use crate::work::Trouble;

/// What is known of the scatter that is taken up.
pub(crate) struct Scattering {
    pub(crate) chosen: Option<String>,
    /// As it is to be; what it yields is not known yet.
    pub(crate) draft: Option<Draft>,
    /// Why it yields nothing.
    pub(crate) trouble: Option<Trouble>,
    /// That not all find room, and the scatter it is said of.
    pub(crate) shortfall: Option<(String, String)>,
    /// A number is being dragged: all throws until it is let go are one step.
    is_held: bool,
    /// It was let go, and the step is closed with the last throw.
    closes: bool,
    work: Option<Crew<Throw, News>>,
    wake: Wake,
}

impl Scattering {
    pub(crate) fn new(wake: Wake) -> Self {
        Self { chosen: None, draft: None, trouble: None, shortfall: None, is_held: false, closes: false, work: None, wake }
    }

    /// Whether all that was asked is done.
    pub(crate) fn is_resting(&self) -> bool {
        self.work.as_ref().is_none_or(Crew::is_resting)
    }

    /// The garment or a patch is another now: nothing that was read of them is used any more.
    pub(crate) fn read_anew(&mut self) {
        self.forget();
        self.work = None;
    }

    /// What was asked is wanted no more.
    pub(crate) fn forget(&mut self) {
        self.draft = None;
        self.trouble = None;
        self.is_held = false;
        if let Some(work) = &self.work {
            work.stop();
        }
    }

    fn ask(&mut self, throw: Throw, form: &Arc<Form>, job: &Path) {
        self.draft = Some(throw.draft.clone());
        self.trouble = None;
        let (form, job) = (Arc::clone(form), job.to_owned());
        let begin = || Crew::begin("scatter", Arc::clone(&self.wake), move |post, mouth| run(&form, &job, post, mouth));
        match at_work(&mut self.work, begin) {
            Ok(work) => work.ask(throw),
            Err(error) => self.trouble = Some(Trouble::no_thread(&error)),
        }
    }
}

/// The scatter that is taken up, as it is or is to be.
pub(crate) fn chosen(open: &Open) -> Option<Draft> {
    let id = open.scattering.chosen.as_ref()?;
    let drafted = open.scattering.draft.as_ref().filter(|draft| draft.rule.id == *id);
    let known = || open.job().scatters.iter().find(|scatter| scatter.id == *id).map(|rule| Draft::of(open.job(), rule));
    drafted.cloned().or_else(known)
}

/// How the job names a patch of the drawer, or would.
pub(crate) fn patch_of(open: &Open, folder: &Path) -> Result<PatchRef, Trouble> {
    named(open.job(), open.kept.path(), folder).map_err(|error| Trouble::of(&error))
}

/// Do what is asked of the scatters.
pub(crate) fn obey(open: &mut Open, asked: OnScatter) {
    match asked {
        OnScatter::New => begin(open),
        OnScatter::Choose(id) => {
            open.list = List::Scatters;
            open.selected = None;
            open.chalk = false;
            open.scattering.chosen = id;
        }
        OnScatter::Throw(draft) => {
            open.history.let_go();
            open.scattering.is_held = false;
            throw(open, *draft);
        }
        OnScatter::Drag(draft) => {
            open.scattering.is_held = true;
            throw(open, *draft);
        }
    }
}

/// Whether the hand was on a number of a rule whose last throw is still to come: the step is closed when it has come.
pub(crate) fn let_go(open: &mut Open) -> bool {
    let was_held = std::mem::replace(&mut open.scattering.is_held, false);
    open.scattering.closes = was_held && !open.scattering.is_resting();
    open.scattering.closes
}

/// A new one, of the patch in the hand, else of the one that is selected, else of the first in the drawer.
fn begin(open: &mut Open) {
    let selected = || open.card_of(&open.selected_placement()?.patch);
    let first = || open.shelf.cards.iter().find(|card| card.canvas.is_ok());
    let Some(folder) = open.taken_card().or_else(selected).or_else(first).map(|card| card.folder.clone()) else { return };
    match patch_of(open, &folder) {
        Ok(patch) => {
            let draft = proposed(open.job(), patch);
            obey(open, OnScatter::Choose(Some(draft.rule.id.clone())));
            open.taken = None;
            obey(open, OnScatter::Throw(Box::new(draft)));
        }
        Err(trouble) => open.trouble = Some(trouble),
    }
}

fn throw(open: &mut Open, draft: Draft) {
    let Some(form) = open.form.clone() else { return };
    let canvas = |patch: &PatchRef| Some((patch.name.clone(), open.canvas_at(&patch.path)?));
    let canvases = draft.patches.iter().filter_map(canvas).collect();
    let job = open.kept.path().to_owned();
    open.scattering.ask(Throw { draft, canvases }, &form, &job);
}

/// Take in what the thread has said since.
pub(crate) fn hear(open: &mut Open) {
    let news = open.scattering.work.as_mut().map(Crew::news).unwrap_or_default();
    news.into_iter().for_each(|news| hear_one(open, news));
}

/// Wait for what the thread says next; whether it says something within `patience`.
pub(crate) fn wait(open: &mut Open, patience: Duration) -> bool {
    let news = open.scattering.work.as_mut().and_then(|work| work.wait(patience));
    news.map(|news| hear_one(open, news)).is_some()
}

fn hear_one(open: &mut Open, news: News) {
    match news {
        News::Rested(_) => {
            if std::mem::take(&mut open.scattering.closes) {
                open.history.let_go();
            }
        }
        // Undone or put aside meanwhile.
        _ if open.scattering.draft.is_none() => {}
        News::Refused(trouble, is_last) => {
            open.scattering.trouble = Some(trouble);
            open.scattering.closes |= is_last && !open.scattering.is_held;
        }
        News::Yielded(yielded, lies, is_last) => {
            let id = yielded.draft.rule.id.clone();
            open.scattering.shortfall = yielded.shortfall().map(|text| (id, say::without_name(&text)));
            open.lies.extend(lies.into_iter().map(|(placement, lie)| (placement.id.clone(), (placement, lie))));
            if let Err(error) = open.history.make_in_gesture(&Edit::Scatter(yielded)) {
                open.trouble = Some(Trouble::of(&error));
            }
            if is_last {
                open.scattering.draft = None;
            }
            // Unless the hand is still on the number.
            open.scattering.closes |= is_last && !open.scattering.is_held;
        }
    }
}

/// A rule, and the canvases of its patches by their names.
#[derive(Clone, Debug)]
struct Throw {
    draft: Draft,
    canvases: BTreeMap<String, Canvas>,
}

type Lies = Vec<(Placement, Result<Lie, Trouble>)>;

enum News {
    /// What a rule yields and how that lies; whether nothing newer was asked.
    Yielded(Box<Yielded>, Lies, bool),
    Refused(Trouble, bool),
    Rested(u64),
}

impl Telling for News {
    fn done(&self) -> Option<Done> {
        match self {
            Self::Rested(number) => Some(Done::Request(*number)),
            _ => None,
        }
    }
}

/// The thread that throws rules.
fn run(form: &Arc<Form>, job: &Path, post: &Newest<Throw>, mouth: &Mouth<News>) {
    let mut thrower = Thrower::new(Arc::clone(form), job);
    let mut lain = Lies::new();
    while let Some((Throw { draft, canvases }, number, task)) = post.next(|_| Task::new()) {
        let news = thrower.throw(draft, &task);
        let is_last = !post.is_newer(number);
        match news {
            Ok(yielded) => {
                let lies = lies(form, &yielded, &canvases, &lain);
                lain.clone_from(&lies);
                mouth.tell(News::Yielded(Box::new(yielded), lies, is_last));
            }
            // Stopped for something newer is no trouble.
            Err(_) if task.check().is_err() => {}
            Err(error) => mouth.tell(News::Refused(Trouble::of(&error), is_last)),
        }
        if is_last {
            mouth.tell(News::Rested(number));
        }
    }
}

/// How what was thrown lies, as far as the canvases are known; `before` is how the throw before lay.
fn lies(form: &Form, yielded: &Yielded, canvases: &BTreeMap<String, Canvas>, before: &Lies) -> Lies {
    let before: BTreeMap<&str, &(Placement, Result<Lie, Trouble>)> =
        before.iter().map(|lain| (lain.0.id.as_str(), lain)).collect();
    let known =
        |placement: &Placement| before.get(placement.id.as_str()).copied().filter(|(before, _)| lies_alike(before, placement));
    let laid = || yielded.placements.iter().map(|(_, placement)| placement);
    let new: Vec<(&Placement, Canvas)> =
        laid().filter(|p| known(p).is_none()).filter_map(|p| Some((p, *canvases.get(&p.patch)?))).collect();
    let said = |lie: Result<Lie, _>| lie.map_err(|error| Trouble::of(&error));
    let found = new.iter().zip(form.lies(&new)).map(|((placement, _), lie)| (Placement::clone(placement), said(lie)));
    let kept = laid().filter_map(|p| Some((p.clone(), known(p)?.1.clone())));
    found.chain(kept).collect()
}
