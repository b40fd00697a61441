//! Random work at the garment, undone and redone: the model is the list of all jobs there were.

use std::sync::Arc;
use std::time::Duration;

use glam::Vec2;
use tatter::history::Edit;
use tatter::scatter::Draft;
use tatter_core::angle::Angle;
use tatter_core::channel::Channel;
use tatter_core::color::Cdl;
use tatter_core::model::{ChannelRule, Density, Job, MatchMode, Placement, Wear, WearKind};
use tatter_core::rng::Rng;
use tatter_core::rule::Rule;
use tatter_core::units::Mm;
use tatter_desk::{Command, Desk, OnLine, OnScatter, OnWear};

use crate::Tried;
use crate::workshop::Workshop;

const PATIENCE: Duration = Duration::from_secs(120);
/// Acts of one run: enough to come by every kind several times.
const ACTS: usize = 80;

/// A person who does one thing after another, each of which is one step.
struct Worker<'a> {
    desk: Desk,
    shop: &'a Workshop,
    rng: Rng,
}

impl Worker<'_> {
    fn obey(&mut self, command: Command) -> Tried<()> {
        self.desk.obey(command);
        self.settle()
    }

    fn settle(&mut self) -> Tried<()> {
        if !self.desk.wait(PATIENCE) {
            return Err("the threads are not done in time".into());
        }
        match self.desk.trouble() {
            Some(trouble) => Err(format!("{trouble:?}").into()),
            None => Ok(()),
        }
    }

    fn job(&self) -> Job {
        self.desk.open().map(|open| Job::clone(open.job())).unwrap_or_default()
    }

    fn pick<T: Clone>(&mut self, all: &[T]) -> Option<T> {
        if all.is_empty() { None } else { Some(all[self.rng.below(all.len())].clone()) }
    }

    /// Touch the panel somewhere off its edges.
    fn touch(&mut self) -> Tried<()> {
        let place = Vec2::new(self.rng.range(0.2, 0.8), self.rng.range(0.2, 0.8));
        let form = Arc::clone(self.desk.open().and_then(|open| open.form()).ok_or("the garment is read")?);
        let touch = form.touch_flat(0, place).ok_or("cloth lies there")?;
        self.obey(Command::Touch(touch))
    }

    /// Do something of one kind; nothing, where there is nothing to do it to.
    fn act(&mut self, kind: usize) -> Tried<()> {
        let job = self.job();
        match kind {
            0 => {
                self.obey(Command::Take(Some(self.shop.path("rip.patch"))))?;
                self.touch()
            }
            1 => self.on_piece(&job),
            2 => match self.pick(&job.placements) {
                Some(piece) => self.obey(Command::Make(Edit::Remove(piece.id))),
                None => Ok(()),
            },
            3 => self.obey(Command::Scatter(OnScatter::New)),
            4 => self.on_scatter(&job),
            5 => match self.pick(&job.scatters) {
                Some(rule) => self.obey(Command::Make(Edit::RemoveScatter(rule.id))),
                None => Ok(()),
            },
            6 => {
                let kind = WearKind::ALL[self.rng.below(4)];
                self.obey(Command::Wear(OnWear::New(kind)))?;
                if kind == WearKind::Crease { self.touch() } else { Ok(()) }
            }
            7 => self.on_mark(&job),
            8 => match self.pick(&job.wear) {
                Some(mark) => self.obey(Command::Make(Edit::RemoveWear(mark.id))),
                None => Ok(()),
            },
            _ => match self.pick(&job.wear) {
                Some(mark) => {
                    self.obey(Command::Wear(OnWear::Choose(Some(mark.id))))?;
                    self.obey(Command::Line(OnLine::Chalk(true)))?;
                    self.touch()?;
                    self.obey(Command::Line(OnLine::Chalk(false)))
                }
                None => Ok(()),
            },
        }
    }

    /// A change at once, or the same by a drag with halts on the way.
    fn change(&mut self, mut command: impl FnMut(&mut Rng, bool) -> Command) -> Tried<()> {
        if self.rng.unit() < 0.5 {
            let made = command(&mut self.rng, false);
            return self.obey(made);
        }
        for _ in 0..3 {
            let dragged = command(&mut self.rng, true);
            self.desk.obey(dragged);
            if self.rng.unit() < 0.5 {
                self.settle()?;
            }
        }
        self.obey(Command::LetGo)
    }

    fn on_piece(&mut self, job: &Job) -> Tried<()> {
        let Some(piece) = self.pick(&job.placements) else { return Ok(()) };
        let what = self.rng.below(7);
        self.change(|rng, is_dragged| {
            let edit = Edit::Change(Box::new(changed_piece(piece.clone(), what, rng)));
            if is_dragged { Command::Drag(edit) } else { Command::Make(edit) }
        })
    }

    fn on_scatter(&mut self, job: &Job) -> Tried<()> {
        let Some(rule) = self.pick(&job.scatters) else { return Ok(()) };
        let what = self.rng.below(4);
        self.obey(Command::Scatter(OnScatter::Choose(Some(rule.id.clone()))))?;
        self.change(|rng, is_dragged| {
            let mut draft = Draft::of(job, &rule);
            match what {
                0 => draft.rule.seed = 100 + rng.below(1000) as u64,
                1 => draft.rule.count = 20 + rng.below(30),
                2 => draft.rule.scale = [0.1, rng.range(0.11, 0.4)],
                _ => draft.rule.density = vec![Density::Height([0.0, rng.range(0.4, 1.0)])],
            }
            let draft = Box::new(draft);
            Command::Scatter(if is_dragged { OnScatter::Drag(draft) } else { OnScatter::Throw(draft) })
        })
    }

    fn on_mark(&mut self, job: &Job) -> Tried<()> {
        let Some(mark) = self.pick(&job.wear) else { return Ok(()) };
        let what = self.rng.below(4);
        self.change(|rng, is_dragged| {
            let mark = Box::new(changed_mark(mark.clone(), what, rng));
            Command::Wear(if is_dragged { OnWear::Drag(mark) } else { OnWear::Change(mark) })
        })
    }
}

fn changed_piece(mut piece: Placement, what: usize, rng: &mut Rng) -> Placement {
    match what {
        0 => piece.turn = Angle::degrees(rng.range(-180.0, 180.0)),
        1 => piece.size = Some(Mm(rng.range(5.0, 200.0))),
        2 => piece.mirror = !piece.mirror,
        3 => piece.matching.strength = rng.unit(),
        4 => piece.matching.mode = if piece.matching.mode.is_none() { Some(MatchMode::Fit) } else { None },
        5 => piece.matching.grade = Some(Cdl { saturation: rng.unit(), ..Cdl::default() }),
        _ => piece.rules[Channel::BaseColor] = Some(ChannelRule { rule: Rule::Multiply, strength: rng.unit() }),
    }
    piece
}

fn changed_mark(mut mark: Wear, what: usize, rng: &mut Rng) -> Wear {
    match what {
        0 => mark.strength = rng.unit(),
        1 => mark.blotch = Mm(rng.range(1.0, 90.0)),
        2 => mark.uneven = rng.unit(),
        _ => mark.density = vec![Density::Edges(Mm(rng.range(1.0, 60.0)))],
    }
    mark
}

#[test]
fn random_work_is_undone_to_the_start_and_redone_to_the_end() -> Tried<()> {
    let shop = Workshop::new()?;
    let mut done = [0_usize; 10];
    for seed in 0..6 {
        let mut worker = Worker { desk: Desk::new(Arc::new(|| ())), shop: &shop, rng: Rng::new(seed) };
        worker.obey(Command::Open(shop.job()))?;
        worker.obey(Command::Draft(false))?;
        let (mut model, mut at) = (vec![worker.job()], 0_usize);
        for number in 0..ACTS {
            if worker.rng.unit() < 0.25 {
                let back = worker.rng.unit() < 0.6;
                worker.obey(if back { Command::Undo } else { Command::Redo })?;
                at = if back { at.saturating_sub(1) } else { (at + 1).min(model.len() - 1) };
            } else {
                let kind = worker.rng.below(done.len());
                worker.act(kind).map_err(|error| format!("seed {seed}, act {number} of kind {kind}: {error}"))?;
                let now = worker.job();
                if now != model[at] {
                    done[kind] += 1;
                    model.truncate(at + 1);
                    model.push(now);
                    at += 1;
                }
            }
            assert!(worker.job() == model[at], "seed {seed}, act {number}: step {at} of {}", model.len() - 1);
        }
        for step in (0..at).rev() {
            worker.obey(Command::Undo)?;
            assert!(worker.job() == model[step], "seed {seed}: undone to step {step}");
        }
        worker.obey(Command::Undo)?;
        assert!(worker.job() == model[0], "seed {seed}: there is nothing before the start");
        for (step, job) in model.iter().enumerate().skip(1) {
            worker.obey(Command::Redo)?;
            assert!(worker.job() == *job, "seed {seed}: redone to step {step}");
        }
    }
    assert!(done.iter().all(|count| *count >= 3), "every kind of act was among them: {done:?}");
    Ok(())
}
