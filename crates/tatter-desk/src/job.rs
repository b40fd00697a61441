//! What is asked of the job on the table, and what its threads say.

use std::path::Path;
use std::sync::Arc;

use tatter::history::Edit;
use tatter::keep::Over;
use tatter::place::{PlaceRequest, SizeChoice};
use tatter::stand::{State, Touch};
use tatter_core::angle::Angle;
use tatter_core::channel::PerChannel;
use tatter_core::model::Match;

use crate::command::{Command, List, OnScatter, OnWear};
use crate::open::{Open, folder_of};
use crate::work::{Errand, News, Trouble};
use crate::{line, say, scattering, wearing};

/// How far one may look up or down.
const HIGHEST: f32 = 85.0;
/// How near one may come: threads of a coat fill the view.
const NEAREST: f32 = 60.0;

/// Ask what a delivery of the job would do.
pub(crate) fn look_over(open: &mut Open) {
    let job = Arc::clone(open.history.job());
    // Why a delivery failed stays to be read while it is seen how the files stand since.
    if open.outlook.asked.replace(Arc::clone(&job)).is_some() {
        open.outlook.trouble = None;
    }
    send(open, Errand::Foresee(job));
}

fn send(open: &mut Open, errand: Errand) {
    if !matches!(errand, Errand::Foresee(_)) {
        open.outlook.trouble = None;
    }
    open.outlook.progress = None;
    let path = open.kept.path().to_owned();
    if let Err(error) = open.work.send(errand, &path) {
        open.outlook.trouble = Some(Trouble::no_thread(&error));
    }
}

/// What is asked of an open job.
pub(crate) fn obey_in(open: &mut Open, command: Command) {
    match command {
        Command::Take(patch) => {
            open.taken = patch;
            open.chalk = false;
        }
        Command::List(list) => {
            open.list = list;
            open.chalk = false;
        }
        Command::Scatter(asked) => scattering::obey(open, asked),
        Command::Wear(asked) => wearing::obey(open, asked),
        Command::Line(asked) => line::obey(open, asked),
        Command::Density(picture) => by_picture(open, &picture),
        Command::Touch(touch) => touched(open, &touch),
        Command::Select(id) => select(open, id),
        Command::Make(edit) => make(open, &edit),
        Command::Drag(edit) => {
            if let Err(error) = open.history.make_in_gesture(&edit) {
                open.trouble = Some(Trouble::of(&error));
            }
        }
        Command::LetGo => {
            if !scattering::let_go(open) {
                open.history.let_go();
            }
        }
        Command::Undo => {
            open.scattering.forget();
            open.wearing.draft = None;
            open.history.undo();
        }
        Command::Redo => {
            open.scattering.forget();
            open.history.redo();
        }
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
                let all = open.outlook.with_variations && !open.job().variations.is_empty();
                send(open, Errand::Deliver(foreign, all));
            }
        }
        Command::WithVariations(with) => open.outlook.with_variations = with,
        Command::PutBack => {
            open.outlook.said = None;
            send(open, Errand::Undo);
        }
        Command::Stop => open.work.stop(),
        Command::Open(_)
        | Command::Close
        | Command::Bring(_)
        | Command::Start(_)
        | Command::Folder(_)
        | Command::Go(_)
        | Command::Outside(_)
        | Command::Dismiss
        | Command::ReadAnew
        | Command::Lay(_)
        | Command::Loom(_)
        | Command::Photo(_)
        | Command::Patch(_) => {}
    }
}

fn make(open: &mut Open, edit: &Edit) {
    match (open.history.make(edit), edit) {
        (Ok(id), Edit::Lay(_) | Edit::Change(_) | Edit::Remove(_)) => open.selected = Some(id),
        (Ok(_), _) => {}
        (Err(error), _) => open.trouble = Some(Trouble::of(&error)),
    }
}

/// The scatter is thrown by a picture, or the mark of wear lies by it.
fn by_picture(open: &mut Open, picture: &Path) {
    let folder = folder_of(open.kept.path());
    let asked = match open.list {
        List::Scatters => scattering::chosen(open).map(|mut draft| {
            let named = tatter::scatter::by_picture(&mut draft.rule.density, &folder, picture);
            named.map(|()| Command::Scatter(OnScatter::Throw(Box::new(draft))))
        }),
        List::Wear => wearing::chosen(open).cloned().map(|mut mark| {
            let named = tatter::scatter::by_picture(&mut mark.density, &folder, picture);
            named.map(|()| Command::Wear(OnWear::Change(Box::new(mark))))
        }),
        List::Pieces => None,
    };
    match asked {
        Some(Ok(command)) => obey_in(open, command),
        Some(Err(error)) => open.trouble = Some(Trouble::of(&error)),
        None => {}
    }
}

/// What is selected is seen in the cutting list, too.
fn select(open: &mut Open, id: Option<String>) {
    if id.is_some() {
        open.list = List::Pieces;
        open.chalk = false;
    }
    open.selected = id;
}

/// What was taken lies there now, or the chalk puts a corner there; with empty hands, what lies there is selected.
fn touched(open: &mut Open, touch: &Touch) {
    if open.chalk {
        return line::put(open, touch);
    }
    let Some(card) = open.taken_card() else {
        let there = open.placement_at(touch.point);
        return select(open, there);
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
    open.list = List::Pieces;
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
pub(crate) fn keep_draft(open: &mut Open) {
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

pub(crate) fn hear_in(open: &mut Open, news: News) {
    match news {
        News::Form(form) => open.form = Some(form),
        News::Cards(cards) => open.shelf.put(cards),
        News::Ready(without) => {
            open.ready = true;
            open.without_adapter = without;
        }
        News::Clay(picture, camera) => open.solid.take(picture, Some(camera)),
        News::Dressed => open.dressed = true,
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
        News::Unlaid(trouble) => open.unlaid = Some(trouble),
        News::Laid => open.unlaid = None,
        News::Rested(_) => {}
        News::Progress(stage, share) => open.outlook.progress = Some((stage, share)),
        News::Foreseen(found) => {
            if let Some(job) = open.outlook.asked.clone() {
                open.outlook.foreseen = Some((job, found));
            }
        }
        News::Delivered(done) => errand_done(open, done, say::delivered, true),
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
