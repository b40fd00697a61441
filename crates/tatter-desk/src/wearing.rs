//! The mark of wear that is taken up.

use tatter::history::Edit;
use tatter::wear::proposed;
use tatter_core::model::Wear;

use crate::command::{List, OnWear};
use crate::open::Open;
use crate::work::Trouble;

/// What is known of the mark that is taken up.
#[derive(Debug, Default)]
pub(crate) struct Wearing {
    pub(crate) chosen: Option<String>,
    /// A mark that lies nowhere yet: it comes into the job with its line.
    pub(crate) draft: Option<Wear>,
}

/// The mark that is taken up, as it is or is to be.
pub(crate) fn chosen(open: &Open) -> Option<&Wear> {
    let id = open.wearing.chosen.as_ref()?;
    let drafted = open.wearing.draft.as_ref().filter(|mark| mark.id == *id);
    drafted.or_else(|| open.job().wear.iter().find(|mark| mark.id == *id))
}

/// Do what is asked of the wear.
pub(crate) fn obey(open: &mut Open, asked: OnWear) {
    match asked {
        OnWear::New(kind) => {
            let mark = proposed(open.job(), kind);
            obey(open, OnWear::Choose(Some(mark.id.clone())));
            // What must be told where it lies is drawn next.
            open.chalk = !mark.has_place();
            obey(open, OnWear::Change(Box::new(mark)));
        }
        OnWear::Choose(id) => {
            open.list = List::Wear;
            open.selected = None;
            open.taken = None;
            open.chalk = false;
            open.wearing.draft.take_if(|mark| Some(&mark.id) != id.as_ref());
            open.wearing.chosen = id;
        }
        OnWear::Change(mark) => {
            open.history.let_go();
            change(open, *mark);
            open.history.let_go();
        }
        OnWear::Drag(mark) => change(open, *mark),
    }
}

/// As a step of a gesture. A mark that lies nowhere yet waits for its line.
fn change(open: &mut Open, mark: Wear) {
    if !mark.has_place() {
        open.wearing.draft = Some(mark);
        return;
    }
    open.wearing.draft = None;
    if let Err(error) = open.history.make_in_gesture(&Edit::Wear(Box::new(mark))) {
        open.trouble = Some(Trouble::of(&error));
    }
}
