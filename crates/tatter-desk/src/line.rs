//! The line that a scatter or a mark of wear lies along: drawn on the garment corner by corner.

use tatter::stand::Touch;
use tatter_core::units::Mm;

use crate::command::{List, OnLine, OnScatter, OnWear};
use crate::open::Open;
use crate::{scattering, wearing};

/// How far from a new line it reaches, until told otherwise: a finger's breadth.
const SPREAD: Mm = Mm(12.0);

/// The line of what is taken up: its corners, and the parts it keeps to.
pub(crate) fn chosen(open: &Open) -> Option<(Vec<[f32; 2]>, Vec<String>)> {
    match open.list {
        List::Pieces => None,
        List::Scatters => scattering::chosen(open).map(|draft| (draft.rule.along, draft.rule.only)),
        List::Wear => wearing::chosen(open).map(|mark| (mark.along.clone(), mark.only.clone())),
    }
}

/// Do what is asked of it.
pub(crate) fn obey(open: &mut Open, asked: OnLine) {
    match asked {
        OnLine::Chalk(taken) => {
            open.chalk = taken && chosen(open).is_some();
            open.taken = None;
        }
        OnLine::Corner(number, touch) => change(open, true, |line| line.move_to(number, &touch)),
        OnLine::Shorten => change(open, false, |line| line.along.truncate(line.along.len().saturating_sub(1))),
        OnLine::Clear => change(open, false, |line| line.along.clear()),
    }
}

/// Put a corner at the end of the line.
pub(crate) fn put(open: &mut Open, touch: &Touch) {
    let part = open.form.as_ref().and_then(|form| form.part_of(touch));
    change(open, false, |line| line.put(touch, part));
}

/// What a line is made of, in a scatter or in a mark.
struct Drawn<'a> {
    along: &'a mut Vec<[f32; 2]>,
    spread: &'a mut Mm,
    only: &'a mut Vec<String>,
}

impl Drawn<'_> {
    fn put(&mut self, touch: &Touch, part: Option<String>) {
        if self.along.is_empty() {
            if self.spread.get() <= 0.0 {
                *self.spread = SPREAD;
            }
            // Where parts share the texture, the line lies on the one it was drawn on.
            if self.only.is_empty() {
                self.only.extend(part);
            }
        }
        self.along.push(touch.uv);
    }

    fn move_to(&mut self, number: usize, touch: &Touch) {
        if let Some(corner) = self.along.get_mut(number) {
            *corner = touch.uv;
        }
    }
}

fn change(open: &mut Open, is_dragged: bool, edit: impl FnOnce(&mut Drawn<'_>)) {
    match open.list {
        List::Pieces => {}
        List::Scatters => {
            let Some(mut draft) = scattering::chosen(open).map(Box::new) else { return };
            let rule = &mut draft.rule;
            edit(&mut Drawn { along: &mut rule.along, spread: &mut rule.spread, only: &mut rule.only });
            scattering::obey(open, if is_dragged { OnScatter::Drag(draft) } else { OnScatter::Throw(draft) });
        }
        List::Wear => {
            let Some(mut mark) = wearing::chosen(open).cloned().map(Box::new) else { return };
            edit(&mut Drawn { along: &mut mark.along, spread: &mut mark.spread, only: &mut mark.only });
            wearing::obey(open, if is_dragged { OnWear::Drag(mark) } else { OnWear::Change(mark) });
        }
    }
}
